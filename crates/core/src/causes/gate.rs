//! Which causes need a full look in this cow?
//!
//! Most cows show nothing. A cause is weighed in full where a rough look cannot rule it out: for a handful of onsets the
//! course that fits best by least squares is laid through each of its signals, by itself and only in the course's own
//! direction, and what that explains is added up, (Σ d·m)² / (2 Σ m²) with d departures and m the course in spreads, less
//! for readings that remember. No weighing with real priors can find more than that; below [`OPEN_FROM`] a chance
//! is below its prior, under 1 %. The law `the_gate_changes_no_chance_by_a_hundredth` holds it to that.

use super::{
    likelihood::{Ready, ReadyTemplate},
    noise::Noise,
    series::Series,
};
use crate::{expect::Signal, herd::Quarter};

/// What the best courses must explain, natural units, from which a cause is weighed.
pub(crate) const OPEN_FROM: f64 = 2.4;

/// Onsets of the rough look, hours before the time of judging.
const ONSETS_H: [f64; 7] = [8.0, 16.0, 30.0, 54.0, 90.0, 140.0, 210.0];

/// Departures beyond this count no further, in spreads.
const CLIP: f64 = 4.0;

/// The places (quarters, or the whole cow) of a template that need weighing.
pub(crate) fn open(
    ready: &ReadyTemplate,
    series: &[Series],
    noise: &Noise,
    from: f64,
) -> Vec<Option<Quarter>> {
    let places: Vec<Option<Quarter>> =
        if ready.template.in_quarter { Quarter::ALL.into_iter().map(Some).collect() } else { vec![None] };
    if from <= 0.0 {
        return places;
    }
    let courses = ready.courses.len();
    let paces = ready.template.paces;
    let mut parts = vec![0.0; courses];
    places
        .into_iter()
        .filter(|place| {
            let own: Vec<Option<&Series>> = ready
                .courses
                .iter()
                .map(|course| {
                    let read = ready.template.reads(course.course.signal, *place);
                    series
                        .iter()
                        .find(|series| series.signal == course.course.signal && series.quarter == read)
                })
                .collect();
            paces.iter().any(|(pace, _)| {
                ONSETS_H.iter().any(|onset_h| {
                    for (part, (course, series)) in parts.iter_mut().zip(ready.courses.iter().zip(&own)) {
                        *part = series.map_or(0.0, |series| explained(series, course, -onset_h, *pace));
                    }
                    from <= parts.iter().sum::<f64>() * noise.discount(&parts)
                })
            })
        })
        .collect()
}

/// What the course that fits best explains of one signal's readings, with this onset and pace.
fn explained(series: &Series, ready: &Ready, onset_h: f64, pace: f64) -> f64 {
    let first = series.hours.partition_point(|hours| *hours < onset_h);
    if series.signal == Signal::Kicks {
        // Every kick beyond her habit speaks as if it were a rare one.
        let read = series.shown.iter().skip(first);
        let more: f64 = read.map(|(kicked, habit)| if 0.5 <= *kicked { 1.2 } else { -habit }).sum();
        return more.max(0.0);
    }
    let (mut fit, mut size) = (0.0, 1e-9);
    for k in first..series.hours.len() {
        let course = ready.shape_at((series.hours[k] - onset_h) / pace) * ready.course.size;
        let moved = course * series.per_spread[k];
        let departure = (series.gap[k] * series.per_spread[k]).clamp(-CLIP, CLIP);
        // Readings that remember the one before tell less; each stands for itself here.
        let fresh = (1.0 - series.memory[k]) / (1.0 + series.memory[k]);
        fit += fresh * departure * moved;
        size += fresh * moved * moved;
    }
    if fit <= 0.0 { 0.0 } else { fit * fit / (2.0 * size) }
}
