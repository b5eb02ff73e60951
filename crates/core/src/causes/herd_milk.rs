//! Does the whole herd give less, or eat less?
//!
//! The herd's effect on milk is a slow state with its own forecast error. A lasting fall is weighed against "as it was"
//! by the same likelihood as a cow's signals: onset, severity, memory from point to point, heavy tails. What it was is
//! the middle of the points before the last 10 days, or of the first half of them where there are none.

use jiff::{SignedDuration, Timestamp};

use super::{
    Cause, Finding, Reason, Subject, Urgency,
    grid::{SPAN_H, onsets},
    judge::{NAMED_FROM, onset_interval},
    likelihood::{Ready, log_sum, table},
    series::Series,
    templates::HERD_MILK,
    worth::Settings,
};
use crate::{
    expect::{HerdPoint, Signal, Trouble},
    signals::HerdLine,
    time::hours_between,
};

/// Correlation of the herd's effect a day apart while nothing is wrong: weather and feed last some days. Stated default.
const MEMORY_A_DAY: f64 = 0.5;

/// What a herd wanders by itself, log: 1.2 %. Stated default.
const WANDER: f64 = 0.012;
/// What its chewing and eating wander by themselves, log: 3 %. Stated default.
const INTAKE_WANDER: f64 = 0.03;

/// Points a day that count; more of a slow state tell the same again.
const POINTS_A_DAY: f64 = 2.0;

/// Points before the last 10 days whose middle is what it was: three days and a half.
const USUAL_POINTS: usize = 40;

/// A fall that counts for one in the sum that names a call, log: speech begins at 2 %. Stated default.
const FALL_OF_ONE: f64 = 0.008;

/// Severities of a herd's fall: 2.5, 5 and 10 % with the shares of [`HERD_MILK`].
const SEVERITIES: [(f64, f64); 1] = [(1.0, 1.0)];
const PACES: [(f64, f64); 2] = [(1.0, 0.6), (4.0, 0.4)];

/// The herd's finding, if its milk may have fallen; `points` in order of time, none later than `at` is read.
pub fn judge_herd(points: &[HerdPoint], at: Timestamp, settings: &Settings) -> Option<Finding> {
    judge_course(Signal::Milk, points, at, settings)
}

/// The herd's finding, if all its cows ruminate or eat less.
pub fn judge_intake(line: &HerdLine, at: Timestamp, settings: &Settings) -> Option<Finding> {
    judge_course(line.signal, &line.points, at, settings)
}

/// The same weighing for any course of the herd: what differs is what it is called.
fn judge_course(signal: Signal, points: &[HerdPoint], at: Timestamp, settings: &Settings) -> Option<Finding> {
    let (cause, wander) = match signal {
        Signal::Milk => (Cause::HerdMilk, WANDER),
        _ => (Cause::HerdIntake, INTAKE_WANDER),
    };
    let known: Vec<&HerdPoint> = points
        .iter()
        .filter(|point| point.at <= at && point.log_effect.is_finite() && point.sd.is_finite())
        .collect();
    let recent: Vec<&HerdPoint> =
        known.iter().filter(|point| -SPAN_H <= hours_between(at, point.at)).copied().collect();
    if recent.len() < 3 {
        return None;
    }
    let older: Vec<f64> = known[..known.len() - recent.len()].iter().map(|point| point.log_effect).collect();
    let usual = if older.len() < 3 {
        middle(recent[..recent.len().div_ceil(2)].iter().map(|point| point.log_effect).collect())
    } else {
        middle(older[older.len().saturating_sub(USUAL_POINTS)..].to_vec())
    };
    let mut series = Series {
        signal,
        quarter: None,
        hours: Vec::new(),
        gap: Vec::new(),
        per_spread: Vec::new(),
        memory: Vec::new(),
        error: Vec::new(),
        wide: true,
        tail: 5.0,
        shown: Vec::new(),
    };
    for point in &recent {
        let hours = hours_between(at, point.at);
        let apart_h = series.hours.last().map_or(24.0, |before| hours - before);
        if apart_h < 24.0 / POINTS_A_DAY - 1.0 && !std::ptr::eq(*point, recent[recent.len() - 1]) {
            continue;
        }
        series.memory.push(MEMORY_A_DAY.powf((apart_h / 24.0).max(0.1)));
        series.hours.push(hours);
        series.gap.push(point.log_effect - usual);
        series.per_spread.push(1.0 / point.sd.hypot(wander));
        series.error.push(wander / 2.0);
        series.shown.push((100.0 * (point.log_effect.exp() - 1.0), 100.0 * (usual.exp() - 1.0)));
    }
    let cells = onsets(&series.hours, -SPAN_H);
    if cells.is_empty() {
        return None;
    }
    let ready = Ready::new(&HERD_MILK, &SEVERITIES);
    let ratios = table(&series, &ready, &PACES, &cells);
    let count = ready.amplitudes.len();
    let rate = settings.rates.of_place(cause);
    let weights: Vec<(usize, f64, f64, f64)> = PACES
        .iter()
        .enumerate()
        .flat_map(|(pace, (_, pace_weight))| {
            let (ready, ratios, cells) = (&ready, &ratios, &cells);
            cells.iter().enumerate().flat_map(move |(onset, cell)| {
                ready.parts[0].iter().filter_map(move |(place, weight)| {
                    let place = (*place)?;
                    let ratio = ratios[(pace * cells.len() + onset) * count + place];
                    let prior = rate * cell.width_days * pace_weight * weight;
                    Some((onset, ready.amplitudes[place], ratio, prior.ln() + ratio))
                })
            })
        })
        .collect();
    let total = log_sum(weights.iter().map(|(_, _, _, weight)| *weight));
    let probability = 1.0 / (1.0 + (-total).exp());
    if probability < NAMED_FROM {
        return None;
    }
    let mut by_onset = vec![0.0; cells.len()];
    let (mut severity, mut telling) = (0.0, 0.0);
    for (onset, amplitude, ratio, weight) in &weights {
        let share = (weight - total).exp();
        by_onset[*onset] += share;
        severity += share * amplitude;
        telling += share * ratio;
    }
    let (since_h, early_h, late_h) = onset_interval(&by_onset, &cells)?;
    let instant = |hours: f64| at.saturating_add(SignedDuration::from_secs((hours * 3600.0) as i64)).ok();
    let (observed, expected) = fall(&series, since_h);
    let since = instant(since_h)?;
    let mut finding = Finding {
        subject: Subject::Herd,
        cause,
        quarter: None,
        probability,
        others: vec![(Cause::Well, 1.0 - probability)],
        urgency: Urgency::Watch,
        since,
        since_between: (instant(early_h)?, instant(late_h)?),
        episode: began(&known).unwrap_or(since),
        worth: 0.0,
        severity,
        reasons: vec![Reason { signal, quarter: None, observed, expected, weight: telling }],
    };
    settings.value(&mut finding, at);
    Some(finding)
}

/// The first point that spoke of the fall going on now: read off the course again at every round, so that it stays the same.
fn began(known: &[&HerdPoint]) -> Option<Timestamp> {
    let mut trouble = None;
    for (index, point) in known.iter().enumerate() {
        let before = known[..index].partition_point(|older| hours_between(point.at, older.at) < -SPAN_H);
        if before < 3 {
            continue;
        }
        let older = known[before.saturating_sub(USUAL_POINTS)..before].iter();
        let usual = middle(older.map(|point| point.log_effect).collect());
        let said = (usual - point.log_effect) / FALL_OF_ONE;
        trouble = Trouble::after(trouble, said, point.at.as_millisecond());
    }
    Timestamp::from_millisecond(trouble?.since_ms).ok()
}

/// Mean of the points since the onset, and what they were before, % of what the cows' own levels expect.
fn fall(series: &Series, since_h: f64) -> (f64, f64) {
    let first = series.hours.partition_point(|hours| *hours < since_h).min(series.hours.len() - 1);
    let since = &series.shown[first..];
    let mean = since.iter().map(|(observed, _)| observed).sum::<f64>() / since.len() as f64;
    (mean, since[0].1)
}

/// Middle value, 0 of nothing.
fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
