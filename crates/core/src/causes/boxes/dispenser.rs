//! Does a box's dispenser give less than it says?
//!
//! # Equation
//! r = eaten / offered − her usual      of one visit; usual: what she leaves under only three visits in ten
//! look: mean of r over six hours, less the same of sound boxes (the middle of the best half of all six hours)
//! With several boxes the others' fall of the same hours is taken off: a herd off its feed is not a dispenser. Of two boxes
//! one that gives less is told from the other by the sign.

use std::collections::BTreeMap;

use super::{
    BoxFault, Boxes, SILENT_H, before,
    chain::{Law, Look, follow},
    log::Row,
    median, steps,
};
use crate::{
    causes::{Cause, worth::Settings},
    expect::{BIN_MS, Signal},
    herd::BoxKey,
};

/// Share of what was offered. Stated defaults: a tenth less is worth a look.
const LAW: Law = Law {
    low: -0.96,
    high: 0.0,
    spacing: 0.04,
    rest: 0.02,
    rest_days: 30.0,
    size: 0.40,
    least: 0.08,
    speed: 0.06,
};

/// Portions below this say little, kg.
const LEAST_OFFERED_KG: f64 = 0.15;
/// What six hours stray by beyond what their visits say, share. Stated default.
const STRAY: f64 = 0.015;
/// The same cows' visits wander together. Stated default.
const TEMPER: f64 = 0.6;
/// Visits of six hours below which they are left out.
const LEAST_VISITS: usize = 4;
/// Visits of a cow from which on her usual is known.
const LEAST_OF_COW: usize = 6;

/// One visit: where, when, departure of the share eaten.
struct Fed {
    at_box: BoxKey,
    to_ms: i64,
    departure: f64,
}

pub(crate) fn judge(boxes: &Boxes, rows: &[&Row], settings: &Settings) -> Vec<BoxFault> {
    let (fed, usual_share) = fed(rows);
    let Some(first_ms) = fed.first().map(|one| one.to_ms) else { return Vec::new() };
    // One visit's scatter: middle of the sizes of departures from their own middle.
    let mut all: Vec<f64> = fed.iter().map(|one| one.departure).collect();
    let middle = median(&mut all).unwrap_or(0.0);
    let mut sizes: Vec<f64> = all.iter().map(|own| (own - middle).abs()).collect();
    let scatter = (1.48 * median(&mut sizes).unwrap_or(0.1)).clamp(0.03, 0.4);
    let mut bins: BTreeMap<BoxKey, BTreeMap<i64, (f64, usize)>> = BTreeMap::new();
    for one in &fed {
        let from_ms = one.to_ms.div_euclid(BIN_MS) * BIN_MS;
        let bin = bins.entry(one.at_box).or_default().entry(from_ms).or_default();
        // One cow that leaves all of it is held to three scatters.
        bin.0 += (one.departure - middle).clamp(-1.0, 3.0 * scatter);
        bin.1 += 1;
    }
    let mut means: Vec<f64> = bins.values().flat_map(BTreeMap::values).filter_map(|bin| mean(*bin)).collect();
    means.sort_by(f64::total_cmp);
    let half = means.len() / 2;
    let Some(sound) = median(&mut means[half..]) else { return Vec::new() };
    let departure = |key: &BoxKey, from_ms: i64| -> Option<(f64, usize)> {
        let bin = *bins.get(key)?.get(&from_ms)?;
        Some((mean(bin)? - sound, bin.1))
    };
    let recent_ms = before(boxes.at, SILENT_H).as_millisecond() - BIN_MS;
    let mut faults = Vec::new();
    for (key, own) in &bins {
        if !own
            .range(recent_ms..)
            .any(|(_, bin)| mean(*bin).is_some_and(|own| own - sound < -0.5 * LAW.least))
        {
            continue;
        }
        let look = |from_ms: i64| {
            let (own, count) = departure(key, from_ms)?;
            let mut others: Vec<f64> = bins
                .keys()
                .filter(|other| *other != key)
                .filter_map(|other| departure(other, from_ms).map(|(own, _)| own))
                .collect();
            // What the others fell by; their rise says nothing of this one.
            let shared = median(&mut others).unwrap_or(0.0).min(0.0);
            let var = scatter * scatter / count as f64 * (1.0 + f64::from(u8::from(shared < 0.0)));
            Some(LAW.mean(own - shared, var + STRAY * STRAY, TEMPER))
        };
        let looks: Vec<Look> =
            steps(first_ms, boxes.at).map(|from_ms| Look::of(from_ms, look(from_ms))).collect();
        let Some(verdict) = follow(&LAW, looks, settings.rates.of_place(Cause::FeedDispenser)) else {
            continue;
        };
        let counted = boxes.log.counted(*key, verdict.since, boxes.at, |row| share(row).is_some());
        let eaten = (usual_share + verdict.level).max(0.0);
        let reason = (Signal::Feed, 100.0 * eaten, 100.0 * usual_share);
        faults.push(BoxFault::of((*key, Cause::FeedDispenser, None), verdict, reason, counted));
    }
    faults
}

fn mean((sum, count): (f64, usize)) -> Option<f64> {
    (LEAST_VISITS <= count).then(|| sum / count as f64)
}

/// Share eaten of what was offered.
fn share(row: &Row) -> Option<f64> {
    let offered_kg = row.offered_kg().filter(|kg| LEAST_OFFERED_KG <= *kg)?;
    Some((row.eaten_kg()? / offered_kg).clamp(0.0, 1.2))
}

/// Every portion against its cow's usual, in order of time; and what the herd usually eats of its portions.
fn fed(rows: &[&Row]) -> (Vec<Fed>, f64) {
    let lives = rows.iter().map(|row| row.life.0 as usize + 1).max().unwrap_or(0);
    let mut of_cow: Vec<Vec<f64>> = vec![Vec::new(); lives];
    for row in rows {
        if let Some(share) = share(row) {
            of_cow[row.life.0 as usize].push(share);
        }
    }
    let usual: Vec<Option<f64>> = of_cow
        .into_iter()
        .map(|mut shares| {
            shares.sort_unstable_by(f64::total_cmp);
            (LEAST_OF_COW <= shares.len()).then(|| shares[shares.len() * 7 / 10])
        })
        .collect();
    let mut middles: Vec<f64> = usual.iter().flatten().copied().collect();
    let herd = median(&mut middles).unwrap_or(1.0);
    let fed = rows
        .iter()
        .filter_map(|row| {
            let departure = share(row)? - usual[row.life.0 as usize]?;
            Some(Fed { at_box: row.at_box, to_ms: row.to_ms, departure })
        })
        .collect();
    (fed, herd)
}
