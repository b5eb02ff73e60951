//! In which words is it said, and asked, what a person found?

use jiff::{Timestamp, tz::TimeZone};

use super::when;
use crate::herd::Quarter;

/// What a person found, in the words of the contract.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// The call was right.
    Confirmed,
    /// Something else was the matter.
    OtherCause,
    /// The cause was right, the quarter was not.
    OtherQuarter,
    /// Nothing was the matter.
    Nothing,
    /// Not clear yet: it is looked at again.
    LookAgain,
}

impl Outcome {
    /// All of them, in the order they are offered.
    pub const ALL: [Outcome; 5] = [
        Outcome::Confirmed,
        Outcome::OtherQuarter,
        Outcome::OtherCause,
        Outcome::Nothing,
        Outcome::LookAgain,
    ];

    /// The word of the contract.
    pub fn word(self) -> &'static str {
        match self {
            Outcome::Confirmed => "confirmed",
            Outcome::OtherCause => "other-cause",
            Outcome::OtherQuarter => "other-quarter",
            Outcome::Nothing => "nothing",
            Outcome::LookAgain => "look-again",
        }
    }

    /// From the word of the contract.
    pub fn of(word: &str) -> Option<Outcome> {
        Outcome::ALL.into_iter().find(|outcome| outcome.word() == word)
    }
}

/// Causes a person may find, and what each is called: all of the contract, whether calls name them yet or not.
pub const CAUSES: [(&str, &str); 14] = [
    ("udder", "udder"),
    ("heat", "in heat"),
    ("metabolic", "short of energy after calving"),
    ("gut", "off feed, rumen or gut"),
    ("feet", "feet or legs"),
    ("fever", "fever, ill all over"),
    ("unclear", "ill, not clear with what"),
    ("milk-meter", "milk meter"),
    ("conductivity-probe", "conductivity probe"),
    ("attachment", "a cup that does not attach"),
    ("feed-dispenser", "feed dispenser"),
    ("idle-fault", "box stood still"),
    ("herd-milk", "milk of the whole herd"),
    ("herd-intake", "feed intake of the whole herd"),
];

/// What a cause is called; a word that is none stays as it is.
pub fn cause(word: &str) -> &str {
    CAUSES.iter().find(|(own, _)| *own == word).map_or(word, |(_, words)| words)
}

/// What was found, as far as it is said.
#[derive(Debug, Clone, Copy)]
pub struct Facts<'a> {
    /// What.
    pub outcome: Outcome,
    /// Cause that it was, where it was another: a word of [`CAUSES`].
    pub cause: Option<&'a str>,
    /// Quarter that it was.
    pub quarter: Option<Quarter>,
    /// A word or two on what was seen.
    pub sign: Option<&'a str>,
    /// Who looked.
    pub by: Option<&'a str>,
    /// When.
    pub found_at: Timestamp,
}

/// When somebody looked. Who looks after the newest row was read looks later than what the page is made for.
fn then(found_at: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    if found_at <= at || when::is_today(found_at, at, zone) {
        when::instant(found_at, at, zone)
    } else {
        when::minute(found_at, zone)
    }
}

/// `Found 05:50 by Ann: it was so, right front, clots.`; a call to be looked at again says so.
pub fn found(facts: &Facts, at: Timestamp, zone: &TimeZone) -> String {
    let by = facts.by.map_or(String::new(), |by| format!(" by {by}"));
    let then = then(facts.found_at, at, zone);
    let sign = facts.sign.map_or(String::new(), |sign| format!(", {sign}"));
    let quarter = facts.quarter.map(Quarter::words);
    let what = match facts.outcome {
        Outcome::LookAgain => return format!("Looked at {then}{by}{sign}; to be looked at again."),
        Outcome::Confirmed => match quarter {
            Some(quarter) => format!("it was so, {quarter}{sign}"),
            None => format!("it was so{sign}"),
        },
        Outcome::OtherQuarter => format!("another quarter, {}{sign}", quarter.unwrap_or("not said which")),
        Outcome::OtherCause => {
            format!("something else, {}{sign}", facts.cause.map_or("not said what", cause))
        }
        Outcome::Nothing => format!("nothing found{sign}"),
    };
    format!("Found {then}{by}: {what}.")
}

/// An urgent call that nobody has answered, at a round after its first.
pub fn unanswered(first: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    format!("First called {}; nobody has said yet what was found.", when::instant(first, at, zone))
}

/// Found to be nothing a day ago or more, and it has gone on.
pub fn went_on(found_at: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    format!("Nothing was found {}; it has gone on since.", when::instant(found_at, at, zone))
}

/// A button under a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice {
    /// What stands on it.
    pub label: &'static str,
    /// What it enters.
    pub outcome: Outcome,
    /// With which cause.
    pub cause: Option<&'static str>,
    /// With which quarter.
    pub quarter: Option<Quarter>,
    /// With which sign.
    pub sign: Option<&'static str>,
}

/// The buttons for a call of a cause and quarter: what it most often turns out to be, first.
pub fn choices(cause: &str, quarter: Option<Quarter>) -> Vec<Choice> {
    let choice = |label, outcome| Choice { label, outcome, cause: None, quarter: None, sign: None };
    let sure = |label, sign| Choice { sign: Some(sign), ..choice(label, Outcome::Confirmed) };
    let other = |cause, label| Choice { cause: Some(cause), ..choice(label, Outcome::OtherCause) };
    let mut all = Vec::new();
    match cause {
        "udder" => {
            all.push(sure("Clots or changed milk", "clots or changed milk"));
            all.push(sure("Swollen, hot or hard", "swollen, hot or hard"));
            for place in Quarter::ALL.into_iter().filter(|place| quarter.is_some_and(|own| own != *place)) {
                let label = match place {
                    Quarter::LeftFront => "It is left front",
                    Quarter::RightFront => "It is right front",
                    Quarter::LeftRear => "It is left rear",
                    Quarter::RightRear => "It is right rear",
                };
                all.push(Choice { quarter: Some(place), ..choice(label, Outcome::OtherQuarter) });
            }
            all.push(other("heat", "In heat"));
        }
        "heat" => {
            all.push(sure("Heat seen", "heat seen"));
            all.push(other("unclear", "Ill"));
        }
        "unclear" | "metabolic" | "gut" | "feet" | "fever" => {
            all.push(choice("It is so", Outcome::Confirmed));
            let others = [
                ("heat", "In heat"),
                ("udder", "Udder"),
                ("feet", "Feet or legs"),
                ("gut", "Off feed"),
                ("metabolic", "Short of energy"),
                ("fever", "Fever"),
            ];
            all.extend(others.iter().filter(|(own, _)| *own != cause).map(|(own, label)| other(own, label)));
        }
        "milk-meter" | "conductivity-probe" | "attachment" | "feed-dispenser" | "idle-fault" => {
            all.push(sure("Part changed or mended", "part changed or mended"));
            all.push(choice("It is so, not mended yet", Outcome::Confirmed));
        }
        _ => all.push(choice("It is so, and why is known", Outcome::Confirmed)),
    }
    all.push(choice("Nothing found", Outcome::Nothing));
    all.push(choice("Look again next round", Outcome::LookAgain));
    all
}
