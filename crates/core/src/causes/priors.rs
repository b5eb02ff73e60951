//! How often does each cause begin in a cow like her, before anything is seen?
//!
//! # Equation
//! rate(c | cow) = rate_c · learned_c · f_stage · f_parity · f_history        onsets a cow-day
//!   learned_c  what this farm's own outcomes make of the stated rate (1 until a person has answered)
//! For heat the rate follows her cycle: after a recorded heat or service at day 0 the next is due at day 21, spread 2.5 d. One noted
//! these days speaks for itself: its onset lies about the note.
//! # Source
//! Rates and factors are stated defaults of the order the trade tells; directions as `sources.md` §4, §9 have them. Cycle:
//! §4.3, 18 to 24 days. None is read off a simulated herd.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Cause;
use crate::herd::Stage;

/// What is known of a cow that bears on what befalls her.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Background {
    /// Parity and days in milk.
    pub stage: Stage,
    /// Udder cases she had before.
    pub earlier_cases: u32,
    /// Her last cell count from recording, thousand/mL, if any of the last 60 days.
    pub cells_k: Option<f64>,
    /// Days since her last recorded heat or service, whichever is later, but for one noted in the last [`NOTED_NOW_D`] days.
    pub days_since_heat: Option<f64>,
    /// Days since a heat or service noted in these last days: that is the heat in question, not the one before it.
    pub noted_now: Option<f64>,
    /// Days since a heat that her activity showed some weeks ago, and how sure that was.
    pub heat_seen: Option<(f64, f64)>,
    /// Recorded in calf by a check.
    pub in_calf: bool,
    /// Days since she was last served, if she was and no check has found her open since.
    pub days_since_service: Option<f64>,
}

impl Background {
    /// A cow of whom only the stage is known.
    pub fn of_stage(stage: Stage) -> Background {
        Background {
            stage,
            earlier_cases: 0,
            cells_k: None,
            days_since_heat: None,
            noted_now: None,
            heat_seen: None,
            in_calf: false,
            days_since_service: None,
        }
    }
}

/// Onsets a cow-year (a box-year, a herd-year) by cause, with what was learned of this farm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Rates {
    /// Onsets a year before any factor.
    pub a_year: BTreeMap<Cause, f64>,
    /// What this farm's outcomes make of each rate; 1 where nothing is said.
    pub learned: BTreeMap<Cause, f64>,
    /// A day that passes by itself, a cow-day: a disturbed day in three weeks. Stated default.
    pub passing_a_day: f64,
}

/// Stated rates, onsets a cow-year (box-year, herd-year), with what they rest on.
pub const STATED: [(Cause, f64, &str); 14] = [
    (
        Cause::Udder,
        1.0,
        "stated default: 0.2 to 0.4 clinical cases a cow-year are often told (common practice, no source), and for each of them \
         two quarters that flare without clots; half of what mastitis costs is subclinical (sources.md §10, Canada)",
    ),
    (Cause::Heat, 365.25 / 21.0, "one in 21 days (sources.md §4.3), for a cow that is not in calf"),
    (
        Cause::Metabolic,
        0.30,
        "stated default: hyperketonemia is found in 7 to 29 % of fresh cows (sources.md §9), most without signs",
    ),
    (Cause::Gut, 0.12, "stated default: displaced stomachs and days off feed together"),
    (Cause::Feet, 0.30, "stated default: common practice, a third of cows lame in a year"),
    (Cause::Fever, 0.15, "stated default: wombs and lungs together"),
    (Cause::Unclear, 0.30, "stated default: all other illness that shows in milk or visits"),
    (Cause::MilkMeter, 1.0, "stated default: no rate of such faults is published (sources.md §4.4)"),
    (Cause::ConductivityProbe, 1.0, "stated default, as the meter's"),
    (Cause::Attachment, 1.5, "stated default, as the meter's"),
    (Cause::FeedDispenser, 1.0, "stated default, as the meter's"),
    (Cause::IdleFault, 3.0, "stated default"),
    (Cause::HerdMilk, 5.0, "stated default: heat, ration, water"),
    (Cause::HerdIntake, 5.0, "stated default: heat, ration, water"),
];

impl Default for Rates {
    fn default() -> Rates {
        Rates {
            a_year: STATED.iter().map(|(cause, rate, _)| (*cause, *rate)).collect(),
            learned: BTreeMap::new(),
            passing_a_day: 1.0 / 21.0,
        }
    }
}

/// A note this young is of the heat she may be in, days.
pub const NOTED_NOW_D: f64 = 2.0;
/// Share of noted heats that are one, and the days before and after the note in which it began. Stated defaults.
const NOTED_RIGHT: f64 = 0.85;
const NOTED_BEGAN_D: (f64, f64) = (1.0, 0.1);
/// Most that a heat guessed from her activity of weeks ago may say of the next one: it was one of several odd days. Stated
/// default.
const SEEN_TRUST: f64 = 0.85;

/// Days in a year.
const YEAR_D: f64 = 365.25;
/// Mean cycle, days, and its spread between and within cows (`sources.md` §4.3: 18 to 24).
const CYCLE_D: f64 = 21.0;
const CYCLE_SD_D: f64 = 2.5;
/// A cow shows no heat so soon after calving, days. Stated default.
const FIRST_HEAT_D: f64 = 15.0;
/// Share of cows recorded in calf that come in heat all the same, in a cycle: a lost calf or a false check. Stated default.
const IN_CALF_SHARE: f64 = 0.03;
/// Share of cows served more than 24 days ago, and not seen since, that are open still. Stated default.
const OPEN_AFTER_SERVICE: f64 = 0.4;

impl Rates {
    /// Onsets a day of a box's or the herd's cause.
    pub fn of_place(&self, cause: Cause) -> f64 {
        self.base(cause)
    }

    fn base(&self, cause: Cause) -> f64 {
        let learned = self.learned.get(&cause).copied().unwrap_or(1.0);
        self.a_year.get(&cause).copied().unwrap_or(0.0) * learned / YEAR_D
    }

    /// Onsets a day of `cause` in a cow.
    pub fn a_day(&self, cause: Cause, her: &Background) -> f64 {
        let days = her.stage.days_in_milk;
        let parity = her.stage.parity;
        let early = |by_week: [f64; 4]| match days {
            Some(days) if days < 14.0 => by_week[0],
            Some(days) if days < 30.0 => by_week[1],
            Some(days) if days < 60.0 => by_week[2],
            _ => by_week[3],
        };
        // Stated defaults; directions from memory: most illness soon after calving, more in older cows and repeaters.
        let factor = match cause {
            Cause::Well => return self.passing_a_day,
            Cause::Heat => heat_factor(her),
            Cause::Udder => {
                let stage = match days {
                    Some(days) if days < 7.0 => 3.5,
                    Some(days) if days < 30.0 => 1.8,
                    Some(days) if 200.0 < days => 0.7,
                    _ => 1.0,
                };
                let repeats = match her.earlier_cases {
                    0 => 1.0,
                    1 => 2.0,
                    _ => 3.0,
                };
                let cells = match her.cells_k {
                    Some(cells_k) if 200.0 <= cells_k => 1.8,
                    Some(cells_k) if cells_k < 100.0 => 0.85,
                    _ => 1.0,
                };
                stage * by_parity(parity, 0.75, 1.3) * repeats * cells
            }
            Cause::Metabolic => early([8.0, 6.0, 2.0, 0.1]) * by_parity(parity, 0.6, 1.4),
            Cause::Gut => early([6.0, 5.0, 1.5, 0.5]) * by_parity(parity, 0.8, 1.2),
            Cause::Fever => early([6.0, 2.0, 0.8, 0.6]),
            Cause::Feet => by_parity(parity, 0.7, 1.3),
            Cause::Unclear => early([4.0, 4.0, 1.5, 0.8]),
            _ => 1.0,
        };
        self.base(cause) * factor
    }

    /// Onsets of `cause` in a cow in a span of time, `days` before now (the earlier first), at `a_day` of them a day: a heat that
    /// was noted began about its note.
    pub fn in_span(cause: Cause, her: &Background, days: (f64, f64), a_day: f64) -> f64 {
        let steady = a_day * (days.0 - days.1);
        let Some(noted) = her.noted_now.filter(|_| cause == Cause::Heat) else { return steady };
        let (from, to) = (noted + NOTED_BEGAN_D.0, noted - NOTED_BEGAN_D.1);
        let within = (days.0.min(from) - days.1.max(to)).max(0.0) / (from - to);
        steady + NOTED_RIGHT * within
    }
}

fn by_parity(parity: Option<u8>, first: f64, older: f64) -> f64 {
    match parity {
        Some(1) => first,
        Some(3..) => older,
        _ => 1.0,
    }
}

/// How much likelier a heat begins today than on a day of a cow of whom nothing is known.
fn heat_factor(her: &Background) -> f64 {
    if her.stage.dry || her.stage.days_in_milk.is_some_and(|days| days < FIRST_HEAT_D) {
        return 0.02;
    }
    let open = if her.in_calf {
        IN_CALF_SHARE
    } else if her.days_since_service.is_some_and(|days| 24.5 < days) {
        OPEN_AFTER_SERVICE
    } else {
        1.0
    };
    let noted = her.days_since_heat.filter(|days| *days < CYCLES_TOLD_D);
    let by_note = noted.map_or(1.0, by_cycle);
    // What her activity showed counts where nobody noted a heat since then, or that one.
    let seen = her.heat_seen.filter(|(days, _)| noted.is_none_or(|noted| days + CYCLE_SD_D < noted));
    open * seen.map_or(by_note, |(days, sure)| {
        let sure = sure.min(SEEN_TRUST);
        sure * by_cycle(days) + (1.0 - sure) * by_note
    })
}

/// Days after a heat from which it tells nothing of the next ones.
const CYCLES_TOLD_D: f64 = 75.0;

/// Density of the next heats so many days after one, times the mean cycle; of the noted ones some are missed or false.
fn by_cycle(days: f64) -> f64 {
    let density: f64 = (1..=3)
        .map(|cycle| {
            let (mean, sd) = (CYCLE_D * f64::from(cycle), CYCLE_SD_D * f64::from(cycle).sqrt());
            let z = (days - mean) / sd;
            (-0.5 * z * z).exp() / (sd * std::f64::consts::TAU.sqrt())
        })
        .sum();
    0.15 + 0.85 * CYCLE_D * density
}
