//! One quarter's conductivity and milk, against the oracle.
//!
//! The oracle's L is the mean over the courses of all four quarters.

use cowpath_core::{
    causes::{self, Background, Cause, CowCourse, Settings, SignalNoise},
    expect::{Departure, Scored, Signal},
    herd::{BoxKey, LifeKey, Quarter, Stage},
    right,
};
use jiff::{SignedDuration, Timestamp};

use super::{CALLED, Chance, called, mean_ratio, wander, whiten};

/// Milkings of ten days, and the hours between two.
const MILKINGS: usize = 27;
const EVERY_H: f64 = 9.0;
/// Correlation of well readings 8 h apart, and their spread: mS/cm, log-ratio.
const MEMORY: f64 = 0.3;
const SPREAD: [f64; 2] = [0.16, 0.14];
/// Rounds of well cows, of ill ones, and courses the oracle draws.
const WELL: usize = 8000;
const ILL: usize = 1500;
const COURSES: usize = 1500;

/// Readings of two signals in four quarters over the milkings, or what a course adds to them.
type Readings = [[[f64; MILKINGS]; 4]; 2];

/// What a case of a quarter adds: it began 24 to 72 h before the last milking and rises as it likes; one in six moves
/// conductivity next to nothing.
fn course(chance: &mut Chance, quarter: usize) -> Readings {
    let began_h = -(24.0 + 48.0 * chance.even());
    let rise_h = 18.0 * (0.7 * chance.normal()).exp();
    let bend = 0.7 + 1.5 * chance.even();
    let low = if chance.even() < 1.0 / 6.0 { 0.1 } else { 1.0 };
    let height = low * 1.3 * (0.55 * chance.normal()).exp();
    let lost = (0.25 * (0.6 * chance.normal()).exp()).min(0.9);
    let mut added = [[[0.0; MILKINGS]; 4]; 2];
    for place in 0..MILKINGS {
        let hours = (place as f64 + 1.0 - MILKINGS as f64) * EVERY_H - began_h;
        if hours <= 0.0 {
            continue;
        }
        let grown = 1.0 - (-(hours / rise_h).powf(bend)).exp();
        added[0][quarter][place] = height * grown;
        for (own, readings) in added[1].iter_mut().enumerate() {
            // A quarter's milk is judged against the mean of the other three.
            let gone = lost * grown;
            readings[place] = if own == quarter { (1.0 - gone).ln() } else { -(1.0 - gone / 3.0).ln() };
        }
    }
    added
}

/// Correlation from one milking to the next.
fn memory() -> f64 {
    MEMORY.powf(EVERY_H / 8.0)
}

fn well(chance: &mut Chance) -> Readings {
    let mut readings = [[[0.0; MILKINGS]; 4]; 2];
    for (spread, quarters) in SPREAD.into_iter().zip(&mut readings) {
        for quarter in quarters {
            quarter.copy_from_slice(&wander(chance, MILKINGS, memory(), spread));
        }
    }
    readings
}

fn with(readings: &Readings, added: &Readings) -> Readings {
    let mut sum = *readings;
    for (signal, quarters) in sum.iter_mut().enumerate() {
        for (quarter, own) in quarters.iter_mut().enumerate() {
            own.iter_mut().zip(&added[signal][quarter]).for_each(|(reading, added)| *reading += added);
        }
    }
    sum
}

/// In units of independent normal readings.
fn whitened(readings: &Readings) -> Vec<f64> {
    let of = |(spread, quarters)| {
        let quarters: &[[f64; MILKINGS]; 4] = quarters;
        quarters.iter().flat_map(move |quarter| whiten(quarter, memory(), spread))
    };
    SPREAD.into_iter().zip(readings).flat_map(of).collect()
}

/// ln of the mean likelihood ratio of the courses, whitened.
fn oracle(readings: &Readings, courses: &[Vec<f64>]) -> f64 {
    mean_ratio(&whitened(readings), courses)
}

/// The program's stated chance of an udder case.
fn program(readings: &Readings, settings: &Settings) -> anyhow::Result<f64> {
    let at: Timestamp = "2026-02-01T05:30:00Z".parse()?;
    let signals = [Signal::Conductivity, Signal::QuarterMilk];
    let usual = [4.87, 25.0];
    let mut milkings = Vec::with_capacity(MILKINGS);
    #[allow(clippy::needless_range_loop, reason = "the place is a time as well as an index")]
    for place in 0..MILKINGS {
        let hours = (MILKINGS - 1 - place) as f64 * EVERY_H;
        let ended_at = at.checked_sub(SignedDuration::from_secs((3600.0 * hours) as i64))?;
        let mut scored = Scored { started_at: ended_at, ended_at, scored: true, ..Scored::empty() };
        (scored.life, scored.at_box) = (LifeKey(0), BoxKey(0));
        for (place_of, signal) in signals.into_iter().enumerate() {
            for (quarter, name) in Quarter::ALL.into_iter().enumerate() {
                let (gap, noise_sd) = (readings[place_of][quarter][place], SPREAD[place_of]);
                let value = |gap: f64| if place_of == 0 { usual[0] + gap } else { usual[1] * gap.exp() };
                scored.departures.push(Departure {
                    signal,
                    quarter: Some(name),
                    observed: value(gap),
                    expected: usual[place_of],
                    low95: value(-1.96 * noise_sd),
                    high95: value(1.96 * noise_sd),
                    z: gap / noise_sd,
                    gap,
                    noise_sd,
                });
            }
        }
        milkings.push(scored);
    }
    let stage = Stage { parity: Some(2), calved_at: None, days_in_milk: Some(120.0), dry: false };
    let course = CowCourse {
        life: LifeKey(0),
        at,
        her: Background::of_stage(stage),
        milkings: &milkings,
        lines: &[],
        began: cowpath_core::signals::Began::default(),
        unsettled_since: None,
        trouble_since: None,
    };
    let found = causes::judge_cow(&course, settings);
    Ok(found.iter().find(|own| own.cause == Cause::Udder).map_or(0.0, |own| own.probability))
}

/// The comparison as text.
pub fn run() -> anyhow::Result<String> {
    let mut chance = Chance(20_260_301);
    let courses: Vec<Vec<f64>> = (0..COURSES)
        .flat_map(|_| {
            let chance = &mut chance;
            (0..4).map(|quarter| whitened(&course(chance, quarter))).collect::<Vec<_>>()
        })
        .collect();
    let sound: Vec<Readings> = (0..WELL).map(|_| well(&mut chance)).collect();
    let ill: Vec<Readings> = (0..ILL)
        .map(|place| {
            let added = course(&mut chance, place % 4);
            with(&well(&mut chance), &added)
        })
        .collect();
    let stated = Settings::default();
    let mut told = stated.clone();
    for signal in [Signal::Conductivity, Signal::QuarterMilk] {
        told.noise.signals.insert(signal, SignalNoise { memory: MEMORY, tail: 30.0, spread: 1.0 });
    }
    told.noise.between_signals = 0.0;
    let by_oracle = |all: &[Readings]| -> Vec<f64> { all.iter().map(|own| oracle(own, &courses)).collect() };
    let by_program = |all: &[Readings], settings: &Settings| -> anyhow::Result<Vec<f64>> {
        all.iter().map(|own| program(own, settings)).collect()
    };
    let rows = [
        ("the oracle", by_oracle(&sound), by_oracle(&ill)),
        ("the program, told how readings wander", by_program(&sound, &told)?, by_program(&ill, &told)?),
        ("the program with its stated defaults", by_program(&sound, &stated)?, by_program(&ill, &stated)?),
    ];
    let mut text = format!(
        "`cargo xtask oracle --write`: {ILL} cases of a quarter that began 24 to 72 h ago, {WELL} rounds of well cows, conductivity and milk of \
         four quarters at {MILKINGS} milkings. The oracle knows how the cases and the noise are made ({COURSES} courses drawn for each quarter), so \
         that what it misses is not in the readings; what the program misses beyond it is the model's. Where the program's \
         figures stand still, it names fewer well cows than the column allows: its gate, or its least chance worth naming, is what limits it.\n\n"
    );
    let heads: Vec<String> =
        CALLED.iter().map(|share| format!("{} % of well rounds called", 100.0 * share)).collect();
    text += &format!("| cases called by | {} |\n|---|{}\n", heads.join(" | "), "---|".repeat(CALLED.len()));
    for (what, well, ill) in &rows {
        let cells: Vec<String> = CALLED
            .iter()
            .map(|share| {
                let part = called(well, ill, *share);
                let share = right::share(part, ILL as u32);
                let figure = 100.0 * f64::from(part) / ILL as f64;
                format!("{figure:.1} % ({:.1} to {:.1} %)", 100.0 * share.low, 100.0 * share.high)
            })
            .collect();
        text += &format!("| {what} | {} |\n", cells.join(" | "));
    }
    Ok(text)
}
