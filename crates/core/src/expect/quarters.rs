//! Does one quarter give less than its part, whatever the cow gives?
//!
//! # Equation
//! u_i = ln milk_i − habit_i − cup_i,   common = median of u,   gap_i = u_i − common
//! The common part is the cow's; a median leaves it where it was when one quarter falls, so the others are not blamed and
//! nor is a quarter when the whole cow falls. Two quarters give a mean, one gives nothing. A quarter that is not milked
//! has no reading and no expectation: cows with three quarters are normal cows.
//! The share expected of a quarter is what it would be had it given its usual milk beside the others as they are:
//! e / (1 − o + e) with o its observed share and e = o · e^(−gap). So the shares expected add up to one, and a quarter
//! that gives half of its 28 % is told as 16, usually 28 %, and not as 16, usually 33 %.

use super::cow::Cow;
use super::herd::Moment;
use super::parameters::HABIT_DF;
use super::split::{BoxState, centre};
use super::{Departure, Signal};
use crate::herd::Quarter;
use crate::tables::QuarterVisit;

/// Least milk a quarter must have given to say something of its share, kg.
const LEAST_KG: f64 = 0.05;
/// Noise of the common part beside that of one quarter, as variance.
const COMMON_NOISE: f64 = 0.35;

/// Learns the quarters of a milking that was milked out; departures into `out` once she is judged.
pub(crate) fn quarters(
    now: &Moment<'_>,
    cow: &mut Cow,
    readings: &[QuarterVisit; 4],
    own_box: Option<&mut BoxState>,
    out: &mut Vec<Departure>,
) {
    let (p, at_ms) = (now.p, now.at_ms);
    let mut log_kg = [None; 4];
    for (own, reading) in log_kg.iter_mut().zip(readings) {
        *own = reading.milk_kg.filter(|&kg| LEAST_KG <= kg && reading.kicked != Some(true)).map(f64::ln);
    }
    if log_kg.iter().flatten().count() < 2 {
        return;
    }
    let mut own_box = own_box;
    if let Some(own_box) = own_box.as_deref_mut() {
        own_box.step_cup_milk(p, at_ms);
    }
    let days = (at_ms - cow.share_at_ms).max(0) as f64 / 86_400_000.0;
    cow.share_at_ms = at_ms;
    cow.share.iter_mut().for_each(|line| line.step(&p.share, days));
    let cups = own_box.as_ref().map(|own| own.cup_milk);
    let cup = |i: usize| cups.map_or(0.0, |cups| cups[i].mean);
    let cup_var = |i: usize| cups.map_or(0.0, |cups| cups[i].var);
    let episode = cow.episode.is_some();
    let baseline = [0, 1, 2, 3].map(|i: usize| cow.share[i].baseline());
    let against = |habit: &dyn Fn(usize) -> f64| -> [Option<f64>; 4] {
        let mut beside = [None; 4];
        for i in 0..4 {
            beside[i] = log_kg[i].map(|log| log - habit(i) - cup(i));
        }
        let common = median(&beside);
        beside.map(|own| own.map(|own| own - common))
    };
    let held_gaps = against(&|i| baseline[i].0);
    let live_gaps = against(&|i| cow.share[i].mean);
    let short = |hours: f64| 1.0 + (p.short_h / hours.max(0.3)).powi(2);
    let herd_var = p.share.noise_sd.powi(2) * (1.0 + COMMON_NOISE);
    let noise_var = herd_var * short(now.interval_h.unwrap_or(10.0)) / short(10.0);
    let total_kg: f64 = (0..4).filter_map(|i| log_kg[i].map(|log| (log - cup(i)).exp())).sum();
    let mut moved = [0.0; 4];
    if let Some(own_box) = own_box {
        for i in 0..4 {
            let Some(gap) = live_gaps[i] else { continue };
            let total = cow.share[i].var + cup_var(i) + cow.share[i].noise_var(noise_var);
            let weight = super::filter::weight(gap / total.sqrt(), HABIT_DF);
            let effect = &mut own_box.cup_milk[i];
            let before = effect.mean;
            effect.learn(gap, total / weight);
            moved[i] = effect.mean - before;
        }
        centre(&mut own_box.cup_milk);
    }
    for i in 0..4 {
        let (Some(live), Some(held), Some(log)) = (live_gaps[i], held_gaps[i], log_kg[i]) else { continue };
        let line = &mut cow.share[i];
        let other_var = line.noise_var(noise_var) + cup_var(i);
        let sd = (baseline[i].1 + other_var).sqrt();
        let known = 2 <= line.seen;
        let gap = held - moved[i];
        line.learn(live - moved[i], other_var, episode);
        if !known {
            line.accept(at_ms);
            continue;
        }
        line.weigh(gap / sd, episode, at_ms);
        if now.judged {
            let observed = (log - cup(i)).exp() / total_kg;
            // Its share, %, had it given so much more or less on the log scale, the others as they are.
            let share_pct = |log_more: f64| {
                let own = observed * log_more.exp();
                100.0 * own / (1.0 - observed + own)
            };
            out.push(Departure {
                signal: Signal::QuarterMilk,
                quarter: Some(Quarter::ALL[i]),
                observed: 100.0 * observed,
                expected: share_pct(-gap),
                low95: share_pct(-gap - 1.96 * sd),
                high95: share_pct(-gap + 1.96 * sd),
                z: gap / sd,
                gap,
                noise_sd: other_var.sqrt(),
            });
        }
    }
}

/// Median of what is there; 0 for nothing.
fn median(values: &[Option<f64>; 4]) -> f64 {
    let mut sorted = [0.0; 4];
    let mut count = 0;
    for value in values.iter().flatten() {
        let mut place = count;
        while 0 < place && *value < sorted[place - 1] {
            sorted[place] = sorted[place - 1];
            place -= 1;
        }
        sorted[place] = *value;
        count += 1;
    }
    match count {
        0 => 0.0,
        odd if odd % 2 == 1 => sorted[odd / 2],
        even => 0.5 * (sorted[even / 2 - 1] + sorted[even / 2]),
    }
}
