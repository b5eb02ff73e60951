//! Does the whole herd give less, or chew and eat less?
//!
//! The herd's effect on milk, or on rumination or eating, is a slow state with its own forecast error: points of time, log
//! effect and standard deviation, from whichever signal. A lasting fall is weighed against "as it was"
//! by the same likelihood as a cow's signals: onset, severity, memory from point to point, heavy tails. What it was is
//! the middle of the points before the last 10 days, or of the first half of them where there are none.

use jiff::{SignedDuration, Timestamp};

use super::{
    Cause, Finding, Reason, Subject, Urgency,
    grid::{SPAN_H, onsets},
    judge::{NAMED_FROM, onset_interval},
    likelihood::{Ready, log_sum, table},
    series::Series,
    templates::{Course, HERD_MILK},
    well::Well,
    worth::Settings,
};
use crate::{
    expect::{HerdPoint, Signal, Trouble},
    middle::median_of,
    time::hours_between,
};

/// How one effect of the herd falls, and how it wanders while nothing is wrong.
struct Fall {
    cause: Cause,
    signal: Signal,
    course: &'static Course,
    /// Correlation a day apart while nothing is wrong: weather and feed last some days.
    memory_a_day: f64,
    /// What it wanders by itself, log.
    wander: f64,
    /// A fall that counts for one in the sum that names a call, log.
    of_one: f64,
}

/// Milk wanders by 1.2 %; speech begins at a fall of 2 %. Stated defaults.
static MILK: Fall = Fall {
    cause: Cause::HerdMilk,
    signal: Signal::Milk,
    course: &HERD_MILK,
    memory_a_day: 0.5,
    wander: 0.012,
    of_one: 0.008,
};

/// Rumination or eating of a herd wanders by 2 %, for a cow's own day strays by a tenth (`sources.md` §4.2, "within-cow day
/// sd 40–60 min", of about 450) and herds have tens of cows that share their weather; speech begins at a fall of 4 %. Stated defaults.
static INTAKE: Fall = Fall {
    cause: Cause::HerdIntake,
    signal: Signal::Rumination,
    course: &HERD_INTAKE,
    memory_a_day: 0.5,
    wander: 0.02,
    of_one: 0.016,
};

/// Rumination or eating of the herd: a fall that lasts, on the log scale.
static HERD_INTAKE: Course = Course {
    signal: Signal::Rumination,
    size: -0.09,
    shape: &[(0.0, 0.5), (0.5, 1.0), (10.0, 1.0)],
    share: &[(0.5, 0.40), (1.0, 0.35), (2.0, 0.25)],
    source: "stated default: a hot spell or a bad batch takes some percent to a sixth of a herd's chewing within a day",
};

/// Points a day that count; more of a slow state tell the same again.
const POINTS_A_DAY: f64 = 2.0;

/// Points before the last 10 days whose middle is what it was: three days and a half.
const USUAL_POINTS: usize = 40;

/// Fall since the onset below which nothing is told, %: likely or not, it would read as none.
const LEAST_FALL_PCT: f64 = 1.0;

/// Severities of a herd's fall: the shares of its course.
const SEVERITIES: [(f64, f64); 1] = [(1.0, 1.0)];
const PACES: [(f64, f64); 2] = [(1.0, 0.6), (4.0, 0.4)];

/// The herd's finding, if its milk may have fallen; `points` in order of time, none later than `at` is read.
pub fn judge_herd(points: &[HerdPoint], at: Timestamp, settings: &Settings) -> Option<Finding> {
    judge(&MILK, points, at, settings)
}

/// The same for what the herd chews or eats; `signal` is what the points are of, to name the reason by.
pub fn judge_intake(
    signal: Signal,
    points: &[HerdPoint],
    at: Timestamp,
    settings: &Settings,
) -> Option<Finding> {
    let mut finding = judge(&INTAKE, points, at, settings)?;
    finding.reasons.iter_mut().for_each(|reason| reason.signal = signal);
    Some(finding)
}

fn judge(fall: &Fall, points: &[HerdPoint], at: Timestamp, settings: &Settings) -> Option<Finding> {
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
        median_of(recent[..recent.len().div_ceil(2)].iter().map(|point| point.log_effect))
    } else {
        median_of(older[older.len().saturating_sub(USUAL_POINTS)..].iter().copied())
    };
    let mut series = Series {
        signal: fall.signal,
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
        series.memory.push(fall.memory_a_day.powf((apart_h / 24.0).max(0.1)));
        series.hours.push(hours);
        series.gap.push(point.log_effect - usual);
        series.per_spread.push(1.0 / point.sd.hypot(fall.wander));
        series.error.push(fall.wander / 2.0);
        series.shown.push((100.0 * (point.log_effect.exp() - 1.0), 100.0 * (usual.exp() - 1.0)));
    }
    let cells = onsets(&series.hours, -SPAN_H);
    if cells.is_empty() {
        return None;
    }
    let ready = Ready::new(fall.course, &SEVERITIES);
    let ratios = table(&series, &Well::of(&series), &ready, &PACES, &cells);
    let count = ready.amplitudes.len();
    let rate = settings.rates.of_place(fall.cause);
    let weights: Vec<(usize, f64, f64, f64)> = PACES
        .iter()
        .enumerate()
        .flat_map(|(pace, (_, pace_weight))| {
            let (ready, ratios, cells) = (&ready, &ratios, &cells);
            cells.iter().enumerate().flat_map(move |(onset, cell)| {
                ready.parts[0].iter().filter_map(move |(place, weight)| {
                    let place = (*place)?;
                    let ratio = ratios[(pace * cells.len() + onset) * count + place].ln();
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
    let (observed, expected) = fallen(&series, since_h);
    if expected - observed < LEAST_FALL_PCT {
        return None;
    }
    let since = instant(since_h)?;
    let mut finding = Finding {
        subject: Subject::Herd,
        cause: fall.cause,
        quarter: None,
        probability,
        others: vec![(Cause::Well, 1.0 - probability)],
        urgency: Urgency::Watch,
        since,
        since_between: (instant(early_h)?, instant(late_h)?),
        episode: began(&known, fall.of_one).unwrap_or(since),
        worth: 0.0,
        severity,
        reasons: vec![Reason { signal: fall.signal, quarter: None, observed, expected, weight: telling }],
    };
    settings.value(&mut finding, at);
    Some(finding)
}

/// The first point that spoke of the fall going on now: read off the course again at every round, so that it stays the same.
fn began(known: &[&HerdPoint], of_one: f64) -> Option<Timestamp> {
    let mut trouble = None;
    for (index, point) in known.iter().enumerate() {
        let before = known[..index].partition_point(|older| hours_between(point.at, older.at) < -SPAN_H);
        if before < 3 {
            continue;
        }
        let older = known[before.saturating_sub(USUAL_POINTS)..before].iter();
        let usual = median_of(older.map(|point| point.log_effect));
        let said = (usual - point.log_effect) / of_one;
        trouble = Trouble::after(trouble, said, point.at.as_millisecond());
    }
    Timestamp::from_millisecond(trouble?.since_ms).ok()
}

/// Mean of the points since the onset, and what they were before, % of what the cows' own levels expect.
fn fallen(series: &Series, since_h: f64) -> (f64, f64) {
    let first = series.hours.partition_point(|hours| *hours < since_h).min(series.hours.len() - 1);
    let since = &series.shown[first..];
    let mean = since.iter().map(|(observed, _)| observed).sum::<f64>() / since.len() as f64;
    (mean, since[0].1)
}
