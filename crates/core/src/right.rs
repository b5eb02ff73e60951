//! How often were calls right?
//!
//! # Equation
//! Clopper and Pearson's exact interval of a share of k in n:
//! low = B⁻¹(α/2; k, n − k + 1),   high = B⁻¹(1 − α/2; k + 1, n − k)
//!   B⁻¹  quantile of the beta distribution    α  0.05
//! and Garwood's exact interval of the mean of a Poisson count of k:
//! low = χ²⁻¹(α/2; 2k) / 2,   high = χ²⁻¹(1 − α/2; 2k + 2) / 2
//! # Source
//! Clopper, Pearson, Biometrika 26:404, 1934 (from memory); Garwood, Biometrika 28:437, 1936 (from memory); cases: `right.csv`.

use statrs::distribution::{Beta, ChiSquared, ContinuousCDF};

/// A share with its exact 95 % interval; of nothing it is unknown, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// k / n; `None` where n is 0.
    pub share: Option<f64>,
    /// Lower end, 0 to 1.
    pub low: f64,
    /// Upper end, 0 to 1.
    pub high: f64,
}

/// The share of `part` in `whole`, with its exact 95 % interval; a part beyond the whole counts as the whole.
pub fn share(part: u32, whole: u32) -> Share {
    let part = part.min(whole);
    if whole == 0 {
        return Share { share: None, low: 0.0, high: 1.0 };
    }
    let (k, n) = (f64::from(part), f64::from(whole));
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(p));
    Share {
        share: Some(k / n),
        low: if part == 0 { 0.0 } else { quantile(k, n - k + 1.0, 0.025) },
        high: if part == whole { 1.0 } else { quantile(k + 1.0, n - k, 0.975) },
    }
}

/// The exact 95 % interval of the mean behind a count of rare events.
pub fn count(events: u32) -> (f64, f64) {
    let k = f64::from(events);
    let quantile = |df: f64, p: f64| ChiSquared::new(df).map_or(f64::NAN, |chi| chi.inverse_cdf(p));
    (if events == 0 { 0.0 } else { quantile(2.0 * k, 0.025) / 2.0 }, quantile(2.0 * k + 2.0, 0.975) / 2.0)
}
