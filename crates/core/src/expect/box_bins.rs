//! What did each box read against what its cows' own levels expected, six hours by six hours?
//!
//! # Equation
//! x = ln(milk) − curve − ln g(h) − rhythm − herd − cow      of one milking, the box's own effect left in
//! bin: Σ w·x / Σ w,  variance 1 / Σ w,   w = Student-t weight / (var(cow) + var(noise))
//! Conductivity likewise, by cup: quarter above the mean of her two lowest, less her habit, the cup's own effect left in.
//! A bin is of rows alone and is never changed once it is over, so that whoever looks later sees what could be seen then.
//! # Not here
//! What a slow effect makes of it, by which cows are corrected: [`super::split`]. Whether a box is off: [`crate::causes`].

use std::collections::VecDeque;

/// Length of a bin, ms: six hours, counted from the epoch.
pub(crate) const BIN_MS: i64 = 6 * 3_600_000;
/// Bins kept: forty days.
const KEPT: usize = 160;

/// A weighted sum of readings.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct Sum {
    /// Σ w.
    pub weight: f64,
    /// Σ w·x.
    pub value: f64,
    /// How many.
    pub readings: u32,
}

impl Sum {
    fn add(&mut self, value: f64, var: f64) {
        let weight = 1.0 / var;
        if value.is_finite() && weight.is_finite() && 0.0 < weight {
            self.weight += weight;
            self.value += weight * value;
            self.readings += 1;
        }
    }

    /// Mean, and its variance; `None` of nothing.
    pub fn mean(&self) -> Option<(f64, f64)> {
        (0.0 < self.weight).then(|| (self.value / self.weight, 1.0 / self.weight))
    }
}

/// Six hours of a box.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct BoxBin {
    /// When it began, ms since the epoch.
    pub from_ms: i64,
    /// Milk against the cows' own levels and the herd's, log.
    pub milk: Sum,
    /// The same with the herd's effect left in: against the cows' own levels alone.
    pub with_herd: Sum,
    /// Conductivity by cup against the quarters' habits, mS/cm.
    pub cups: [Sum; 4],
}

/// The last forty days of a box, oldest first.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct BoxBins(VecDeque<BoxBin>);

impl BoxBins {
    /// Oldest first; the last one may not be over.
    pub(crate) fn bins(&self) -> impl Iterator<Item = &BoxBin> {
        self.0.iter()
    }

    /// A milking's milk: its departure without the box's effect taken off, the herd's effect, and its variance.
    pub(crate) fn note_milk(&mut self, at_ms: i64, departure: f64, herd: f64, var: f64) {
        if let Some(bin) = self.at(at_ms) {
            bin.milk.add(departure, var);
            bin.with_herd.add(departure + herd, var);
        }
    }

    /// A quarter's conductivity, likewise.
    pub(crate) fn note_cup(&mut self, at_ms: i64, cup: usize, departure: f64, var: f64) {
        if let Some(sum) = self.at(at_ms).and_then(|bin| bin.cups.get_mut(cup)) {
            sum.add(departure, var);
        }
    }

    /// Milkings come in the order they ended, so that the bin is the last one or a new one.
    fn at(&mut self, at_ms: i64) -> Option<&mut BoxBin> {
        let from_ms = at_ms.div_euclid(BIN_MS) * BIN_MS;
        if self.0.back().is_none_or(|last| last.from_ms < from_ms) {
            if KEPT <= self.0.len() {
                self.0.pop_front();
            }
            self.0.push_back(BoxBin { from_ms, ..BoxBin::default() });
        }
        self.0.back_mut()
    }
}
