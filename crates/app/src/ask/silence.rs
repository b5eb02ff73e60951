//! Signals that stopped coming: a probe, a meter, a box, a cow's sensor that told something before and no longer does.
//!
//! # Rule
//! Looked at are the fourteen days before a time. Of n milkings of a box up to the last that a signal came with, it came
//! with k: its share is taken as k / (n + 1), never quite 1. The m milkings after it would all lack it by chance with
//! probability (1 − share)^m. Below 1 in 10,000, and from m = 5 and k = 10 on, it has stopped. A box, and a sensor that
//! tells bins of time, have stopped after three (six) times their longest (mean) wait, and never before 3 h (12 h).
//! The sensor of a cow that is still milked is looked for 400 days back: what fell off her is told until it is mended. Who
//! left or died is asked for no more, nor who bears no number any longer: of a life that a departure opened, bins of the two
//! days after it and nothing else are the last of the one before.
//! A signal that never came is no signal that stopped: a farm without a probe is told nothing.
//! # Not here
//! Why it stopped. Rows alone are asked; where the newest row of all is old, nothing is told by it but that.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{
    herd::{Life, LifeKey},
    say::{number, when},
    tables::{Outcome, Visit},
};
use cowpath_store::Bins;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde::Serialize;

use super::{
    cast::Cast,
    farm::Barn,
    refused,
    scales::{self, Scales},
};

/// How far back is looked.
const SPAN: SignedDuration = SignedDuration::from_hours(14 * 24);
/// Fewest times a signal must have come, and fewest it must have missed since.
const FEWEST: (u64, u64) = (10, 5);
/// Chance below which missing is no accident.
const BY_CHANCE: f64 = 1e-4;
/// Least silence of a box, and of an animal's sensor.
const LEAST: (SignedDuration, SignedDuration) =
    (SignedDuration::from_hours(3), SignedDuration::from_hours(12));
/// Who was milked so long ago is in milk and should have a sensor, if she ever had.
const MILKED_WITHIN: SignedDuration = SignedDuration::from_hours(48);
/// Days back her last bin is looked for: a lactation and the dry time before it. Stated default.
const LOST_D: i64 = 400;
/// A tag goes on so long after its cow was noted as gone: it lies in the office, or the note bears the day alone.
const AFTER_EXIT: SignedDuration = SignedDuration::from_hours(48);
/// Sensors that fell silent within so long of each other are told in one sentence.
const ALIKE: SignedDuration = SignedDuration::from_hours(12);
/// Animals named in one sentence.
const NAMED: usize = 8;
/// So long after the newest row of all a round says that the logs end there.
const ROWS_END_AFTER: SignedDuration = SignedDuration::from_hours(24);

/// What a round of a time long after the newest row says of it. A gap within the logs is told cow by cow and box by box;
/// this is their end.
pub fn rows_end(at: Timestamp, zone: &TimeZone, known: Option<Timestamp>, newest: Timestamp) -> Vec<String> {
    let end = known.filter(|last| *last == newest && ROWS_END_AFTER < at.duration_since(*last));
    end.map(|last| cowpath_core::say::summary::rows_end(last, at, zone)).into_iter().collect()
}

/// A signal that stopped coming.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Silent {
    /// What it is: `conductivity`, `visits`, `movement`.
    pub signal: String,
    /// The box, where it is one's.
    #[serde(rename = "box")]
    pub box_name: Option<String>,
    /// Animals, where it is theirs.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub animals: Vec<String>,
    /// When it last came, RFC 3339.
    pub since: String,
    /// The sentence.
    pub sentence: String,
}

/// One signal of a visit: its name, whether a visit could have brought it, and whether it did.
type Signal = (&'static str, fn(&Visit) -> bool, fn(&Visit) -> bool);

const SIGNALS: [Signal; 17] = [
    ("milk of the whole udder", milked, |visit| visit.milk_kg.is_some()),
    ("left front milk", milked, |visit| visit.quarters[0].milk_kg.is_some()),
    ("right front milk", milked, |visit| visit.quarters[1].milk_kg.is_some()),
    ("left rear milk", milked, |visit| visit.quarters[2].milk_kg.is_some()),
    ("right rear milk", milked, |visit| visit.quarters[3].milk_kg.is_some()),
    ("left front conductivity", milked, |visit| visit.quarters[0].ms_cm.is_some()),
    ("right front conductivity", milked, |visit| visit.quarters[1].ms_cm.is_some()),
    ("left rear conductivity", milked, |visit| visit.quarters[2].ms_cm.is_some()),
    ("right rear conductivity", milked, |visit| visit.quarters[3].ms_cm.is_some()),
    ("blood in milk", milked, |visit| visit.blood_ppm.is_some()),
    ("milk temperature", milked, |visit| visit.milk_c.is_some()),
    ("fat", milked, |visit| visit.fat_pct.is_some()),
    ("protein", milked, |visit| visit.protein_pct.is_some()),
    ("lactose", milked, |visit| visit.lactose_pct.is_some()),
    ("cell count", milked, |visit| visit.scc_k.is_some()),
    ("feed eaten", |_| true, |visit| visit.feed_eaten_kg.is_some()),
    ("weight", |_| true, |visit| visit.weight_kg.is_some()),
];

/// Signals of the four quarters that are one signal where all four stopped together: places, and their name together.
const TOGETHER: [(std::ops::Range<usize>, &str); 2] = [(1..5, "milk by quarter"), (5..9, "conductivity")];

fn milked(visit: &Visit) -> bool {
    matches!(visit.outcome, Some(Outcome::Milked | Outcome::Incomplete))
        || (visit.outcome.is_none() && visit.milk_kg.is_some())
}

/// How often a signal came, and since when it has not.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Coming {
    /// Visits that could have brought it up to the last that did.
    until_last: u64,
    /// Visits that did.
    came: u64,
    /// Visits since that could have.
    since: u64,
    /// End of the last that did.
    last: Option<Timestamp>,
}

impl Coming {
    /// One more visit that could bring it.
    pub fn visit(&mut self, brought: bool, at: Timestamp) {
        self.since += 1;
        if brought {
            self.came += 1;
            self.until_last += self.since;
            self.since = 0;
            self.last = Some(at);
        }
    }

    /// Share of visits that brought it while it came.
    fn share(&self) -> f64 {
        self.came as f64 / (self.until_last + 1) as f64
    }

    /// When it last came, if it stopped.
    pub fn stopped(&self) -> Option<Timestamp> {
        let enough = FEWEST.0 <= self.came && FEWEST.1 <= self.since;
        let by_chance = (self.since as f64 * (-self.share()).ln_1p()).exp();
        self.last.filter(|_| enough && by_chance < BY_CHANCE)
    }

    /// `one at every milking`, `one in 12 milkings`.
    fn usual(&self, every: (&str, &str)) -> String {
        let each = self.until_last as f64 / self.came.max(1) as f64;
        match each.round() as u64 {
            0 | 1 => format!("one at every {}", every.0),
            each => format!("one in {each} {}", every.1),
        }
    }
}

/// One box's visits.
#[derive(Default)]
struct OfBox {
    signals: [Coming; SIGNALS.len()],
    visits: u64,
    first: Option<Timestamp>,
    last_end: Option<Timestamp>,
    longest_wait: SignedDuration,
}

/// Every signal that had come and had stopped by a time, or came on another scale ([`super::scales`]), boxes first.
pub fn stopped(barn: &Barn, cast: &Cast, zone: &TimeZone, at: Timestamp) -> anyhow::Result<Vec<Silent>> {
    let span = at.saturating_sub(SPAN)?..at;
    let mut boxes: BTreeMap<usize, OfBox> = BTreeMap::new();
    let mut scales = Scales::default();
    let mut seen: BTreeMap<LifeKey, Timestamp> = BTreeMap::new();
    barn.store.visits(span.clone(), &mut |number, visit| {
        if visit.ended_at <= at {
            if let Some(life) = cast.life(number, visit.started_at) {
                seen.insert(life.key, visit.ended_at);
            }
            scales.take(visit, at);
            take(boxes.entry(usize::from(visit.at_box.0)).or_default(), visit);
        }
        std::ops::ControlFlow::Continue(())
    })?;
    // A box whose visits were refused goes on.
    for visit in refused::visits(barn, cast, at)? {
        let own = boxes.entry(usize::from(visit.at_box.0)).or_default();
        own.last_end = own.last_end.max(Some(visit.ended_at));
        let last = seen.entry(visit.life).or_insert(visit.ended_at);
        *last = (*last).max(visit.ended_at);
    }
    let mut silent = Vec::new();
    for (place, own) in &boxes {
        if let Some(name) = cast.boxes.get(*place) {
            of_box(name, own, at, zone, &mut silent);
        }
    }
    scales.told(cast, zone, at, &mut silent);
    scales::of_cows(&barn.store.movement_rates(span.clone())?, cast, zone, at, &mut silent);
    of_sensors(barn, cast, &seen, span, zone, &mut silent)?;
    Ok(silent)
}

fn take(own: &mut OfBox, visit: &Visit) {
    if let Some(last_end) = own.last_end {
        own.longest_wait = own.longest_wait.max(visit.started_at.duration_since(last_end));
    }
    own.visits += 1;
    own.first.get_or_insert(visit.started_at);
    own.last_end = own.last_end.max(Some(visit.ended_at));
    for (coming, (_, could, did)) in own.signals.iter_mut().zip(&SIGNALS) {
        if could(visit) {
            coming.visit(did(visit), visit.ended_at);
        }
    }
}

fn of_box(name: &str, own: &OfBox, at: Timestamp, zone: &TimeZone, silent: &mut Vec<Silent>) {
    let (Some(first), Some(last_end)) = (own.first, own.last_end) else { return };
    let mut say = |signal: &str, since: Timestamp, usual: String| {
        let sentence = format!(
            "{} of box {name}: none since {}; before, {usual}.",
            upper(signal),
            when::instant(since, at, zone)
        );
        silent.push(Silent {
            signal: signal.to_owned(),
            box_name: Some(name.to_owned()),
            animals: Vec::new(),
            since: when::rfc3339(since, zone),
            sentence,
        });
    };
    let waited = at.duration_since(last_end);
    if FEWEST.0 <= own.visits && (own.longest_wait * 3).max(LEAST.0) < waited {
        let minutes = last_end.duration_since(first).as_mins().max(0) as u64 / own.visits.max(1);
        return say("visits", last_end, format!("one every {}", span_words(minutes)));
    }
    let stops: Vec<Option<Timestamp>> = own.signals.iter().map(Coming::stopped).collect();
    let mut done = [false; SIGNALS.len()];
    for (places, name) in &TOGETHER {
        if let Some(last) = stops[places.clone()].iter().copied().collect::<Option<Vec<_>>>() {
            done[places.clone()].fill(true);
            let newest = last.into_iter().max().unwrap_or(at);
            say(name, newest, own.signals[places.start].usual(("milking", "milkings")));
        }
    }
    for (place, since) in stops.iter().enumerate() {
        if let (Some(since), false) = (since, done[place]) {
            let every = if place < 15 { ("milking", "milkings") } else { ("visit", "visits") };
            say(SIGNALS[place].0, *since, own.signals[place].usual(every));
        }
    }
}

fn of_sensors(
    barn: &Barn,
    cast: &Cast,
    seen: &BTreeMap<LifeKey, Timestamp>,
    span: std::ops::Range<Timestamp>,
    zone: &TimeZone,
    silent: &mut Vec<Silent>,
) -> anyhow::Result<()> {
    let at = span.end;
    let mut bins = barn.store.movement_bins(span)?;
    let Some(newest) = bins.iter().map(|bins| bins.last_end).max() else { return Ok(()) };
    let step = |bins: &Bins| {
        SignedDuration::from_millis(
            (bins.last_end.as_millisecond() - bins.first.as_millisecond()) / bins.count.max(1) as i64,
        )
    };
    let mut push = |animals: Vec<String>, since: Timestamp, whose: String, usual: SignedDuration| {
        silent.push(Silent {
            signal: "movement".into(),
            box_name: None,
            animals,
            since: when::rfc3339(since, zone),
            sentence: format!(
                "Movement of {whose}: none since {}; before, a reading every {}.",
                when::instant(since, at, zone),
                span_words(usual.as_mins().max(0) as u64)
            ),
        });
    };
    let all = bins.iter().filter(|bins| FEWEST.0 <= bins.count).map(step).max().unwrap_or_default();
    if (all * 6).max(LEAST.1) < at.duration_since(newest) {
        push(Vec::new(), newest, "the whole herd".into(), all);
        return Ok(());
    }
    let told: BTreeSet<&str> = bins.iter().map(|bins| bins.animal.as_str()).collect();
    let milked = |life: &&Life| {
        seen.get(&life.key).is_some_and(|last| at.duration_since(*last) < MILKED_WITHIN)
            && !told.contains(life.animal.as_str())
    };
    let mut lost = Vec::new();
    for life in cast.lives.iter().filter(milked) {
        let last = barn.store.last_bins(&life.animal, at, LOST_D)?;
        lost.extend(last.filter(|last| life.from.is_none_or(|from| from < last.last_end)));
    }
    bins.extend(lost);
    let is_quiet = |bins: &&Bins| {
        FEWEST.0 <= bins.count
            && (step(bins) * 6).max(LEAST.1) < newest.duration_since(bins.last_end)
            && is_here(cast, seen, bins, at)
    };
    let mut quiet: Vec<&Bins> = bins.iter().filter(is_quiet).collect();
    quiet.sort_by_key(|bins| std::cmp::Reverse(bins.last_end));
    for group in quiet.chunk_by(|later, earlier| later.last_end.duration_since(earlier.last_end) < ALIKE) {
        let animals: Vec<String> = group.iter().map(|bins| bins.animal.clone()).collect();
        let mut named: Vec<String> = animals.iter().take(NAMED).cloned().collect();
        if NAMED < animals.len() {
            named.push(format!("{} more", animals.len() - NAMED));
        }
        let whose = match animals.as_slice() {
            [one] => one.clone(),
            _ => format!("{} cows ({})", number::count_words(animals.len()), when::join(&named)),
        };
        push(animals, group[0].last_end, whose, step(group[0]));
    }
    Ok(())
}

/// Whether the cow whose sensor told these bins is in the herd.
fn is_here(cast: &Cast, seen: &BTreeMap<LifeKey, Timestamp>, bins: &Bins, at: Timestamp) -> bool {
    let Some(life) = cast.find(&bins.animal, at).filter(|life| life.present(at)) else { return false };
    let Some(left) = life.from else { return true };
    // Her number was given back then. Somebody bears it only if there is more of her than a tag that had not been taken off.
    let noted = || cast.events_of(&bins.animal).iter().any(|event| left < event.at && event.at <= at);
    AFTER_EXIT < bins.last_end.duration_since(left) || seen.contains_key(&life.key) || noted()
}

fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `11 minutes`, `2 hours`, `3 days`.
fn span_words(minutes: u64) -> String {
    let words = |count: u64, one: &str| if count == 1 { one.to_owned() } else { format!("{count} {one}s") };
    match minutes {
        0..=90 => words(minutes.max(1), "minute"),
        91..=2880 => words((minutes + 30) / 60, "hour"),
        _ => words((minutes + 720) / 1440, "day"),
    }
}

#[cfg(test)]
mod tests;
