//! How is each of these signals read, and what is assumed of it before the herd has told?
//!
//! Stated defaults, no published source unless named: scatter of a block, spread between cows, how far a cow's own standing
//! wanders. The herd's own scatter and memory replace the first as soon as there are readings ([`crate::causes::noise`]).

use crate::{expect::Signal, herd::Quarter};

/// On which scale a signal departs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Sums over time: departure = observed / expected − 1.
    Ratio,
    /// Sums over time that may be many times her own: departure = ln(observed / expected).
    Fold,
    /// Readings as they are: departure = observed − expected.
    Plain,
    /// Logarithms of readings: departure = ln observed − ln expected.
    Logged,
}

/// How one signal is read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Which.
    pub signal: Signal,
    /// Its scale.
    pub scale: Scale,
    /// Hours that are put together: as few as leave a reading that tells something by itself.
    pub block_h: f64,
    /// Scatter of one block, on its scale.
    pub noise: f64,
    /// Spread between cows of one stage, on the scale of the equation.
    pub between: f64,
    /// How far her own standing wanders, a square root of a day.
    pub drift: f64,
    /// It hangs on the hour of day.
    pub by_hour: bool,
    /// It is measured by a box.
    pub by_box: bool,
}

/// Every signal of this kind. Baselines of rumination 429 to 516 min a day with 40 to 60 within a cow (`sources.md` §4.2).
pub const WAYS: [Way; 13] = [
    way(Signal::Rumination, Scale::Ratio, 8.0, 0.15, 0.15, 0.010, true, false),
    way(Signal::Activity, Scale::Fold, 4.0, 0.25, 0.25, 0.012, true, false),
    way(Signal::Eating, Scale::Ratio, 8.0, 0.25, 0.18, 0.012, true, false),
    way(Signal::Lying, Scale::Ratio, 8.0, 0.22, 0.12, 0.010, true, false),
    way(Signal::Feed, Scale::Plain, 12.0, 0.10, 0.06, 0.005, false, true),
    way(Signal::Visits, Scale::Ratio, 24.0, 0.30, 0.25, 0.015, false, false),
    way(Signal::Weight, Scale::Ratio, 24.0, 0.010, 0.10, 0.0012, false, true),
    way(Signal::FatProtein, Scale::Plain, 24.0, 0.07, 0.10, 0.006, false, true),
    way(Signal::Lactose, Scale::Plain, 24.0, 0.05, 0.12, 0.005, false, true),
    way(Signal::MilkTemperature, Scale::Plain, 12.0, 0.20, 0.20, 0.010, false, true),
    way(Signal::Blood, Scale::Logged, 12.0, 0.60, 0.40, 0.020, false, true),
    way(Signal::Cells, Scale::Logged, 24.0, 0.40, 0.90, 0.040, false, true),
    way(Signal::Attaching, Scale::Logged, 24.0, 0.15, 0.20, 0.010, false, true),
];

/// Flow of the four quarters.
pub const FLOW: Way = way(Signal::Flow, Scale::Logged, 12.0, 0.10, 0.25, 0.008, false, true);

#[allow(clippy::too_many_arguments, reason = "the columns of a table")]
const fn way(
    signal: Signal,
    scale: Scale,
    block_h: f64,
    noise: f64,
    between: f64,
    drift: f64,
    by_hour: bool,
    by_box: bool,
) -> Way {
    Way { signal, scale, block_h, noise, between, drift, by_hour, by_box }
}

/// Places of signals and quarters in arrays.
pub(crate) const PLACES: usize = WAYS.len() + 4;

/// The place of a signal (and quarter); `None` for one that is not read this way.
pub(crate) fn place(signal: Signal, quarter: Option<Quarter>) -> Option<usize> {
    match (signal, quarter) {
        (Signal::Flow, Some(quarter)) => Some(WAYS.len() + quarter as usize),
        (_, None) => WAYS.iter().position(|way| way.signal == signal),
        _ => None,
    }
}

/// How the signal of a place is read, and of which quarter it is.
pub(crate) fn at(place: usize) -> (&'static Way, Option<Quarter>) {
    match WAYS.get(place) {
        Some(way) => (way, None),
        None => (&FLOW, Quarter::ALL.get(place - WAYS.len()).copied()),
    }
}

/// The way of a signal, if it is read this way.
pub fn of(signal: Signal) -> Option<&'static Way> {
    if signal == Signal::Flow { Some(&FLOW) } else { WAYS.iter().find(|way| way.signal == signal) }
}

/// What is added to both sides of a fold, share of what was expected: no count at all is a thirty-fourth, not nothing.
const FLOOR: f64 = 0.03;

impl Scale {
    /// How far `observed` departs from `expected`, on this scale; readings of [`Scale::Logged`] are logarithms already.
    pub(crate) fn departure(self, observed: f64, expected: f64) -> f64 {
        match self {
            Scale::Ratio => observed / expected.max(1e-9) - 1.0,
            Scale::Fold => ((observed + FLOOR * expected) / ((1.0 + FLOOR) * expected.max(1e-9))).ln(),
            Scale::Plain | Scale::Logged => observed - expected,
        }
    }

    /// Expected values multiply rather than add.
    pub(crate) fn multiplies(self) -> bool {
        matches!(self, Scale::Ratio | Scale::Fold)
    }
}
