//! How much milk has an udder made since it was last emptied?
//!
//! # Equation
//! g(h) = (1 − exp(−κ·h)) / κ,   dg/dh = exp(−κ·h),   g → h as κ → 0
//!   h  hours since her last milking    κ  slowing of secretion as the udder fills, 1/h    g  hours at her fresh rate, h
//! A rate of `a` kg/h in an empty udder gives a·g(h) kg. The form is exponential approach to a full udder; it is known to
//! be too steep at intervals of a day (`published.md` §2), where few milkings of a box fall.
//! # Source
//! κ from yields at two, three, four and one milkings a day: `published.md` §2, `references/kappa.csv` (derived).
//! # Proof
//! `g_of_h.csv` and `kappa.csv` to the printed digits.

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

/// Milk of a day at `milkings` equal intervals over that at two: n·g(24/n) / (2·g(12)).
pub fn daily_ratio(milkings: f64, kappa_per_h: f64) -> f64 {
    milkings * g(24.0 / milkings, kappa_per_h) / (2.0 * g(12.0, kappa_per_h))
}

/// The κ at which `daily_ratio(milkings, κ)` is `ratio`, by bisection to 1e-14, 1/h.
///
/// `None` where no κ between 1e-6 and 1 gives that ratio.
pub fn kappa_of(milkings: f64, ratio: f64) -> Option<f64> {
    let (mut low, mut high) = (1e-6_f64, 1.0_f64);
    let miss = |kappa: f64| daily_ratio(milkings, kappa) - ratio;
    let rising = miss(low) < miss(high);
    if miss(low) * miss(high) > 0.0 {
        return None;
    }
    while high - low > 1e-15 {
        let middle = 0.5 * (low + high);
        if middle <= low || high <= middle {
            break;
        }
        if (miss(middle) < 0.0) == rising {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

/// Centre and spread of the prior of κ for a herd that gives `yield_kg_day` at two milkings a day.
///
/// κ ≈ 1.6 / yield (`published.md` §2: 1.7 from three and four milkings a day, 1.5 from all); 95 % of published figures
/// lie in 0.02 to 0.09, that is a standard deviation of ln(0.09/0.02) / (2 · 1.96) = 0.384 of ln κ.
pub fn kappa_prior(yield_kg_day: f64) -> (f64, f64) {
    (1.6 / yield_kg_day.clamp(15.0, 60.0), 0.384)
}
