//! Who needs a person now: the round as one struct, shown by `cli/round.rs` and `web/round.rs`.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{herd::LifeKey, say::summary::Counts};
use serde::Serialize;

use super::lanes::Lanes;

/// The round at a time. Its JSON is the contract's; fields beyond it are additions.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Round {
    /// Name of the farm.
    pub farm: String,
    /// The time it was made for, RFC 3339 in the farm's zone.
    pub at: String,
    /// The same in words: `Tuesday 3 March, 05:30`.
    pub at_words: String,
    /// Time of the newest row it knew, in words.
    pub last_row_words: String,
    /// Which model with which fitted parameters.
    pub model: String,
    /// One sentence on the whole: `Six things to look at. Nothing seen on 118 cows; 3 are too new to judge.`
    pub summary: String,
    /// What needs a person, most worth first.
    pub calls: Vec<RoundCall>,
    /// The same calls by where one walks: place, then places in `calls`.
    pub places: Vec<Place>,
    /// Calls somebody has looked at and need nobody now: places in `calls`; they stand in no place of the walk.
    pub looked_at: Vec<usize>,
    /// Urgent calls of the last days that no longer stand in the round and that nobody answered, and those to be looked
    /// at again.
    pub open: Vec<OpenCall>,
    /// How many of each the summary tells.
    #[serde(skip)]
    pub counts: Counts,
    /// Who needs nobody, and who could not be judged.
    pub quiet: Quiet,
    /// Cows without a row for longer than their habit, and cows in milk without one: they are looked for.
    #[serde(skip)]
    pub away: BTreeSet<LifeKey>,
    /// Factors of the stated rates it was made with, by word of the cause: what was learned here. Said in `model`.
    #[serde(skip)]
    pub learned: BTreeMap<&'static str, f64>,
    /// What the reader should know before trusting it: no rows for hours, no model yet.
    pub notes: Vec<String>,
}

impl Round {
    /// A short mark of all a program is told of the round: another one whenever any of it has changed.
    pub fn mark(&self) -> String {
        let text = serde_json::to_vec(self).unwrap_or_default();
        format!("{:016x}", fnv(&text))
    }
}

/// FNV-1a, 64 bits. It tells two versions of a text apart and protects nothing.
pub const fn fnv(bytes: &[u8]) -> u64 {
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    let mut index = 0;
    while index < bytes.len() {
        hash = (hash ^ bytes[index] as u64).wrapping_mul(0x0000_0100_0000_01b3);
        index += 1;
    }
    hash
}

/// One place of the walk.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Place {
    /// `Pen 2`, `Box 1`, `Herd`.
    pub name: String,
    /// Which of the round's calls belong here, in walking order.
    pub calls: Vec<usize>,
}

/// One sentence of the round with what stands behind it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoundCall {
    /// Stays the same from the call's first to its last round.
    pub id: String,
    /// `cow`, `box` or `herd`.
    pub subject: &'static str,
    /// Herd number of the cow.
    pub animal: Option<String>,
    /// Name of the box.
    #[serde(rename = "box")]
    pub box_name: Option<String>,
    /// `LF RF LR RR`.
    pub quarter: Option<&'static str>,
    /// The cause's word.
    pub cause: &'static str,
    /// Marginal probability, 0 to 1.
    pub probability: f64,
    /// Other causes considered.
    pub others: Vec<Other>,
    /// `now`, `today`, `watch`.
    pub urgency: &'static str,
    /// Onset, RFC 3339 in the farm's zone.
    pub since: String,
    /// `214: left rear looks inflamed, 93 % sure.`
    pub sentence: String,
    /// The sentence without the subject, for pages that set it large.
    #[serde(skip)]
    pub says: String,
    /// What to do.
    #[serde(rename = "do")]
    pub action: String,
    /// The soft line: since when, which milkings may be in the tank, what was seen.
    pub why: String,
    /// Other causes and what would decide, in words.
    pub others_words: String,
    /// Cautions this call carries.
    pub cautions: Vec<String>,
    /// What speaks for and against, strongest first.
    pub reasons: Vec<RoundReason>,
    /// Expected cost saved by looking now, in the farm's money.
    pub worth: f64,
    /// Where one walks to see her.
    pub place: String,
    /// What a person found, if somebody looked.
    pub found: Option<Answer>,
    /// Why she is asked after: first called then and not answered, or nothing was found and it has gone on; else empty.
    pub asked: String,
    /// Her earlier calls and what they turned out to be, newest first.
    pub past: Vec<PastCall>,
    /// The picture of evidence, ten days.
    #[serde(skip)]
    pub lanes: Option<Lanes>,
}

/// What a person found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// Its number.
    pub id: i64,
    /// Identity of the call.
    pub call: String,
    /// `confirmed`, `other-cause`, `other-quarter`, `nothing`, `look-again`.
    pub outcome: &'static str,
    /// The cause that it was, where it was another.
    pub cause: Option<String>,
    /// The quarter, where it was said.
    pub quarter: Option<String>,
    /// A word or two on what was seen.
    pub sign: Option<String>,
    /// In her own words.
    pub note: Option<String>,
    /// Who looked.
    pub by: Option<String>,
    /// When, RFC 3339 in the farm's zone.
    pub at: String,
    /// In words: `Found today 05:50: nothing found.`
    pub words: String,
    /// It was taken back.
    pub taken_back: bool,
}

/// A call that waits for an answer though it no longer stands in the round.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OpenCall {
    /// Its identity.
    pub id: String,
    /// Herd number of the cow.
    pub animal: Option<String>,
    /// The cause's word.
    pub cause: String,
    /// `LF RF LR RR`.
    pub quarter: Option<String>,
    /// As it was shown last.
    pub sentence: String,
    /// Where one walks to see her.
    pub place: String,
    /// Since when it waits.
    pub asked: String,
}

/// An earlier call of a cow and what it turned out to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PastCall {
    /// Its identity.
    pub id: String,
    /// When it was first shown, in words.
    pub when: String,
    /// As it was shown last.
    pub sentence: String,
    /// What was found; empty where nobody said.
    pub found: String,
}

/// Another cause considered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Other {
    /// The cause's word, or `well`.
    pub cause: &'static str,
    /// Its probability.
    pub probability: f64,
}

/// One signal's weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoundReason {
    /// The signal's word.
    pub signal: &'static str,
    /// `LF RF LR RR`.
    pub quarter: Option<&'static str>,
    /// Value, metric.
    pub observed: f64,
    /// Expectation, metric.
    pub expected: f64,
    /// Metric unit.
    pub unit: &'static str,
    /// Log-likelihood ratio, natural units.
    pub weight: f64,
    /// `left rear conductivity`.
    pub name_words: String,
    /// `7.1, usually 5.2 mS/cm` in the farm's units.
    pub value_words: String,
}

/// Who needs nobody.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Quiet {
    /// Cows judged and not called.
    pub cows: usize,
    /// Cows that could not be judged, with why.
    pub not_judged: Vec<NotJudged>,
}

/// A cow that could not be judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NotJudged {
    /// Herd number.
    pub animal: String,
    /// Why.
    pub why: String,
}
