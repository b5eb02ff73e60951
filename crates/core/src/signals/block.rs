//! By how much does one block of a cow's readings depart?

use jiff::Timestamp;

use super::{
    Point,
    ways::{self, Scale, Way},
};
use crate::expect::Signal;

/// Share of a block that must be covered by bins.
const LEAST_COVERED: f64 = 0.4;

/// The readings of one block; none yet by default.
#[derive(Clone, Copy)]
pub(super) struct Block {
    pub from_ms: i64,
    pub to_ms: i64,
    pub observed: f64,
    pub expected: f64,
    pub weight: f64,
    pub readings: f64,
}

impl Default for Block {
    fn default() -> Block {
        Block { from_ms: i64::MAX, to_ms: i64::MIN, observed: 0.0, expected: 0.0, weight: 0.0, readings: 0.0 }
    }
}

impl Block {
    /// Its departure; nothing where too little of it was measured.
    pub fn point(&self, way: &Way, error: f64) -> Option<Point> {
        let covered = if way.by_hour { (self.weight / way.block_h).min(1.0) } else { 1.0 };
        if covered < LEAST_COVERED || self.weight <= 0.0 {
            return None;
        }
        // Visits are counted: the expected count of the block is a day's, as the block is a day.
        let (observed, expected) = if way.signal == Signal::Visits {
            (self.observed, self.expected / self.readings)
        } else {
            (self.observed / self.weight, self.expected / self.weight)
        };
        let gap = way.scale.departure(observed, expected);
        let shown = |value: f64| match way.signal {
            // What box and herd share is taken off first: none is expected to eat less than nothing.
            Signal::Feed => 100.0 * value.clamp(0.0, 1.0),
            Signal::Activity => 100.0 * value / expected.max(1e-9),
            _ if way.scale == Scale::Logged => value.exp(),
            _ => value,
        };
        gap.is_finite().then(|| Point {
            from: Timestamp::from_millisecond(self.from_ms).unwrap_or_default(),
            to: Timestamp::from_millisecond(self.to_ms).unwrap_or_default(),
            observed: shown(observed),
            expected: shown(expected),
            gap,
            noise_sd: way.noise / covered.sqrt(),
            error,
        })
    }
}

impl Point {
    /// Ends of the band in which nineteen of twenty such blocks lie, in the signal's unit.
    pub fn band(&self, signal: Signal) -> (f64, f64) {
        let Some(way) = ways::of(signal) else { return (self.expected, self.expected) };
        let reach = 1.96 * self.noise_sd.hypot(self.error);
        match way.scale {
            Scale::Ratio => (self.expected * (1.0 - reach).max(0.0), self.expected * (1.0 + reach)),
            Scale::Fold | Scale::Logged => (self.expected * (-reach).exp(), self.expected * reach.exp()),
            Scale::Plain if signal == Signal::Feed => {
                ((self.expected - 100.0 * reach).max(0.0), (self.expected + 100.0 * reach).min(100.0))
            }
            Scale::Plain => (self.expected - reach, self.expected + reach),
        }
    }
}
