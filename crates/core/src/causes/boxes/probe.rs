//! Is the conductivity probe of one cup off?
//!
//! Each quarter's reading is judged against its own habit, whichever box she is milked in, so that what the quarters of
//! many cows show in one cup of one box is that probe's. An inflamed quarter is one cow's and weighs little.
//! Cups are told from the middle of the box's four: what all share is the milk's warmth or the cows'.

use super::{
    BoxFault, Boxes, SILENT_H, before,
    chain::{Law, Look, follow},
    median, scatter, steps,
};
use crate::{
    causes::{Cause, worth::Settings},
    expect::{BoxBin, Signal},
    herd::{BoxKey, Quarter},
};

/// mS/cm. Sound probes differ by a tenth or so; from 0.3 on, 6 % of a usual reading of 5, it misleads. Stated defaults.
const LAW: Law = Law {
    low: -2.4,
    high: 2.4,
    spacing: 0.1,
    rest: 0.08,
    rest_days: 30.0,
    size: 0.8,
    least: 0.2,
    speed: 0.10,
};

/// What six hours of a cup stray by beyond what their readings say, mS/cm. Stated default.
const STRAY: f64 = 0.04;
/// The same cows' readings wander together. Stated default.
const TEMPER: f64 = 0.8;
/// Readings of six hours below which they are left out.
const LEAST_READINGS: u32 = 3;

pub(crate) fn judge(boxes: &Boxes, settings: &Settings) -> Vec<BoxFault> {
    let mut faults = Vec::new();
    for (at_box, bins) in boxes.courses {
        for cup in 0..4 {
            faults.extend(one(boxes, *at_box, bins, cup, settings));
        }
    }
    faults
}

fn one(boxes: &Boxes, at_box: BoxKey, bins: &[BoxBin], cup: usize, settings: &Settings) -> Option<BoxFault> {
    let read: Vec<(i64, f64, f64)> =
        bins.iter().filter_map(|bin| own(bin, cup).map(|(mean, var)| (bin.from_ms, mean, var))).collect();
    let recent_ms = before(boxes.at, SILENT_H).as_millisecond();
    let recent: Vec<f64> =
        read.iter().filter(|(from_ms, ..)| recent_ms <= *from_ms).map(|(_, mean, _)| mean.abs()).collect();
    // Most cups of most boxes are as they should be: what cannot speak is not weighed.
    if recent.iter().all(|mean| *mean < 0.5 * LAW.least) {
        return None;
    }
    let scatter = scatter(&read);
    let looks: Vec<Look> = steps(read.first()?.0, boxes.at)
        .map(|from_ms| {
            let here = read.binary_search_by_key(&from_ms, |(own_ms, ..)| *own_ms).ok();
            Look::of(
                from_ms,
                here.map(|place| LAW.mean(read[place].1, scatter * read[place].2 + STRAY * STRAY, TEMPER)),
            )
        })
        .collect();
    let rate = settings.rates.of_place(Cause::ConductivityProbe) / 4.0;
    let verdict = follow(&LAW, looks, rate)?;
    let since = verdict.since;
    let counted = boxes.log.counted(at_box, since, boxes.at, |row| row.tried());
    let quarter = Quarter::ALL[cup];
    let reason = (Signal::Conductivity, verdict.level, 0.0);
    Some(BoxFault::of((at_box, Cause::ConductivityProbe, Some(quarter)), verdict, reason, counted))
}

/// A cup against the middle of the four: mean and variance.
fn own(bin: &BoxBin, cup: usize) -> Option<(f64, f64)> {
    let (mean, var) = bin.cups[cup].mean().filter(|_| LEAST_READINGS <= bin.cups[cup].readings)?;
    let mut means: Vec<f64> = bin.cups.iter().filter_map(|sum| sum.mean().map(|(mean, _)| mean)).collect();
    Some((mean - median(&mut means)?, 1.5 * var))
}
