//! Which readings does a row hold?

use super::ways;
use crate::{
    expect::Signal,
    herd::{BoxKey, LifeKey, Quarter},
    tables::{Bin, Visit},
};

/// One measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Whose.
    pub life: LifeKey,
    /// Its place among signals and quarters.
    pub(crate) place: u8,
    /// By which box.
    pub at_box: Option<BoxKey>,
    /// Begin, ms since the epoch.
    pub from_ms: i64,
    /// End.
    pub to_ms: i64,
    /// A day's sum at this rate, a share, degrees, per cent, or a logarithm: as the signal's scale has it.
    pub value: f64,
    /// How much it counts: hours of the bin, kg offered, or 1.
    pub weight: f64,
}

/// Kilograms of concentrate from which an offer tells whether she eats. Stated default.
const LEAST_OFFERED_KG: f64 = 0.2;

/// The readings of a bin, handed to `each`.
pub fn of_bin(life: LifeKey, bin: &Bin, each: &mut dyn FnMut(Reading)) {
    let from_ms = bin.from.as_millisecond();
    let to_ms = from_ms + (bin.minutes * 60_000.0) as i64;
    let a_day = 1440.0 / bin.minutes;
    for (signal, value) in [
        (Signal::Rumination, bin.rumination_min),
        (Signal::Activity, bin.activity.or(bin.steps)),
        (Signal::Eating, bin.eating_min),
        (Signal::Lying, bin.lying_min),
    ] {
        if let (Some(value), Some(place)) = (value, ways::place(signal, None)) {
            each(Reading {
                life,
                place: place as u8,
                at_box: None,
                from_ms,
                to_ms,
                value: value * a_day,
                weight: bin.minutes / 60.0,
            });
        }
    }
}

/// The readings of a visit, handed to `each`.
pub fn of_visit(visit: &Visit, each: &mut dyn FnMut(Reading)) {
    let (from_ms, to_ms) = (visit.started_at.as_millisecond(), visit.ended_at.as_millisecond());
    let mut put = |signal: Signal, quarter: Option<Quarter>, value: f64, weight: f64| {
        if let (true, Some(place)) = (value.is_finite(), ways::place(signal, quarter)) {
            let place = place as u8;
            each(Reading {
                life: visit.life,
                place,
                at_box: Some(visit.at_box),
                from_ms,
                to_ms,
                value,
                weight,
            });
        }
    };
    put(Signal::Visits, None, 1.0, 1.0);
    if let (Some(offered), Some(eaten)) = (visit.feed_offered_kg, visit.feed_eaten_kg)
        && LEAST_OFFERED_KG <= offered
    {
        put(Signal::Feed, None, eaten / offered, offered);
    }
    if let Some(weight_kg) = visit.weight_kg {
        put(Signal::Weight, None, weight_kg, 1.0);
    }
    if let (Some(fat), Some(protein)) = (visit.fat_pct, visit.protein_pct)
        && 0.0 < protein
    {
        put(Signal::FatProtein, None, fat / protein, 1.0);
    }
    if let Some(lactose) = visit.lactose_pct {
        put(Signal::Lactose, None, lactose, 1.0);
    }
    if let Some(milk_c) = visit.milk_c {
        put(Signal::MilkTemperature, None, milk_c, 1.0);
    }
    if let Some(ppm) = visit.blood_ppm {
        put(Signal::Blood, None, (ppm + 1.0).ln(), 1.0);
    }
    if let Some(cells) = visit.scc_k {
        put(Signal::Cells, None, cells.max(1.0).ln(), 1.0);
    }
    if let Some(attached) = visit.attached_at {
        let seconds = (attached.as_millisecond() - from_ms) as f64 / 1000.0;
        put(Signal::Attaching, None, seconds.max(1.0).ln(), 1.0);
    }
    for (quarter, reading) in Quarter::ALL.into_iter().zip(&visit.quarters) {
        if let Some(flow) = reading.flow_kg_min
            && 0.02 < flow
            && reading.kicked != Some(true)
        {
            put(Signal::Flow, Some(quarter), flow.ln(), 1.0);
        }
    }
}
