//! Does a cup of a box fail to attach?
//!
//! # Equation
//! A milking in which one quarter gave next to nothing, while others gave, failed in that quarter.
//! chance of it = p + (1 − p)·L      p  that quarter's own habit, elsewhere or before    L  what the cup adds
//! ln L(six hours | L) = temper · Σ over milkings of ln(chance) or ln(1 − chance)
//!   p = (failed of hers + 8·p_herd) / (hers + 8)     a cow that kicks one quarter off everywhere says nothing of a cup
//! Where quarters are not measured, nothing is said.

use std::collections::BTreeMap;

use super::{
    BoxFault, Boxes, before,
    chain::{Law, Look, follow},
    log::Row,
    median, steps,
};
use crate::{
    causes::{Cause, worth::Settings},
    expect::{BIN_MS, Signal},
    herd::{BoxKey, LifeKey, Quarter},
};

/// Chance of failing that a cup adds. Stated defaults.
const LAW: Law = Law {
    low: 0.0,
    high: 0.96,
    spacing: 0.04,
    rest: 0.015,
    rest_days: 30.0,
    size: 0.40,
    least: 0.08,
    speed: 0.06,
};

/// A quarter that gives less than this share of its usual milk gave next to nothing. Stated default.
const NOTHING: f64 = 0.15;
/// A quarter that usually gives less tells nothing, kg.
const LEAST_KG: f64 = 0.3;
/// A cow's milkings are alike, but what her quarter does elsewhere is taken off already. Stated default.
const TEMPER: f64 = 0.85;
/// How many milkings the herd's share weighs in a quarter's own.
const HERD_WEIGHS: f64 = 8.0;
/// Least share that is believed of a herd: one in 250.
const LEAST_SHARE: f64 = 0.004;
/// Failures of fewer cows are theirs, not the cup's.
const LEAST_COWS: u32 = 3;
/// With one box a quarter's habit is from before these days.
const HABIT_BEFORE_H: f64 = 72.0;

/// One quarter of one milking.
struct Tried {
    life: LifeKey,
    at_box: BoxKey,
    to_ms: i64,
    failed: bool,
}

pub(crate) fn judge(boxes: &Boxes, settings: &Settings) -> Vec<BoxFault> {
    let rows = boxes.log.by(boxes.at);
    let usual = usual(&rows);
    let keys: Vec<BoxKey> = boxes.courses.iter().map(|(key, _)| *key).collect();
    (0..4)
        .flat_map(|cup| {
            let tried = tried(&rows, &usual, cup);
            let shares = herd_share(&tried, &keys);
            keys.iter().filter_map(|key| one(boxes, &tried, *key, cup, shares, settings)).collect::<Vec<_>>()
        })
        .collect()
}

/// Each cow's usual milk by quarter, kg.
fn usual(rows: &[Row]) -> BTreeMap<LifeKey, [f64; 4]> {
    let mut all: BTreeMap<LifeKey, [Vec<f64>; 4]> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.tried()) {
        let own = all.entry(row.life).or_default();
        for (own, kg) in own.iter_mut().zip(row.quarters_kg) {
            own.extend(kg);
        }
    }
    all.into_iter()
        .map(|(life, mut quarters)| {
            let usual = [0, 1, 2, 3].map(|cup: usize| median(&mut quarters[cup]).unwrap_or(0.0));
            (life, usual)
        })
        .collect()
}

fn tried(rows: &[Row], usual: &BTreeMap<LifeKey, [f64; 4]>, cup: usize) -> Vec<Tried> {
    rows.iter()
        .filter(|row| row.tried())
        .filter_map(|row| {
            let usual = usual.get(&row.life)?;
            let nothing = |cup: usize| row.quarters_kg[cup].is_some_and(|kg| kg < NOTHING * usual[cup]);
            // A cow who lets nothing be taken from her is no word of one cup.
            let missed = (0..4).filter(|cup| LEAST_KG < usual[*cup] && nothing(*cup)).count();
            (row.quarters_kg[cup].is_some() && LEAST_KG < usual[cup] && missed < 3).then(|| Tried {
                life: row.life,
                at_box: row.at_box,
                to_ms: row.to_ms,
                failed: nothing(cup),
            })
        })
        .collect()
}

/// The share that fails where nothing is wrong: the least of the boxes' shares in this cup, drawn to what is common.
fn herd_share(tried: &[Tried], keys: &[BoxKey]) -> f64 {
    let shares = keys.iter().filter_map(|key| {
        let own = tried.iter().filter(|one| one.at_box == *key);
        let (count, failed) = own
            .fold((0.0, 0.0), |(count, failed), one| (count + 1.0, failed + f64::from(u8::from(one.failed))));
        (50.0 <= count).then(|| (failed + 1.0) / (count + 60.0))
    });
    shares.fold(f64::INFINITY, f64::min).clamp(LEAST_SHARE, 0.05)
}

fn one(
    boxes: &Boxes,
    tried: &[Tried],
    at_box: BoxKey,
    cup: usize,
    herd_share: f64,
    settings: &Settings,
) -> Option<BoxFault> {
    let habit_ms = before(boxes.at, HABIT_BEFORE_H).as_millisecond();
    let several = tried.iter().any(|one| one.at_box != at_box);
    let mut habits: BTreeMap<LifeKey, (f64, f64)> = BTreeMap::new();
    for other in
        tried.iter().filter(|other| if several { other.at_box != at_box } else { other.to_ms < habit_ms })
    {
        let own = habits.entry(other.life).or_default();
        own.0 += f64::from(u8::from(other.failed));
        own.1 += 1.0;
    }
    let habit = |life: LifeKey| {
        let (failed, count) = habits.get(&life).copied().unwrap_or_default();
        ((failed + HERD_WEIGHS * herd_share) / (count + HERD_WEIGHS)).clamp(LEAST_SHARE, 0.9)
    };
    let here: Vec<&Tried> = tried.iter().filter(|one| one.at_box == at_box).collect();
    let levels = LAW.levels();
    let looks: Vec<Look> = steps(here.first()?.to_ms, boxes.at)
        .map(|from_ms| {
            let start = here.partition_point(|one| one.to_ms < from_ms);
            let end = here.partition_point(|one| one.to_ms < from_ms + BIN_MS);
            let inside = &here[start..end];
            let log = levels.iter().map(|level| {
                let sum: f64 = inside
                    .iter()
                    .map(|one| {
                        let habit = habit(one.life);
                        let chance = habit + (1.0 - habit) * level;
                        if one.failed { chance.ln() } else { (1.0 - chance).ln() }
                    })
                    .sum();
                TEMPER * sum
            });
            Look::of(from_ms, (!inside.is_empty()).then(|| log.collect()))
        })
        .collect();
    let verdict = follow(&LAW, &looks, settings.rates.of_place(Cause::Attachment) / 4.0)?;
    let from_ms = verdict.since.as_millisecond() - BIN_MS / 2;
    let since: Vec<&&Tried> = here.iter().filter(|one| from_ms <= one.to_ms).collect();
    let cows_of = |failed: bool| {
        let mut cows: Vec<LifeKey> =
            since.iter().filter(|one| one.failed || !failed).map(|one| one.life).collect();
        cows.sort();
        cows.dedup();
        cows.len() as u32
    };
    if cows_of(true) < LEAST_COWS {
        return None;
    }
    let failed = since.iter().filter(|one| one.failed).count() as f64;
    let usual: f64 = since.iter().map(|one| habit(one.life)).sum();
    let count = since.len() as f64;
    let reason = (Signal::QuarterMilk, 100.0 * failed / count, 100.0 * usual / count);
    let counted = (since.len() as u32, cows_of(false));
    Some(BoxFault::of((at_box, Cause::Attachment, Some(Quarter::ALL[cup])), verdict, reason, counted))
}
