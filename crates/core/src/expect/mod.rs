//! What should she have given, before this milking was seen?

pub mod curve;
mod least_squares;
pub mod secretion;

use jiff::Timestamp;

use crate::herd::{BoxKey, LifeKey, Quarter};

/// What is measured at a milking and judged against the cow's own expectation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// Milk of the whole udder, kg; judged on the log scale.
    Milk,
    /// One quarter's share of the milk, %; judged as a log-ratio to the other quarters.
    QuarterMilk,
    /// One quarter's conductivity, mS/cm; judged against the mean of her two lowest quarters.
    Conductivity,
    /// A quarter's cup kicked off: 1 or 0 against her habit.
    Kicks,
    /// Hours since her last milking against her habit.
    Interval,
}

/// One signal's departure from what was expected of it, after herd, box and cup effects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Departure {
    /// Which signal.
    pub signal: Signal,
    /// Which quarter, for signals of a quarter.
    pub quarter: Option<Quarter>,
    /// As measured, in the signal's unit, corrected for box and cup.
    pub observed: f64,
    /// What the held baseline expected, in the same unit.
    pub expected: f64,
    /// Half of the expected 95 % band below and above, in the same unit.
    pub low95: f64,
    /// Upper end of the 95 % band.
    pub high95: f64,
    /// Departure from the baseline in standard deviations of its forecast; milk below expectation is negative.
    pub z: f64,
    /// Departure from the baseline on the signal's own scale (log for milk and share, mS/cm, 1 or 0, log hours).
    pub gap: f64,
    /// Standard deviation of one reading's own noise on that scale.
    pub noise_sd: f64,
}

/// One milking beside what was expected before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Scored {
    /// Whose.
    pub life: LifeKey,
    /// Where.
    pub at_box: BoxKey,
    /// Entry.
    pub started_at: Timestamp,
    /// Exit.
    pub ended_at: Timestamp,
    /// Milk as measured, kg.
    pub observed_kg: Option<f64>,
    /// Mean forecast of a model that follows her, kg.
    pub expected_kg: f64,
    /// Lower end of the forecast's 95 % interval, kg.
    pub low95_kg: f64,
    /// Upper end, kg.
    pub high95_kg: f64,
    /// Forecast from before the suspected onset, kg; equals `expected_kg` while nothing is suspected.
    pub baseline_kg: f64,
    /// Outcome `milked`, and at least her third milking since calving.
    pub scored: bool,
    /// Every signal's departure that could be reckoned at this milking.
    pub departures: Vec<Departure>,
}
