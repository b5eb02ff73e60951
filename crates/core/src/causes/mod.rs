//! Why does she differ?
//!
//! # Equation
//! For a cow with departures x of the last 10 days and a cause c with template μ_c (natural units at severity 1):
//!
//! w_c = Σ_q Σ_o Σ_p Σ_s rate_c · Δo · P(q) · P(p) · P(s) · exp(λ · Σ_i ln Σ_m P_i(m) · LR_i(x_i | o, p, s·m, q))
//! P(c | x) = w_c / (1 + Σ w)
//!
//!   o  onset, on a grid of cells Δo days wide    q  quarter    p  pace (the course stretched in time)    s  severity
//!   m  how strongly signal i takes part in this case (some udder cases have next to no rise of conductivity)
//!   LR_i  likelihood of one signal's readings under the course against "well": AR(1) from milking to milking, Student-t
//!         innovations, the error of a held baseline shared by the readings it was held for
//!   λ  discount for signals that wander together, below 1 the more signals carry the evidence
//!
//! Two causes may hold at once: where one is likelier than not, its likeliest course is taken off the readings and the others
//! are weighed on what is left; P(b) = P(b | x) + P(a | x) · P(b | x less a).
//! Signals without a reading are left out of the sum: missing is not zero. A template whose cause is `Well` (a passing
//! dip) adds to "well". Causes and signals are rows of [`templates`]; nothing else changes when one is added.
//! # Source
//! Courses: `sources.md`, "courses of illness"; each course names its own or says it is a stated default. Rates: [`priors`].
//! Costs: [`worth`].
//! # Proof
//! `causes/tests`: false calls, cases called and calibration on departures of another shape than the templates.
//! # Not here
//! What she should have given: [`crate::expect`]. The words: [`crate::say`].

mod absent;
pub mod boxes;
mod calibrated;
pub mod costs;
mod digits;
mod gate;
pub mod grid;
pub mod herd_milk;
pub mod judge;
mod lanes;
mod layers;
pub mod learned;
mod likelihood;
pub mod noise;
pub mod priors;
mod registers;
mod series;
pub mod templates;
#[cfg(test)]
mod tests;
mod weigh;
mod well;
pub mod worth;

pub use absent::{Absence, HerdGaps, away_h, judge_absent};
pub use boxes::judge_boxes;
pub use herd_milk::{judge_herd, judge_intake};
pub use judge::{CowCourse, judge_cow};
pub use noise::{Noise, SignalNoise};
pub use priors::{Background, Rates};
pub use series::MEAN_FROM_H;
pub use worth::{Cost, Settings, cut};

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
    /// In heat.
    Heat,
    /// Short of energy after calving.
    Metabolic,
    /// Rumen, stomachs or gut.
    Gut,
    /// Feet or legs.
    Feet,
    /// Ill all over: dull, warm, off feed, no one organ.
    Fever,
    /// Something is wrong; the signals do not say what.
    Unclear,
    /// A box's milk meter.
    MilkMeter,
    /// A conductivity probe of one cup of a box.
    ConductivityProbe,
    /// A cup of a box that does not attach.
    Attachment,
    /// A box's feed dispenser.
    FeedDispenser,
    /// A box that stood still and did not say so.
    IdleFault,
    /// Milk of the whole herd.
    HerdMilk,
    /// Feed intake and rumination of the whole herd.
    HerdIntake,
}

impl Cause {
    /// Every cause that can be called, cows' first, then boxes', then the herd's.
    pub const ALL: [Cause; 14] = [
        Cause::Udder,
        Cause::Heat,
        Cause::Metabolic,
        Cause::Gut,
        Cause::Feet,
        Cause::Fever,
        Cause::Unclear,
        Cause::MilkMeter,
        Cause::ConductivityProbe,
        Cause::Attachment,
        Cause::FeedDispenser,
        Cause::IdleFault,
        Cause::HerdMilk,
        Cause::HerdIntake,
    ];

    /// The word of the contract.
    pub fn word(self) -> &'static str {
        match self {
            Cause::Well => "well",
            Cause::Udder => "udder",
            Cause::Heat => "heat",
            Cause::Metabolic => "metabolic",
            Cause::Gut => "gut",
            Cause::Feet => "feet",
            Cause::Fever => "fever",
            Cause::Unclear => "unclear",
            Cause::MilkMeter => "milk-meter",
            Cause::ConductivityProbe => "conductivity-probe",
            Cause::Attachment => "attachment",
            Cause::FeedDispenser => "feed-dispenser",
            Cause::IdleFault => "idle-fault",
            Cause::HerdMilk => "herd-milk",
            Cause::HerdIntake => "herd-intake",
        }
    }

    /// From the word of the contract.
    pub fn from_word(word: &str) -> Option<Cause> {
        Cause::ALL.into_iter().find(|cause| cause.word() == word)
    }

    /// An illness of a cow: not heat, which needs a person too.
    pub fn is_illness(self) -> bool {
        matches!(
            self,
            Cause::Udder | Cause::Metabolic | Cause::Gut | Cause::Feet | Cause::Fever | Cause::Unclear
        )
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
    /// Its last telling value, in the signal's unit; its mean since the onset where that is [`MEAN_FROM_H`] ago and more.
    pub observed: f64,
    /// What was expected of it, likewise.
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
    /// The first milking that spoke of it: stays the same from the first to the last round of a call.
    pub episode: Timestamp,
    /// Expected cost saved by looking now, in the money of the cost table.
    pub worth: f64,
    /// Likeliest size of the departure, as a fraction of the template's severity 1.
    pub severity: f64,
    /// What speaks for and against, strongest first.
    pub reasons: Vec<Reason>,
}
