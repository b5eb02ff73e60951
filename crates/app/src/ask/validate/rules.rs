//! What the three simple rules say at each round of the same herd, from the same logs.
//!
//! Each is as the table of the proof has it, in the form that serves it best: conductivity of a quarter against its mean of
//! 14 milkings, at every milking since the last round; activity of any six hours since the last round against her mean of
//! the seven days before them; milk per hour of her milkings of the last day against that of the seven days before.

use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
};

use jiff::{SignedDuration, Timestamp};

use super::truth::{self, Cells, earlier};

/// What a rule, or the program's stated probability, says of a cow at one round; louder is a larger `strength`.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// The round.
    pub at: Timestamp,
    /// Herd number.
    pub animal: String,
    /// Which quarter, where it names one.
    pub quarter: Option<String>,
    /// How loud.
    pub strength: f64,
}

/// One rule: what it looks for, its words, and the strength from which on it calls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// Kinds of case it is held against.
    pub kinds: &'static [&'static str],
    /// In words.
    pub words: &'static str,
    /// From here on it calls.
    pub calls_from: f64,
    /// The same over its range, quietest first.
    pub steps: &'static [f64],
}

/// The three rules.
pub const RULES: [Rule; 3] = [
    Rule {
        kinds: &["udder"],
        words: "a quarter's conductivity 15 % over its mean of 14 milkings",
        calls_from: 0.15,
        steps: &[0.06, 0.08, 0.10, 0.12, 0.15, 0.18, 0.20, 0.25, 0.30, 0.40, 0.50],
    },
    Rule {
        kinds: &["heat"],
        words: "activity of six hours over twice her mean of seven days",
        calls_from: 1.0,
        steps: &[0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.4, 1.7, 2.0],
    },
    Rule {
        kinds: &["metabolic", "gut", "feet", "fever"],
        words: "milk under 80 % of her mean of seven days",
        calls_from: 0.20,
        steps: &[0.06, 0.08, 0.10, 0.12, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50],
    },
];

/// Milkings a quarter's mean is made of.
const MILKINGS: usize = 14;
/// The mean that activity and milk are held against.
const WEEK: SignedDuration = SignedDuration::from_hours(168);
const DAY: SignedDuration = SignedDuration::from_hours(24);
/// The stretch of activity that is held against it.
const STRETCH: SignedDuration = SignedDuration::from_hours(6);
/// A mean of fewer hours says nothing.
const FEWEST_H: f64 = 72.0;
const QUARTERS: [(&str, &str); 4] =
    [("lf_ms_cm", "LF"), ("rf_ms_cm", "RF"), ("lr_ms_cm", "LR"), ("rr_ms_cm", "RR")];

/// Something measured over a span that ended at a time.
#[derive(Debug, Clone, Copy)]
struct Measured {
    ended: Timestamp,
    amount: f64,
    hours: f64,
}

/// The rules' words at the times of the rounds; a rule whose columns are not there says nothing.
pub fn marks(files: &[PathBuf], rounds: &[Timestamp]) -> anyhow::Result<[Vec<Mark>; 3]> {
    let table = |name: &str| files.iter().find(|path| path.file_stem().is_some_and(|stem| stem == name));
    let mut marks = <[Vec<Mark>; 3]>::default();
    if let Some(visits) = table("visits") {
        let (conductivity, milk) = milkings(visits)?;
        for ((animal, quarter), readings) in &conductivity {
            of_conductivity(animal, quarter, readings, rounds, &mut marks[0]);
        }
        for (animal, milkings) in &milk {
            of_milk(animal, milkings, rounds, &mut marks[2]);
        }
    }
    if let Some(movement) = table("movement") {
        for (animal, bins) in &bins(movement)? {
            of_activity(animal, bins, rounds, &mut marks[1]);
        }
    }
    Ok(marks)
}

type Readings = BTreeMap<(String, &'static str), Vec<(Timestamp, f64)>>;
type Milk = BTreeMap<String, Vec<Measured>>;

/// A column that this herd's logs may lack.
fn optional(row: &Cells<'_>, name: &str) -> anyhow::Result<Option<f64>> {
    if row.has(name) { row.figure(name) } else { Ok(None) }
}

fn milkings(path: &Path) -> anyhow::Result<(Readings, Milk)> {
    let mut readings = Readings::new();
    let mut milk: BTreeMap<String, Vec<(Timestamp, Timestamp, f64)>> = BTreeMap::new();
    truth::each(path, &mut |row| {
        let (Some(animal), Some(started), Some(ended)) =
            (row.word("animal")?, row.time("started_at")?, row.time("ended_at")?)
        else {
            return Ok(());
        };
        for (column, quarter) in QUARTERS {
            if let Some(ms_cm) = optional(row, column)? {
                readings.entry((animal.clone(), quarter)).or_default().push((ended, ms_cm));
            }
        }
        if let Some(kg) = row.figure("milk_kg")? {
            milk.entry(animal).or_default().push((started, ended, kg));
        }
        Ok(())
    })?;
    readings.values_mut().for_each(|own| own.sort_by_key(|reading| reading.0));
    let measured = milk.into_iter().map(|(animal, mut own)| {
        own.sort_by_key(|milking| milking.0);
        let between = own.windows(2).filter_map(|two| {
            let hours = two[1].0.duration_since(two[0].0).as_secs_f64() / 3600.0;
            (1.0..=48.0).contains(&hours).then_some(Measured { ended: two[1].1, amount: two[1].2, hours })
        });
        (animal, between.collect())
    });
    Ok((readings, measured.collect()))
}

fn bins(path: &Path) -> anyhow::Result<Milk> {
    let mut all = Milk::new();
    truth::each(path, &mut |row| {
        let (Some(animal), Some(from), Some(minutes)) =
            (row.word("animal")?, row.time("from")?, row.figure("minutes")?)
        else {
            return Ok(());
        };
        if let Some(amount) = optional(row, "activity")? {
            let ended = truth::later(from, SignedDuration::from_secs((minutes * 60.0) as i64));
            all.entry(animal).or_default().push(Measured { ended, amount, hours: minutes / 60.0 });
        }
        Ok(())
    })?;
    all.values_mut().for_each(|own| own.sort_by_key(|bin| bin.ended));
    Ok(all)
}

/// What ended after `from` and by `to`.
fn within(all: &[Measured], from: Timestamp, to: Timestamp) -> &[Measured] {
    &all[all.partition_point(|own| own.ended <= from)..all.partition_point(|own| own.ended <= to)]
}

/// Amount an hour; `None` over fewer hours than `fewest_h`.
fn an_hour(all: &[Measured], fewest_h: f64) -> Option<f64> {
    let hours: f64 = all.iter().map(|own| own.hours).sum();
    let amount: f64 = all.iter().map(|own| own.amount).sum();
    (fewest_h <= hours && 0.0 < hours).then(|| amount / hours)
}

fn before(rounds: &[Timestamp], place: usize) -> Timestamp {
    if place == 0 { earlier(rounds[0], DAY) } else { rounds[place - 1] }
}

fn of_conductivity(
    animal: &str,
    quarter: &str,
    readings: &[(Timestamp, f64)],
    rounds: &[Timestamp],
    marks: &mut Vec<Mark>,
) {
    for (place, at) in rounds.iter().enumerate() {
        let (from, to) = (
            readings.partition_point(|own| own.0 <= before(rounds, place)),
            readings.partition_point(|own| own.0 <= *at),
        );
        let loudest = (from.max(MILKINGS)..to)
            .map(|own| {
                let mean =
                    readings[own - MILKINGS..own].iter().map(|own| own.1).sum::<f64>() / MILKINGS as f64;
                readings[own].1 / mean - 1.0
            })
            .fold(0.0, f64::max);
        push(marks, *at, animal, Some(quarter), loudest, RULES[0].steps[0]);
    }
}

fn of_activity(animal: &str, bins: &[Measured], rounds: &[Timestamp], marks: &mut Vec<Mark>) {
    for (place, at) in rounds.iter().enumerate() {
        let loudest = within(bins, before(rounds, place), *at)
            .iter()
            .filter_map(|bin| {
                let from = earlier(bin.ended, STRETCH);
                let usual = an_hour(within(bins, earlier(from, WEEK), from), FEWEST_H)?;
                let now = an_hour(within(bins, from, bin.ended), 4.0)?;
                (0.0 < usual).then(|| now / usual - 1.0)
            })
            .fold(0.0, f64::max);
        push(marks, *at, animal, None, loudest, RULES[1].steps[0]);
    }
}

fn of_milk(animal: &str, milkings: &[Measured], rounds: &[Timestamp], marks: &mut Vec<Mark>) {
    for at in rounds {
        let from = earlier(*at, DAY);
        let usual = an_hour(within(milkings, earlier(from, WEEK), from), FEWEST_H);
        let Some((now, usual)) = an_hour(within(milkings, from, *at), 6.0).zip(usual) else { continue };
        push(marks, *at, animal, None, 1.0 - now / usual, RULES[2].steps[0]);
    }
}

fn push(marks: &mut Vec<Mark>, at: Timestamp, animal: &str, quarter: Option<&str>, strength: f64, from: f64) {
    if from <= strength {
        marks.push(Mark { at, animal: animal.to_owned(), quarter: quarter.map(str::to_owned), strength });
    }
}
