//! Whole cows, well, ill and in heat, as readings by blocks: how they are made here.

use cowpath_core::{causes::Cause, expect::Signal};

use super::{Chance, wander, whiten};

/// Each signal with the hours of a block and the scatter of one: milk by milkings, the rest as sensors' sums.
pub(super) const READ: [(Signal, f64, f64); 8] = [
    (Signal::Milk, 9.0, 0.11),
    (Signal::Activity, 4.0, 0.25),
    (Signal::Rumination, 8.0, 0.15),
    (Signal::Eating, 8.0, 0.25),
    (Signal::Feed, 12.0, 0.10),
    (Signal::MilkTemperature, 12.0, 0.20),
    (Signal::FatProtein, 24.0, 0.07),
    (Signal::Weight, 24.0, 0.010),
];
/// Hours that are looked at.
pub(super) const SPAN_H: f64 = 240.0;
/// Correlation of well readings 8 h apart.
pub(super) const MEMORY: f64 = 0.2;

/// (signal, chance that it takes part, departure at its height from, to) and the hours in which it grows.
type Draft = (f64, &'static [(Signal, f64, f64, f64)]);

/// What an illness does where it is plain: of the order of `sources.md` §4.2, drawn as wide as cases differ.
fn draft(cause: Cause, chance: &mut Chance) -> Draft {
    match cause {
        Cause::Metabolic => (
            70.0,
            &[
                (Signal::Milk, 0.85, -0.22, -0.03),
                (Signal::FatProtein, 0.7, 0.08, 0.45),
                (Signal::Rumination, 0.7, -0.20, -0.03),
                (Signal::Activity, 0.5, -0.25, -0.03),
                (Signal::Eating, 0.6, -0.30, -0.05),
                (Signal::Feed, 0.7, -0.50, -0.08),
                (Signal::Weight, 0.7, -0.05, -0.01),
            ],
        ),
        // Half of them come within half a day, half creep in.
        Cause::Gut => (
            if chance.even() < 0.5 { 10.0 } else { 50.0 },
            &[
                (Signal::Rumination, 0.95, -0.55, -0.10),
                (Signal::Milk, 0.9, -0.45, -0.06),
                (Signal::Eating, 0.9, -0.55, -0.10),
                (Signal::Feed, 0.9, -0.80, -0.15),
                (Signal::Activity, 0.6, -0.40, -0.05),
                (Signal::FatProtein, 0.3, 0.05, 0.25),
                (Signal::Weight, 0.5, -0.05, -0.01),
            ],
        ),
        Cause::Feet => (
            if chance.even() < 0.25 { 15.0 } else { 120.0 },
            &[
                (Signal::Activity, 0.85, -0.45, -0.05),
                (Signal::Eating, 0.7, -0.35, -0.05),
                (Signal::Milk, 0.5, -0.12, -0.01),
                (Signal::Rumination, 0.3, -0.10, -0.01),
                (Signal::Weight, 0.4, -0.03, -0.005),
            ],
        ),
        _ => (
            12.0,
            &[
                (Signal::MilkTemperature, 0.9, 0.4, 1.8),
                (Signal::Rumination, 0.8, -0.40, -0.06),
                (Signal::Milk, 0.8, -0.38, -0.05),
                (Signal::Activity, 0.7, -0.40, -0.05),
                (Signal::Eating, 0.7, -0.45, -0.06),
                (Signal::Feed, 0.7, -0.60, -0.10),
            ],
        ),
    }
}

/// Departures by signal, block by block, oldest first.
pub(super) type Readings = Vec<Vec<f64>>;

pub(super) fn blocks(every_h: f64) -> usize {
    (SPAN_H / every_h) as usize
}

/// Correlation from one block to the next.
fn memory(every_h: f64) -> f64 {
    MEMORY.powf(every_h / 8.0)
}

/// Middle of a block, hours before the time of judging.
pub(super) fn ago_h(every_h: f64, place: usize) -> f64 {
    (blocks(every_h) - place) as f64 * every_h - 0.5 * every_h
}

/// A course by hours since it began, read block by block.
fn read(began_h: f64, level: impl Fn(Signal, f64) -> f64) -> Readings {
    let of = |(signal, every_h, _): &(Signal, f64, f64)| {
        let at = |place| {
            let hours = began_h - ago_h(*every_h, place);
            if hours <= 0.0 { 0.0 } else { level(*signal, hours) }
        };
        (0..blocks(*every_h)).map(at).collect()
    };
    READ.iter().map(of).collect()
}

/// What a case adds that began `began_h` ago: each signal takes part or does not, and grows as it likes.
pub(super) fn illness(chance: &mut Chance, cause: Cause, began_h: f64) -> Readings {
    let (grows_h, draft) = draft(cause, chance);
    let grave = chance.between(0.35, 1.0);
    let drawn: Vec<(Signal, f64, f64, f64)> = draft
        .iter()
        .map(|(signal, share, low, high)| {
            let height = if chance.even() < *share { grave * chance.between(*low, *high) } else { 0.0 };
            (*signal, height, grows_h * (0.45 * chance.normal()).exp(), chance.between(0.7, 2.2))
        })
        .collect();
    read(began_h, |signal, hours| {
        let own = drawn.iter().find(|(of, ..)| *of == signal);
        own.map_or(0.0, |(_, height, rise_h, bend)| height * (1.0 - (-(hours / rise_h).powf(*bend)).exp()))
    })
}

/// What a heat adds: a hump of activity, less cud and milk about it.
pub(super) fn heat(chance: &mut Chance, began_h: f64, silent: bool) -> Readings {
    let length_h = (11.0 * (0.3 * chance.normal()).exp()).clamp(4.0, 22.0);
    let (height, shown) = if silent {
        (chance.between(0.0, 0.30), 0.3)
    } else {
        ((1.0 + 1.4 * (0.45 * chance.normal()).exp()).ln(), 1.0)
    };
    let cud = shown * (0.17 + 0.12 * chance.normal());
    let milk = shown * (0.04 + 0.05 * chance.normal());
    let warm = shown * chance.between(0.0, 0.3);
    read(began_h, |signal, hours| {
        let hump = if hours < length_h { (std::f64::consts::PI * hours / length_h).sin() } else { 0.0 };
        let about = (-((hours - 0.6 * length_h) / length_h).powi(2)).exp();
        match signal {
            Signal::Activity => height * hump,
            Signal::Rumination | Signal::Eating => -cud * about,
            Signal::Milk => -milk * about,
            Signal::MilkTemperature => warm * about,
            _ => 0.0,
        }
    })
}

pub(super) fn well(chance: &mut Chance) -> Readings {
    READ.iter()
        .map(|(_, every_h, spread)| wander(chance, blocks(*every_h), memory(*every_h), *spread))
        .collect()
}

pub(super) fn with(readings: &Readings, added: &Readings) -> Readings {
    let sum = |(a, b): (&Vec<f64>, &Vec<f64>)| a.iter().zip(b).map(|(a, b)| a + b).collect();
    readings.iter().zip(added).map(sum).collect()
}

/// In units of independent normal readings.
pub(super) fn whitened(readings: &Readings) -> Vec<f64> {
    let of = |((_, every_h, spread), own): (&(Signal, f64, f64), &'_ Vec<f64>)| {
        whiten(own, memory(*every_h), *spread).collect::<Vec<_>>()
    };
    READ.iter().zip(readings).flat_map(of).collect()
}
