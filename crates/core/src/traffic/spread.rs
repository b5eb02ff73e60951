//! How sure is a mean of replicates?
//!
//! # Equation
//! interval = mean ± t(0.975; n − 1) · s/√n   (Student's t; replicates are independent, their means near normal)
//! # Source
//! Textbook (from memory); quantiles: `cases/quantiles.csv`.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Values of replicates, folded as they come.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spread {
    count: u32,
    mean: f64,
    squares: f64,
}

/// A mean with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Mean {
    /// Mean of the replicates.
    pub mean: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Mean {
    /// Half the interval's width.
    pub fn half(&self) -> f64 {
        0.5 * (self.high - self.low)
    }

    /// Whether the interval holds a value.
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The same and so much more.
    pub fn plus(&self, more: f64) -> Mean {
        Mean { mean: self.mean + more, low: self.low + more, high: self.high + more }
    }

    /// The same in another unit.
    pub fn times(&self, factor: f64) -> Mean {
        let (low, high) = (self.low * factor, self.high * factor);
        Mean { mean: self.mean * factor, low: low.min(high), high: low.max(high) }
    }
}

impl Spread {
    /// Adds a replicate's value.
    pub fn add(&mut self, value: f64) {
        self.count += 1;
        let off = value - self.mean;
        self.mean += off / f64::from(self.count);
        self.squares += off * (value - self.mean);
    }

    /// How many.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Standard error of the mean; infinite of fewer than two.
    pub fn error(&self) -> f64 {
        if self.count < 2 {
            return f64::INFINITY;
        }
        let n = f64::from(self.count);
        (self.squares / (n - 1.0) / n).sqrt()
    }

    /// The mean with its interval; of one replicate the ends are infinite.
    pub fn mean(&self) -> Mean {
        let half = if self.count < 2 { f64::INFINITY } else { student(self.count - 1) * self.error() };
        Mean { mean: self.mean, low: self.mean - half, high: self.mean + half }
    }
}

/// Student's t at 97.5 %.
fn student(freedom: u32) -> f64 {
    StudentsT::new(0.0, 1.0, f64::from(freedom)).map_or(f64::INFINITY, |t| t.inverse_cdf(0.975))
}
