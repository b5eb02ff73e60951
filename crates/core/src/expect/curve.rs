//! What course does milk take over a lactation?
//!
//! # Equation
//! Wood: y = a · d^b · e^(−c·d), peak on day b/c at a · (b/c)^b · e^(−b).   Wilmink: y = a + b · e^(−0.05·d) + c · d.
//!   y  milk a day, kg (or any yield)    d  days since calving (or any unit of time, then c is per that unit)
//! Wood is fitted by least squares of the yields (Levenberg–Marquardt on ln a, b, c) or of their logs; the two have different estimands, since in logs the small yields dominate. Wilmink
//! is linear once 0.05 is fixed.
//! # Source
//! Wood, Nature 216:164, 1967; Wilmink, Livest Prod Sci 16:335, 1987; Marquardt, J SIAM 11:431, 1963.
//! # Proof
//! `cases/curve.csv`: daily fat yield of one cow over 35 weeks, fits to 1e-8 of the reference program's.
//! # Not here
//! What she should give today: the level that follows her, [`crate::expect`].

pub(crate) use super::least_squares::least_squares;
use super::least_squares::{Row, refined};

/// A lactation by Wood's curve: y = a · d^b · e^(−c·d).
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Wood {
    /// Scale, kg a day.
    pub a: f64,
    /// Rise to the peak, no unit.
    pub b: f64,
    /// Fall after it, 1/day.
    pub c: f64,
}

impl Wood {
    /// Yield on a day after calving, kg; `day` above 0.
    pub fn value(&self, day: f64) -> f64 {
        self.a * (self.b * day.ln() - self.c * day).exp()
    }
    /// Change of the yield a day, kg a day a day; `day` above 0.
    pub fn slope(&self, day: f64) -> f64 {
        self.value(day) * (self.b / day - self.c)
    }
    /// Natural logarithm of the yield. The day counts as at least one: Wood's curve starts from nothing, a cow does not.
    pub fn log_value(&self, day: f64) -> f64 {
        let day = day.max(1.0);
        self.a.ln() + self.b * day.ln() - self.c * day
    }
    /// Day of the peak, b/c; `None` for a curve that has none (b or c not above 0).
    pub fn peak_day(&self) -> Option<f64> {
        (0.0 < self.b && 0.0 < self.c).then(|| self.b / self.c)
    }
    /// Yield at the peak, kg.
    pub fn peak(&self) -> Option<f64> {
        self.peak_day().map(|day| self.value(day))
    }
}

/// A lactation by Wilmink's curve: y = a + b · e^(−0.05·d) + c · d.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Wilmink {
    /// Level, kg a day.
    pub a: f64,
    /// What is missing on the day of calving, kg a day; negative for a rise.
    pub b: f64,
    /// Slope after the peak, kg a day a day; negative for a fall.
    pub c: f64,
}

/// How fast Wilmink's early term goes, 1/day.
pub const WILMINK_RISE_PER_DAY: f64 = 0.05;

impl Wilmink {
    /// Yield on a day after calving, kg.
    pub fn value(&self, day: f64) -> f64 {
        self.a + self.b * (-WILMINK_RISE_PER_DAY * day).exp() + self.c * day
    }
    /// Change of the yield a day, kg a day a day.
    pub fn slope(&self, day: f64) -> f64 {
        self.c - WILMINK_RISE_PER_DAY * self.b * (-WILMINK_RISE_PER_DAY * day).exp()
    }
    /// Day of the peak, where 0.05 · b · e^(−0.05·d) = c; `None` for a curve that does not rise and then fall.
    pub fn peak_day(&self) -> Option<f64> {
        let day = -(self.c / (WILMINK_RISE_PER_DAY * self.b)).ln() / WILMINK_RISE_PER_DAY;
        (self.b < 0.0 && self.c < 0.0 && 0.0 < day).then_some(day)
    }
    /// Yield at the peak, kg.
    pub fn peak(&self) -> Option<f64> {
        self.peak_day().map(|day| self.value(day))
    }
}

/// Wood's curve by nonlinear least squares of the yields; pairs of (day, yield).
///
/// Days must be above 0; a yield may be anything, zero included. `None` with fewer than three different days, with a
/// figure that is not finite, or where the search does not settle.
pub fn fit_wood(yields: &[(f64, f64)]) -> Option<Wood> {
    if !sound(yields) {
        return None;
    }
    // An error in a log weighs as its yield does in kg: weights of y² start the search near the answer.
    let mut at = log_fit(yields, |y| y * y)?;
    let mut misfit = squares(&at, yields);
    let mut damping = 1e-3;
    for _ in 0..500 {
        if slant(&at, yields) <= 1e-12 {
            break;
        }
        let next = damped_step(&at, yields, damping);
        let then = next.map_or(f64::INFINITY, |next| squares(&next, yields));
        // At the bottom the misfit is flat to rounding while the slopes still point down: a hair of rise is no rise.
        if let Some(next) = next.filter(|_| then <= misfit * (1.0 + 1e-13)) {
            (at, misfit) = (next, then);
            damping = (damping / 10.0).max(1e-15);
        } else if 1e12 < damping {
            break;
        } else {
            damping *= 4.0;
        }
    }
    // Rounding may end the search before it is flat to 1e-12; anything steeper than this is not an answer.
    (slant(&at, yields) <= 1e-7).then(|| Wood { a: at[0].exp(), b: at[1], c: at[2] })
}

/// Wood's curve by least squares of the logs: small yields weigh as much as large ones. Yields not above 0 are left out.
///
/// `None` with fewer than three different days with milk, or with a figure that is not finite.
pub fn fit_wood_log(yields: &[(f64, f64)]) -> Option<Wood> {
    if !sound(yields) {
        return None;
    }
    log_fit(yields, |_| 1.0).map(|[ln_a, b, c]| Wood { a: ln_a.exp(), b, c })
}

/// Wilmink's curve by least squares of the yields; pairs of (day, yield).
///
/// `None` with fewer than three different days, or with a figure that is not finite.
pub fn fit_wilmink(yields: &[(f64, f64)]) -> Option<Wilmink> {
    let rows = yields.iter().map(|&(day, y)| ([1.0, (-WILMINK_RISE_PER_DAY * day).exp(), day], y, 1.0));
    refined(rows).map(|[a, b, c]| Wilmink { a, b, c })
}

fn sound(yields: &[(f64, f64)]) -> bool {
    yields.iter().all(|&(day, y)| day.is_finite() && 0.0 < day && y.is_finite())
}

/// (ln a, b, c) by least squares of the logs, each with the weight of its yield.
fn log_fit(yields: &[(f64, f64)], weight: impl Fn(f64) -> f64 + Copy) -> Option<[f64; 3]> {
    let with_milk = yields.iter().filter(|(_, y)| 0.0 < *y);
    refined(with_milk.map(|&(day, y)| ([1.0, day.ln(), -day], y.ln(), weight(y))))
}

fn yield_at([ln_a, b, c]: &[f64; 3], day: f64) -> f64 {
    (ln_a + b * day.ln() - c * day).exp()
}

fn squares(at: &[f64; 3], yields: &[(f64, f64)]) -> f64 {
    yields.iter().map(|&(day, y)| (y - yield_at(at, day)).powi(2)).sum()
}

/// Slopes of the curve in (ln a, b, c) and what it misses, at each yield.
fn linearised(at: &[f64; 3], yields: &[(f64, f64)]) -> impl Iterator<Item = Row> {
    yields.iter().map(move |&(day, y)| {
        let fitted = yield_at(at, day);
        ([fitted, fitted * day.ln(), -fitted * day], y - fitted, 1.0)
    })
}

/// How far from at right angles what is missed stands to the slopes: 0 at the lowest misfit, or where nothing is missed.
fn slant(at: &[f64; 3], yields: &[(f64, f64)]) -> f64 {
    let (mut along, mut lengths, mut missed) = ([0.0; 3], [0.0; 3], 0.0);
    for (slopes, gap, _) in linearised(at, yields) {
        for unknown in 0..3 {
            along[unknown] += slopes[unknown] * gap;
            lengths[unknown] += slopes[unknown] * slopes[unknown];
        }
        missed += gap * gap;
    }
    let all: f64 = yields.iter().map(|(_, y)| y * y).sum();
    if missed <= 1e-28 * all {
        return 0.0;
    }
    let cosine = |unknown: usize| along[unknown].abs() / (lengths[unknown] * missed).sqrt();
    cosine(0).max(cosine(1)).max(cosine(2))
}

/// One step of Levenberg and Marquardt; the damping is scaled as the slopes are.
fn damped_step(at: &[f64; 3], yields: &[(f64, f64)], damping: f64) -> Option<[f64; 3]> {
    let mut ridge = [[0.0; 3]; 3];
    for (slopes, _, _) in linearised(at, yields) {
        for unknown in 0..3 {
            ridge[unknown][unknown] += damping * slopes[unknown] * slopes[unknown];
        }
    }
    let step = least_squares(linearised(at, yields), ridge, [0.0; 3])?;
    Some(std::array::from_fn(|unknown| at[unknown] + step[unknown]))
}
