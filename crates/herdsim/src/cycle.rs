//! Is she in heat, served, in calf?
//!
//! # Source
//! Cycle 18 to 24 days, episode 8 to 16 h, service 13 to 24 h after activity rises, rumination −17 % about a wide
//! spread, milk unchanged to −10 %: `sources.md` §4.3. Chances of being seen and of conceiving: §4.3, §8, rounded.

use crate::{chance::Stream, signs::Signs};

/// One heat.
#[derive(Debug, Clone, Copy)]
pub struct Heat {
    /// Its number over the herd.
    pub number: u32,
    /// When activity begins to rise.
    pub begins_s: i64,
    /// How long it lasts, h.
    pub length_h: f64,
    /// Most activity, times her own.
    pub peak: f64,
    /// Form of the rise: 1 a plain hump, larger is peaked.
    hump: f64,
    /// Nothing to see, little or nothing to measure.
    pub silent: bool,
    rumination: f64,
    milk: f64,
    rebound: f64,
    coming: f64,
    /// When people saw it.
    pub seen_s: Option<i64>,
}

impl Heat {
    /// Draws a heat beginning at a time; first heats after calving are more often silent.
    pub fn draw(chance: &mut Stream, number: u32, begins_s: i64, first: bool, lame: f64) -> Heat {
        let silent = chance.chance(if first { 0.55 } else { 0.24 });
        let strength = if silent { chance.between(0.0, 0.35) } else { chance.log_normal(1.55, 0.45) * lame };
        let shown = if silent { 0.35 } else { 1.0 };
        Heat {
            number,
            begins_s,
            length_h: chance.log_normal(11.0, 0.32).clamp(4.0, 22.0),
            peak: 1.0 + strength.min(5.0),
            hump: chance.between(0.7, 2.2),
            silent,
            rumination: (chance.normal(0.17, 0.13) * shown).clamp(-0.12, 0.6),
            milk: (chance.normal(0.035, 0.055) * shown).clamp(-0.06, 0.22),
            rebound: chance.between(0.0, 0.7),
            coming: chance.between(-0.3, 0.45) * shown,
            seen_s: None,
        }
    }

    /// Adds what it does at this time.
    pub fn act(&self, at_s: i64, signs: &mut Signs) {
        let h = (at_s - self.begins_s) as f64 / 3600.0;
        let part = h / self.length_h;
        if (0.0..1.0).contains(&part) {
            let bump = (std::f64::consts::PI * part).sin().powf(self.hump);
            signs.activity *= 1.0 + (self.peak - 1.0) * bump;
            signs.lying *= 1.0 - 0.5 * bump * (self.peak - 1.0).min(1.2) / 1.2;
        }
        // Rumination, milk and coming move from somewhat before to somewhat after.
        let about = (-((h - 0.6 * self.length_h) / (0.8 * self.length_h)).powi(2)).exp();
        signs.rumination *= 1.0 - 1.4 * self.rumination * about;
        signs.eating *= 1.0 - self.rumination * about;
        signs.coming *= 1.0 - self.coming * about;
        let day = (-((h - 8.0) / 11.0).powi(2)).exp();
        let next_day = (-((h - 32.0) / 9.0).powi(2)).exp();
        signs.milk *= 1.0 - 1.25 * self.milk * day + self.rebound * self.milk * next_day;
        signs.box_feed *= 1.0 - 0.6 * self.rumination.max(0.0) * about;
        signs.heat_c += 0.25 * (self.peak - 1.0).min(1.5) * about;
    }

    /// When nothing of it is left.
    pub fn over_s(&self) -> i64 {
        self.begins_s + 60 * 3600
    }

    /// Share of milk lost at its worst; negative is a gain.
    pub fn milk_loss(&self) -> f64 {
        1.25 * self.milk
    }

    /// When activity is back.
    pub fn ends_s(&self) -> i64 {
        self.begins_s + (self.length_h * 3600.0) as i64
    }
}

/// Where she stands between two calvings.
#[derive(Debug, Clone, Copy, Default)]
pub struct Breeding {
    /// When the next heat begins, unless she is in calf.
    pub next_heat_s: Option<i64>,
    /// Heats since calving.
    pub heats: u32,
    /// Day she conceived.
    pub in_calf_since: Option<i32>,
    /// Day the calf will be lost, if it will.
    pub lost_on: Option<i32>,
    /// Days this calf is carried.
    pub gestation_d: i32,
    /// Last service.
    pub served_on: Option<i32>,
    /// Checks done after the last service.
    pub checks: u32,
    /// Recorded in calf by a check.
    pub recorded_in_calf: bool,
    /// People have given up on her.
    pub given_up: bool,
}

/// Days to the next heat: 18 to 24 about her own habit.
pub fn cycle_d(chance: &mut Stream, habit_d: f64) -> f64 {
    (habit_d + chance.normal(0.0, 1.1)).clamp(17.6, 24.6)
}

/// Chance of conceiving by hours from the rise of activity to service; shape of `sources.md` §4.3.
pub fn conceives(hours: f64, parity: u32, hot: f64) -> f64 {
    let timing = 0.25 + 0.2 * (-((hours - 17.0) / 9.0_f64).powi(2)).exp();
    timing * if parity == 1 { 1.12 } else { 0.97 } * (1.0 - 0.35 * hot.min(1.0))
}
