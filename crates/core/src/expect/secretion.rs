//! How much milk gathers in a given time, when secretion slows as the udder fills?
//!
//! # Equation
//! milk = a · g(h),   g(h) = (1 − e^(−κ·h)) / κ   (κ = 0: g(h) = h)
//!   a  secretion rate of an empty udder, kg/h    h  hours since the last milking    g  "hours' worth", h
//!   κ  slowing of secretion as the udder fills, 1/h
//! n equal intervals a day give M(n) = n · a · g(24/n), so M(n)/M(2) does not hold a, and a trial that compares
//! frequencies or intervals tells κ. Any such ratio runs one way in κ, from 1 (κ = 0) towards the ratio of the
//! intervals (κ → ∞): bisection finds the only root.
//! # Source
//! `docs/sources.md`, "milking interval and frequency": Erdman & Varner, J Dairy Sci 78:1199, 1995, and four trials.
//! # Proof
//! `cases/secretion.csv` against roots found in 40 digits.
//! # Not here
//! That one exponential overstates what very long intervals cost (`docs/sources.md`): the model of her milk may bend it.

use super::root::bisect;

/// Hours of secretion at the fresh rate that `interval_h` hours are worth, h. Errors: none; negative hours count as 0.
pub fn g(interval_h: f64, kappa_per_h: f64) -> f64 {
    let hours = interval_h.max(0.0);
    let fill = kappa_per_h * hours;
    if fill.abs() < 1e-8 { hours * (1.0 - 0.5 * fill) } else { -(-fill).exp_m1() / kappa_per_h }
}

/// Share of the fresh rate left after `interval_h` hours: exp(−κ·h).
pub fn rate_left(interval_h: f64, kappa_per_h: f64) -> f64 {
    (-kappa_per_h * interval_h.max(0.0)).exp()
}

/// Milkings a day that trials of milking frequency compare others with.
const MILKINGS_A_DAY_OF_TRIALS: f64 = 2.0;

/// Milk a day at intervals `to_h` over milk a day at intervals `from_h`, for a given κ.
pub fn daily_yield_ratio(kappa_per_h: f64, from_h: f64, to_h: f64) -> f64 {
    (g(to_h, kappa_per_h) / to_h) / (g(from_h, kappa_per_h) / from_h)
}

/// κ, 1/h, from the milk a day gained (or lost, negative) by `milkings_a_day` equal intervals against two.
///
/// `None` where no κ gives it: no difference, a difference of the wrong sign, or more than the intervals' ratio allows.
pub fn kappa_from_frequencies(yield_2x_kg: f64, milkings_a_day: f64, difference_kg: f64) -> Option<f64> {
    kappa_from_ratio(
        24.0 / MILKINGS_A_DAY_OF_TRIALS,
        24.0 / milkings_a_day,
        1.0 + difference_kg / yield_2x_kg,
    )
}

/// κ, 1/h, from the ratio of milk a day when all intervals change from `interval_from_h` to `interval_to_h`.
///
/// `None` where no κ above 0 gives it; the ratio must lie between 1 and `interval_from_h / interval_to_h`.
pub fn kappa_from_ratio(interval_from_h: f64, interval_to_h: f64, yield_ratio: f64) -> Option<f64> {
    let sound = [interval_from_h, interval_to_h, yield_ratio].iter().all(|x| x.is_finite() && *x > 0.0);
    if !sound {
        return None;
    }
    let limit = interval_from_h / interval_to_h;
    let between = (1.0 < yield_ratio && yield_ratio < limit) || (limit < yield_ratio && yield_ratio < 1.0);
    if !between {
        return None;
    }
    let short_of_it =
        |kappa: f64| (daily_yield_ratio(kappa, interval_from_h, interval_to_h) - yield_ratio) * (limit - 1.0);
    // κ so small that the ratio is 1 to rounding, and so large that the udder is full within minutes.
    bisect(short_of_it, 1e-9, 1e3)
}

/// κ, 1/h, that fits several frequencies at once: least squares of the differences in kg.
///
/// `responses` are (milkings a day, milk a day against two milkings, kg). `None` without responses, or where the best
/// κ lies outside 0.003 to 0.3 per hour, which no udder has shown.
pub fn kappa_from_responses(yield_2x_kg: f64, responses: &[(f64, f64)]) -> Option<f64> {
    if responses.is_empty() || !yield_2x_kg.is_finite() || yield_2x_kg <= 0.0 {
        return None;
    }
    let slope = |kappa: f64| -> f64 {
        responses
            .iter()
            .map(|&(milkings, difference_kg)| {
                let to_h = 24.0 / milkings;
                let ratio = daily_yield_ratio(kappa, 12.0, to_h);
                let change = ratio * (log_slope(kappa, to_h) - log_slope(kappa, 12.0));
                2.0 * yield_2x_kg * change * (yield_2x_kg * (ratio - 1.0) - difference_kg)
            })
            .sum()
    };
    bisect(slope, 0.003, 0.3)
}

/// d ln g / d κ at an interval, h: negative, since a faster slowing leaves less milk.
fn log_slope(kappa_per_h: f64, interval_h: f64) -> f64 {
    let end = rate_left(interval_h, kappa_per_h);
    interval_h * end / (1.0 - end) - 1.0 / kappa_per_h
}

/// Centre and spread of the prior of κ for a herd that gives `yield_kg_day` at two milkings a day.
///
/// κ ≈ 1.6 / yield (`sources.md` §2: 1.7 from three and four milkings a day, 1.5 from all); 95 % of published figures
/// lie in 0.02 to 0.09, that is a standard deviation of ln(0.09/0.02) / (2 · 1.96) = 0.384 of ln κ.
pub fn kappa_prior(yield_kg_day: f64) -> (f64, f64) {
    (1.6 / yield_kg_day.clamp(15.0, 60.0), 0.384)
}
