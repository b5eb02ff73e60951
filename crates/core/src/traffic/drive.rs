//! How strongly does the hour of the day drive cows, when each half-hour of a log is counted with noise?
//!
//! # Equation
//! log drive = mean + Σ over 24 harmonics of the day; of each band B of harmonics, m coefficients,
//!   kept = max(0, 1 − (m − 2) · v / Σ_B coefficient²),   v noise variance of a coefficient
//! What a band holds beyond what counting makes by chance is kept; a farm whose day is truly rough keeps its roughness.
//! v = mean over half-hours of (variance between days / days / mean²), times 2/48: days tell how noisy counts are, which are
//! neither Poisson (boxes even them out) nor independent of the day.
//! # Source
//! Shrinkage: James and Stein 1961, positive part, by bands as Efron and Morris 1973 (from memory). Bands are a stated default.

use std::f64::consts::TAU;

use super::{fit_log::Log, pen::HALVES};

/// First harmonic of each band; the last one ends with the 24th.
const BANDS: [usize; 6] = [1, 2, 3, 5, 9, 17];

/// Visits of a log by half-hours of the clock.
pub struct Clock {
    /// Visits a day in each.
    rates: Vec<f64>,
    /// Days that were counted.
    days: f64,
    /// Mean variance of the log of a half-hour's count over all days, by chance.
    pub noise: f64,
}

impl Clock {
    /// Of a log of two whole days or more.
    pub fn of(log: &Log) -> Option<Clock> {
        // A log that begins with its first visit lacks some minutes of a whole number of days.
        let days = ((log.span.1 - log.span.0) / 1440.0 + 0.05).floor() as usize;
        if days < 2 {
            return None;
        }
        let mut counts = vec![0.0; days * HALVES];
        for stay in &log.stays {
            let day = ((stay.from - log.span.0) / 1440.0).floor();
            if 0.0 <= day && day < days as f64 {
                let half = (stay.from / 30.0).rem_euclid(HALVES as f64) as usize % HALVES;
                counts[day as usize * HALVES + half] += 1.0;
            }
        }
        let of = |half: usize| counts.iter().skip(half).step_by(HALVES);
        let rates: Vec<f64> = (0..HALVES).map(|half| of(half).sum::<f64>() / days as f64).collect();
        let noise = rates.iter().enumerate().map(|(half, mean)| {
            let squares: f64 = of(half).map(|count| (count - mean).powi(2)).sum();
            squares / (days as f64 - 1.0) / days as f64 / mean.max(1.0 / days as f64).powi(2)
        });
        let noise = noise.sum::<f64>() / HALVES as f64;
        Some(Clock { rates, days: days as f64, noise })
    }

    /// Visits of all boxes a day.
    pub fn visits_a_day(&self) -> f64 {
        self.rates.iter().sum()
    }

    /// ln(observed / simulated) of the shares of the day's visits, by half-hours; `counts` simulated.
    pub fn beside(&self, counts: &[u32]) -> Vec<f64> {
        let all: f64 = counts.iter().map(|count| f64::from(*count)).sum();
        let scale = self.visits_a_day() * self.days / all.max(1.0);
        // Half a visit keeps an empty half-hour finite.
        let one =
            |(rate, count): (&f64, &u32)| ((rate * self.days + 0.5) / (f64::from(*count) * scale + 0.5)).ln();
        self.rates.iter().zip(counts).map(one).collect()
    }
}

/// Share of `coefficients` noisy ones that is kept where their squares sum to `power`, 0 to 1; `noise` variance of one.
/// Of two, where the rule shrinks nothing, as much is taken as of three.
fn kept(power: f64, coefficients: usize, noise: f64) -> f64 {
    let by_chance = (coefficients as f64 - 2.0).max(1.0) * noise;
    (1.0 - by_chance / power.max(1e-12)).max(0.0)
}

/// Log drive by half-hours without what chance put into it; `noise` variance of a half-hour.
pub fn smooth(raw: &[f64], noise: f64) -> Vec<f64> {
    let count = raw.len() as f64;
    let mean = raw.iter().sum::<f64>() / count;
    let mut all = vec![mean; raw.len()];
    let angle = |place: usize, harmonic: usize| TAU * (harmonic * place) as f64 / count;
    for (band, first) in BANDS.iter().enumerate() {
        let beyond = BANDS.get(band + 1).copied().unwrap_or(raw.len() / 2 + 1);
        let waves: Vec<(usize, f64, f64)> = (*first..beyond)
            .map(|harmonic| {
                // The last harmonic of an even number has a cosine only, of half the weight.
                let weight = if 2 * harmonic == raw.len() { 1.0 } else { 2.0 } / count;
                let sum = |wave: fn(f64) -> f64| -> f64 {
                    raw.iter().enumerate().map(|(place, own)| own * wave(angle(place, harmonic))).sum()
                };
                (harmonic, weight * sum(f64::cos), weight * sum(f64::sin))
            })
            .collect();
        let power: f64 = waves.iter().map(|(_, cosine, sine)| cosine * cosine + sine * sine).sum();
        let kept = kept(power, 2 * waves.len(), noise * 2.0 / count);
        for (place, own) in all.iter_mut().enumerate() {
            let at = |(harmonic, cosine, sine): &(usize, f64, f64)| {
                cosine * angle(place, *harmonic).cos() + sine * angle(place, *harmonic).sin()
            };
            *own += kept * waves.iter().map(at).sum::<f64>();
        }
    }
    all
}

#[cfg(test)]
mod tests;
