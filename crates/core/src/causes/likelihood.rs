//! How much likelier are a signal's readings under a course than when she is well?
//!
//! # Equation
//! d_k = (x_k − a·size·shape((t_k − o)/pace) − b·error_k) / spread_k        a = severity × share of the signal
//! u_k = (d_k − φ_k·clip(d_{k−1}, ±3)) / √(1 − φ_k²)
//! ln L = −(ν + 1)/2 · Σ ln(1 + min(u_k²/q_k, odd)/ν) − ½ · Σ ln q_k        q_k = 1 + (m·a·size·shape/spread_k)²
//!
//! No case follows a drawn course: each reading may miss it by a share m of what the course says there ([`MISFIT`]), else a
//! signal that is read to a hair decides by the form that was drawn and not by the case.
//!
//! b is the baseline's own error, one for all readings, standard normal, bearing on each by `error_k` (a held baseline errs
//! the more the longer it is held): summed over 3 Gauss–Hermite nodes, or evenly where it is large,
//! under the course and under "well" alike. Kicks are counted:
//! ln L = temper · Σ ln p or ln(1 − p), p = p0 + (1 − p0)·min(0.9, a·size·shape).

use std::sync::LazyLock;

use super::{
    grid::Onset,
    series::Series,
    templates::{Course, TEMPLATES, Template, of_quarter},
};
use crate::expect::Signal;

/// Nodes and weights of 3-point Gauss–Hermite quadrature for a standard normal, for an error well below a reading's spread.
const FEW_NODES: [(f64, f64); 3] =
    [(-1.732_050_807_568_877_2, 1.0 / 6.0), (0.0, 2.0 / 3.0), (1.732_050_807_568_877_2, 1.0 / 6.0)];

/// How far a case strays from the course as drawn, share of the course: amplitudes and times of a grid stand half again as far
/// apart as this. Stated default.
const MISFIT: f32 = 0.3;

/// Squared spreads beyond which a reading is odd, and how far off it is tells no more: a milking that nobody wrote down, a
/// sample of another cow. The noise is estimated on what lies within (`noise::ILL_FROM`). A quarter beside its three sisters
/// has fewer ways to be odd. Stated defaults.
const ODD: f64 = 36.0;
const ODD_QUARTER: f64 = 400.0;

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
    /// Logarithms of the weights of the course's shares.
    pub log_shares: Vec<f64>,
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
        let log_shares = course.share.iter().map(|(_, weight)| weight.ln()).collect();
        let shape = (0..STEPS).map(|step| course.at(step as f64 / STEPS_AN_HOUR / 24.0)).collect();
        Ready { course, amplitudes, parts, log_shares, shape }
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
    let mut lanes = Lanes::of(&well, &ready.amplitudes);
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
            let cells = &mut table[start..start + count];
            if series.signal == Signal::Kicks {
                for (cell, amplitude) in cells.iter_mut().zip(&ready.amplitudes) {
                    *cell = kicks(series, &course, first, *amplitude);
                }
            } else {
                lanes.ratios(&well, series, &course, first, cells);
            }
        }
    }
    table
}

fn odd(series: &Series) -> f64 {
    if of_quarter(series.signal) { ODD_QUARTER } else { ODD }
}

/// The readings as they look when she is well, for each error the baseline may have.
struct Well {
    /// Errors of the baseline in its standard deviations, with ln of their weights; one of zero where it has none.
    errors: Vec<(f64, f64)>,
    /// Standardised departures before any error is taken off.
    own: Vec<f64>,
    /// What an error of one standard deviation takes off the standardised departure.
    pull: Vec<f64>,
    /// By error: Σ ln(1 + u²/ν) of the readings before each place, and of all at the end.
    before: Vec<Vec<f64>>,
    /// 1/√(1 − φ²) by reading.
    per_root: Vec<f64>,
    /// ln of the likelihood of all readings.
    whole: f64,
    half: f64,
}

impl Well {
    fn of(series: &Series) -> Well {
        let per_root: Vec<f64> =
            series.memory.iter().map(|memory| 1.0 / (1.0 - memory * memory).sqrt()).collect();
        let own: Vec<f64> = series.gap.iter().zip(&series.per_spread).map(|(gap, per)| gap * per).collect();
        let pull: Vec<f64> =
            series.error.iter().zip(&series.per_spread).map(|(error, per)| error * per).collect();
        let errors = if series.error.iter().all(|error| *error <= 0.0) {
            vec![(0.0, 0.0)]
        } else if series.wide {
            wide_errors(series, &own, &pull)
        } else {
            FEW_NODES.iter().map(|(node, weight)| (*node, weight.ln())).collect()
        };
        let half = (series.tail + 1.0) / 2.0;
        let odd = odd(series);
        let before: Vec<Vec<f64>> = errors
            .iter()
            .map(|(error, _)| {
                let mut sums = Vec::with_capacity(own.len() + 1);
                let (mut sum, mut last) = (0.0, None::<f64>);
                for k in 0..own.len() {
                    sums.push(sum);
                    let departure = own[k] - error * pull[k];
                    let innovation = match last {
                        Some(last) => (departure - series.memory[k] * last.clamp(-3.0, 3.0)) * per_root[k],
                        None => departure,
                    };
                    sum += (1.0 + (innovation * innovation).min(odd) / series.tail).ln();
                    last = Some(departure);
                }
                sums.push(sum);
                sums
            })
            .collect();
        let whole =
            log_sum(errors.iter().zip(&before).map(|((_, weight), sums)| weight - half * sums[own.len()]));
        Well { errors, own, pull, before, per_root, whole, half }
    }
}

/// Most nodes of a wide error.
const MOST_NODES: f64 = 40.0;

/// Evenly spaced errors with ln of (standard normal density × step), where an error may be many spreads of a reading.
///
/// They reach from no error to the one that explains the readings of a well cow best (five rounds of reweighting by
/// Student-t weights), three of its standard deviations beyond both, a standard deviation apart: a course can only leave
/// less for the error to explain. The trapezoid rule is all but exact at that step.
fn wide_errors(series: &Series, own: &[f64], pull: &[f64]) -> Vec<(f64, f64)> {
    let (mut best, mut precision) = (0.0, 1.0);
    for _ in 0..5 {
        let (mut sum, mut total) = (0.0, 1.0);
        for ((own, pull), memory) in own.iter().zip(pull).zip(&series.memory) {
            let departure = own - best * pull;
            let weight =
                (series.tail + 1.0) / (series.tail + departure * departure) * (1.0 - memory) / (1.0 + memory);
            sum += weight * own * pull;
            total += weight * pull * pull;
        }
        (best, precision) = (sum / total, total);
    }
    let sd = 1.0 / precision.sqrt();
    let (low, high) = ((best.min(0.0) - 3.0 * sd).max(-4.0), (best.max(0.0) + 3.0 * sd).min(4.0));
    let count = ((high - low) / sd).ceil().clamp(4.0, MOST_NODES);
    let step = (high - low) / count;
    let log_root = 0.5 * std::f64::consts::TAU.ln();
    (0..=count as usize)
        .map(|index| {
            let error = low + step * index as f64;
            (error, step.ln() - 0.5 * error * error - log_root)
        })
        .collect()
}

/// Pairs of amplitude and error reckoned side by side.
const SIDE_BY_SIDE: usize = 16;

/// Every amplitude with every error of the baseline, amplitudes outermost.
struct Lanes {
    amplitude: Vec<[f32; SIDE_BY_SIDE]>,
    error: Vec<[f32; SIDE_BY_SIDE]>,
    sums: Vec<f64>,
}

impl Lanes {
    fn of(well: &Well, amplitudes: &[f64]) -> Lanes {
        let pairs: Vec<(f64, f64)> = amplitudes
            .iter()
            .flat_map(|amplitude| well.errors.iter().map(move |(error, _)| (*amplitude, *error)))
            .collect();
        let fill = |take: fn(&(f64, f64)) -> f64| {
            pairs
                .chunks(SIDE_BY_SIDE)
                .map(|chunk| {
                    let mut lanes = [0.0; SIDE_BY_SIDE];
                    for (lane, pair) in lanes.iter_mut().zip(chunk) {
                        *lane = take(pair) as f32;
                    }
                    lanes
                })
                .collect()
        };
        Lanes { amplitude: fill(|pair| pair.0), error: fill(|pair| pair.1), sums: vec![0.0; pairs.len()] }
    }

    /// ln L(course) − ln L(well) by amplitude, with the course beginning to show at reading `first`.
    ///
    /// Sums of logarithms as logarithms of products of at most six factors, each at most 1 + 400/ν: far from the end of f32.
    fn ratios(&mut self, well: &Well, series: &Series, course: &[f64], first: usize, cells: &mut [f64]) {
        let (per_tail, half, odd) = ((1.0 / series.tail) as f32, well.half as f32, odd(series) as f32);
        let chunks = self.amplitude.iter().zip(&self.error).zip(self.sums.chunks_mut(SIDE_BY_SIDE));
        for ((amplitude, error), sums) in chunks {
            let mut last = [0.0f32; SIDE_BY_SIDE];
            let mut product = [1.0f32; SIDE_BY_SIDE];
            let mut wider = [1.0f32; SIDE_BY_SIDE];
            sums.fill(0.0);
            let mut known = first.checked_sub(1).map(|before| {
                let (own, pull) = (well.own[before] as f32, well.pull[before] as f32);
                for lane in 0..SIDE_BY_SIDE {
                    last[lane] = own - error[lane] * pull;
                }
            });
            for (step, k) in (first..series.hours.len()).enumerate() {
                let (own, pull) = (well.own[k] as f32, well.pull[k] as f32);
                let moved = (course[k] * series.per_spread[k]) as f32;
                let (memory, per_root) = match known {
                    Some(()) => (series.memory[k] as f32, well.per_root[k] as f32),
                    None => (0.0, 1.0),
                };
                known = Some(());
                for lane in 0..SIDE_BY_SIDE {
                    let course = amplitude[lane] * moved;
                    let departure = own - error[lane] * pull - course;
                    let wide = 1.0 + (MISFIT * course) * (MISFIT * course);
                    let before = at_most(-at_most(-last[lane], 3.0), 3.0);
                    let innovation = (departure - memory * before) * per_root;
                    product[lane] *= 1.0 + at_most(innovation * innovation / wide, odd) * per_tail;
                    wider[lane] *= wide;
                    last[lane] = departure;
                }
                if step % 6 == 5 {
                    let products = product.iter_mut().zip(&mut wider);
                    for (sum, (product, wider)) in sums.iter_mut().zip(products) {
                        *sum += f64::from(half * product.ln() + 0.5 * wider.ln());
                        (*product, *wider) = (1.0, 1.0);
                    }
                }
            }
            for (sum, (product, wider)) in sums.iter_mut().zip(product.iter().zip(&wider)) {
                *sum += f64::from(half * product.ln() + 0.5 * wider.ln());
            }
        }
        let errors = well.errors.len();
        for (cell, sums) in cells.iter_mut().zip(self.sums.chunks(errors)) {
            let ill = log_sum(
                well.errors
                    .iter()
                    .zip(&well.before)
                    .zip(sums)
                    .map(|(((_, weight), before), sum)| weight - well.half * before[first] - sum),
            );
            *cell = ill - well.whole;
        }
    }
}

/// The lesser of the two; no care for NaN, so that it is one instruction.
fn at_most(value: f32, limit: f32) -> f32 {
    if value < limit { value } else { limit }
}

/// ln likelihood ratio of kicked cups from reading `first` on.
fn kicks(series: &Series, course: &[f64], first: usize, amplitude: f64) -> f64 {
    let read = series.shown.iter().zip(course).skip(first);
    let sum: f64 = read
        .map(|((kicked, habit), course)| {
            let habit = habit.clamp(0.005, 0.6);
            let raised = habit + (1.0 - habit) * (amplitude * course).clamp(0.0, 0.9);
            if 0.5 <= *kicked { (raised / habit).ln() } else { ((1.0 - raised) / (1.0 - habit)).ln() }
        })
        .sum();
    KICKS_TEMPER * sum
}

/// ln Σ exp, without overflow; −∞ of nothing.
pub(crate) fn log_sum(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = values.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    let share = |value: f64| match value - top {
        0.0 => 1.0,
        // Too little to be ever read.
        below if below < -35.0 => 0.0,
        below => below.exp(),
    };
    top + values.map(share).sum::<f64>().ln()
}
