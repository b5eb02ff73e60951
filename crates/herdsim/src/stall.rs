//! What is wrong with the box, and when does it not milk?
//!
//! Cleaning three times a day, service, breakdowns that the box logs, power cuts, and faults that nobody has told it
//! of: a meter or a conductivity probe that drifts or jumps, a cup that will not attach, a dispenser that gives less
//! than it says, a box that stands still without a word.
//!
//! # Source
//! No rates of such faults are published (`sources.md` §4.4): rates and sizes are stated choices.

use std::collections::VecDeque;

use crate::{
    chance::Stream,
    clock::{DAY_S, FarmClock, HOUR_S},
    rows::BoxFaultTruth,
};

/// A span in which the box will not milk, once the cow in it has left.
#[derive(Debug, Clone, Copy)]
pub struct Pause {
    /// When it is to begin.
    pub planned_s: i64,
    /// How long it takes, s.
    pub length_s: i64,
    /// Word it logs; a silent one logs none.
    pub state: Option<&'static str>,
}

/// What the box does to what it measures and gives, beside its own small constant errors.
#[derive(Debug, Clone, Copy)]
pub struct Effects {
    /// Factor on the meter.
    pub meter: f64,
    /// Added to each cup's conductivity, mS/cm.
    pub probe_ms_cm: [f64; 4],
    /// Added chance that a cup does not attach.
    pub attach: [f64; 4],
    /// Feed given of what is said.
    pub dispenser: f64,
    /// Added to the scale, kg.
    pub scale_kg: f64,
}

/// One box.
#[derive(Debug, Clone)]
pub struct Stall {
    /// Number, from 1.
    pub number: u32,
    /// Its true faults.
    pub faults: Vec<BoxFaultTruth>,
    /// Pauses to come.
    pub pauses: VecDeque<Pause>,
    /// Until when it is taken.
    pub busy_until_s: i64,
    own: Effects,
}

impl Stall {
    /// Draws a box and all that will befall it.
    pub fn draw(seed: u64, number: u32, clock: &FarmClock) -> Stall {
        let mut chance = Stream::new(seed, "box errors", u64::from(number));
        let own = Effects {
            meter: 1.0 + chance.bounded(0.0, 0.009, 2.0),
            probe_ms_cm: [0; 4].map(|_| chance.bounded(0.0, 0.05, 2.0)),
            attach: [0.0; 4],
            dispenser: chance.bounded(1.0, 0.015, 2.0),
            scale_kg: chance.bounded(0.0, 5.0, 2.0),
        };
        let mut faults = Vec::new();
        let mut pauses = Vec::new();
        let mut fault_chance = Stream::new(seed, "box faults", u64::from(number));
        for kind in ["milk-meter", "conductivity-probe", "attachment", "feed-dispenser", "idle-fault"] {
            let mean_gap_d = if kind == "idle-fault" { 150.0 } else { 230.0 };
            let mut at_s = clock.start_s;
            loop {
                at_s += (fault_chance.unit_exponential() * mean_gap_d * DAY_S as f64) as i64;
                if clock.end_s <= at_s {
                    break;
                }
                let fault = fault(&mut fault_chance, number, kind, at_s);
                if kind == "idle-fault" {
                    pauses.push(Pause {
                        planned_s: fault.from_s,
                        length_s: fault.to_s - fault.from_s,
                        state: None,
                    });
                } else if fault.to_s < clock.end_s {
                    // Somebody found it: a visit by the adviser, in working hours, ends it.
                    let length_s = fault_chance.between(25.0, 80.0) as i64 * 60;
                    pauses.push(Pause { planned_s: fault.to_s - length_s, length_s, state: Some("service") });
                }
                at_s = fault.to_s + 5 * DAY_S;
                faults.push(fault);
            }
        }
        let mut routine = Stream::new(seed, "box routine", u64::from(number));
        let (first, last) = (clock.day(clock.start_s), clock.day(clock.end_s));
        let stagger_h = 0.45 * f64::from((number - 1) % 3);
        let mut service_in = routine.between(5.0, 80.0);
        for day in first..=last {
            for hour in [4.1, 12.4, 20.3] {
                pauses.push(Pause {
                    planned_s: clock.at(day, hour + stagger_h + routine.normal(0.0, 0.05)),
                    length_s: routine.bounded(17.5, 1.5, 2.0) as i64 * 60 + routine.below(60) as i64,
                    state: Some("cleaning"),
                });
            }
            service_in -= 1.0;
            if service_in < 0.0 {
                service_in = routine.between(70.0, 95.0);
                pauses.push(Pause {
                    planned_s: clock.at(day, routine.between(9.5, 14.0)),
                    length_s: routine.between(75.0, 200.0) as i64 * 60,
                    state: Some("service"),
                });
            }
            if routine.chance(1.0 / 24.0) {
                pauses.push(Pause {
                    planned_s: clock.at(day, routine.between(0.0, 24.0)),
                    length_s: (routine.log_normal(28.0, 0.9).clamp(4.0, 420.0) * 60.0) as i64,
                    state: Some("fault"),
                });
            }
        }
        // A power cut takes all boxes at once: one stream for the farm.
        let mut power = Stream::new(seed, "power cuts", 0);
        for day in first..=last {
            if power.chance(1.0 / 140.0) {
                pauses.push(Pause {
                    planned_s: clock.at(day, power.between(0.0, 24.0)),
                    length_s: power.between(10.0, 110.0) as i64 * 60,
                    state: Some("off"),
                });
            }
        }
        pauses.retain(|pause| clock.start_s <= pause.planned_s);
        pauses.sort_by_key(|pause| (pause.planned_s, pause.length_s));
        Stall { number, faults, pauses: pauses.into(), busy_until_s: clock.start_s, own }
    }

    /// What it does at a time.
    pub fn effects(&self, at_s: i64) -> Effects {
        let mut effects = self.own;
        for fault in &self.faults {
            if at_s < fault.from_s || fault.to_s <= at_s {
                continue;
            }
            let grown = if fault.full_s <= fault.from_s {
                1.0
            } else {
                ((at_s - fault.from_s) as f64 / (fault.full_s - fault.from_s) as f64).min(1.0)
            };
            let q = fault.quarter.unwrap_or(0);
            match fault.kind {
                "milk-meter" => effects.meter *= 1.0 + fault.size * grown,
                "conductivity-probe" => effects.probe_ms_cm[q] += fault.size * grown,
                "attachment" => effects.attach[q] += fault.size * grown,
                "feed-dispenser" => effects.dispenser *= 1.0 - (1.0 - fault.size) * grown,
                _ => {}
            }
        }
        effects
    }
}

/// Draws a fault that begins at a time.
fn fault(chance: &mut Stream, number: u32, kind: &'static str, from_s: i64) -> BoxFaultTruth {
    let days = |days: f64| (days * DAY_S as f64) as i64;
    let drift = chance.chance(0.6);
    let sign = if chance.chance(0.65) { -1.0 } else { 1.0 };
    let (lasts_d, grows_d, size, has_cup, form) = match kind {
        "milk-meter" => (
            chance.between(6.0, 28.0),
            if drift { chance.between(3.0, 14.0) } else { 0.0 },
            sign * chance.between(0.06, 0.17),
            false,
            if drift { "drift" } else { "step" },
        ),
        "conductivity-probe" => (
            chance.between(5.0, 30.0),
            if drift { chance.between(2.0, 12.0) } else { 0.0 },
            -sign * chance.between(0.35, 1.3),
            true,
            if drift { "drift" } else { "step" },
        ),
        "attachment" => (chance.between(1.0, 7.0), 0.0, chance.between(0.15, 0.6), true, "step"),
        "feed-dispenser" => (
            chance.between(3.0, 20.0),
            if drift { chance.between(1.0, 8.0) } else { 0.0 },
            chance.between(0.3, 0.82),
            false,
            if drift { "drift" } else { "step" },
        ),
        _ => (chance.between(2.0, 9.0) / 24.0, 0.0, 0.0, false, "step"),
    };
    // A fault that people mend is mended in the middle of some day; an idle box starts again when somebody looks.
    let to_s = from_s + days(lasts_d).max(HOUR_S);
    BoxFaultTruth {
        at_box: number,
        kind,
        quarter: has_cup.then(|| chance.below(4)),
        form,
        from_s,
        to_s,
        full_s: from_s + days(grows_d),
        size,
    }
}
