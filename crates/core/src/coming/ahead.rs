//! The hours ahead of one cow: how likely she comes by herself within each of them.

use jiff::Timestamp;

use super::fit::{Fits, Frailty};
use super::halves::{HALF_MS, State};
use crate::herd::Stage;
use crate::time::WallClock;

/// Half-hours looked ahead: a day.
const STEPS: usize = 48;

/// A cow at a time.
#[derive(Debug, Clone)]
pub struct Ahead<'a> {
    /// What is known of her.
    pub state: &'a State,
    /// Her frailty.
    pub frailty: Frailty,
    /// Her lactation.
    pub stage: Stage,
    /// Chance that she is lame, 0 to 1, where somebody said so.
    pub lame: f64,
}

/// How much less a lame cow comes: stated default. Lame cows are milked less often and fetched more (direction only).
const LAME: f64 = 0.6;

/// How likely she has come by each half-hour ahead.
#[derive(Debug, Clone, PartialEq)]
pub struct Chances {
    /// Chance that she has come by herself by the end of each half-hour.
    pub alone: Vec<f64>,
    /// Chance that she has been milked by then, by herself or brought as this farm brings its cows.
    pub milked: Vec<f64>,
}

impl Chances {
    /// Chance that she comes by herself within so many hours, 0 to 24, straight between half-hours.
    pub fn alone_within(&self, hours: f64) -> f64 {
        between(&self.alone, hours)
    }

    /// Chance that she is milked within so many hours, however she gets there.
    pub fn milked_within(&self, hours: f64) -> f64 {
        between(&self.milked, hours)
    }

    /// Hours until she has come by herself with a chance; `None`: not within a day.
    pub fn alone_by(&self, chance: f64) -> Option<f64> {
        let place = self.alone.iter().position(|own| chance <= *own)?;
        let before = place.checked_sub(1).map_or(0.0, |before| self.alone[before]);
        let part = (chance - before) / (self.alone[place] - before).max(1e-12);
        Some(0.5 * (place as f64 + part.clamp(0.0, 1.0)))
    }
}

fn between(all: &[f64], hours: f64) -> f64 {
    let place = (hours / 0.5).clamp(0.0, all.len() as f64);
    let whole = place as usize;
    let before = whole.checked_sub(1).and_then(|before| all.get(before)).copied().unwrap_or(0.0);
    let after = all.get(whole).copied().unwrap_or(before);
    before + (after - before) * (place - whole as f64)
}

/// Looks ahead from a time; `None` where nothing began from which to count.
pub fn chances(
    cow: &Ahead<'_>,
    fits: &Fits,
    kappa_per_h: f64,
    clock: &mut WallClock,
    at: Timestamp,
) -> Option<Chances> {
    cow.state.since?;
    let less = 1.0 - cow.lame.clamp(0.0, 1.0) * (1.0 - LAME);
    let (mut own, mut brought) = (0.0, 0.0);
    let (mut alone, mut milked) = (Vec::with_capacity(STEPS), Vec::with_capacity(STEPS));
    for step in 0..STEPS as i64 {
        let from_ms = at.as_millisecond() + step * HALF_MS;
        let half = cow.state.half((from_ms, from_ms + HALF_MS), &cow.stage, clock, kappa_per_h)?;
        own += less * fits.hazard_h(&half) * half.open_h;
        brought += fits.brought_at_h(&half) * half.open_h;
        let Frailty { a, b } = cow.frailty;
        let stays = (b / (b + own)).powf(a);
        alone.push(1.0 - stays);
        milked.push(1.0 - stays * (-brought).exp());
    }
    Some(Chances { alone, milked })
}
