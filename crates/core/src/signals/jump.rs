//! Do a sensor's readings lie on another scale since some day: another unit, another sensor, another setting?
//!
//! # Rule
//! The days before a time are cut into blocks of 24 hours that end there; of each block the middle reading counts. A jump is a
//! split with at least three blocks before it, where all blocks after it lie beyond the middle (of the logarithms) between
//! the two sides and all before it on this side of it, and the two sides are at least `least` times apart. Of several splits
//! the one with the widest step is it. `least` is what no herd's middle does within two weeks whatever happens to it: a stated
//! default for each signal, no published source.
//! # Not here
//! Whether the herd is well. A herd's own ups and downs are far smaller than what is told here ([`crate::causes`]).

use crate::middle::median_of;

/// Blocks that must lie before a jump.
const BEFORE: usize = 3;

/// Readings that lie on another scale than before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Jump {
    /// First block of the new scale, counted among those that were given.
    pub block: usize,
    /// Middle of the blocks before, in the signal's unit.
    pub before: f64,
    /// Middle of the blocks since.
    pub since: f64,
}

impl Jump {
    /// How many times what it was.
    pub fn times(&self) -> f64 {
        self.since / self.before
    }

    /// A change of unit that would explain it within 3 %.
    pub fn unit(&self) -> Option<Unit> {
        let times = self.times();
        UNITS.into_iter().find(|(factor, _)| (times / factor).ln().abs() < 0.03).map(|(_, unit)| unit)
    }
}

/// A change of unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Pounds where kilograms stood.
    Pounds,
    /// Kilograms where pounds stood.
    Kilograms,
    /// Hours where minutes stood.
    Hours,
    /// Minutes where hours stood.
    Minutes,
    /// Grams where kilograms stood, or a thousand times in another way.
    Thousandfold,
    /// A thousandth.
    Thousandth,
    /// The sign of decimals moved by a place or two.
    Decimals,
}

/// Factors of units (exact by definition: 1 lb = 0.45359237 kg).
const UNITS: [(f64, Unit); 10] = [
    (1.0 / 0.453_592_37, Unit::Pounds),
    (0.453_592_37, Unit::Kilograms),
    (1.0 / 60.0, Unit::Hours),
    (60.0, Unit::Minutes),
    (1000.0, Unit::Thousandfold),
    (0.001, Unit::Thousandth),
    (10.0, Unit::Decimals),
    (100.0, Unit::Decimals),
    (0.1, Unit::Decimals),
    (0.01, Unit::Decimals),
];

/// The jump of a series of blocks, oldest first; `None` is a block without readings, or with too few to count. Values are
/// positive; `least` is the factor, above 1, from which a step is told; `after` how many blocks must lie behind it.
pub fn jump(blocks: &[Option<f64>], least: f64, after: usize) -> Option<Jump> {
    let told: Vec<(usize, f64)> = blocks
        .iter()
        .enumerate()
        .filter_map(|(at, middle)| Some((at, middle.filter(|middle| 0.0 < *middle)?.ln())))
        .collect();
    let last = told.len().checked_sub(after.max(1))?;
    let mut widest: Option<(f64, Jump)> = None;
    for split in BEFORE..=last {
        let (early, late) = told.split_at(split);
        let (before, since) =
            (median_of(early.iter().map(|one| one.1)), median_of(late.iter().map(|one| one.1)));
        let (step, middle) = (since - before, 0.5 * (since + before));
        let apart = early.iter().all(|one| 0.0 < (middle - one.1) * step)
            && late.iter().all(|one| 0.0 < (one.1 - middle) * step);
        if least.ln() <= step.abs() && apart && widest.is_none_or(|(own, _)| own < step.abs()) {
            let jump = Jump { block: late[0].0, before: before.exp(), since: since.exp() };
            widest = Some((step.abs(), jump));
        }
    }
    widest.map(|(_, jump)| jump)
}

#[cfg(test)]
mod tests;
