//! What course does milk take over a lactation?
//!
//! # Equation
//! Wood: y = a · d^b · e^(−c·d), peak on day b/c at a · (b/c)^b · e^(−b).   Wilmink: y = a + b · e^(−0.05·d) + c · d.
//!   y  milk a day, kg (or any yield)    d  days since calving (or any unit of time, then c is per that unit)
//! Wood is fitted by least squares of the yields (Levenberg–Marquardt on ln a, b, c, with steps found by Householder
//! reflections) or of their logs; the two have different estimands, since in logs the small yields dominate. Wilmink
//! is linear once 0.05 is fixed.
//! # Source
//! Wood, Nature 216:164, 1967; Wilmink, Livest Prod Sci 16:335, 1987; Marquardt, J SIAM 11:431, 1963.
//! # Proof
//! `cases/curve.csv`: daily fat yield of one cow over 35 weeks, fits to 1e-8 of the reference program's.
//! # Not here
//! What she should give today: the level that follows her, [`crate::expect`].

use super::least_squares::{least_squares, norm};

/// A lactation by Wood's curve: y = a · d^b · e^(−c·d).
#[derive(Debug, Clone, Copy, PartialEq)]
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
        (self.a.ln() + self.b * day.ln() - self.c * day).exp()
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
#[derive(Debug, Clone, Copy, PartialEq)]
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
    let mut at = log_fit(yields, |y| y)?;
    let mut misfit = squares(&at, yields);
    let mut damping = 1e-3;
    for _ in 0..500 {
        let (rows, gaps) = linearised(&at, yields);
        if slant(&rows, &gaps, yields) <= 1e-12 {
            break;
        }
        let Some(next) = damped_step(&at, &rows, &gaps, damping) else {
            damping *= 10.0;
            continue;
        };
        let then = squares(&next, yields);
        if then <= misfit {
            (at, misfit) = (next, then);
            damping = (damping / 10.0).max(1e-15);
        } else if 1e12 < damping {
            break;
        } else {
            damping *= 4.0;
        }
    }
    // Rounding may end the search before it is flat to 1e-12; anything steeper than this is not an answer.
    let (rows, gaps) = linearised(&at, yields);
    (slant(&rows, &gaps, yields) <= 1e-7).then(|| Wood { a: at[0].exp(), b: at[1], c: at[2] })
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
    let rows: Vec<[f64; 3]> =
        yields.iter().map(|&(day, _)| [1.0, (-WILMINK_RISE_PER_DAY * day).exp(), day]).collect();
    let targets: Vec<f64> = yields.iter().map(|&(_, y)| y).collect();
    least_squares(&rows, &targets).map(|[a, b, c]| Wilmink { a, b, c })
}

fn sound(yields: &[(f64, f64)]) -> bool {
    yields.iter().all(|&(day, y)| day.is_finite() && 0.0 < day && y.is_finite())
}

/// (ln a, b, c) by least squares of the logs, each multiplied by `weight` of its yield.
fn log_fit(yields: &[(f64, f64)], weight: impl Fn(f64) -> f64) -> Option<[f64; 3]> {
    let with_milk: Vec<(f64, f64)> = yields.iter().copied().filter(|&(_, y)| 0.0 < y).collect();
    let rows: Vec<[f64; 3]> =
        with_milk.iter().map(|&(day, y)| [weight(y), weight(y) * day.ln(), -weight(y) * day]).collect();
    let targets: Vec<f64> = with_milk.iter().map(|&(_, y)| weight(y) * y.ln()).collect();
    least_squares(&rows, &targets)
}

fn yield_at([ln_a, b, c]: &[f64; 3], day: f64) -> f64 {
    (ln_a + b * day.ln() - c * day).exp()
}

fn squares(at: &[f64; 3], yields: &[(f64, f64)]) -> f64 {
    yields.iter().map(|&(day, y)| (y - yield_at(at, day)).powi(2)).sum()
}

/// Slopes of the curve in (ln a, b, c) and what it misses, at each yield.
fn linearised(at: &[f64; 3], yields: &[(f64, f64)]) -> (Vec<[f64; 3]>, Vec<f64>) {
    yields
        .iter()
        .map(|&(day, y)| {
            let fitted = yield_at(at, day);
            ([fitted, fitted * day.ln(), -fitted * day], y - fitted)
        })
        .unzip()
}

/// How far from at right angles what is missed stands to the slopes: 0 at the lowest misfit, or where nothing is missed.
fn slant(rows: &[[f64; 3]], gaps: &[f64], yields: &[(f64, f64)]) -> f64 {
    let missed = norm(gaps.iter().copied());
    if missed <= 1e-14 * norm(yields.iter().map(|(_, y)| *y)) {
        return 0.0;
    }
    let cosine = |column: usize| {
        let along: f64 = rows.iter().zip(gaps).map(|(row, gap)| row[column] * gap).sum();
        along.abs() / (norm(rows.iter().map(|row| row[column])) * missed)
    };
    cosine(0).max(cosine(1)).max(cosine(2))
}

/// One step of Levenberg and Marquardt: the damping stands as three more rows, scaled as the slopes are.
fn damped_step(at: &[f64; 3], rows: &[[f64; 3]], gaps: &[f64], damping: f64) -> Option<[f64; 3]> {
    let mut rows = rows.to_vec();
    let mut gaps = gaps.to_vec();
    for column in 0..3 {
        let mut row = [0.0; 3];
        row[column] = damping.sqrt() * norm(rows.iter().map(|row| row[column]));
        rows.push(row);
        gaps.push(0.0);
    }
    let step = least_squares(&rows, &gaps)?;
    let next: [f64; 3] = std::array::from_fn(|i| at[i] + step[i]);
    next.iter().all(|x| x.is_finite()).then_some(next)
}
