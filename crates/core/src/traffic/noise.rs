//! Scatter about a mean: log-normal factors of mean 1, from a table of evenly likely values.
//!
//! A factor costs a load in place of two logarithms. A table of 256 values lies in the nearest memory and is cut
//! off beyond its 0.2 % ends; its mean is 1.

use statrs::distribution::{ContinuousCDF, Normal};

use super::streams::Stream;

const VALUES: usize = 256;

/// The factor below which a share of a log-normal of mean 1 lies.
pub fn factor(cv: f64, share: f64) -> f64 {
    let sigma = (1.0 + cv * cv).ln().sqrt();
    (sigma * Normal::standard().inverse_cdf(share.clamp(0.001, 0.999)) - 0.5 * sigma * sigma).exp()
}

/// Factors of mean 1 and a stated coefficient of variation.
#[derive(Debug, Clone, PartialEq)]
pub struct Noise {
    factors: Vec<f64>,
}

impl Noise {
    /// A table of a coefficient of variation (standard deviation over mean), 0 and above.
    pub fn of(cv: f64) -> Noise {
        let sigma = (1.0 + cv * cv).ln().sqrt();
        let normal = Normal::standard();
        let mut factors: Vec<f64> = (0..VALUES)
            .map(|place| (sigma * normal.inverse_cdf((place as f64 + 0.5) / VALUES as f64)).exp())
            .collect();
        let mean = factors.iter().sum::<f64>() / VALUES as f64;
        factors.iter_mut().for_each(|factor| *factor /= mean);
        Noise { factors }
    }

    /// One factor; the eight bits asked for must be random.
    #[inline]
    pub fn at(&self, bits: u64) -> f64 {
        // The mask keeps within the table; the compiler sees that too.
        self.factors.get((bits & (VALUES as u64 - 1)) as usize).copied().unwrap_or(1.0)
    }

    /// One factor of a stream.
    #[inline]
    pub fn draw(&self, stream: &mut Stream) -> f64 {
        self.at(stream.word() >> 56)
    }
}
