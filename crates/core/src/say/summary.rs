//! In which words are the round as a whole and the state of a cow said?

use jiff::{Timestamp, tz::TimeZone};

use super::{number, when};
use crate::herd::Stage;

/// How many of each a round holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Calls shown.
    pub calls: usize,
    /// Cows judged and not called.
    pub quiet: usize,
    /// Cows with fewer than three milkings since calving.
    pub too_new: usize,
    /// Cows that could not be judged for another reason (no rows, dry).
    pub not_judged: usize,
    /// Calls that somebody has looked at.
    pub looked_at: usize,
    /// Earlier calls that nobody has answered.
    pub open: usize,
}

/// `Six things to look at. Nothing seen on 118 cows; 3 are too new to judge.`
pub fn round(counts: Counts) -> String {
    let cows = |count: usize| format!("{} {}", number::count(count), if count == 1 { "cow" } else { "cows" });
    let is = |count: usize| if count == 1 { "is" } else { "are" };
    let mut text = match counts.calls {
        0 => "Nothing to look at.".to_owned(),
        calls => format!("{} to look at.", capital(&number::things(calls, "thing", "things"))),
    };
    if 0 < counts.looked_at {
        text.push_str(&format!(" {} looked at.", number::count(counts.looked_at)));
    }
    if 0 < counts.open {
        text.push_str(&format!(
            " {} without an answer.",
            capital(&number::things(counts.open, "earlier call", "earlier calls"))
        ));
    }
    let mut parts = Vec::new();
    if 0 < counts.quiet {
        parts.push(format!("Nothing seen on {}", cows(counts.quiet)));
    }
    if 0 < counts.too_new {
        let subject = if parts.is_empty() { cows(counts.too_new) } else { number::count(counts.too_new) };
        parts.push(format!("{subject} {} too new to judge", is(counts.too_new)));
    }
    if 0 < counts.not_judged {
        let subject =
            if parts.is_empty() { cows(counts.not_judged) } else { number::count(counts.not_judged) };
        parts.push(format!("{subject} could not be judged"));
    }
    if parts.is_empty() && counts.calls == 0 {
        text.push_str(" No cow is on record as being in milk then.");
    } else if !parts.is_empty() {
        text.push_str(&format!(" {}.", parts.join("; ")));
    }
    text
}

/// The words as they begin a sentence.
fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first: String = letters.next().map(|first| first.to_uppercase().collect()).unwrap_or_default();
    first + letters.as_str()
}

/// Said of a time long after the last row: nothing to look at would read as if all were well.
pub fn rows_end(last: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    let last = when::instant(last, at, zone);
    format!(
        "The last row known is of {last}: what came after it is in no log, and nothing of it can be called."
    )
}

/// Why a cow could not be judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotJudged {
    /// Fewer than three milkings since she calved.
    TooNew,
    /// Dry.
    Dry,
    /// No milking for so long; the last one, if any.
    NoMilking(Option<Timestamp>),
    /// In milk by her records since then, and no milking of hers in any log.
    NeverMilked(Timestamp),
    /// Her milkings hold neither milk nor quarters nor conductivity.
    NothingMeasured,
}

/// `fewer than 3 milkings since calving`.
pub fn not_judged(why: NotJudged, at: Timestamp, zone: &TimeZone) -> String {
    match why {
        NotJudged::TooNew => "fewer than 3 milkings since calving".to_owned(),
        NotJudged::Dry => "dry".to_owned(),
        NotJudged::NoMilking(Some(last)) => format!("not milked since {}", when::instant(last, at, zone)),
        NotJudged::NeverMilked(calved) => format!(
            "calved {}, and no log has a milking of hers since: look for her, at her tag and at her number",
            when::day(calved, at, zone)
        ),
        NotJudged::NoMilking(None) => "no milking read".to_owned(),
        NotJudged::NothingMeasured => "no milk, quarters or conductivity in her rows".to_owned(),
    }
}

/// `third lactation, day 87`; what is not recorded is said to be so.
pub fn stage(stage: Stage) -> String {
    let lactation = match stage.parity {
        Some(parity) => format!("{} lactation", ordinal(parity)),
        None => "lactation not recorded".to_owned(),
    };
    match (stage.dry, stage.days_in_milk) {
        (true, _) => format!("{lactation}, dry"),
        (false, Some(days)) => format!("{lactation}, day {}", number::plain(days.max(0.0).floor(), 0)),
        (false, None) => format!("{lactation}, calving not recorded"),
    }
}

/// `first` to `twelfth`, then `13th`.
pub fn ordinal(value: u8) -> String {
    const WORDS: [&str; 13] = [
        "0th", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
        "eleventh", "twelfth",
    ];
    let ending = match (value % 10, value % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    WORDS.get(usize::from(value)).map_or_else(|| format!("{value}{ending}"), |word| (*word).to_owned())
}

/// `has settled 9 % lower since 3 March`; `log_change` is the log of the new level over the old one.
pub fn settled(log_change: f64, since: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    let share = log_change.exp() - 1.0;
    let side = if share < 0.0 { "lower" } else { "higher" };
    format!("has settled {} {side} since {}", number::percent(share.abs()), when::day(since, at, zone))
}

/// `Of 14 answered calls 11 were right: 79 %, 95 % interval 49 to 95 %.`
pub fn right(right: u32, answered: u32, share: crate::right::Share) -> String {
    let Some(part) = share.share else { return "No call has been answered yet.".to_owned() };
    let calls = if answered == 1 { "call" } else { "calls" };
    format!(
        "Of {answered} answered {calls} {right} {} right: {}, 95 % interval {} to {}.",
        if right == 1 { "was" } else { "were" },
        number::percent(part),
        number::plain(100.0 * share.low, 0),
        number::percent(share.high),
    )
}

/// One sentence on a cow without a call.
pub fn nothing_differs() -> &'static str {
    "Nothing differs from what she should give."
}

/// Where an event moved her to: `to pen 1`, `to straw`.
pub fn moved_to(pen: &str) -> String {
    let number = !pen.is_empty() && pen.chars().all(|letter| letter.is_ascii_digit());
    if number { format!("to pen {pen}") } else { format!("to {pen}") }
}

/// Cows that no row tells of any more.
pub fn gone(cows: usize) -> String {
    let (subject, verb) = if cows == 1 {
        ("One cow".to_owned(), "is")
    } else {
        (format!("{} cows", number::count(cows)), "are")
    };
    format!("{subject} without a row for over three weeks {verb} taken to be dry or gone.")
}

/// What lacks the visits that are in quarantine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lacks {
    /// The round.
    Round,
    /// Whom to bring in.
    List,
    /// The boxes' days.
    Boxes,
    /// What to type in.
    Intervals,
}

/// Refused rows of visits that came with the latest logs.
pub fn in_quarantine(rows: u64, lacks: Lacks) -> String {
    let (what, verb, they) = if rows == 1 {
        ("One visit".to_owned(), "is", "it tells")
    } else {
        (format!("{} visits", number::count(usize::try_from(rows).unwrap_or(usize::MAX))), "are", "they tell")
    };
    let (here, so) = match lacks {
        Lacks::Round => ("in this round", "a cow may look unmilked by it"),
        Lacks::List => ("in this list", "a cow may look unmilked by it"),
        Lacks::Boxes => ("on this page", "a box may look idle by it"),
        Lacks::Intervals => ("in these intervals", "a cow may seem to wait longer by it"),
    };
    format!(
        "{what} of the latest logs {verb} in quarantine, and what {they} is not {here}: {so}. Records says what is wrong."
    )
}

/// A round of a farm of which only the herd list was read.
pub fn herd_list_only(cows: usize) -> String {
    let cows = if cows == 1 { "one cow".to_owned() } else { format!("{} cows", number::count(cows)) };
    format!(
        "The herd list is read, with {cows}. Bring the log of visits next: a cow is judged from her third milking."
    )
}

/// A round at a time before the farm's first row.
pub fn before_any_row() -> &'static str {
    "Nothing was known by then: the farm's rows begin later."
}
