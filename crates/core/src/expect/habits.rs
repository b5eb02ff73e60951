//! Did she come, and stand, as she usually does?
//!
//! # Equation
//! Interval: ln h = habit + by-hour + noise. `by-hour` is the herd's mean departure in that two-hour part of the day, so that
//! a cow milked at five in the morning is not called late because the herd sleeps.
//! Kicks: chance = (kicks + 10·herd rate) / (milkings + 10), old milkings fading over about sixty; z = (kicked − chance) / √(chance·(1 − chance)).
//! While an episode lasts the chance of a kick is held as it was before.

use super::cow::Cow;
use super::herd::Moment;
use super::{Departure, Signal};
use crate::herd::Quarter;
use crate::tables::QuarterVisit;

/// Longest interval that is a habit of hers and not a gap in the log, h.
const LONGEST_H: f64 = 48.0;
/// Share of old kicks and milkings kept at each milking.
const KEEPS: f64 = 1.0 - 1.0 / 60.0;
/// Milkings' worth of the herd's rate in a cow's own.
const PRIOR_MILKINGS: f64 = 10.0;

/// The herd's intervals by two-hour part of the day: mean departure, log, and how many made it.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct ByHour {
    mean: [f64; 12],
    count: [f64; 12],
}

impl ByHour {
    pub(crate) fn new() -> ByHour {
        ByHour { mean: [0.0; 12], count: [0.0; 12] }
    }

    /// The interval a cow would usually have at this hour of day, h.
    pub(crate) fn usual_h(&self, cow: &Cow, hour_of_day: f64) -> f64 {
        (cow.interval.mean + self.mean[part(hour_of_day)]).exp().clamp(4.0, 20.0)
    }
}

/// Learns the interval before a milking; its departure once she is judged.
pub(crate) fn interval(now: &Moment<'_>, cow: &mut Cow, by_hour: &mut ByHour) -> Option<Departure> {
    let (p, at_ms) = (now.p, now.at_ms);

    let hours = now.interval_h.filter(|&hours| hours <= LONGEST_H)?.max(0.3);
    let part = part(now.hour_of_day);
    let own = hours.ln() - by_hour.mean[part];
    let episode = cow.episode.is_some();
    let line = &mut cow.interval;
    line.step(&p.interval, hours / 24.0);
    let (habit, habit_var) = line.baseline();
    let noise_var = line.noise_var(p.interval.noise_sd * p.interval.noise_sd);
    let sd = (habit_var + noise_var).sqrt();
    let gap = own - habit;
    let live_gap = own - line.mean;
    line.learn(live_gap, noise_var, episode);
    let known = 3 <= line.seen;
    // The herd's hours learn slowly, from at most the last two thousand or so milkings of that part of the day.
    by_hour.count[part] = (by_hour.count[part] + 1.0).min(2_000.0);
    by_hour.mean[part] += live_gap.clamp(-1.0, 1.0) / (20.0 + by_hour.count[part]);
    if !known {
        line.accept(at_ms);
        return None;
    }
    line.weigh(gap / sd, episode, at_ms);
    let expected = hours * (-gap).exp();
    now.judged.then(|| Departure {
        signal: Signal::Interval,
        quarter: None,
        observed: hours,
        expected,
        low95: expected * (-1.96 * sd).exp(),
        high95: expected * (1.96 * sd).exp(),
        z: gap / sd,
        gap,
        noise_sd: noise_var.sqrt(),
    })
}

/// Two-hour part of the day.
fn part(hour_of_day: f64) -> usize {
    ((hour_of_day * 0.5) as usize).min(11)
}

/// Learns which cups were kicked off; departures into `out` once she is judged.
pub(crate) fn kicks(now: &Moment<'_>, cow: &mut Cow, readings: &[QuarterVisit; 4], out: &mut Vec<Departure>) {
    let p = now.p;
    let episode = cow.episode.is_some();
    for (i, reading) in readings.iter().enumerate() {
        let Some(kicked) = reading.kicked else { continue };
        let own = &mut cow.kicks[i];
        let chance =
            ((own.kicks + PRIOR_MILKINGS * p.kick_rate) / (own.milkings + PRIOR_MILKINGS)).clamp(1e-3, 0.999);
        let noise_sd = (chance * (1.0 - chance)).sqrt();
        let observed = if kicked { 1.0 } else { 0.0 };
        if !episode {
            own.kicks = KEEPS * own.kicks + observed;
            own.milkings = KEEPS * own.milkings + 1.0;
        }
        if now.judged {
            out.push(Departure {
                signal: Signal::Kicks,
                quarter: Some(Quarter::ALL[i]),
                observed,
                expected: chance,
                low95: 0.0,
                high95: 1.0,
                z: (observed - chance) / noise_sd,
                gap: observed - chance,
                noise_sd,
            });
        }
    }
}
