//! How much likelier are a signal's readings under a course than when she is well?
//!
//! # Equation
//! d_k = (x_k − a·size·shape((t_k − o)/pace) − b_k) / spread_k        a = severity × share of the signal
//! u_k = (d_k − φ_k·clip(d_{k−1}, ±3)) / √(1 − φ_k²)
//! ln L = −(ν + 1)/2 · Σ ln(1 + u_k²/ν)
//!
//! b is the held baseline's own error, shared by the readings it was held for, normal with standard deviation
//! `baseline_sd`: summed over 5 Gauss–Hermite nodes under the course and under "well" alike. Kicks are counted:
//! ln L = temper · Σ ln p or ln(1 − p), p = p0 + (1 − p0)·min(0.9, a·size·shape).

use std::sync::LazyLock;

use super::{
    grid::Onset,
    noise::Noise,
    series::Series,
    templates::{Course, TEMPLATES, Template},
};
use crate::{expect::Signal, herd::Quarter};

/// Nodes and weights of 5-point Gauss–Hermite quadrature for a standard normal (Abramowitz & Stegun 25.4.46, rescaled).
const NODES: [(f64, f64); 5] = [
    (-2.856_970_013_872_806, 0.011_257_411_327_720_69),
    (-1.355_626_179_974_266, 0.222_075_922_005_612_63),
    (0.0, 0.533_333_333_333_333_3),
    (1.355_626_179_974_266, 0.222_075_922_005_612_63),
    (2.856_970_013_872_806, 0.011_257_411_327_720_69),
];

/// Successive kicks of a nervous cow are not independent: stated default.
const KICKS_TEMPER: f64 = 0.7;

/// Shapes are looked up at steps of half an hour.
const STEPS_AN_HOUR: f64 = 2.0;
const STEPS: usize = 10 * 24 * 2 + 1;

/// A course with its amplitudes and its shape ready to look up.
pub(crate) struct Ready {
    pub course: &'static Course,
    /// Every severity × share above zero, ascending, once.
    pub amplitudes: Vec<f64>,
    /// By severity: (place in `amplitudes` or none for a share of zero, weight of the share).
    pub parts: Vec<Vec<(Option<usize>, f64)>>,
    shape: Vec<f64>,
}

/// A template with its courses ready.
pub(crate) struct ReadyTemplate {
    pub template: &'static Template,
    pub courses: Vec<Ready>,
}

/// Every template, made ready once.
pub(crate) static READY: LazyLock<Vec<ReadyTemplate>> = LazyLock::new(|| {
    TEMPLATES
        .iter()
        .map(|template| ReadyTemplate {
            template,
            courses: template.courses.iter().map(|course| Ready::new(course, template.severities)).collect(),
        })
        .collect()
});

impl Ready {
    /// Amplitudes of `course` at each of `severities`.
    pub fn new(course: &'static Course, severities: &[(f64, f64)]) -> Ready {
        let mut amplitudes: Vec<f64> = severities
            .iter()
            .flat_map(|(severity, _)| course.share.iter().map(move |(share, _)| severity * share))
            .filter(|amplitude| 0.0 < *amplitude)
            .collect();
        amplitudes.sort_by(f64::total_cmp);
        amplitudes.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
        let place = |wanted: f64| amplitudes.iter().position(|amplitude| (amplitude - wanted).abs() < 1e-9);
        let parts = severities
            .iter()
            .map(|(severity, _)| {
                course.share.iter().map(|(share, weight)| (place(severity * share), *weight)).collect()
            })
            .collect();
        let shape = (0..STEPS).map(|step| course.at(step as f64 / STEPS_AN_HOUR / 24.0)).collect();
        Ready { course, amplitudes, parts, shape }
    }

    /// Fraction of the size `lag_h` hours after onset.
    pub fn shape_at(&self, lag_h: f64) -> f64 {
        if lag_h < 0.0 {
            return 0.0;
        }
        self.shape[((lag_h * STEPS_AN_HOUR).round() as usize).min(STEPS - 1)]
    }
}

/// ln likelihood ratios against "well", `[pace][onset][amplitude]`, of one series under one course.
pub(crate) fn table(series: &Series, ready: &Ready, paces: &[(f64, f64)], onsets: &[Onset]) -> Vec<f64> {
    let count = ready.amplitudes.len();
    let mut table = vec![0.0; paces.len() * onsets.len() * count];
    let well = Well::of(series);
    let mut course = vec![0.0; series.hours.len()];
    for (pace_index, (pace, _)) in paces.iter().enumerate() {
        for (onset_index, onset) in onsets.iter().enumerate() {
            let first = series.hours.partition_point(|hours| *hours < onset.hours);
            if first == series.hours.len() {
                continue;
            }
            for (value, hours) in course.iter_mut().zip(&series.hours).skip(first) {
                *value = ready.course.size * ready.shape_at((hours - onset.hours) / pace);
            }
            let start = (pace_index * onsets.len() + onset_index) * count;
            for (cell, amplitude) in table[start..start + count].iter_mut().zip(&ready.amplitudes) {
                *cell = if series.signal == Signal::Kicks {
                    kicks(series, &course, first, *amplitude)
                } else {
                    well.ratio(series, &course, first, *amplitude)
                };
            }
        }
    }
    table
}

/// The readings as they look when she is well, for each error the held baseline may have.
struct Well {
    /// Errors of the held baseline with their weights; one of zero where it was not held.
    errors: Vec<(f64, f64)>,
    /// By error: standardised departures.
    departures: Vec<Vec<f64>>,
    /// By error: Σ ln(1 + u²/ν) of the readings before each place, and of all at the end.
    before: Vec<Vec<f64>>,
    /// 1/√(1 − φ²) by reading.
    per_root: Vec<f64>,
}

impl Well {
    fn of(series: &Series) -> Well {
        let errors: Vec<(f64, f64)> = if 0.0 < series.baseline_sd {
            NODES.iter().map(|(node, weight)| (node * series.baseline_sd, *weight)).collect()
        } else {
            vec![(0.0, 1.0)]
        };
        let per_root: Vec<f64> =
            series.memory.iter().map(|memory| 1.0 / (1.0 - memory * memory).sqrt()).collect();
        let mut departures = Vec::with_capacity(errors.len());
        let mut before = Vec::with_capacity(errors.len());
        for (error, _) in &errors {
            let own: Vec<f64> = (0..series.gap.len())
                .map(|k| (series.gap[k] - if series.held[k] { *error } else { 0.0 }) * series.per_spread[k])
                .collect();
            let mut sums = Vec::with_capacity(own.len() + 1);
            let mut sum = 0.0;
            for k in 0..own.len() {
                sums.push(sum);
                let innovation = match k.checked_sub(1) {
                    Some(last) => (own[k] - series.memory[k] * own[last].clamp(-3.0, 3.0)) * per_root[k],
                    None => own[k],
                };
                sum += (1.0 + (innovation * innovation).min(1e4) / series.tail).ln();
            }
            sums.push(sum);
            departures.push(own);
            before.push(sums);
        }
        Well { errors, departures, before, per_root }
    }

    /// ln L(course) − ln L(well) with the course beginning to show at reading `first`.
    fn ratio(&self, series: &Series, course: &[f64], first: usize, amplitude: f64) -> f64 {
        let half = (series.tail + 1.0) / 2.0;
        let per_tail = 1.0 / series.tail;
        let all = series.gap.len();
        let under_course = |error: usize| {
            let own = &self.departures[error];
            // Products of at most 80 factors of at most 1 + 1e4/ν: one logarithm instead of one a reading.
            let mut product = 1.0;
            let mut last = first.checked_sub(1).map(|before| own[before]);
            for k in first..all {
                let departure = own[k] - amplitude * course[k] * series.per_spread[k];
                let innovation = match last {
                    Some(last) => (departure - series.memory[k] * last.clamp(-3.0, 3.0)) * self.per_root[k],
                    None => departure,
                };
                product *= 1.0 + (innovation * innovation).min(1e4) * per_tail;
                last = Some(departure);
            }
            self.before[error][first] + product.ln()
        };
        if let [_] = self.errors[..] {
            return half * (self.before[0][all] - under_course(0));
        }
        let ill = log_sum(
            self.errors
                .iter()
                .enumerate()
                .map(|(error, (_, weight))| weight.ln() - half * under_course(error)),
        );
        let well = log_sum(
            self.errors
                .iter()
                .enumerate()
                .map(|(error, (_, weight))| weight.ln() - half * self.before[error][all]),
        );
        ill - well
    }
}

/// ln likelihood ratio of kicked cups from reading `first` on.
fn kicks(series: &Series, course: &[f64], first: usize, amplitude: f64) -> f64 {
    let mut sum = 0.0;
    for k in first..series.shown.len() {
        let (kicked, habit) = series.shown[k];
        let habit = habit.clamp(0.005, 0.6);
        let raised = habit + (1.0 - habit) * (amplitude * course[k]).clamp(0.0, 0.9);
        sum += if 0.5 <= kicked { (raised / habit).ln() } else { ((1.0 - raised) / (1.0 - habit)).ln() };
    }
    KICKS_TEMPER * sum
}

/// ln Σ exp, without overflow; −∞ of nothing.
pub(crate) fn log_sum(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = values.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + values.map(|value| (value - top).exp()).sum::<f64>().ln()
}

/// One cell of the sum: quarter, onset, severity (each pace its own), and its logarithmic weight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cell {
    pub quarter: Option<Quarter>,
    pub onset: usize,
    pub severity: usize,
    /// ln(prior of the cell × likelihood ratio).
    pub weight: f64,
}

/// What one template makes of a cow.
pub(crate) struct Evidence {
    pub ready: &'static ReadyTemplate,
    pub cells: Vec<Cell>,
    /// ln likelihood ratio by cell and course (`courses.len()` a cell), discounted.
    pub parts: Vec<f64>,
}

/// Weighs one template: every quarter it may sit in, onset, pace and severity.
pub(crate) fn weigh(
    ready: &'static ReadyTemplate,
    series: &[Series],
    onsets: &[Onset],
    rate_a_day: f64,
    noise: &Noise,
) -> Evidence {
    let template = ready.template;
    let tables: Vec<Vec<(Option<Quarter>, Vec<f64>)>> = ready
        .courses
        .iter()
        .map(|course| {
            series
                .iter()
                .filter(|series| series.signal == course.course.signal)
                .map(|series| (series.quarter, table(series, course, template.paces, onsets)))
                .collect()
        })
        .collect();
    let quarters: &[Option<Quarter>] = if template.in_quarter { &QUARTERS } else { &[None] };
    let size = quarters.len() * onsets.len() * template.paces.len() * template.severities.len();
    let mut cells = Vec::with_capacity(size);
    let mut parts = Vec::with_capacity(size * ready.courses.len());
    let mut row = vec![0.0; ready.courses.len()];
    for quarter in quarters {
        // The series each course reads for this quarter; none where nothing was measured.
        let own: Vec<Option<&[f64]>> = tables
            .iter()
            .map(|tables| {
                tables.iter().find(|(of, _)| of.is_none() || of == quarter).map(|(_, table)| table.as_slice())
            })
            .collect();
        for (pace, (_, pace_weight)) in template.paces.iter().enumerate() {
            for (onset, span) in onsets.iter().enumerate() {
                let prior = rate_a_day * span.width_days * pace_weight / quarters.len() as f64;
                for (severity, (_, severity_weight)) in template.severities.iter().enumerate() {
                    for ((part, course), table) in row.iter_mut().zip(&ready.courses).zip(&own) {
                        *part = table.map_or(0.0, |table| {
                            let count = course.amplitudes.len();
                            let start = (pace * onsets.len() + onset) * count;
                            mix(&course.parts[severity], &table[start..start + count])
                        });
                    }
                    let discount = noise.discount(&row);
                    for part in &mut row {
                        *part *= discount;
                    }
                    cells.push(Cell {
                        quarter: *quarter,
                        onset,
                        severity,
                        weight: (prior * severity_weight).ln() + row.iter().sum::<f64>(),
                    });
                    parts.extend_from_slice(&row);
                }
            }
        }
    }
    Evidence { ready, cells, parts }
}

const QUARTERS: [Option<Quarter>; 4] =
    [Some(Quarter::LeftFront), Some(Quarter::RightFront), Some(Quarter::LeftRear), Some(Quarter::RightRear)];

/// ln Σ_m P(m) · LR(m): how strongly a signal takes part is not known beforehand.
fn mix(parts: &[(Option<usize>, f64)], ratios: &[f64]) -> f64 {
    let ratio = |place: &Option<usize>| place.map_or(0.0, |place| ratios[place]);
    let top = parts.iter().map(|(place, _)| ratio(place)).fold(f64::NEG_INFINITY, f64::max);
    top + parts.iter().map(|(place, weight)| weight * (ratio(place) - top).exp()).sum::<f64>().ln()
}
