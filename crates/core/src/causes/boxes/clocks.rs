//! Is a box's clock off?
//!
//! # Equation
//! Cows go from box to box. If the clock of one is late by d, hours from the others to it seem shorter by d and hours from it
//! to the others longer by d: d = (middle of from − middle of to) / 2, standard error from the middle's, 1.25·σ/√n
//! A cow's milkings alone do not say whose clock is right: of two boxes both are named.

use std::collections::BTreeMap;

use super::{BoxLog, before, median};
use crate::herd::{BoxKey, LifeKey};

/// A box whose clock looks off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockOff {
    /// Which box.
    pub at_box: BoxKey,
    /// How far its clock is behind (below 0) or ahead (above 0) of the others', h.
    pub hours: f64,
    /// Another box whose clock may be the wrong one, the other way round.
    pub or: Option<BoxKey>,
}

/// A clock that is less off makes no cow's interval strange, h.
const LEAST_H: f64 = 0.75;
/// Standard errors from which on it is said.
const SURE: f64 = 5.0;
/// Changes of box, each way, from which on it is judged.
const LEAST_CHANGES: usize = 25;
/// Hours looked back on.
const BACK_H: f64 = 48.0;

/// The boxes whose clocks look off in the last two days, the one most off; none where cows keep to their boxes.
pub fn clock_off(log: &BoxLog, at: jiff::Timestamp) -> Option<ClockOff> {
    let from_ms = before(at, BACK_H).as_millisecond();
    let mut last: BTreeMap<LifeKey, (BoxKey, i64)> = BTreeMap::new();
    // By box: hours from others to it, and from it to others.
    let mut changes: BTreeMap<BoxKey, [Vec<f64>; 2]> = BTreeMap::new();
    for (began_ms, _, at_box, life) in log.milkings(at) {
        if let Some((before, then_ms)) = last.insert(life, (at_box, began_ms))
            && before != at_box
            && from_ms <= began_ms
        {
            let hours = (began_ms - then_ms) as f64 / 3_600_000.0;
            changes.entry(at_box).or_default()[0].push(hours);
            changes.entry(before).or_default()[1].push(hours);
        }
    }
    let count = changes.len();
    let mut off: Vec<(BoxKey, f64)> = changes
        .into_iter()
        .filter(|(_, [to, from])| LEAST_CHANGES <= to.len().min(from.len()))
        .filter_map(|(key, [mut to, mut from])| {
            let (to_h, from_h) = (median(&mut to)?, median(&mut from)?);
            let error = |hours: &[f64], middle: f64| {
                let mut sizes: Vec<f64> = hours.iter().map(|hours| (hours - middle).abs()).collect();
                1.25 * 1.48 * median(&mut sizes).unwrap_or(0.0) / (hours.len() as f64).sqrt()
            };
            let ahead_h = 0.5 * (to_h - from_h);
            let error_h = 0.5 * error(&to, to_h).hypot(error(&from, from_h));
            (LEAST_H <= ahead_h.abs() && SURE * error_h <= ahead_h.abs()).then_some((key, ahead_h))
        })
        .collect();
    off.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()).then(a.0.cmp(&b.0)));
    let (at_box, hours) = *off.first()?;
    let or = if count == 2 { off.get(1).map(|(key, _)| *key) } else { None };
    Some(ClockOff { at_box, hours, or })
}
