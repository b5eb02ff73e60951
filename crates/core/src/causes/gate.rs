//! Which causes need a full look in this cow?
//!
//! Most cows show nothing. A cause is weighed in full where a rough look cannot rule it out. The rough look is the same sum
//! with fewer terms: a handful of onsets, severities as they are, readings as if they were normal and remembered nothing but
//! the one before, no error of her standing:
//!
//! ln L_i = ln Σ_m P_i(m) · exp(a·f − a²·g/2),  f = Σ d·μ, g = Σ μ²,  a = s·m    (d departures, μ the course, in spreads)
//!
//! Its chance is then a little too high rather than too low. Below [`OPEN_FROM`] the cause is left out. The law
//! `the_gate_changes_no_chance_by_a_hundredth` holds it to that.

use super::{
    grid::SPAN_H,
    likelihood::{Ready, ReadyTemplate, log_sum},
    noise::Noise,
    series::Series,
};
use crate::{expect::Signal, herd::Quarter};

/// Rough chance from which a cause is weighed.
pub(crate) const OPEN_FROM: f64 = 0.05;

/// Onsets of the rough look, hours before the time of judging.
const ONSETS_H: [f64; 8] = [6.0, 14.0, 26.0, 44.0, 70.0, 110.0, 160.0, 220.0];

/// Departures beyond this count no further, in spreads: tails are heavy.
const CLIP: f64 = 3.5;

/// One signal's readings as the rough look takes them: sums over the readings before each one, so that a straight piece of a
/// course costs two of them.
pub(crate) struct Rough<'s> {
    series: &'s Series,
    sums: Vec<Sums>,
}

/// Of readings k: Σ l, Σ l·t, Σ q, Σ q·t, Σ q·t², where a course of μ_k adds l·μ to f and q·μ² to g; t hours.
#[derive(Clone, Copy, Default)]
struct Sums {
    linear: [f64; 2],
    square: [f64; 3],
}

impl Rough<'_> {
    /// Of one signal.
    pub fn of(series: &Series) -> Rough<'_> {
        let mut sums = Vec::with_capacity(series.hours.len() + 1);
        let mut sum = Sums::default();
        sums.push(sum);
        for k in 0..series.hours.len() {
            let (linear, square) = if series.signal == Signal::Kicks {
                // A kick beyond her habit speaks as the logarithm of how much likelier it is.
                let (kicked, habit) = series.shown[k];
                let per_habit = 1.0 / habit.clamp(0.05, 0.6);
                (if 0.5 <= kicked { per_habit } else { -1.0 }, per_habit)
            } else {
                // Readings that remember the one before tell less.
                let fresh = (1.0 - series.memory[k]) / (1.0 + series.memory[k]);
                let per = series.per_spread[k];
                (fresh * (series.gap[k] * per).clamp(-CLIP, CLIP) * per, fresh * per * per)
            };
            let t = series.hours[k];
            sum.linear = [sum.linear[0] + linear, sum.linear[1] + linear * t];
            sum.square = [sum.square[0] + square, sum.square[1] + square * t, sum.square[2] + square * t * t];
            sums.push(sum);
        }
        Rough { series, sums }
    }

    /// Σ d·μ and Σ μ² under a course with this onset and pace.
    fn fit(&self, ready: &Ready, onset_h: f64, pace: f64) -> (f64, f64) {
        let hours = &self.series.hours;
        let (mut f, mut g) = (0.0, 0.0);
        let mut from = hours.partition_point(|hours| *hours < onset_h + pace * ready.lines_from_h());
        for line in &ready.lines {
            if from == hours.len() {
                break;
            }
            let to_h = onset_h + pace * line.to_h;
            let to = from + hours[from..].partition_point(|hours| *hours < to_h);
            // The line as level + slope · t, t from the time of judging.
            let slope = line.slope / pace;
            let level = line.level - slope * onset_h;
            let (before, by) = (&self.sums[from], &self.sums[to]);
            let linear = |n: usize| by.linear[n] - before.linear[n];
            let square = |n: usize| by.square[n] - before.square[n];
            f += level * linear(0) + slope * linear(1);
            g += level * level * square(0) + 2.0 * level * slope * square(1) + slope * slope * square(2);
            from = to;
        }
        let size = ready.course.size;
        (f * size, g.max(0.0) * size * size + 1e-12)
    }
}

/// The places (quarters, or the whole cow) of a template that need weighing, at its rate of onsets a day.
pub(crate) fn open(
    ready: &ReadyTemplate,
    readings: &[Rough],
    noise: &Noise,
    rate_a_day: f64,
    from: f64,
) -> Vec<Option<Quarter>> {
    let template = ready.template;
    let places: Vec<Option<Quarter>> =
        if template.in_quarter { Quarter::ALL.into_iter().map(Some).collect() } else { vec![None] };
    if from <= 0.0 {
        return places;
    }
    let prior = (rate_a_day * SPAN_H / 24.0).ln();
    let wanted = from.ln() - prior;
    let mut parts = vec![0.0; ready.courses.len()];
    places
        .into_iter()
        .filter(|place| {
            let own: Vec<Option<&Rough>> = ready
                .courses
                .iter()
                .map(|course| {
                    let read = template.reads(course.course.signal, *place);
                    readings
                        .iter()
                        .find(|one| one.series.signal == course.course.signal && one.series.quarter == read)
                })
                .collect();
            template.paces.iter().any(|(pace, _)| {
                ONSETS_H.iter().any(|onset_h| {
                    let fits: Vec<Option<(f64, f64)>> = ready
                        .courses
                        .iter()
                        .zip(&own)
                        .map(|(course, own)| own.map(|own| own.fit(course, -onset_h, *pace)))
                        .collect();
                    // No severity explains more than the best one would, and most cows are done with here.
                    let most: f64 = fits.iter().flatten().map(|(f, g)| f.max(0.0).powi(2) / (2.0 * g)).sum();
                    wanted <= most
                        && template.severities.iter().any(|(severity, _)| {
                            // Nor does any sum of shares more than the best of them.
                            let fitted = ready.courses.iter().zip(&fits);
                            let best = fitted
                                .filter_map(|(course, fit)| fit.map(|fit| best(course, *severity, fit)));
                            if 0.0 < wanted && best.sum::<f64>() + ROUNDING < wanted {
                                return false;
                            }
                            for (part, (course, fit)) in parts.iter_mut().zip(ready.courses.iter().zip(&fits))
                            {
                                *part = fit.map_or(0.0, |fit| rough(course, *severity, fit));
                            }
                            wanted <= parts.iter().sum::<f64>() * noise.discount(&parts)
                        })
                })
            })
        })
        .collect()
}

/// ln Σ_m P(m) · exp(a·f − a²·g/2).
fn rough(course: &Ready, severity: f64, (f, g): (f64, f64)) -> f64 {
    log_sum(course.course.share.iter().zip(&course.log_shares).map(|((share, _), log_weight)| {
        let amplitude = severity * share;
        log_weight + amplitude * f - amplitude * amplitude * g / 2.0
    }))
}

/// What sums in another order may differ by.
const ROUNDING: f64 = 1e-6;

/// The most of a·f − a²·g/2 over the shares, and not less than nothing.
fn best(course: &Ready, severity: f64, (f, g): (f64, f64)) -> f64 {
    course.course.share.iter().fold(0.0, |best: f64, (share, _)| {
        let amplitude = severity * share;
        best.max(amplitude * f - amplitude * amplitude * g / 2.0)
    })
}
