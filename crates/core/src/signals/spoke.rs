//! Since when do her other signals speak? It names the calls that rest on them.
//!
//! A call's likeliest onset moves as rows come in. What stays is the first step of time that spoke ([`crate::expect`]'s stretch of
//! trouble), read off steps that are the same at every round: halves of a day in Greenwich for illness, sixths of a day for heat.
//!
//! # Equation
//! illness: said = 1.6 · Σ over signals max(0, z − ½), z the step's mean departure in spreads, towards illness
//! heat: said = 0.9 · (z + z of the step before), z of activity, upwards

use jiff::Timestamp;

use super::{
    Reading,
    ordered::Ordered,
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

/// What a cow's readings of a step say: whose, which step, how much.
type Step = (LifeKey, i64, f64);

/// What the readings of one place say, step by step: cows in order, each one's steps in order.
#[derive(Default)]
pub(super) struct Spoken {
    /// Of illness.
    ill: Vec<Step>,
    /// Of heat: z.
    heat: Vec<Step>,
    /// Steps of the cow that is heard, of illness and of heat: cow after cow in the same room.
    steps: [Ordered<i64, Sum>; 2],
}

impl Spoken {
    /// Takes one cow's readings with what was expected of each; cows come in order.
    pub fn hear(&mut self, place: usize, life: LifeKey, readings: impl Iterator<Item = (Reading, f64)>) {
        let (way, _) = ways::at(place);
        let (of_heat, side) = (way.signal == Signal::Activity, side(way.signal));
        if side == 0.0 && !of_heat {
            return;
        }
        let [ill, heat] = &mut self.steps;
        for (reading, expected) in readings {
            let step = reading.from_ms.div_euclid(STEP_MS);
            let add = |sum: &mut Sum| {
                sum.observed += reading.value * reading.weight;
                sum.expected += expected * reading.weight;
                sum.weight += reading.weight;
            };
            if of_heat {
                add(heat.of(step));
            }
            if side != 0.0 {
                add(ill.of(step.div_euclid(STEPS_OF_ILLNESS)));
            }
        }
        let hours = (STEP_MS * STEPS_OF_ILLNESS) as f64 / 3_600_000.0;
        self.ill.extend(ill.drain().map(|(step, sum)| {
            let z = side * sum.departure(way.scale) / (way.noise * (way.block_h / hours).sqrt().min(1.5));
            (life, step, 1.6 * (z.min(4.0) - 0.5).max(0.0))
        }));
        self.heat.extend(
            heat.drain()
                .map(|(step, sum)| (life, step, (sum.departure(way.scale) / way.noise).clamp(0.0, 4.0))),
        );
    }
}

/// Since when each cow's readings speak, cows in order, by what those of each place say, places in order.
pub(super) fn began(spoken: &[Spoken]) -> Vec<(LifeKey, Began)> {
    let lives = spoken.iter().flat_map(|one| [&one.ill, &one.heat]).filter_map(|said| said.last());
    let Some(last) = lives.map(|(life, ..)| life.0).max() else { return Vec::new() };
    let mut rest: Vec<[&[Step]; 2]> = spoken.iter().map(|one| [&one.ill[..], &one.heat[..]]).collect();
    let mut steps: Ordered<i64, f64> = Ordered::default();
    let mut all = Vec::new();
    for life in (0..=last).map(LifeKey) {
        let mut own = None;
        for [ill, _] in &mut rest {
            for (_, step, said) in hers(ill, life) {
                *steps.of(*step) += said;
            }
        }
        if 0 < steps.len() {
            let mut trouble = None;
            for (step, said) in steps.drain() {
                trouble = Trouble::after(trouble, said, step * STEPS_OF_ILLNESS * STEP_MS);
            }
            own.get_or_insert_with(Began::default).ill = since(trouble);
        }
        let (mut trouble, mut before, mut any) = (None, 0.0, false);
        for [_, heat] in &mut rest {
            for (_, step, z) in hers(heat, life) {
                trouble = Trouble::after(trouble, 0.9 * (z + before), step * STEP_MS);
                (before, any) = (*z, true);
            }
        }
        if any {
            own.get_or_insert_with(Began::default).heat = since(trouble);
        }
        all.extend(own.map(|own| (life, own)));
    }
    all
}

fn since(trouble: Option<Trouble>) -> Option<Timestamp> {
    trouble.and_then(|one| Timestamp::from_millisecond(one.since_ms).ok())
}

/// Takes what is said of a cow off the front.
fn hers<'s>(said: &mut &'s [Step], life: LifeKey) -> &'s [Step] {
    let end = said.iter().take_while(|(own, ..)| *own == life).count();
    let (hers, rest) = said.split_at(end);
    *said = rest;
    hers
}
