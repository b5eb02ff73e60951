//! Since when do her other signals speak? It names the calls that rest on them.
//!
//! A call's likeliest onset moves as rows come in. What stays is the first step of time that spoke ([`crate::expect`]'s stretch of
//! trouble), read off steps that are the same at every round: halves of a day in Greenwich for illness, sixths of a day for heat.
//!
//! # Equation
//! illness: said = 1.6 · Σ over signals max(0, z − ½), z the step's mean departure in spreads, towards illness
//! heat: said = 0.9 · (z + z of the step before), z of activity, upwards

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{
    Reading,
    ways::{self, Scale},
};
use crate::{
    expect::{Signal, Trouble},
    herd::LifeKey,
};

/// Since when a cow's other signals speak.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Began {
    /// Of illness.
    pub ill: Option<Timestamp>,
    /// Of heat.
    pub heat: Option<Timestamp>,
}

const STEP_MS: i64 = 4 * 3_600_000;
const STEPS_OF_ILLNESS: i64 = 3;

/// Towards which side a signal departs in an illness; 0 where it tells too little by itself.
fn side(signal: Signal) -> f64 {
    match signal {
        Signal::Rumination | Signal::Eating | Signal::Feed | Signal::Activity => -1.0,
        Signal::MilkTemperature | Signal::FatProtein | Signal::Cells | Signal::Blood => 1.0,
        _ => 0.0,
    }
}

#[derive(Clone, Copy, Default)]
struct Sum {
    observed: f64,
    expected: f64,
    weight: f64,
}

impl Sum {
    fn departure(&self, scale: Scale) -> f64 {
        scale.departure(self.observed / self.weight, self.expected / self.weight)
    }
}

/// Since when each cow's readings speak; `readings` with what was expected of each.
pub(super) fn began<'r>(readings: impl Iterator<Item = (&'r Reading, f64)>) -> BTreeMap<LifeKey, Began> {
    let active = ways::place(Signal::Activity, None).map(|place| place as u8);
    let mut ill: BTreeMap<(LifeKey, i64, u8), Sum> = BTreeMap::new();
    let mut heat: BTreeMap<(LifeKey, i64), Sum> = BTreeMap::new();
    for (reading, expected) in readings {
        let step = reading.from_ms.div_euclid(STEP_MS);
        let add = |sum: &mut Sum| {
            sum.observed += reading.value * reading.weight;
            sum.expected += expected * reading.weight;
            sum.weight += reading.weight;
        };
        if Some(reading.place) == active {
            add(heat.entry((reading.life, step)).or_default());
        }
        let (way, _) = ways::at(usize::from(reading.place));
        if side(way.signal) != 0.0 {
            add(ill.entry((reading.life, step.div_euclid(STEPS_OF_ILLNESS), reading.place)).or_default());
        }
    }
    let mut began: BTreeMap<LifeKey, Began> = BTreeMap::new();
    let mut said: BTreeMap<(LifeKey, i64), f64> = BTreeMap::new();
    for ((life, step, place), sum) in ill {
        let (way, _) = ways::at(usize::from(place));
        let hours = (STEP_MS * STEPS_OF_ILLNESS) as f64 / 3_600_000.0;
        let z =
            side(way.signal) * sum.departure(way.scale) / (way.noise * (way.block_h / hours).sqrt().min(1.5));
        *said.entry((life, step)).or_default() += 1.6 * (z.min(4.0) - 0.5).max(0.0);
    }
    let mut trouble: Option<(LifeKey, Option<Trouble>)> = None;
    for ((life, step), said) in said {
        let before = trouble.filter(|(own, _)| *own == life).and_then(|(_, trouble)| trouble);
        let now = Trouble::after(before, said, step * STEPS_OF_ILLNESS * STEP_MS);
        began.entry(life).or_default().ill =
            now.and_then(|one| Timestamp::from_millisecond(one.since_ms).ok());
        trouble = Some((life, now));
    }
    let mut trouble: Option<(LifeKey, Option<Trouble>, f64)> = None;
    for ((life, step), sum) in heat {
        let way = &ways::WAYS[usize::from(active.unwrap_or(0))];
        let z = (sum.departure(way.scale) / way.noise).clamp(0.0, 4.0);
        let (before, last) = trouble
            .filter(|(own, ..)| *own == life)
            .map_or((None, 0.0), |(_, trouble, last)| (trouble, last));
        let now = Trouble::after(before, 0.9 * (z + last), step * STEP_MS);
        began.entry(life).or_default().heat =
            now.and_then(|one| Timestamp::from_millisecond(one.since_ms).ok());
        trouble = Some((life, now, z));
    }
    began
}
