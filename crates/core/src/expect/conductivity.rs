//! Is one quarter's milk saltier than it used to be beside her others?
//!
//! # Equation
//! u_i = conductivity_i − cup_i − habit_i,   reference = mean of the two lowest u + c·σ,   gap_i = u_i − reference   (mS/cm)
//!   habit_i  how far the quarter usually stands above her two lowest; the two lowest habits have mean 0
//!   σ  scatter of one reading    c  0.663 for four quarters, 0.423 for three: the two lowest of readings that differ by
//!   chance alone lie that far under their mean (means of normal order statistics, from memory)
//! Habits are taken off before the two lowest are chosen: were they chosen by the raw readings, a quarter that is usually
//! low would take the reference up with it when it falls ill, and hide a third of its rise.
//! The reference itself is followed against her own level: that one is the departure without a quarter.
//! # Source
//! Two lowest quarters: Mollenhorst et al. 2010 (`sources.md` §4.1). Levels differ more between herds than between sick
//! and sound (Chamings et al. 1984, same place), so nothing is judged but against her own.

use super::cow::Cow;
use super::herd::Moment;
use super::parameters::HABIT_DF;
use super::split::{BoxState, centre};
use super::{Departure, Signal};
use crate::herd::Quarter;
use crate::tables::QuarterVisit;

/// Least milk a quarter must have given for its probe to have been in milk, kg (where its milk is measured).
const LEAST_KG: f64 = 0.2;
/// Noise of a reading and of its reference together, beside that of one reading, as variance.
const REFERENCE_NOISE: f64 = 1.4;

/// Learns the conductivity of one milking; departures into `out` once she is judged.
pub(crate) fn conductivity(
    now: &Moment<'_>,
    cow: &mut Cow,
    readings: &[QuarterVisit; 4],
    own_box: Option<&mut BoxState>,
    out: &mut Vec<Departure>,
) {
    let (p, at_ms) = (now.p, now.at_ms);
    if readings.iter().filter(|reading| reading.ms_cm.is_some()).count() < 3 {
        return;
    }
    let mut own_box = own_box;
    if let Some(own_box) = own_box.as_deref_mut() {
        own_box.step_cup_ms(p, at_ms);
    }
    let days = (at_ms - cow.ms_at_ms).max(0) as f64 / 86_400_000.0;
    cow.ms_at_ms = at_ms;
    cow.ms.iter_mut().for_each(|line| line.step(&p.conductivity, days));
    cow.ms_level.step(&p.conductivity_level, days);
    let cups = own_box.as_ref().map(|own| own.cup_ms);
    let mut ms_cm = [None; 4];
    for (i, reading) in readings.iter().enumerate() {
        let usable = reading.kicked != Some(true) && reading.milk_kg.is_none_or(|kg| LEAST_KG <= kg);
        let cup = cups.map_or(0.0, |cups| cups[i].mean);
        ms_cm[i] = reading.ms_cm.filter(|_| usable).map(|measured| measured - cup);
    }
    let episode = cow.episode.is_some();
    let baseline = [0, 1, 2, 3].map(|i: usize| cow.ms[i].baseline());
    let live = [0, 1, 2, 3].map(|i: usize| cow.ms[i].mean);
    let noise_sd = p.conductivity.noise_sd;
    let (Some(reference), Some(held_reference)) =
        (two_lowest(&ms_cm, live, noise_sd), two_lowest(&ms_cm, baseline.map(|own| own.0), noise_sd))
    else {
        return;
    };
    for i in 0..4 {
        let Some(own) = ms_cm[i] else { continue };
        let line = &mut cow.ms[i];
        let mut other_var = line.noise_var(REFERENCE_NOISE * noise_sd * noise_sd);
        let mut moved = 0.0;
        if let Some(own_box) = own_box.as_deref_mut() {
            let effect = &mut own_box.cup_ms[i];
            other_var += effect.var;
            let gap = own - reference - line.mean;
            let total = line.var + other_var;
            let weight = super::filter::weight(gap / total.sqrt(), HABIT_DF);
            let before = effect.mean;
            let own_var = total - effect.var;
            effect.learn(gap, total / weight);
            moved = effect.mean - before;
            if 2 <= line.seen {
                own_box.bins.note_cup(
                    at_ms,
                    i,
                    gap + cups.map_or(0.0, |cups| cups[i].mean),
                    own_var / weight,
                );
            }
        }
        let sd = (baseline[i].1 + other_var).sqrt();
        let known = 2 <= line.seen;
        let gap = own - held_reference - baseline[i].0 - moved;
        line.learn(own - reference - line.mean - moved, other_var, episode);
        if !known {
            line.accept(at_ms);
            continue;
        }
        line.weigh(gap / sd, episode, at_ms);
        if now.judged {
            let expected = own - gap;
            out.push(Departure {
                signal: Signal::Conductivity,
                quarter: Some(Quarter::ALL[i]),
                observed: own,
                expected,
                low95: expected - 1.96 * sd,
                high95: expected + 1.96 * sd,
                z: gap / sd,
                gap,
                noise_sd: other_var.sqrt(),
            });
        }
    }
    if let Some(own_box) = own_box.as_deref_mut() {
        centre(&mut own_box.cup_ms);
    }
    // Habits say how quarters stand to each other; what all share belongs to her level.
    if let Some(shared) = two_lowest(&cow.ms.map(|line| Some(line.mean)), [0.0; 4], 0.0) {
        for line in &mut cow.ms {
            line.shift(-shared);
        }
    }
    level(now, cow, reference, own_box, out);
}

/// Mean of the two lowest readings after habits are taken off, corrected for their being the lowest; `None` under three.
fn two_lowest(ms_cm: &[Option<f64>; 4], habit: [f64; 4], noise_sd: f64) -> Option<f64> {
    let (mut lowest, mut second, mut count) = (f64::INFINITY, f64::INFINITY, 0);
    for (reading, habit) in ms_cm.iter().zip(habit) {
        let Some(own) = reading.map(|own| own - habit) else { continue };
        count += 1;
        if own < lowest {
            (lowest, second) = (own, lowest);
        } else if own < second {
            second = own;
        }
    }
    let below = match count {
        4 => 0.663,
        3 => 0.423,
        _ => return None,
    };
    Some(0.5 * (lowest + second) + below * noise_sd)
}

/// The udder's level: the mean of her two lowest against her own.
fn level(
    now: &Moment<'_>,
    cow: &mut Cow,
    reference: f64,
    own_box: Option<&mut BoxState>,
    out: &mut Vec<Departure>,
) {
    let (p, at_ms) = (now.p, now.at_ms);
    let episode = cow.episode.is_some();
    let line = &mut cow.ms_level;
    let mut other_var = line.noise_var(p.conductivity_level.noise_sd * p.conductivity_level.noise_sd);
    let mut probe = 0.0;
    if let Some(own_box) = own_box {
        let effect = &mut own_box.level_ms;
        other_var += effect.var;
        let gap = reference - effect.mean - line.mean;
        let total = line.var + other_var;
        let weight = super::filter::weight(gap / total.sqrt(), HABIT_DF);
        effect.learn(gap, total / weight);
        probe = effect.mean;
    }
    let (habit, habit_var) = line.baseline();
    let known = 2 <= line.seen;
    let gap = reference - probe - habit;
    line.learn(reference - probe - line.mean, other_var, episode);
    if !known {
        line.accept(at_ms);
        return;
    }
    let sd = (habit_var + other_var).sqrt();
    line.weigh(gap / sd, episode, at_ms);
    if now.judged {
        out.push(Departure {
            signal: Signal::Conductivity,
            quarter: None,
            observed: reference - probe,
            expected: habit,
            low95: habit - 1.96 * sd,
            high95: habit + 1.96 * sd,
            z: gap / sd,
            gap,
            noise_sd: other_var.sqrt(),
        });
    }
}
