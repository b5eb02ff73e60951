//! Is it the herd, the box, the cup, or the cow?
//!
//! # Equation
//! surprise = herd + box + cow + noise,   each effect gets its share  var(effect) / var(surprise)  of it
//! effect ← effect·e^(−Δ/T),   var ← σ² + (var − σ²)·e^(−2Δ/T)
//!   T  days in which the effect fades    σ  its standard deviation at rest
//! Effects are inside the observation and learn before the cow does: what they take is taken from what she is told. A
//! surprise is weighted as Student's t, so that the few ill cows do not move the herd. Covariance between effects is
//! neglected; they see the same surprises in turn and settle on their own.
//! A box that fewer than four cows use has no effect of its own, nor has the only box of a farm: its meter and the herd
//! are aliases there. A cup has one even there, for no herd falls in one quarter.

use super::parameters::Slow;

/// A slow effect: mean and variance.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Effect {
    pub(crate) mean: f64,
    pub(crate) var: f64,
}

impl Effect {
    /// An effect there is not.
    pub(crate) const NONE: Effect = Effect { mean: 0.0, var: 0.0 };

    pub(crate) fn rest(slow: &Slow) -> Effect {
        Effect { mean: 0.0, var: slow.sd * slow.sd }
    }
    /// Fades over a time whose e^(−Δ/T) is `fade`.
    pub(crate) fn fade(&mut self, slow: &Slow, fade: f64) {
        let rest = slow.sd * slow.sd;
        self.mean *= fade;
        self.var = rest + (self.var - rest) * fade * fade;
    }
    /// Takes its share of a surprise of variance `var`.
    pub(crate) fn learn(&mut self, surprise: f64, var: f64) {
        let share = self.var / var;
        self.mean += share * surprise;
        self.var -= share * self.var;
    }
}

/// Cups are told from each other, not from zero: what all four share is the box's or the cow's. Takes the mean off.
pub(crate) fn centre(cups: &mut [Effect; 4]) {
    let shared = 0.25 * cups.iter().map(|cup| cup.mean).sum::<f64>();
    for cup in cups {
        cup.mean -= shared;
    }
}

/// e^(−Δ/T) for a step of `days`; short steps by two terms of the series.
pub(crate) fn fade(days: f64, slow: &Slow) -> f64 {
    let x = days / slow.days;
    if x < 0.01 { 1.0 - x * (1.0 - 0.5 * x) } else { (-x).exp() }
}

/// Moves a clock on to `at_ms`; the days it moved, if any. A clock at the beginning of time did not run yet.
pub(crate) fn days_on(clock_ms: &mut i64, at_ms: i64) -> Option<f64> {
    if *clock_ms == i64::MIN {
        *clock_ms = at_ms;
        return None;
    }
    let days = (at_ms - *clock_ms).max(0) as f64 / 86_400_000.0;
    *clock_ms = at_ms.max(*clock_ms);
    (0.0 < days).then_some(days)
}

/// How many cows must have used a box before it may have an effect of its own.
const SHARED: usize = 4;

/// One box: its effect on milk, and its four cups' on milk and conductivity.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct BoxState {
    pub(crate) milk: Effect,
    /// Which side the surprises of its last milkings were on, −2.5 to 2.5.
    pub(crate) side: f64,
    pub(crate) cup_milk: [Effect; 4],
    pub(crate) cup_ms: [Effect; 4],
    /// All its probes together, mS/cm.
    pub(crate) level_ms: Effect,
    /// What it read, six hours by six hours.
    pub(crate) bins: super::box_bins::BoxBins,
    at_ms: i64,
    cup_milk_at_ms: i64,
    cup_ms_at_ms: i64,
    users: [u32; SHARED],
    known_users: u8,
}

impl BoxState {
    pub(crate) fn new(p: &super::Parameters, at_ms: i64) -> BoxState {
        BoxState {
            milk: Effect::rest(&p.boxes),
            side: 0.0,
            cup_milk: [Effect::rest(&p.cup_milk); 4],
            cup_ms: [Effect::rest(&p.cup_ms); 4],
            level_ms: Effect::rest(&p.probe_ms),
            bins: super::box_bins::BoxBins::default(),
            at_ms,
            cup_milk_at_ms: at_ms,
            cup_ms_at_ms: at_ms,
            users: [0; SHARED],
            known_users: 0,
        }
    }

    /// Moves on to `at_ms` and notes who uses it; whether it is shared by enough cows.
    pub(crate) fn step(&mut self, p: &super::Parameters, at_ms: i64, life: u32) -> bool {
        let known = usize::from(self.known_users);
        if known < SHARED && !self.users[..known].contains(&life) {
            self.users[known] = life;
            self.known_users += 1;
        }
        if let Some(days) = days_on(&mut self.at_ms, at_ms) {
            self.milk.fade(&p.boxes, fade(days, &p.boxes));
        }
        self.shared()
    }

    /// Moves the cups' effects on milk on to `at_ms`.
    pub(crate) fn step_cup_milk(&mut self, p: &super::Parameters, at_ms: i64) {
        if let Some(days) = days_on(&mut self.cup_milk_at_ms, at_ms) {
            let fade = fade(days, &p.cup_milk);
            self.cup_milk.iter_mut().for_each(|cup| cup.fade(&p.cup_milk, fade));
        }
    }

    /// Moves the cups' effects on conductivity on to `at_ms`.
    pub(crate) fn step_cup_ms(&mut self, p: &super::Parameters, at_ms: i64) {
        if let Some(days) = days_on(&mut self.cup_ms_at_ms, at_ms) {
            let cup_fade = fade(days, &p.cup_ms);
            self.cup_ms.iter_mut().for_each(|cup| cup.fade(&p.cup_ms, cup_fade));
            self.level_ms.fade(&p.probe_ms, fade(days, &p.probe_ms));
        }
    }

    pub(crate) fn shared(&self) -> bool {
        usize::from(self.known_users) == SHARED
    }

    /// Its cows bear other keys now.
    pub(crate) fn rekey(&mut self, life: impl Fn(u32) -> Option<u32>) {
        if !self.shared() {
            let known = usize::from(self.known_users);
            let kept: Vec<u32> = self.users[..known].iter().filter_map(|&user| life(user)).collect();
            self.users = [0; SHARED];
            self.users[..kept.len()].copy_from_slice(&kept);
            self.known_users = kept.len() as u8;
        }
    }
}
