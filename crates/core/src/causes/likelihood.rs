//! How much likelier are a signal's readings under a course than when she is well?
//!
//! # Equation
//! d_k = (x_k − a·size·shape((t_k − o)/pace) − b·error_k) / spread_k        a = severity × share of the signal
//! u_k = (d_k − φ_k·clip(d_{k−1}, ±3)) / √(1 − φ_k²)
//! ln L = −(ν + 1)/2 · Σ ln(1 + min(u_k²/q_k, odd)/ν) − ½ · Σ ln q_k        q_k = 1 + (m·a·size·shape/spread_k)²
//!
//! No case follows a drawn course: each reading may miss it by a share m of what the course says there ([`super::lanes`]),
//! else a signal that is read to a hair decides by the form that was drawn and not by the case.
//!
//! b is the baseline's own error, one for all readings, standard normal where it is small and Student-t where it is large
//! ([`super::well`]), bearing on each by `error_k` (a held baseline errs
//! the more the longer it is held): summed over 3 Gauss–Hermite nodes, or evenly where it is large,
//! under the course and under "well" alike. Kicks are counted:
//! ln L = temper · Σ ln p or ln(1 − p), p = p0 + (1 − p0)·min(0.9, a·size·shape).

use std::sync::LazyLock;

use super::{
    gate::Drawn,
    grid::Onset,
    lanes::Lanes,
    registers::{Eight, InEight, in_eight},
    series::Series,
    templates::{Course, TEMPLATES, Template},
    well::Well,
};
use crate::expect::Signal;

/// Successive kicks of a nervous cow are not independent: stated default.
const KICKS_TEMPER: f64 = 0.7;

/// No course moves a reading by more spreads: beyond, all is as odd, and no product leaves its range.
const MOST_SPREADS: f64 = 1000.0;

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
    shape: Vec<f32>,
}

/// A template with its courses ready.
pub(crate) struct ReadyTemplate {
    pub template: &'static Template,
    pub courses: Vec<Ready>,
    /// By course, pace and onset of the rough look: what the course says of each stretch of time.
    pub drawn: Vec<Vec<Drawn>>,
}

/// Every template, made ready once.
pub(crate) static READY: LazyLock<Vec<ReadyTemplate>> = LazyLock::new(|| {
    TEMPLATES
        .iter()
        .map(|template| ReadyTemplate {
            template,
            courses: template.courses.iter().map(|course| Ready::new(course, template.severities)).collect(),
            drawn: template.courses.iter().map(|course| Drawn::of(course, template.paces)).collect(),
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
        let mut shape: Vec<f32> =
            (0..STEPS).map(|step| course.at(step as f64 / STEPS_AN_HOUR / 24.0) as f32).collect();
        // Of a shape that ends in nought one nought is kept.
        while shape.ends_with(&[0.0, 0.0]) {
            shape.pop();
        }
        Ready { course, amplitudes, parts, shape }
    }

    /// Fraction of the size `lag_h` hours after onset, 0 before it.
    pub fn shape_at(&self, lag_h: f64) -> f64 {
        if lag_h < 0.0 { 0.0 } else { f64::from(self.shape[self.step(lag_h * STEPS_AN_HOUR)]) }
    }

    /// The step nearest to one that is not negative, the even one of two; of those beyond the last, the last.
    #[inline(always)]
    fn step(&self, steps: f64) -> usize {
        // Added to this, a number has its nearest whole in its last bits: to turn it into a whole takes three times as long.
        const WHOLE: f64 = (3_u64 << 51) as f64;
        ((steps + WHOLE).to_bits() as u32 as usize).min(self.shape.len() - 1)
    }

    /// The first step from which on the shape is nought for good, if there is one.
    fn ends_at(&self) -> Option<usize> {
        (self.shape.last() == Some(&0.0)).then(|| self.shape.len() - 1)
    }
}

/// Likelihood ratios against "well", `[pace][onset][amplitude]`, of one series under one course.
pub(crate) fn table(
    series: &Series,
    well: &Well,
    ready: &Ready,
    paces: &[(f64, f64)],
    onsets: &[Onset],
) -> Vec<f64> {
    let mut table = vec![1.0; paces.len() * onsets.len() * ready.amplitudes.len()];
    let lanes = Lanes::of(well, &ready.amplitudes);
    in_eight(Table { series, well, ready, paces, onsets, lanes, table: &mut table });
    table
}

/// What [`table`] asks for.
struct Table<'a> {
    series: &'a Series,
    well: &'a Well,
    ready: &'a Ready,
    paces: &'a [(f64, f64)],
    onsets: &'a [Onset],
    lanes: Lanes,
    table: &'a mut [f64],
}

impl InEight for Table<'_> {
    type Answer = ();

    #[inline(always)]
    fn reckon<S: Eight>(self, eight: S) {
        let Table { series, well, ready, paces, onsets, mut lanes, table } = self;
        let count = ready.amplitudes.len();
        // Where the shape is 1: in spreads, for kicks as a chance.
        let whole: Vec<f32> = if series.signal == Signal::Kicks {
            vec![ready.course.size as f32; series.hours.len()]
        } else {
            let of = |per: &f64| (ready.course.size * per).clamp(-MOST_SPREADS, MOST_SPREADS) as f32;
            series.per_spread.iter().map(of).collect()
        };
        let mut moved: Vec<f32> = Vec::with_capacity(whole.len());
        // Hours of readings and onsets ascend, so the first reading that an onset moves is looked for from the last one's on.
        let mut firsts = Vec::with_capacity(onsets.len());
        let mut first = 0;
        for onset in onsets {
            first += series.hours[first..].iter().take_while(|hours| **hours < onset.hours).count();
            firsts.push(first);
        }
        for (pace_index, (pace, _)) in paces.iter().enumerate() {
            let (steps_an_hour, ends_at) = (STEPS_AN_HOUR / pace, ready.ends_at());
            for (onset_index, (onset, first)) in onsets.iter().zip(&firsts).enumerate() {
                if *first == series.hours.len() {
                    break;
                }
                moved.clear();
                for (hours, whole) in series.hours.iter().zip(&whole).skip(*first) {
                    let step = ready.step((hours - onset.hours) * steps_an_hour);
                    moved.push(ready.shape[step] * whole);
                    // Nothing is moved from here on: the rest looks as it does when she is well.
                    if Some(step) == ends_at {
                        break;
                    }
                }
                let start = (pace_index * onsets.len() + onset_index) * count;
                let cells = &mut table[start..start + count];
                if series.signal == Signal::Kicks {
                    for (cell, amplitude) in cells.iter_mut().zip(&ready.amplitudes) {
                        *cell = kicks(&series.shown[*first..], &moved, *amplitude).exp();
                    }
                } else {
                    lanes.ratios(eight, well, &moved, *first, cells);
                }
            }
        }
    }
}

/// ln likelihood ratio of kicked cups, (kicked, habit) by reading, raised by a course.
fn kicks(shown: &[(f64, f64)], course: &[f32], amplitude: f64) -> f64 {
    let sum: f64 = shown
        .iter()
        .zip(course)
        .map(|((kicked, habit), course)| {
            let habit = habit.clamp(0.005, 0.6);
            let raised = habit + (1.0 - habit) * (amplitude * f64::from(*course)).clamp(0.0, 0.9);
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
