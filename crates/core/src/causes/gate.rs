//! Which causes need a full look in this cow?
//!
//! Most cows show nothing. A cumulative sum of the signed departures, S_k = max(0, S_{k−1} + d_k − 0.35), over the signals
//! that belong to a cause alone (its quarter's, or the whole cow's for a cause of the whole cow) tells in a microsecond whether anything
//! moved. A cause none of whose sums add up to [`OPEN_FROM`] is left out: its chance is then below its prior, under 1 %. The law
//! `the_gate_changes_no_chance_by_a_hundredth` holds it to that.

use super::{likelihood::ReadyTemplate, series::Series};
use crate::{expect::Signal, herd::Quarter};

/// What is taken off every departure, in spreads: a well cow's sum keeps falling back to nothing.
const DRIFT: f64 = 0.35;

/// Summed cumulative sums from which a cause is weighed.
pub(crate) const OPEN_FROM: f64 = 3.0;

/// Departures beyond this count no further, in spreads.
const CLIP: f64 = 4.0;

/// The places (quarters, or the whole cow) of a template that need weighing.
pub(crate) fn open(ready: &ReadyTemplate, series: &[Series], from: f64) -> Vec<Option<Quarter>> {
    let places: Vec<Option<Quarter>> =
        if ready.template.in_quarter { Quarter::ALL.into_iter().map(Some).collect() } else { vec![None] };
    places
        .into_iter()
        .filter(|place| {
            let sum: f64 = ready
                .courses
                .iter()
                .flat_map(|course| {
                    series
                        .iter()
                        .filter(move |series| {
                            series.signal == course.course.signal && series.quarter == *place
                        })
                        .map(move |series| highest(series, course.course.size.signum()))
                })
                .sum();
            from <= sum
        })
        .collect()
}

/// Highest cumulative sum of a series in the direction of `sign`.
fn highest(series: &Series, sign: f64) -> f64 {
    let (mut sum, mut top) = (0.0_f64, 0.0_f64);
    for (index, gap) in series.gap.iter().enumerate() {
        let departure = if series.signal == Signal::Kicks {
            if 0.5 <= series.shown[index].0 { 1.5 } else { -series.shown[index].1 }
        } else {
            (sign * gap * series.per_spread[index]).min(CLIP) - DRIFT
        };
        sum = (sum + departure).max(0.0);
        top = top.max(sum);
    }
    top
}
