//! On which of the days that were learned from was she probably in heat?
//!
//! # Equation
//! P(day) = σ(ln(1/20) + ln N(x; μ, √(s² + σ²)) − ln(0.97·N(x; 0, σ) + 0.03·N(x; 0, 2σ)))
//!   x  logarithm of her day's activity less her middle day's    σ  scatter of days within cows
//!   μ, s  a heat's rise of the day's mean
//! Two days side by side are one heat: 1 − (1 − P₁)(1 − P₂), at the likelier.
//! # Source
//! Length 8 to 16 h, activity two to four times her own: `sources.md` §4.3. μ is derived from the lower end of both, eight to
//! ten hours at twice her own, for midnight cuts most heats in two; its spread and the share of odd days: stated defaults.

use serde::{Deserialize, Serialize};

/// Days between heats: one day in so many is one.
const ONE_DAY_IN: f64 = 20.0;
/// Rise of the day's mean on the day of a heat, logarithm, and its spread.
const RISE: (f64, f64) = (0.35, 0.20);
/// Chance from which a heat is remembered.
const KEPT_FROM: f64 = 0.3;

/// A day on which she was probably in heat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PastHeat {
    /// Middle of it, ms since the epoch.
    pub at_ms: i64,
    /// How sure that is, 0 to 1.
    pub chance: f32,
}

/// The last of her days, each (days since the epoch, its departure from her middle day), on which she was probably in heat;
/// `within` is the scatter of days.
pub(crate) fn last(days: &[(i64, f64)], within: f64) -> Option<PastHeat> {
    let density = |x: f64, mean: f64, sd: f64| (-0.5 * ((x - mean) / sd).powi(2)).exp() / sd;
    let chance = |x: f64| {
        // Far above a heat's rise it tells no more than a heat's rise.
        let x = x.min(RISE.0 + RISE.1);
        let heat = density(x, RISE.0, RISE.1.hypot(within)) / ONE_DAY_IN;
        let other = 0.97 * density(x, 0.0, within) + 0.03 * density(x, 0.0, 2.0 * within);
        heat / (heat + other)
    };
    let chances: Vec<f64> = days.iter().map(|(_, x)| chance(*x)).collect();
    (0..days.len()).rev().find_map(|index| {
        let beside = [index.checked_sub(1), Some(index + 1)]
            .into_iter()
            .flatten()
            .filter(|other| days.get(*other).is_some_and(|(day, _)| (day - days[index].0).abs() == 1))
            .map(|other| chances[other])
            .fold(0.0, f64::max);
        let both = 1.0 - (1.0 - chances[index]) * (1.0 - beside);
        (beside <= chances[index] && KEPT_FROM <= both)
            .then(|| PastHeat { at_ms: days[index].0 * 86_400_000 + 43_200_000, chance: both as f32 })
    })
}

#[cfg(test)]
mod tests;
