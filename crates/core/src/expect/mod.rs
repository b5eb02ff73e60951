//! What should she have given, before this milking was seen?
//!
//! # Equation
//! y = exp(level) · g(h) + carried,   g(h) = (1 − exp(−κ·h)) / κ
//!   y  milk of one milking, kg    h  hours since her last milking    level  log of her secretion rate, log(kg/h)
//!   κ  slowing of secretion as the udder fills, 1/h (the herd's)     carried  kg an incomplete milking left behind
//! [`Herd`] takes visits in order of time. Each is judged by what was taken before it and then learned from: first the
//! herd's effect, then the box's and its cups', then the cow's own level, her quarters, her habits. `expected` follows
//! her; `baseline` is held from before the onset while there is evidence of a change, and moves only along the curve.
//! # Source
//! κ and curves: `sources.md` §2 and §3; each file names its own.
//! # Proof
//! `tests/expect_laws.rs` (laws, truth-known herds), `examples/milkman.rs` (real milkings), `examples/expect_speed.rs`.
//! # Not here
//! Why she differs: [`crate::causes`].

mod baseline;
mod box_bins;
mod conductivity;
mod cow;
pub mod curve;
mod filter;
mod fit;
mod fit_curves;
mod fit_habits;
mod habits;
mod herd;
mod milk;
mod parameters;
mod quarters;
mod root;
pub mod secretion;
mod split;
mod trouble;

use jiff::Timestamp;

pub(crate) use box_bins::BIN_MS;
pub use box_bins::{BoxBin, Sum};
pub use cow::Settled;
pub use fit::{Fitted, Interval, SampleMilking, Two, fit, fit_by_twos};
pub use herd::{Herd, HerdPoint};
pub use parameters::{Habit, Parameters, Slow, parity_class};
pub(crate) use trouble::Trouble;

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
    /// Minutes of rumination a day.
    Rumination,
    /// Movement by her tag's own unit, % of her own; steps where there is no activity.
    Activity,
    /// Minutes of eating a day.
    Eating,
    /// Minutes of lying a day.
    Lying,
    /// Concentrate eaten of that offered in the box, %.
    Feed,
    /// Visits to a box a day, whatever came of them.
    Visits,
    /// Weight, kg.
    Weight,
    /// Fat over protein of the milk.
    FatProtein,
    /// Lactose of the milk, %.
    Lactose,
    /// Milk temperature, °C.
    MilkTemperature,
    /// Blood in the milk, ppm.
    Blood,
    /// Somatic cells of the milk, thousand/mL.
    Cells,
    /// Mean flow of one quarter, kg/min.
    Flow,
    /// Seconds from entry until the first cup is on.
    Attaching,
}

impl Signal {
    /// Every signal there is.
    pub const ALL: [Signal; 19] = [
        Signal::Milk,
        Signal::QuarterMilk,
        Signal::Conductivity,
        Signal::Kicks,
        Signal::Interval,
        Signal::Rumination,
        Signal::Activity,
        Signal::Eating,
        Signal::Lying,
        Signal::Feed,
        Signal::Visits,
        Signal::Weight,
        Signal::FatProtein,
        Signal::Lactose,
        Signal::MilkTemperature,
        Signal::Blood,
        Signal::Cells,
        Signal::Flow,
        Signal::Attaching,
    ];
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

impl Scored {
    /// One to be written into by [`Herd::take_into`].
    pub fn empty() -> Scored {
        Scored {
            life: LifeKey(0),
            at_box: BoxKey(0),
            started_at: Timestamp::UNIX_EPOCH,
            ended_at: Timestamp::UNIX_EPOCH,
            observed_kg: None,
            expected_kg: 0.0,
            low95_kg: 0.0,
            high95_kg: 0.0,
            baseline_kg: 0.0,
            scored: false,
            departures: Vec::with_capacity(16),
        }
    }
}
