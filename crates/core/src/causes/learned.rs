//! How much oftener, or seldomer, does a cause begin on this farm than is stated?
//!
//! # Equation
//! f ~ Gamma(a, a)         factor of the stated rate before anybody has answered, mean 1, worth a cases
//! q(f) = p·f / (1 − p + p·f)         chance of an answered call under f
//!   p  its chance under the stated rate: stated odds when it was answered, over the factor used then
//! posterior of f ∝ f^(a−1)·exp(−a·f) · Π q^(w·y)·(1−q)^(w·(1−y))
//!   y  1 if it was so, else 0    w  1; [`MISSED_WEIGHT`] for a case that no call named
//! factor = mean of the posterior, within [`LEAST`] to [`MOST`], told and used in tenths.
//! Since 0 < q < 1, n answers (weights added) leave the mean within (a − n)/a to (a + n)/a: none moves it more than it is worth.
//! # Source
//! Derived: Bayes' rule in odds, for a rate acts on the odds of a cause as a factor. a and w are stated defaults.
//! # Proof
//! Laws in `causes/tests/learned.rs`.
//! # Not here
//! Which answers there are, and what was taken back: the caller's.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Cause, Settings};

/// Cases the stated rate is worth: of such a gamma the farms' own rates spread by a third (1/√10). Stated default.
pub const WORTH_CASES: f64 = 10.0;
/// What a case that no call named weighs: only half, for nobody tells of the cows that were rightly not called. Stated
/// default.
pub const MISSED_WEIGHT: f64 = 0.5;
/// Least and most that is ever learned: beyond it the signals or the answers are to be doubted, not the rate. Stated default.
pub const LEAST: f64 = 0.3;
/// See [`LEAST`].
pub const MOST: f64 = 4.0;
/// A stated chance is taken to be no surer than this: nobody is.
const SUREST: f64 = 0.995;

/// One thing a person told of a cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Of which cause.
    pub cause: Cause,
    /// When it was told, or known.
    pub at: Timestamp,
    /// Chance of the cause as it was stated, 0 to 1.
    pub stated: f64,
    /// Factor of the stated rate within that chance: 1 where nothing had been learned.
    pub learned: f64,
    /// Whether it was so.
    pub was: bool,
    /// How it was come by.
    pub how: How,
}

/// How something told was come by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// An answer to a call of this very cause.
    Called,
    /// An answer to a call of another cause, beside which this one was considered.
    Beside,
    /// A case that no call named.
    Missed,
}

impl Told {
    /// Its chance under the stated rate.
    pub fn under_stated(&self) -> f64 {
        let stated = self.stated.clamp(1.0 - SUREST, SUREST);
        let odds = stated / (1.0 - stated) / if 0.0 < self.learned { self.learned } else { 1.0 };
        (odds / (1.0 + odds)).clamp(1.0 - SUREST, SUREST)
    }

    fn weight(&self) -> f64 {
        if self.how == How::Missed { MISSED_WEIGHT } else { 1.0 }
    }
}

/// What is known of one cause's factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    /// What is told and used, in tenths.
    pub factor: f64,
    /// Ends of its 90 % interval.
    pub between: (f64, f64),
    /// Answers to calls of the cause.
    pub answered: u32,
    /// Of those, it was so.
    pub right: u32,
    /// Of those, as many were to be expected from what was stated.
    pub expected: f64,
    /// Times it turned out to be this where another cause was called.
    pub instead: u32,
    /// Cases that no call named.
    pub missed: u32,
}

/// The factor of one cause changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Of which cause.
    pub cause: Cause,
    /// With what was told then.
    pub at: Timestamp,
    /// The factor before.
    pub before: f64,
    /// All that was known with it.
    pub now: Learned,
}

/// Points of the grid of f, even in its logarithm.
const POINTS: usize = 241;
/// Ends of the grid, as logarithms: far beyond what is ever used.
const END: f64 = 3.4;

/// The posterior of one factor, as it grows.
struct Posterior {
    log_density: [f64; POINTS],
    so_far: Learned,
}

fn point(index: usize) -> f64 {
    (-END + 2.0 * END * index as f64 / (POINTS - 1) as f64).exp()
}

impl Posterior {
    fn prior() -> Posterior {
        let mut log_density = [0.0; POINTS];
        for (index, density) in log_density.iter_mut().enumerate() {
            let f = point(index);
            // The density in ln f: one more power of f than in f.
            *density = WORTH_CASES * f.ln() - WORTH_CASES * f;
        }
        let so_far = Learned {
            factor: 1.0,
            between: (1.0, 1.0),
            answered: 0,
            right: 0,
            expected: 0.0,
            instead: 0,
            missed: 0,
        };
        Posterior { log_density, so_far }
    }

    fn add(&mut self, told: &Told) {
        let (p, weight) = (told.under_stated(), told.weight());
        for (index, density) in self.log_density.iter_mut().enumerate() {
            let f = point(index);
            let likelihood = if told.was { p * f } else { 1.0 - p } / (1.0 - p + p * f);
            *density += weight * likelihood.ln();
        }
        let so_far = &mut self.so_far;
        match told.how {
            How::Called => {
                so_far.answered += 1;
                so_far.right += u32::from(told.was);
                so_far.expected += told.stated;
            }
            How::Beside => so_far.instead += u32::from(told.was),
            How::Missed => so_far.missed += 1,
        }
    }

    /// Mean and 90 % interval.
    fn learned(&self) -> Learned {
        let most = self.log_density.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let density = self.log_density.map(|own| (own - most).exp());
        let whole: f64 = density.iter().sum();
        let mean: f64 =
            density.iter().enumerate().map(|(index, own)| own * point(index)).sum::<f64>() / whole;
        let quantile = |share: f64| {
            let mut below = 0.0;
            let reached = density.iter().position(|own| {
                below += own;
                share * whole <= below
            });
            point(reached.unwrap_or(POINTS - 1))
        };
        Learned {
            factor: (mean.clamp(LEAST, MOST) * 10.0).round() / 10.0,
            between: (quantile(0.05), quantile(0.95)),
            ..self.so_far
        }
    }
}

/// What is learned of every cause anything was told of, and every change of a factor on the way, by time. `day_of` says
/// which day an instant is of: what is told on one day counts together. The order of `told` does not matter.
pub fn learn<D: PartialEq>(
    told: &[Told],
    day_of: impl Fn(Timestamp) -> D,
) -> (BTreeMap<Cause, Learned>, Vec<Step>) {
    let mut told = told.to_vec();
    // One order for sums, whatever order they came in.
    told.sort_by(|a, b| {
        (a.cause, a.at, a.how, a.was).cmp(&(b.cause, b.at, b.how, b.was)).then(a.stated.total_cmp(&b.stated))
    });
    let mut learned = BTreeMap::new();
    let mut steps = Vec::new();
    for of_cause in told.chunk_by(|a, b| a.cause == b.cause) {
        let mut posterior = Posterior::prior();
        let mut before = 1.0;
        for day in of_cause.chunk_by(|a, b| day_of(a.at) == day_of(b.at)) {
            for one in day {
                posterior.add(one);
            }
            let now = posterior.learned();
            if let Some(last) = day.last() {
                if now.factor != before {
                    steps.push(Step { cause: last.cause, at: last.at, before, now });
                }
                learned.insert(last.cause, now);
            }
            before = now.factor;
        }
    }
    steps.sort_by_key(|step| (step.at, step.cause));
    (learned, steps)
}

/// The chance at which a call of a cause begins to be worth a person's look: a case that no call named had no more.
pub fn chance_not_called(settings: &Settings, cause: Cause) -> f64 {
    let Some(cost) = settings.cost(cause) else { return 0.05 };
    let miss = cost.case * cost.saved;
    let worth = (cost.call / miss).min(2.0 * cost.glance / miss);
    if worth.is_finite() { worth.clamp(0.01, 0.5) } else { 0.5 }
}
