//! In which words is said whom to bring in, why, and who is looked for?

use jiff::{Timestamp, tz::TimeZone};

use super::{number, when};
use crate::coming::limits::{Stretch, Why};
use crate::units::{Kilograms, UnitSystem};

/// What a walk to bring cows in needs to be told, each time.
pub const CAUTIONS: [&str; 3] = [
    "Walk quietly and give them time: cows under pressure slip, kick and crush. Leave the gate behind you open for one that turns.",
    "A lame cow goes at her own pace or is left for the veterinarian or trimmer: do not drive her hard.",
    "A cow that is down, cannot rise or staggers: do not drive her, call the veterinarian now.",
];

/// What is known of a cow to be brought in.
#[derive(Debug, Clone, Copy)]
pub struct Facts<'a> {
    /// Hours since her last milking.
    pub since_h: f64,
    /// She has not been milked since she calved.
    pub fresh_unmilked: bool,
    /// Her limit.
    pub limit: Stretch,
    /// `second lactation, day 45`.
    pub stage: &'a str,
    /// Milk expected in her udder.
    pub expected: Option<Kilograms>,
    /// Chance that she comes by herself in time, and until when that is.
    pub in_time: (f64, Timestamp),
    /// The time of the list.
    pub at: Timestamp,
    /// The farm's zone.
    pub zone: &'a TimeZone,
    /// The farm's units.
    pub units: UnitSystem,
}

/// `13.4 h since she was milked; her limit is 10 h.`
pub fn says(facts: &Facts<'_>) -> String {
    let since =
        if facts.fresh_unmilked { "since she calved, not milked yet" } else { "since she was milked" };
    format!("{} {since}; her limit is {}.", hours(facts.since_h), hours(facts.limit.hours))
}

/// Why: her limit, her milk, her chance.
pub fn reasons(facts: &Facts<'_>) -> Vec<String> {
    let limit = match facts.limit.why {
        Why::Stage => facts.stage.to_owned(),
        Why::Fresh => format!("fresh: {}", facts.stage),
        Why::Treated => format!("treated, her milk is held; {}", facts.stage),
        Why::Milk => format!("her udder is full by then; {}", facts.stage),
    };
    let mut all = vec![limit];
    if let Some(expected) = facts.expected {
        all.push(format!("about {} in her udder", number::mass(expected, facts.units)));
    }
    let (chance, until) = facts.in_time;
    all.push(format!(
        "{} that she comes by herself by {}",
        number::chance(chance),
        when::instant(until, facts.at, facts.zone)
    ));
    all
}

/// A cow without a row for longer than her habit.
#[derive(Debug, Clone, Copy)]
pub struct Away<'a> {
    /// Her last row of any kind; `None`: none was read.
    pub seen: Option<Timestamp>,
    /// When she calved, where no row came since.
    pub calved: Option<Timestamp>,
    /// Hours between her milkings, as a rule.
    pub usual_h: Option<f64>,
    /// The time of the list.
    pub at: Timestamp,
    /// The farm's zone.
    pub zone: &'a TimeZone,
}

/// `no row in any box since 03:10 (26 h); as a rule she is milked every 9 h. Look for her: …`
pub fn away(away: &Away<'_>) -> String {
    let gone = match (away.seen, away.calved) {
        (Some(seen), _) => {
            let since_h = crate::time::hours_between(seen, away.at);
            format!(
                "no row in any box since {} ({})",
                when::instant(seen, away.at, away.zone),
                hours(since_h)
            )
        }
        (None, Some(calved)) => {
            format!("no row since she calved {}", when::instant(calved, away.at, away.zone))
        }
        (None, None) => "no row was read".to_owned(),
    };
    let usual = match away.usual_h {
        Some(usual_h) => format!("; as a rule she is milked every {}", hours(usual_h)),
        None => String::new(),
    };
    format!("{gone}{usual}. Look for her: shut in, milked elsewhere, a lost tag, or down.")
}

/// `Four cows to bring in, two of them later. One to look for. 54 are expected by themselves.`
pub fn summary(now: usize, later: usize, missing: usize, rest: usize) -> String {
    let all = now + later;
    if all + missing + rest == 0 {
        return "No cow is on record as being in milk then.".to_owned();
    }
    let mut text = match (all, later) {
        (0, _) => "Nobody to bring in.".to_owned(),
        (all, 0) => format!("{} to bring in.", upper(&number::things(all, "cow", "cows"))),
        (all, later) => format!(
            "{} to bring in, {} of them later, when the boxes have room.",
            upper(&number::things(all, "cow", "cows")),
            number::count_words(later)
        ),
    };
    if 0 < missing {
        text.push_str(&format!(" {} to look for.", upper(&number::things(missing, "cow", "cows"))));
    }
    if 0 < rest {
        let verb = if rest == 1 { "cow is" } else { "cows are" };
        text.push_str(&format!(" {} {verb} left to come by themselves.", number::count(rest)));
    }
    text
}

/// `13.4 h`; whole hours from 24 on, days from three days on.
pub fn hours(hours: f64) -> String {
    match hours {
        short if short < 23.95 && 0.05 < (short - short.round()).abs() => {
            format!("{}{}h", number::plain(short, 1), number::SPACE)
        }
        hours if hours < 72.0 => format!("{}{}h", number::plain(hours, 0), number::SPACE),
        long => format!("{}{}days", number::plain(long / 24.0, 0), number::SPACE),
    }
}

fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
