//! A small herd whose truth is known: what happens in it, and its visits in order of time.

// Each test file uses a part of this one, and a helper of tests may fail loudly as a test may.
#![allow(dead_code, clippy::unwrap_used)]

use cowpath_core::expect::{Departure, Herd, Parameters, Scored, Signal};
use cowpath_core::herd::{BoxKey, LifeKey, Quarter, Stage};
use cowpath_core::tables::{Outcome, QuarterVisit, Visit};
use jiff::{Timestamp, ToSpan};

/// A repeatable stream of chance: splitmix64, and normals by summing twelve uniforms.
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) as f64 / u64::MAX as f64
    }
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// What happens in a small herd, beyond a steady lactation. Hours count from the start of the log.
#[derive(Clone, Copy)]
pub struct Story {
    pub cows: u32,
    pub boxes: u16,
    pub days: f64,
    /// Factor on everybody's milk.
    pub herd: fn(f64) -> f64,
    /// Factor a box's meter reads.
    pub meter: fn(u16, f64) -> f64,
    /// Factor on one cow's quarter.
    pub quarter: fn(u32, usize, f64) -> f64,
    /// mS/cm added to one cow's quarter, or by a box's cup.
    pub salt: fn(u32, u16, usize, f64) -> f64,
    /// Days in milk of a cow when the log begins.
    pub starts_at_day: fn(u32) -> f64,
}

pub const STEADY: Story = Story {
    cows: 40,
    boxes: 2,
    days: 40.0,
    herd: |_| 1.0,
    meter: |_, _| 1.0,
    quarter: |_, _, _| 1.0,
    salt: |_, _, _, _| 0.0,
    starts_at_day: |cow| 60.0 + 4.0 * cow as f64,
};

pub struct Row {
    pub visit: Visit,
    pub stage: Stage,
    pub hour: f64,
}

pub fn start() -> Timestamp {
    "2026-01-01T00:00:00Z".parse().unwrap()
}

pub fn at(hours: f64) -> Timestamp {
    start() + ((hours * 3_600_000.0) as i64).milliseconds()
}

/// The herd's visits. A cow's true rate is constant but for the story: 1.4 to 2.2 kg/h, slowing by 0.045/h.
pub fn rows(story: Story, seed: u64) -> Vec<Row> {
    let mut chance = Chance(seed);
    let mut rows = Vec::new();
    for cow in 0..story.cows {
        let rate = 1.4 + 0.8 * chance.uniform();
        let shares = [0.22, 0.21, 0.29, 0.28].map(|share: f64| share * (0.12 * chance.normal()).exp());
        let sum: f64 = shares.iter().sum();
        let salt = [0, 1, 2, 3].map(|_| 4.9 + 0.15 * chance.normal());
        let mut hours = 12.0 * chance.uniform();
        let calved = -24.0 * (story.starts_at_day)(cow);
        let mut last = hours - 9.0;
        while hours < 24.0 * story.days {
            let at_box = (chance.uniform() * f64::from(story.boxes)) as u16 % story.boxes;
            let interval = hours - last;
            if calved < hours {
                let fill = (1.0 - (-0.045 * interval).exp()) / 0.045;
                let milk = rate * fill * (story.herd)(hours) * (0.07 * chance.normal()).exp();
                let mut quarters = [QuarterVisit::default(); 4];
                for q in 0..4 {
                    let own = milk * shares[q] / sum
                        * (story.quarter)(cow, q, hours)
                        * (0.06 * chance.normal()).exp();
                    quarters[q].milk_kg = Some(own * (story.meter)(at_box, hours));
                    quarters[q].ms_cm =
                        Some(salt[q] + (story.salt)(cow, at_box, q, hours) + 0.10 * chance.normal());
                    quarters[q].kicked = Some(false);
                }
                let milk_kg = quarters.iter().map(|quarter| quarter.milk_kg).sum();
                rows.push(Row {
                    visit: visit(cow, at_box, hours, milk_kg, quarters),
                    stage: Stage {
                        parity: Some(2),
                        calved_at: Some(at(calved)),
                        days_in_milk: Some((hours - calved) / 24.0),
                        dry: false,
                    },
                    hour: hours % 24.0,
                });
            }
            last = hours;
            hours += (8.6 + 1.6 * chance.normal()).clamp(4.5, 14.0);
        }
    }
    rows.sort_by_key(|row| (row.visit.ended_at, row.visit.life));
    rows
}

fn visit(cow: u32, at_box: u16, hours: f64, milk_kg: Option<f64>, quarters: [QuarterVisit; 4]) -> Visit {
    Visit {
        outcome: Some(Outcome::Milked),
        milk_kg,
        quarters,
        ..Visit::stay(LifeKey(cow), BoxKey(at_box), at(hours - 0.12), at(hours))
    }
}

/// Reads all rows with the parameters no herd was fitted to.
pub fn run(rows: &[Row]) -> (Herd, Vec<Scored>) {
    let mut herd = Herd::new(Parameters::prior());
    let scored = rows.iter().filter_map(|row| herd.take(&row.visit, &row.stage, row.hour)).collect();
    (herd, scored)
}

/// Days since the start of the log.
pub fn days(scored: &Scored) -> f64 {
    cowpath_core::time::hours_between(start(), scored.ended_at) / 24.0
}

pub fn of(scored: &Scored, signal: Signal, quarter: Option<Quarter>) -> Option<&Departure> {
    scored.departures.iter().find(|own| own.signal == signal && own.quarter == quarter)
}

/// Departures of one cow in one signal between two days.
pub fn between(
    scored: &[Scored],
    cow: u32,
    from: f64,
    to: f64,
    signal: Signal,
    quarter: Option<Quarter>,
) -> Vec<Departure> {
    scored
        .iter()
        .filter(|own| own.life == LifeKey(cow) && from < days(own) && days(own) < to)
        .filter_map(|own| of(own, signal, quarter).copied())
        .collect()
}

pub fn mean(values: impl IntoIterator<Item = f64>) -> f64 {
    let (sum, count) = values.into_iter().fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    sum / count
}
