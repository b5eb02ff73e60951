//! What does the tank say of the boxes' meters?
//!
//! # Equation
//! For each pickup k: boxes' sum of the milk sent to the tank since the one before, against what was fetched.
//!   two boxes, one reads δ too much (log):  ln(kg_A·e^(−δ) + kg_B) − ln(fetched) ~ N(c, σ²)
//!                  the other too little:    ln(kg_A + kg_B·e^(+δ)) − ln(fetched) ~ N(c, σ²)
//!   c  what always differs (milk in the lines, given to calves): N(0, 0.03²), the same for all pickups
//! One box: ln(boxes' sum) − ln(fetched) is a look of the chain itself.
//! # Source
//! Spreads: stated defaults.

use jiff::Timestamp;

use super::{
    BoxFault, Boxes,
    chain::{Law, Look, Seen, follow},
    median, steps,
};
use crate::{
    causes::{Cause, worth::Settings},
    expect::{BIN_MS, Signal},
    herd::BoxKey,
};

/// Milk that was fetched from the tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pickup {
    /// When.
    pub at: Timestamp,
    /// How much, kg.
    pub milk_kg: f64,
}

/// What always differs between tank and boxes, log.
const OFFSET: f64 = 0.03;
/// What one pickup strays by, log.
const SCATTER: f64 = 0.015;
/// A pickup that differs by more is of another tank, or not all was fetched, log.
const FAR: f64 = 0.35;

/// As the meter's, but that the offset strays too: what always differs is first learned from the ratio itself.
const LAW: Law = Law {
    low: -0.40,
    high: 0.40,
    spacing: 0.01,
    rest: 0.012,
    rest_days: 60.0,
    size: 0.10,
    least: 0.03,
    speed: 0.012,
};

/// One pickup beside the boxes' sums since the one before.
struct Beside {
    from_ms: i64,
    to_ms: i64,
    fetched_kg: f64,
    /// Of the first box asked for, and of all others.
    kg: (f64, f64),
}

fn beside(boxes: &Boxes, first: BoxKey) -> Vec<Beside> {
    let rows = boxes.log.by(boxes.at);
    let Some(known_ms) = rows.first().map(|row| row.to_ms) else { return Vec::new() };
    let pickups: Vec<&Pickup> = boxes.pickups.iter().filter(|pickup| pickup.at <= boxes.at).collect();
    pickups
        .windows(2)
        .filter_map(|pair| {
            let (from_ms, to_ms) = (pair[0].at.as_millisecond(), pair[1].at.as_millisecond());
            if from_ms < known_ms || to_ms <= from_ms {
                return None;
            }
            let (start, end) = (
                rows.partition_point(|row| row.to_ms <= from_ms),
                rows.partition_point(|row| row.to_ms <= to_ms),
            );
            let mut kg = (0.0, 0.0);
            for row in rows[start..end].iter().filter(|row| !row.held) {
                let own = row.milk_kg().unwrap_or(0.0);
                if row.at_box == first { kg.0 += own } else { kg.1 += own }
            }
            let all_kg: f64 = kg.0 + kg.1;
            let near = 0.0 < all_kg && 0.0 < pair[1].milk_kg && (all_kg / pair[1].milk_kg).ln().abs() < FAR;
            near.then_some(Beside { from_ms, to_ms, fetched_kg: pair[1].milk_kg, kg })
        })
        .collect()
}

/// ln odds that the first of two boxes is off by the level of `course` and not the second by its opposite; 0 without pickups.
pub(crate) fn which(boxes: &Boxes, (one, _): (BoxKey, BoxKey), course: &[Seen]) -> f64 {
    let beside = beside(boxes, one);
    let level = |pickup: &Beside| {
        let inside: Vec<f64> = course
            .iter()
            .filter(|seen| (pickup.from_ms..=pickup.to_ms + BIN_MS).contains(&seen.at.as_millisecond()))
            .map(|seen| seen.level)
            .collect();
        (!inside.is_empty()).then(|| inside.iter().sum::<f64>() / inside.len() as f64)
    };
    let misses = |first: bool| -> Vec<f64> {
        beside
            .iter()
            .filter_map(|pickup| {
                let level = level(pickup)?;
                let (own, others) = pickup.kg;
                let true_kg = if first { own * (-level).exp() + others } else { own + others * level.exp() };
                Some((true_kg / pickup.fetched_kg).ln())
            })
            .collect()
    };
    (log_likelihood(&misses(true)) - log_likelihood(&misses(false))).clamp(-8.0, 8.0)
}

/// ln likelihood of misses that share an offset, less what hangs on their number alone.
fn log_likelihood(misses: &[f64]) -> f64 {
    let (one, shared) = (SCATTER * SCATTER, OFFSET * OFFSET);
    let sum: f64 = misses.iter().sum();
    let square: f64 = misses.iter().map(|miss| miss * miss).sum();
    let count = misses.len() as f64;
    -0.5 * (square / one - sum * sum * shared / (one * (one + count * shared)))
}

/// ln odds that the only box is off by the level of `course` and not the herd; 0 without pickups.
pub(crate) fn rather_than_herd(boxes: &Boxes, at_box: BoxKey, course: &[Seen]) -> f64 {
    // Milk that no other box sold: the herd's hypothesis is that of a second box without milk.
    which(boxes, (at_box, at_box), course)
}

/// The only box of a farm, against the tank.
pub(crate) fn alone(boxes: &Boxes, at_box: BoxKey, settings: &Settings) -> Option<BoxFault> {
    let beside = beside(boxes, at_box);
    if beside.len() < 4 {
        return None;
    }
    let ratios: Vec<(i64, f64)> = beside
        .iter()
        .map(|pickup| ((pickup.from_ms + pickup.to_ms) / 2, (pickup.kg.0 / pickup.fetched_kg).ln()))
        .collect();
    // What always differs: the middle of the first pickups known, drawn towards nothing.
    let mut first: Vec<f64> = ratios.iter().take(5).map(|(_, ratio)| *ratio).collect();
    let count = first.len() as f64;
    let sure = OFFSET * OFFSET / (OFFSET * OFFSET + 1.5 * SCATTER * SCATTER / count);
    let offset = sure * median(&mut first)?;
    let looks: Vec<Look> = steps(ratios[0].0, boxes.at)
        .map(|from_ms| {
            let here = ratios.iter().find(|(at_ms, _)| (from_ms..from_ms + BIN_MS).contains(at_ms));
            Look::of(from_ms, here.map(|(_, ratio)| LAW.mean(ratio - offset, SCATTER * SCATTER, 1.0)))
        })
        .collect();
    let verdict = follow(&LAW, looks, settings.rates.of_place(Cause::MilkMeter))?;
    let counted = boxes.log.counted(at_box, verdict.since, boxes.at, |row| row.milk_kg().is_some());
    let reason = (Signal::Milk, 100.0 * verdict.level.exp_m1(), 0.0);
    let mut fault = BoxFault::of((at_box, Cause::MilkMeter, None), verdict, reason, counted);
    fault.tank_says = true;
    Some(fault)
}
