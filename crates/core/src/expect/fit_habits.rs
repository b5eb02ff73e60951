//! How much do a herd's quarters, conductivities and intervals scatter, and how fast do her cows' habits wander?
//!
//! # Equation
//! median |x(t + Δ) − x(t)| = 0.6745·√(2·noise² + wander²·Δ)
//! taken over pairs of neighbouring readings of a cow and over pairs about four days apart: two equations, two unknowns.
//! Medians, so that the days of the few ill cows say nothing. Quarters and conductivities are read beside the mean of
//! the four, which hides a quarter of their noise.

use std::collections::BTreeMap;

use super::fit::SampleMilking;
use super::parameters::{Habit, Parameters};
use crate::herd::LifeKey;
use crate::tables::Outcome;

/// Day and value of each reading, by cow and quarter.
type Series = BTreeMap<(LifeKey, usize), Vec<(f64, f64)>>;

/// Pairs below which a habit is left as it was.
const LEAST_PAIRS: usize = 400;
/// Milkings between the far pairs.
const FAR: usize = 12;
/// Median size of a standard normal.
const MEDIAN_SIZE: f64 = 0.674_489_750_196_081_7;
/// Share of the noise that is left beside the mean of four.
const BESIDE_FOUR: f64 = 0.75;

/// Fits noise and wandering of quarter milk, conductivity, its level and intervals, where there is enough of them.
pub(super) fn fit_habits(sample: &[SampleMilking], p: &mut Parameters) {
    let mut series: [Series; 4] = Default::default();
    let mut last = BTreeMap::new();
    let Some(start) = sample.first().map(|row| row.visit.ended_at) else { return };
    for row in sample {
        let visit = &row.visit;
        if !matches!(visit.outcome, Some(Outcome::Milked) | None) || visit.milk_kg.is_none() {
            continue;
        }
        let day = crate::time::hours_between(start, visit.ended_at) / 24.0;
        if let Some(before) = last.insert(visit.life, day) {
            let hours = 24.0 * (day - before);
            if (2.0..=24.0).contains(&hours) {
                series[3].entry((visit.life, 0)).or_default().push((day, hours.ln()));
            }
        }
        let log_kg = visit.quarters.map(|quarter| quarter.milk_kg.filter(|&kg| 0.1 <= kg).map(f64::ln));
        let salt = visit.quarters.map(|quarter| quarter.ms_cm);
        for (place, four) in [(0, log_kg), (1, salt)] {
            let Some(mean) = four.iter().copied().sum::<Option<f64>>().map(|sum| 0.25 * sum) else {
                continue;
            };
            for (quarter, own) in four.iter().flatten().enumerate() {
                series[place].entry((visit.life, quarter)).or_default().push((day, own - mean));
            }
            if place == 1 {
                series[2].entry((visit.life, 0)).or_default().push((day, mean));
            }
        }
    }
    let shares = [BESIDE_FOUR, BESIDE_FOUR, 1.0, 1.0];
    let habits = [&mut p.share, &mut p.conductivity, &mut p.conductivity_level, &mut p.interval];
    for ((habit, series), share) in habits.into_iter().zip(&series).zip(shares) {
        fit_habit(habit, series, share);
    }
}

fn fit_habit(habit: &mut Habit, series: &Series, share: f64) {
    let Some((near_var, near_d)) = differences(series, 1) else { return };
    let Some((far_var, far_d)) = differences(series, FAR) else { return };
    if far_d <= near_d {
        return;
    }
    let wander_var = ((far_var - near_var) / (far_d - near_d)).max(0.0);
    let noise_var = 0.5 * (near_var - wander_var * near_d).max(0.25 * near_var) / share;
    // Within a quarter and four times the stated default: a sample of some weeks says no more.
    let within = |value: f64, stated: f64| value.clamp(0.25 * stated, 4.0 * stated);
    habit.noise_sd = within(noise_var.sqrt(), habit.noise_sd);
    habit.wander_sd_day = within((wander_var / share).sqrt(), habit.wander_sd_day);
}

/// Variance of differences `apart` readings from each other, by their median, and their mean distance in days.
fn differences(series: &Series, apart: usize) -> Option<(f64, f64)> {
    let mut sizes = Vec::new();
    let mut days = 0.0;
    for own in series.values() {
        for (before, after) in own.iter().zip(own.iter().skip(apart)) {
            sizes.push((after.1 - before.1).abs());
            days += after.0 - before.0;
        }
    }
    if sizes.len() < LEAST_PAIRS {
        return None;
    }
    days /= sizes.len() as f64;
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    Some(((*median / MEDIAN_SIZE).powi(2), days))
}
