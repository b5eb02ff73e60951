//! What closes the boxes of a farm, from its log: cleaning by the clock, service, breakdowns.

use super::{fit_log::Log, pen::Closures};

/// What closes a box, from its logged states; none where no log tells of them.
pub fn closures(log: &Log, days: f64) -> Closures {
    let mut closures = Closures::none();
    let box_days = days * log.boxes.max(1) as f64;
    let of = |kind: usize| log.shut.iter().filter(move |shut| shut.kind == kind && log.span.0 <= shut.from);
    let minutes = |kind: usize| of(kind).map(|shut| shut.to - shut.from).sum::<f64>();
    let mean = |kind: usize| minutes(kind) / (of(kind).count().max(1) as f64);
    let a_day = (of(0).count() as f64 / box_days).round() as usize;
    if 0 < a_day {
        closures.cleaning_min = minutes(0) / box_days / a_day as f64;
        (closures.cleaned_h, closures.cleaned_apart_min) = cleaned(log, a_day);
    }
    if 0 < of(1).count() {
        closures.service_every_d = box_days / of(1).count() as f64;
        closures.service_min = mean(1);
    }
    if 0 < of(2).count() {
        closures.fault_every_d = box_days / of(2).count() as f64;
        closures.fault_min = mean(2).max(0.1);
    }
    closures
}

/// Hours at which the box that is cleaned first is cleaned, and minutes from one box to the next.
fn cleaned(log: &Log, a_day: usize) -> (Vec<f64>, f64) {
    let hours_of = |number: usize| -> Vec<f64> {
        let own = log.shut.iter().filter(|shut| shut.kind == 0 && usize::from(shut.at_box) == number);
        let mut starts: Vec<f64> = own.map(|shut| (shut.from / 60.0).rem_euclid(24.0)).collect();
        starts.sort_by(f64::total_cmp);
        // A cleaning that is due waits for the cow in the box: its hour is that of the quarter that began first.
        (0..a_day)
            .filter_map(|turn| starts.get(starts.len() * (4 * turn + 1) / (4 * a_day)).copied())
            .collect()
    };
    let boxes: Vec<Vec<f64>> = (0..log.boxes).map(hours_of).filter(|own| own.len() == a_day).collect();
    let Some(one) = boxes.first() else { return (Vec::new(), 0.0) };
    // Round the clock, from twelve hours before to twelve hours after.
    let after = |own: &[f64]| -> f64 {
        let apart = own.iter().zip(one).map(|(own, one)| (own - one + 12.0).rem_euclid(24.0) - 12.0);
        apart.sum::<f64>() / a_day as f64
    };
    let turns: Vec<f64> = boxes.iter().map(|own| after(own)).collect();
    let (mut first, mut last) = (0, 0);
    for (number, turn) in turns.iter().enumerate() {
        first = if *turn < turns[first] { number } else { first };
        last = if turns[last] < *turn { number } else { last };
    }
    let steps = turns.len().saturating_sub(1).max(1) as f64;
    (boxes[first].clone(), 60.0 * (turns[last] - turns[first]) / steps)
}
