//! The milking visit: `visits`.
//!
//! The standard knows the start of milking and not of the visit, and no visit without milk; it has no word for a cup that
//! was kicked off, for the flow at take-off, or for milk that went to the tank. Those cells stay empty, and the batch says
//! so ([`super::CANNOT_SAY`]).

use std::sync::LazyLock;

use cowpath_core::tables::{Cell, Table, table};
use jiff::SignedDuration;

use super::characteristics::{self, Found};
use super::notes::{Note, Notes};
use super::take::{
    Desk, Got, instant, list, milk_kg, needed, past, put, put_at, put_text, refuse, seconds, text, truth,
    word,
};
use super::tree::Node;
use crate::faults::MEND;

/// Less milk than this is "nothing or nearly nothing", kg; our own limit, for the standard has none.
const FAILED_BELOW_KG: f64 = 0.5;

/// Quarters and whole udder may differ by this share before it is said.
const UDDER_SHARE: f64 = 0.10;

/// Longest stay that the time of the event may end, h.
const LONGEST_H: i64 = 6;

const REMARKS: [&str; 5] =
    ["AnimalSick", "MilkingIncomplete", "TeatSeparated", "MilkedSeparately", "SamplingFailed"];

const QUARTERS: [&str; 4] = ["LF", "RF", "LR", "RR"];

/// Where the figures of one quarter stand in a row.
struct Places {
    kg: usize,
    flow_s: usize,
    /// In the order of [`characteristics::QUARTER`].
    characteristics: [usize; characteristics::QUARTER.len()],
}

/// Of each quarter; looked up once, for every visit has twenty of them.
static PLACES: LazyLock<[Places; 4]> = LazyLock::new(|| {
    QUARTERS.map(|word| {
        let stem = word.to_lowercase();
        let place = |column: &str| {
            table("visits").and_then(|visits| visits.index(&format!("{stem}_{column}"))).unwrap_or(usize::MAX)
        };
        Places {
            kg: place("kg"),
            flow_s: place("s"),
            characteristics: characteristics::QUARTER.each_ref().map(|known| place(known.column)),
        }
    })
});

/// Whether it was a visit to a box, and not to a parlour by hand.
pub(crate) fn is_of_box(node: &Node<'_>) -> Got<bool> {
    Ok(word(node, "milkingType", &["Manual", "Automated"])? != Some("Manual"))
}

/// The row of a visit.
pub(crate) fn row(
    desk: &Desk,
    node: &Node<'_>,
    animal: &str,
    table: &'static Table,
    notes: &mut Notes,
) -> Got<Vec<Cell>> {
    let mut row = vec![Cell::Missing; table.columns.len()];
    put_text(&mut row, table, "animal", Some(animal));
    let own_box = match text(node, "milkingBoxNumber")? {
        Some(name) => Some(name),
        None => text(node, "milkingParlourUnit")?.or(text(node, "milkingDeviceId")?),
    };
    node.let_be("milkingParlourUnit");
    node.let_be("milkingDeviceId");
    put_text(&mut row, table, "box", Some(needed(own_box, "milkingBoxNumber")?));
    let started = needed(past(desk, node, "milkingStartingDateTime")?, "milkingStartingDateTime")?;
    let visit_s = seconds(node, "milkingVisitDuration")?;
    let milking_s = seconds(node, "milkingDuration")?;
    let weight_kg = needed(milk_kg(node, "milkingMilkWeight")?, "milkingMilkWeight")?;
    put(&mut row, table, "milk_kg", Some(weight_kg), "milkingMilkWeight")?;
    let quarters = quarters(node, &mut row, table, notes)?;
    let event = instant(node, "eventDateTime")?;
    let length_s = visit_s.or(milking_s).or(quarters.longest_s);
    let ended = match length_s {
        Some(length_s) if length_s < 86_400.0 => {
            started + SignedDuration::from_millis((length_s * 1000.0).round() as i64)
        }
        Some(length_s) => {
            return refuse("milkingVisitDuration", &length_s.to_string(), "is longer than a day", MEND);
        }
        // Used by some for the end of the visit, by others for its start.
        None => event
            .filter(|event| started < *event && *event <= started + SignedDuration::from_hours(LONGEST_H))
            .unwrap_or(started),
    };
    if visit_s.is_none() {
        notes.add(Note::NoExit);
    }
    if desk.now < ended {
        return refuse("milkingVisitDuration", &ended.to_string(), "ends in the future", MEND);
    }
    if let Some(place) = table.index("started_at") {
        row[place] = Cell::Time(started);
        row[place + 1] = Cell::Time(ended);
    }
    notes.add(Note::Silent);
    whole_milk(node, &mut row, table, notes)?;
    let mut incomplete = false;
    for remark in list(node, "milkingRemarks")? {
        match remark {
            Node::Text(word) if REMARKS.contains(&&**word) => {
                incomplete |= word == "MilkingIncomplete";
                if word == "MilkedSeparately" {
                    put_text(&mut row, table, "destination", Some("held"));
                }
            }
            other => {
                return refuse(
                    "milkingRemarks",
                    &other.shown(),
                    format!("is none of {}", REMARKS.join(", ")),
                    MEND,
                );
            }
        }
    }
    let complete = truth(node, "milkingComplete")?;
    // Where nothing is said, a measured quarter that gave nothing at all says it.
    incomplete |= complete == Some(false) || (complete.is_none() && quarters.empty);
    let outcome = match weight_kg {
        kg if kg < FAILED_BELOW_KG => "failed",
        _ if incomplete => "incomplete",
        _ => "milked",
    };
    put_text(&mut row, table, "outcome", Some(outcome));
    if quarters.measured == 4 && UDDER_SHARE * weight_kg < (quarters.sum_kg - weight_kg).abs() {
        notes.add(Note::QuarterSum);
    }
    if quarters.conductivity {
        notes.add(Note::At25);
    }
    Ok(row)
}

/// What the quarters of a visit say together.
#[derive(Default)]
struct Quarters {
    measured: u32,
    sum_kg: f64,
    longest_s: Option<f64>,
    empty: bool,
    conductivity: bool,
}

fn quarters(node: &Node<'_>, row: &mut [Cell], table: &'static Table, notes: &mut Notes) -> Got<Quarters> {
    let mut all = Quarters::default();
    let mut seen: Vec<&str> = Vec::with_capacity(4);
    for quarter in list(node, "quarterMilkings")? {
        let name = needed(word(quarter, "icarQuarterId", &QUARTERS)?, "icarQuarterId")?;
        if seen.contains(&name) {
            return refuse("icarQuarterId", name, "comes twice in one visit", MEND);
        }
        seen.push(name);
        let Some(which) = QUARTERS.iter().position(|word| *word == name) else { continue };
        let places = &PLACES[which];
        let kg = milk_kg(quarter, "quarterMilkingWeight")?;
        if let Some(kg) = kg {
            all.measured += 1;
            all.sum_kg += kg;
            all.empty |= kg <= 0.0;
        }
        put_at(row, table, places.kg, kg, "quarterMilkingWeight")?;
        let flow_s = seconds(quarter, "quarterMilkingDuration")?;
        all.longest_s = match (all.longest_s, flow_s) {
            (Some(longest_s), Some(flow_s)) => Some(longest_s.max(flow_s)),
            (longest_s, flow_s) => longest_s.or(flow_s),
        };
        put_at(row, table, places.flow_s, flow_s, "quarterMilkingDuration")?;
        let found =
            characteristics::of(quarter, "icarQuarterCharacteristics", &characteristics::QUARTER, notes)?;
        all.conductivity |= !found.is_empty();
        for Found { place, value, .. } in found {
            let place = places.characteristics[place];
            put_at(row, table, place, Some(value), "icarQuarterCharacteristics")?;
        }
    }
    Ok(all)
}

fn whole_milk(node: &Node<'_>, row: &mut [Cell], table: &'static Table, notes: &mut Notes) -> Got<()> {
    for found in characteristics::of(node, "milkCharacteristics", &characteristics::WHOLE, notes)? {
        if found.column == "blood" {
            notes.add(Note::Blood);
        } else {
            put(row, table, found.column, Some(found.value), "milkCharacteristics")?;
        }
    }
    Ok(())
}
