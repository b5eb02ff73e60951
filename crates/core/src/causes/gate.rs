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
    templates::Course,
};
use crate::{expect::Signal, herd::Quarter};

/// Rough chance from which a cause is weighed.
pub(crate) const OPEN_FROM: f64 = 0.05;

/// Onsets of the rough look, hours before the time of judging.
const ONSETS_H: [f64; 8] = [6.0, 14.0, 26.0, 44.0, 70.0, 110.0, 160.0, 220.0];

/// Stretches of time whose readings the rough look takes together, hours before the time of judging: finer where onsets lie
/// close, and none of them cut by an onset.
const EDGES_H: [f64; STRETCHES + 1] = [
    240.0, 220.0, 205.0, 190.0, 175.0, 160.0, 147.0, 135.0, 122.0, 110.0, 100.0, 90.0, 80.0, 70.0, 57.0,
    44.0, 35.0, 26.0, 20.0, 14.0, 10.0, 6.0, 4.0, 2.0, 0.0,
];
const STRETCHES: usize = 24;

/// Times at which a course is looked up in a stretch, for its mean.
const POINTS: usize = 8;

/// Departures beyond this count no further, in spreads: tails are heavy.
const CLIP: f64 = 3.5;

/// Lanes of the sums.
const LANES: usize = 8;

/// What a course says of each stretch: means of μ and of μ², natural unit, at amplitude 1.
pub(crate) struct Drawn {
    mean: [f32; STRETCHES],
    square: [f32; STRETCHES],
}

impl Drawn {
    /// A course at each pace and each onset of the rough look, onsets innermost.
    pub fn of(course: &Course, paces: &[(f64, f64)]) -> Vec<Drawn> {
        let drawn = |pace: f64, onset_h: f64| {
            let mut drawn = Drawn { mean: [0.0; STRETCHES], square: [0.0; STRETCHES] };
            for (stretch, edges) in EDGES_H.windows(2).enumerate() {
                let (from_h, to_h) = (-edges[0], -edges[1]);
                let moved = (0..POINTS).map(|point| {
                    let at_h = from_h + (to_h - from_h) * (point as f64 + 0.5) / POINTS as f64;
                    course.size * course.at((at_h + onset_h) / pace / 24.0) / POINTS as f64
                });
                drawn.mean[stretch] = moved.clone().sum::<f64>() as f32;
                drawn.square[stretch] = moved.map(|moved| moved * moved * POINTS as f64).sum::<f64>() as f32;
            }
            drawn
        };
        paces
            .iter()
            .flat_map(|(pace, _)| ONSETS_H.iter().map(move |onset_h| drawn(*pace, *onset_h)))
            .collect()
    }
}

/// One signal's readings as the rough look takes them: by stretch Σ l and Σ q, where a course of μ adds l·μ to f and q·μ² to g.
pub(crate) struct Rough {
    signal: Signal,
    quarter: Option<Quarter>,
    linear: [f32; STRETCHES],
    square: [f32; STRETCHES],
}

impl Rough {
    /// Of one signal.
    pub fn of(series: &Series) -> Rough {
        let (mut linear, mut square) = ([0.0; STRETCHES], [0.0; STRETCHES]);
        let mut stretch = 0;
        for k in 0..series.hours.len() {
            while stretch + 1 < STRETCHES && -EDGES_H[stretch + 1] <= series.hours[k] {
                stretch += 1;
            }
            let (l, q) = if series.signal == Signal::Kicks {
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
            linear[stretch] += l as f32;
            square[stretch] += q as f32;
        }
        Rough { signal: series.signal, quarter: series.quarter, linear, square }
    }

    /// Σ d·μ and Σ μ² under a course as drawn.
    fn fit(&self, drawn: &Drawn) -> (f64, f64) {
        let (mut f, mut g) = ([0.0f32; LANES], [0.0f32; LANES]);
        for from in (0..STRETCHES).step_by(LANES) {
            for lane in 0..LANES {
                f[lane] += self.linear[from + lane] * drawn.mean[from + lane];
                g[lane] += self.square[from + lane] * drawn.square[from + lane];
            }
        }
        (f64::from(f.iter().sum::<f32>()), f64::from(g.iter().sum::<f32>()) + 1e-12)
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
    let places = template.places();
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
                    readings.iter().find(|one| one.signal == course.course.signal && one.quarter == read)
                })
                .collect();
            (0..template.paces.len() * ONSETS_H.len()).any(|drawn| {
                let fits: Vec<Option<(f64, f64)>> = ready
                    .drawn
                    .iter()
                    .zip(&own)
                    .map(|(course, own)| own.map(|own| own.fit(&course[drawn])))
                    .collect();
                // No severity explains more than the best one would, and most cows are done with here.
                let most: f64 = fits.iter().flatten().map(|(f, g)| f.max(0.0).powi(2) / (2.0 * g)).sum();
                wanted <= most
                    && template.severities.iter().any(|(severity, _)| {
                        // Nor does any sum of shares more than the best of them.
                        let fitted = ready.courses.iter().zip(&fits);
                        let best =
                            fitted.filter_map(|(course, fit)| fit.map(|fit| best(course, *severity, fit)));
                        if 0.0 < wanted && best.sum::<f64>() + ROUNDING < wanted {
                            return false;
                        }
                        for (part, (course, fit)) in parts.iter_mut().zip(ready.courses.iter().zip(&fits)) {
                            *part = fit.map_or(0.0, |fit| rough(course, *severity, fit));
                        }
                        wanted <= parts.iter().sum::<f64>() * noise.discount(&parts)
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
