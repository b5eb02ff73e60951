//! Does a daily figure rise or fall over some days, and is that more than the days differ by themselves?
//!
//! # Equation
//! y = a + b·day by least squares; change = b·(last day − first day), with the interval ± t(q; n − 2)·se(b)·span
//! # Source
//! Textbook (from memory); held against rows in exact arithmetic, `cases/trend.csv`.
//! # Assumption
//! What is left beside the line is taken to be independent from day to day. Where good and bad days come in runs, a
//! change is called surer than it is: so several figures looked at together share one chance of error ([`limit`]).

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Fewest days of which a trend is told.
pub const FEWEST: usize = 7;

/// How a figure changes over a span of days, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Trend {
    /// On the line at the first day.
    pub first: f64,
    /// On the line at the last day.
    pub last: f64,
    /// Last less first.
    pub change: f64,
    /// The change lies here with the certainty asked.
    pub low: f64,
    /// To.
    pub high: f64,
}

impl Trend {
    /// Whether it is more than day-to-day noise.
    pub fn sure(&self) -> bool {
        0.0 < self.low || self.high < 0.0
    }
}

/// Certainty of each of so many figures that leaves one in twenty for all of them together (Bonferroni).
pub fn limit(figures: usize) -> f64 {
    1.0 - 0.05 / figures.max(1) as f64
}

/// The trend of daily figures, with an interval of `certainty` (0 to 1); days without a figure are left out.
///
/// `None` with fewer than [`FEWEST`] figures, or with none that differ in time.
pub fn trend(days: &[(f64, f64)], certainty: f64) -> Option<Trend> {
    let known: Vec<(f64, f64)> =
        days.iter().copied().filter(|(day, value)| day.is_finite() && value.is_finite()).collect();
    if known.len() < FEWEST {
        return None;
    }
    let n = known.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| known.iter().map(of).sum::<f64>() / n;
    let (day, value) = (mean(|own| own.0), mean(|own| own.1));
    let (mut across, mut both) = (0.0, 0.0);
    for (x, y) in &known {
        across += (x - day).powi(2);
        both += (x - day) * (y - value);
    }
    if across <= 0.0 {
        return None;
    }
    let slope = both / across;
    let left: f64 = known.iter().map(|(x, y)| (y - value - slope * (x - day)).powi(2)).sum();
    let error = (left / (n - 2.0) / across).sqrt();
    let t = StudentsT::new(0.0, 1.0, n - 2.0).ok()?.inverse_cdf(0.5 + 0.5 * certainty);
    let ends = known
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |ends, (x, _)| (ends.0.min(*x), ends.1.max(*x)));
    let at = |x: f64| value + slope * (x - day);
    let (first, last, half) = (at(ends.0), at(ends.1), t * error * (ends.1 - ends.0));
    let change = last - first;
    Some(Trend { first, last, change, low: change - half, high: change + half })
}
