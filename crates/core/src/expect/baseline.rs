//! What was she like before whatever is going on began?
//!
//! A line that follows a cow learns her illness as normal. So each signal keeps two: the live one, which follows, and an
//! anchor, which is the live one as it stood when there was last no evidence of a change. While evidence lasts the anchor
//! is the baseline; when it is gone, the live line is.
//!
//! # Equation
//! down ← max(0, down + min(−z, 5) − 1),   up ← max(0, up + min(z, 5) − 1)
//!   z  departure from the baseline in standard deviations of its forecast
//! Page's cumulative sums (1954, from memory). A sum at nought moves the anchor; the onset is where the sum last was nought.
//! An episode begins when one sum reaches 5, or the sums that speak for one quarter (share down, conductivity up) and the
//! cow's milk reach 6 together; it ends when all are back under 1. Both limits lie below any call's.

use super::parameters::{HABIT_DF, Habit};

/// What one reading must exceed, in standard deviations, to count as evidence.
const ALLOWANCE: f64 = 1.0;
/// No single reading counts for more standard deviations than this.
const MOST: f64 = 5.0;
/// An anchor older than twelve days is no baseline any more, unless an episode holds it.
pub(crate) const OLD_MS: i64 = 12 * 86_400_000;
/// No sum grows beyond this, so that it is gone a few days after what it spoke for.
const FULL: f64 = 12.0;
/// One sum that begins an episode.
pub(crate) const BEGINS: f64 = 5.0;
/// Sums of one quarter and the cow's milk that begin one together.
pub(crate) const BEGINS_TOGETHER: f64 = 6.0;
/// All sums below this end it.
pub(crate) const ENDS: f64 = 1.0;

/// Mean size of a standard normal, √(2/π).
pub(crate) const NORMAL_SIZE: f64 = 0.797_884_560_802_865_4;
/// Surprises over which a cow's own size of surprise is learned.
pub(crate) const SIZE_MEMORY: f64 = 80.0;

/// Cumulative evidence that a signal left its baseline.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct Evidence {
    pub(crate) down: f64,
    pub(crate) up: f64,
}

impl Evidence {
    pub(crate) fn add(&mut self, z: f64) {
        self.down = (self.down + (-z).min(MOST) - ALLOWANCE).clamp(0.0, FULL);
        self.up = (self.up + z.min(MOST) - ALLOWANCE).clamp(0.0, FULL);
    }
    pub(crate) fn most(&self) -> f64 {
        self.down.max(self.up)
    }
    pub(crate) fn clear(&mut self) {
        *self = Evidence::default();
    }
}

/// A habit of one number: the live line, its anchor, and the evidence between them.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Line {
    pub(crate) mean: f64,
    pub(crate) var: f64,
    anchor_mean: f64,
    anchor_var: f64,
    pub(crate) anchor_ms: i64,
    pub(crate) evidence: Evidence,
    /// Mean size of its surprises, in standard deviations: her own noise beside the herd's.
    size: f64,
    /// Readings it has learned from, up to 65,535.
    pub(crate) seen: u16,
}

impl Line {
    pub(crate) fn fresh(mean: f64, habit: &Habit, at_ms: i64) -> Line {
        let var = habit.between_sd * habit.between_sd;
        Line {
            mean,
            var,
            anchor_mean: mean,
            anchor_var: var,
            anchor_ms: at_ms,
            evidence: Evidence::default(),
            size: NORMAL_SIZE,
            seen: 0,
        }
    }

    /// Moves on by `days`; both lines grow less sure, the live one no less sure than a cow never seen.
    pub(crate) fn step(&mut self, habit: &Habit, days: f64) {
        let grown = habit.wander_sd_day * habit.wander_sd_day * days;
        let most = habit.between_sd * habit.between_sd;
        self.var = (self.var + grown).min(most.max(self.var));
        self.anchor_var = (self.anchor_var + grown).min(most.max(self.anchor_var));
    }

    /// Mean and variance of the baseline: the anchor while anything speaks for a change, else the live line.
    pub(crate) fn baseline(&self) -> (f64, f64) {
        if ENDS <= self.evidence.most() { (self.anchor_mean, self.anchor_var) } else { (self.mean, self.var) }
    }

    /// Her own noise variance, where the herd's is `herd_var`: between a quarter and six times it.
    pub(crate) fn noise_var(&self, herd_var: f64) -> f64 {
        herd_var * (self.size / NORMAL_SIZE).powi(2).clamp(0.25, 6.0)
    }

    /// Learns a reading: `gap` from the live mean, with the variance of its noise and of effects not her own. In an
    /// episode nothing is learned about the size of surprises.
    pub(crate) fn learn(&mut self, gap: f64, noise_var: f64, episode: bool) {
        let total = self.var + noise_var;
        let z = gap / total.sqrt();
        let weight = super::filter::weight(z, HABIT_DF);
        if !episode {
            let in_herd_noise =
                z.abs().min(4.0) * (self.size / NORMAL_SIZE).clamp(0.5, 2.449_489_742_783_178);
            self.size += (in_herd_noise - self.size) / SIZE_MEMORY;
        }
        let gain = self.var / (total / weight);
        self.mean += gap * gain;
        self.var -= gain * self.var;
        self.seen = self.seen.saturating_add(1);
    }

    /// Counts a departure from the baseline. With no evidence left the anchor moves up, and so it does when it is too old
    /// to judge by and no episode holds it.
    pub(crate) fn weigh(&mut self, z: f64, episode: bool, at_ms: i64) {
        self.evidence.add(z);
        if self.evidence.most() == 0.0 || !episode && OLD_MS < at_ms - self.anchor_ms {
            self.accept(at_ms);
        }
    }

    /// The live line becomes the baseline.
    pub(crate) fn accept(&mut self, at_ms: i64) {
        (self.anchor_mean, self.anchor_var, self.anchor_ms) = (self.mean, self.var, at_ms);
        self.evidence.clear();
    }

    /// Both lines are told from another zero.
    pub(crate) fn shift(&mut self, by: f64) {
        self.mean += by;
        self.anchor_mean += by;
    }

    /// A new lactation: what was learned is kept as a guess, and may move again.
    pub(crate) fn relax(&mut self, habit: &Habit, at_ms: i64) {
        let most = habit.between_sd * habit.between_sd;
        self.var = (self.var + 0.5 * most).min(most);
        self.seen = 0;
        self.accept(at_ms);
    }
}
