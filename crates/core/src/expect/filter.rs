//! How fast does she make milk, as far as the milkings before this one tell?
//!
//! # Equation
//! ln y = curve(parity, day) + level + (rhythm + own rhythm)·(cos, sin)(2π·hour/24) + ln g(h) + error + noise
//! level  ← level + slope·τ(1 − e^(−Δ/τ)) + N(0, σ²_level·Δ)      slope ← slope·e^(−Δ/τ) + N(0, σ²_slope·Δ)
//! error  ← share·error + N(0, σ²_error), a milking
//!   Δ  days since her last milking    τ  days in which a slope beside the curve's fades    level, slope  log, log/d
//! `level` is her departure from the herd's curve, so what fades when nothing new is known is the difference from the
//! curve's own slope. Two tracks run side by side on the same equations: a robust one (Student-t weight
//! `w = (df+1)/(df+z²)`, a bad reading hardly teaches) and a plain one. The robust track is near the median, the plain one
//! near the mean; the forecast is a mean of both in kg.
//! # Source
//! State space form: Durbin & Koopman, from memory; weights: those of Student's t, from memory.
//! # Proof
//! `examples/milkman.rs` (real milkings), laws in `tests/expect_laws.rs`.

/// Level, slope, cosine and sine of her own rhythm, error carried from milking to milking.
pub(crate) const STATES: usize = 5;
const LEVEL: usize = 0;
const SLOPE: usize = 1;
const COS: usize = 2;
const SIN: usize = 3;
const ERROR: usize = 4;

use super::parameters::Parameters;

/// One filter's mean and covariance.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Track {
    pub(crate) mean: [f64; STATES],
    cov: [[f64; STATES]; STATES],
}

/// What a track expects of one milking, before noise: mean and variance of the log, and the covariance with each state.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Prospect {
    pub(crate) mean: f64,
    pub(crate) var: f64,
    with_state: [f64; STATES],
}

impl Track {
    /// A cow nothing is known of but that she stands `level` beside the curve, give or take `level_sd`.
    pub(crate) fn fresh(p: &Parameters, level: f64, level_sd: f64, slope_sd: f64) -> Track {
        let mut cov = [[0.0; STATES]; STATES];
        cov[LEVEL][LEVEL] = level_sd * level_sd;
        cov[SLOPE][SLOPE] = slope_sd * slope_sd;
        cov[COS][COS] = p.rhythm_sd * p.rhythm_sd;
        cov[SIN][SIN] = p.rhythm_sd * p.rhythm_sd;
        cov[ERROR][ERROR] = p.error_sd * p.error_sd / (1.0 - p.error_share * p.error_share).max(0.05);
        let mut mean = [0.0; STATES];
        mean[LEVEL] = level;
        Track { mean, cov }
    }

    /// Moves on by `days` to the next milking; `fade` = e^(−days/τ).
    pub(crate) fn step(&mut self, p: &Parameters, days: f64, fade: f64) {
        let reach_d = p.slope_days * (1.0 - fade);
        let (mean, cov) = (&mut self.mean, &mut self.cov);
        mean[LEVEL] += reach_d * mean[SLOPE];
        mean[SLOPE] *= fade;
        mean[ERROR] *= p.error_share;
        // cov ← F·cov·Fᵀ: first the rows of F, then its columns.
        let slope_row = cov[SLOPE];
        for (own, slope) in cov[LEVEL].iter_mut().zip(slope_row) {
            *own += reach_d * slope;
        }
        cov[SLOPE].iter_mut().for_each(|own| *own *= fade);
        cov[ERROR].iter_mut().for_each(|own| *own *= p.error_share);
        for row in cov.iter_mut() {
            row[LEVEL] += reach_d * row[SLOPE];
            row[SLOPE] *= fade;
            row[ERROR] *= p.error_share;
        }
        cov[LEVEL][LEVEL] += p.level_sd_day * p.level_sd_day * days;
        cov[SLOPE][SLOPE] += p.slope_sd_day * p.slope_sd_day * days;
        let rhythm_var = p.rhythm_sd_day * p.rhythm_sd_day * days;
        cov[COS][COS] += rhythm_var;
        cov[SIN][SIN] += rhythm_var;
        cov[ERROR][ERROR] += p.error_sd * p.error_sd;
    }

    /// What a milking at this hour of day (`(cos, sin)`) is expected to show.
    pub(crate) fn prospect(&self, (cos, sin): (f64, f64)) -> Prospect {
        let seen = [1.0, 0.0, cos, sin, 1.0];
        let mut with_state = [0.0; STATES];
        for (own, row) in with_state.iter_mut().zip(&self.cov) {
            *own = row[LEVEL] + cos * row[COS] + sin * row[SIN] + row[ERROR];
        }
        let (mut mean, mut var) = (0.0, 0.0);
        for k in 0..STATES {
            mean += seen[k] * self.mean[k];
            var += seen[k] * with_state[k];
        }
        Prospect { mean, var, with_state }
    }

    /// Learns from a surprise whose variance (state, effects and noise together, as weighted) is `var`.
    pub(crate) fn learn(&mut self, prospect: &Prospect, surprise: f64, var: f64) {
        let gain = 1.0 / var;
        for i in 0..STATES {
            let own = prospect.with_state[i] * gain;
            self.mean[i] += own * surprise;
            for j in 0..STATES {
                self.cov[i][j] -= own * prospect.with_state[j];
            }
        }
    }

    /// Her level beside the curve and her own rhythm, without the passing error: what a baseline is held at.
    pub(crate) fn settled(&self) -> Standing {
        Standing {
            level: self.mean[LEVEL],
            slope: self.mean[SLOPE],
            rhythm: (self.mean[COS], self.mean[SIN]),
            var: self.cov[LEVEL][LEVEL],
        }
    }

    /// The herd's curve or rhythm changed under her: her own takes up the difference.
    pub(crate) fn rebase(&mut self, level: f64, rhythm: [f64; 2]) {
        self.mean[LEVEL] += level;
        self.mean[COS] += rhythm[0];
        self.mean[SIN] += rhythm[1];
    }
}

/// A level held still: it moves along the curve only, its slope beside the curve fading.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Standing {
    pub(crate) level: f64,
    pub(crate) slope: f64,
    pub(crate) rhythm: (f64, f64),
    pub(crate) var: f64,
}

impl Standing {
    /// Mean and variance of the log beside the curve, `days` after it was held.
    pub(crate) fn after(&self, p: &Parameters, days: f64, (cos, sin): (f64, f64)) -> (f64, f64) {
        let reach_d = p.slope_days * (1.0 - (-days / p.slope_days).exp());
        let mean = self.level + self.slope * reach_d + self.rhythm.0 * cos + self.rhythm.1 * sin;
        (mean, self.var + p.level_sd_day * p.level_sd_day * days)
    }
}

/// Weight of a reading `z` standard deviations off under Student's t with `df` degrees of freedom, at most 1.
pub(crate) fn weight(z: f64, df: f64) -> f64 {
    ((df + 1.0) / (df + z * z)).min(1.0)
}

/// Cosine and sine of the hour of day.
pub(crate) fn clock(hour_of_day: f64) -> (f64, f64) {
    let (sin, cos) = (hour_of_day * (std::f64::consts::TAU / 24.0)).sin_cos();
    (cos, sin)
}
