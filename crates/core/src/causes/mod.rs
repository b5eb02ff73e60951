//! Why does she differ?

use jiff::Timestamp;

use crate::{
    expect::Signal,
    herd::{BoxKey, LifeKey, Quarter},
};

/// Whom a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
pub enum Subject {
    /// One cow.
    Cow(LifeKey),
    /// One box.
    Box(BoxKey),
    /// The whole herd.
    Herd,
}

/// What may be behind a departure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// Nothing: she is as she was.
    Well,
    /// One quarter of the udder.
    Udder,
    /// Something is wrong; the signals do not say what.
    Unclear,
    /// Milk of the whole herd.
    HerdMilk,
}

impl Cause {
    /// The word of the contract.
    pub fn word(self) -> &'static str {
        match self {
            Cause::Well => "well",
            Cause::Udder => "udder",
            Cause::Unclear => "unclear",
            Cause::HerdMilk => "herd-milk",
        }
    }
}

/// How soon a person is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Urgency {
    /// Before anything else.
    Now,
    /// On today's walk.
    Today,
    /// Look when you pass.
    Watch,
}

/// One signal that speaks for (`weight` above 0) or against a finding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reason {
    /// Which signal.
    pub signal: Signal,
    /// Which quarter.
    pub quarter: Option<Quarter>,
    /// Its last or telling value, in the signal's unit.
    pub observed: f64,
    /// What was expected of it.
    pub expected: f64,
    /// Log-likelihood ratio against "well", natural units.
    pub weight: f64,
}

/// One subject, one cause, and how sure.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Whom it is about.
    pub subject: Subject,
    /// What may be behind it.
    pub cause: Cause,
    /// Which quarter, for `udder`.
    pub quarter: Option<Quarter>,
    /// Marginal probability that the cause holds now, 0 to 1.
    pub probability: f64,
    /// The other causes considered, likeliest first; may hold `Well`; need not add up to 1.
    pub others: Vec<(Cause, f64)>,
    /// How soon a person is needed.
    pub urgency: Urgency,
    /// Likeliest onset.
    pub since: Timestamp,
    /// The 90 % interval of the onset.
    pub since_between: (Timestamp, Timestamp),
    /// When the model first held her baseline for this episode: stays the same from the first to the last round of a call.
    pub episode: Timestamp,
    /// Expected cost saved by looking now, in the money of the cost table.
    pub worth: f64,
    /// Likeliest size of the departure, as a fraction of the template's severity 1.
    pub severity: f64,
    /// What speaks for and against, strongest first.
    pub reasons: Vec<Reason>,
}
