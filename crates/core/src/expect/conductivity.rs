//! Is one quarter's milk saltier than it used to be beside her others?
//!
//! # Equation
//! x_i = (conductivity_i − cup_i) − mean of her two lowest quarters of this milking,   gap_i = x_i − habit_i   (mS/cm)
//! The mean of the two lowest is itself followed against her own level: that one is the departure without a quarter.
//! # Source
//! Two lowest quarters: Mollenhorst et al. 2010 (`published.md` §4.1). Levels differ more between herds than between sick
//! and sound (Chamings et al. 1984, same place), so nothing is judged but against her own.

use super::cow::Cow;
use super::parameters::Parameters;
use super::split::BoxState;
use super::{Departure, Signal};
use crate::herd::Quarter;
use crate::tables::QuarterVisit;

/// Least milk a quarter must have given for its probe to have been in milk, kg (where its milk is measured).
const LEAST_KG: f64 = 0.2;

/// Learns the conductivity of one milking; departures into `out` once `judged`.
pub(crate) fn conductivity(
    p: &Parameters,
    cow: &mut Cow,
    readings: &[QuarterVisit; 4],
    own_box: Option<&mut BoxState>,
    at_ms: i64,
    judged: bool,
    out: &mut Vec<Departure>,
) {
    let cups = own_box.as_ref().map(|own| own.cup_ms);
    let mut ms_cm = [None; 4];
    let (mut lowest, mut second, mut count) = (f64::INFINITY, f64::INFINITY, 0);
    for i in 0..4 {
        let reading = &readings[i];
        let usable = reading.kicked != Some(true) && reading.milk_kg.is_none_or(|kg| LEAST_KG <= kg);
        let Some(measured) = reading.ms_cm.filter(|_| usable) else { continue };
        let own = measured - cups.map_or(0.0, |cups| cups[i].mean);
        ms_cm[i] = Some(own);
        count += 1;
        if own < lowest {
            (lowest, second) = (own, lowest);
        } else if own < second {
            second = own;
        }
    }
    if count < 3 {
        return;
    }
    let reference = 0.5 * (lowest + second);
    let episode = cow.episode.is_some();
    let noise_var = p.conductivity.noise_sd * p.conductivity.noise_sd;
    let mut own_box = own_box;
    for i in 0..4 {
        let Some(own) = ms_cm[i] else { continue };
        let line = &mut cow.ms[i];
        let (habit, habit_var) = line.baseline(episode);
        let mut other_var = noise_var;
        let mut moved = 0.0;
        if let Some(own_box) = own_box.as_deref_mut() {
            let effect = &mut own_box.cup_ms[i];
            other_var += effect.var;
            let gap = own - reference - line.mean;
            let total = line.var + other_var;
            let weight = super::filter::weight(gap / total.sqrt(), p.tail_df);
            let before = effect.mean;
            effect.learn(gap, total / weight);
            moved = effect.mean - before;
        }
        let sd = (habit_var + other_var).sqrt();
        let known = 2 <= line.seen;
        let gap = own - reference - habit - moved;
        line.learn(own - reference - line.mean - moved, other_var, p.tail_df);
        if !known {
            line.accept(at_ms);
            continue;
        }
        line.weigh(gap / sd, episode, at_ms);
        if judged {
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
    level(p, cow, reference, own_box, at_ms, judged, out);
}

/// The udder's level: the mean of her two lowest against her own.
fn level(
    p: &Parameters,
    cow: &mut Cow,
    reference: f64,
    own_box: Option<&mut BoxState>,
    at_ms: i64,
    judged: bool,
    out: &mut Vec<Departure>,
) {
    let episode = cow.episode.is_some();
    let line = &mut cow.ms_level;
    let mut other_var = p.conductivity_level.noise_sd * p.conductivity_level.noise_sd;
    let mut probe = 0.0;
    if let Some(own_box) = own_box {
        let effect = &mut own_box.level_ms;
        other_var += effect.var;
        let gap = reference - effect.mean - line.mean;
        let total = line.var + other_var;
        let weight = super::filter::weight(gap / total.sqrt(), p.tail_df);
        effect.learn(gap, total / weight);
        probe = effect.mean;
    }
    let (habit, habit_var) = line.baseline(episode);
    let known = 2 <= line.seen;
    let gap = reference - probe - habit;
    line.learn(reference - probe - line.mean, other_var, p.tail_df);
    if !known {
        line.accept(at_ms);
        return;
    }
    let sd = (habit_var + other_var).sqrt();
    line.weigh(gap / sd, episode, at_ms);
    if judged {
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
