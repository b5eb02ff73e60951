//! Which table is it, and what may each column be in it?

use std::collections::BTreeSet;

use cowpath_core::tables::{TABLES, Table};

use super::bands;
use super::dialect::Grid;
use super::quarters::{self, NAMES};
use super::seen::{Seen, Shape};
use super::words::{self, Fit, Meaning};
use crate::column_map::measure::Measure;

/// A header taken apart.
#[derive(Debug)]
pub(crate) struct Head {
    /// Quarters it names, in its order.
    pub quarters: Vec<usize>,
    /// Whether they are only counted.
    pub counted: bool,
    /// The unit it names; an error: one that is not read.
    pub unit: Option<Result<Measure, String>>,
    pub meanings: Vec<Meaning>,
    /// Whether a word says that it is no measurement (expected, average).
    pub otherwise: bool,
}

/// Takes the headers of a file apart.
pub(crate) fn heads(grid: &Grid, seen: &[Seen]) -> Vec<Head> {
    let all: Vec<Vec<String>> = grid.header.iter().map(|word| words::tokens(word)).collect();
    let files_words: BTreeSet<String> = all.iter().flatten().cloned().collect();
    let codes = quarters::codes_of(&files_words);
    let mut bare: Vec<bool> = Vec::new();
    let mut heads: Vec<Head> = all
        .iter()
        .zip(&grid.header)
        .map(|(tokens, header)| {
            if !grid.has_header {
                return Head {
                    quarters: vec![],
                    counted: false,
                    unit: None,
                    meanings: vec![],
                    otherwise: false,
                };
            }
            // A number behind a header that came again is ours.
            let said = quarters::said(tokens, &codes);
            let (unit, rest) = bands::named(header, &said.rest);
            let mut meanings = words::meanings(&rest);
            if meanings.is_empty() {
                meanings = words::meanings(&said.rest);
            }
            let otherwise = meanings.is_empty() && rest.iter().any(|word| words::is_otherwise(word));
            bare.push(rest.is_empty());
            Head { quarters: said.quarters, counted: said.counted, unit, meanings, otherwise }
        })
        .collect();
    for (head, seen) in heads.iter_mut().zip(seen) {
        if head.meanings.is_empty() && seen.shape == Shape::Digits15 {
            head.meanings.push(Meaning { concept: "official", fit: Fit::Like, letters: 0 });
        }
    }
    if grid.has_header {
        bare_quarters(&mut heads, &bare, seen);
    } else {
        by_values(&mut heads, seen);
    }
    heads
}

/// Four columns that name the quarters and nothing else: what their values let suppose, never more than a likeness. Milk of a
/// quarter and flow lie in one band, so flow is supposed only where a unit says so.
fn bare_quarters(heads: &mut [Head], bare: &[bool], seen: &[Seen]) {
    let four: Vec<usize> = (0..bare.len())
        .filter(|&at| bare[at] && heads[at].quarters.len() == 1 && heads[at].meanings.is_empty())
        .collect();
    let named: BTreeSet<usize> = four.iter().flat_map(|&at| heads[at].quarters.clone()).collect();
    if four.len() != NAMES.len() || named.len() != NAMES.len() {
        return;
    }
    let middles: Option<Vec<f64>> = four.iter().map(|&at| super::seen::median(&seen[at].figures)).collect();
    let within = |low: f64, high: f64| {
        middles.as_ref().is_some_and(|all| all.iter().all(|middle| (low..high).contains(middle)))
    };
    let concept = match heads[four[0]].unit {
        Some(Ok(Measure::Pounds | Measure::Grams)) => "milk",
        Some(Ok(Measure::PoundsPerMinute | Measure::GramsPerMinute)) => "flow",
        Some(Err(_)) => return,
        _ if within(0.3, 3.4) => "milk",
        _ if within(3.4, 9.0) => "conductivity",
        _ if within(60.0, 900.0) => "flow_time",
        _ => return,
    };
    for at in four {
        heads[at].meanings.push(Meaning { concept, fit: Fit::Like, letters: 0 });
    }
}

/// Without a header: what values and their order let suppose; never more than a likeness.
fn by_values(heads: &mut [Head], seen: &[Seen]) {
    let mut like = |at: usize, concept: &'static str| {
        if heads[at].meanings.is_empty() {
            heads[at].meanings.push(Meaning { concept, fit: Fit::Like, letters: 0 });
        }
    };
    let moments = (0..seen.len()).filter(|&at| seen[at].shape == Shape::Moment);
    for (at, concept) in moments.zip(["start", "end", "attached"]) {
        like(at, concept);
    }
    let days = (0..seen.len()).filter(|&at| seen[at].shape == Shape::Day);
    for at in days.take(1) {
        like(at, "date");
    }
    let whole =
        |seen: &Seen| seen.shape == Shape::Figure && seen.figures.iter().all(|figure| figure.fract() == 0.0);
    let mut named = false;
    for (at, own) in seen.iter().enumerate().filter(|(_, own)| whole(own)) {
        if !named && (own.words.len() > 10 || own.many) {
            like(at, "animal");
            named = true;
        } else if own.words.len() <= 12 && named {
            like(at, "box");
            break;
        }
    }
    for (at, own) in seen.iter().enumerate() {
        let middle = super::seen::median(&own.figures).unwrap_or(0.0);
        if own.shape == Shape::Figure && !whole(own) && (6.5..=15.0).contains(&middle) {
            like(at, "milk");
            break;
        }
    }
    for at in (0..seen.len()).filter(|&at| seen[at].shape == Shape::Four) {
        let middle = super::seen::median(&seen[at].figures).unwrap_or(0.0);
        like(at, if middle < 3.0 { "milk" } else { "conductivity" });
    }
}

/// The column of a table that a concept names, for one quarter or the whole cow. `after` and the like stand for times
/// that are put together (`times`).
pub(crate) fn target(table: &Table, concept: &str, quarter: Option<usize>) -> Option<usize> {
    if let Some(quarter) = quarter {
        let ending = match concept {
            _ if table.name != "visits" => return None,
            "milk" => "kg",
            "flow_time" | "duration" | "start" => "s",
            "flow" => "flow_kg_min",
            "peak" => "peak_kg_min",
            "conductivity" => "ms_cm",
            "kicked" => "kicked",
            "takeoff" => "takeoff_kg_min",
            _ => return None,
        };
        return table.index(&format!("{}_{ending}", NAMES.get(quarter)?));
    }
    let name = match (table.name, concept) {
        ("visits", "milk") | ("recordings", "milk") | ("pickups", "milk") => "milk_kg",
        ("visits", "temperature") | ("pickups", "temperature") => "milk_c",
        ("feeds", "fat") => "fat_pct_dm",
        (_, "fat") => "fat_pct",
        (_, "protein") => "protein_pct",
        ("feeds", "cp") => "cp_pct_dm",
        (_, "lactose") => "lactose_pct",
        (_, "cells") => "scc_k",
        (_, "bacteria") => "bacteria_k",
        (_, "blood") => "blood_ppm",
        ("bunk", "mass" | "feed_offered") => "kg",
        (_, "feed_offered") => "feed_offered_kg",
        (_, "feed_eaten") => "feed_eaten_kg",
        (_, "weight") => "weight_kg",
        (_, "official") => "official_id",
        (_, "born") => "born_on",
        (_, "calved") => "calved_on",
        (_, "rumination") => "rumination_min",
        (_, "eating") => "eating_min",
        (_, "lying") => "lying_min",
        ("movement", "duration") => "minutes",
        (_, "dm") => "dm_pct",
        (_, "nel") => "nel_mcal_kg_dm",
        (_, "ndf") => "ndf_pct_dm",
        (_, "starch") => "starch_pct_dm",
        (_, "price") => "price_per_t",
        (_, "side") => "bunk_side",
        (_, "distance") => "distance_cm",
        ("box-states", "outcome") => "state",
        ("events", "to" | "end") => "until",
        (_, own) => own,
    };
    table.index(name)
}

/// Concepts that tell when, and what of a table's times they may become.
pub(crate) fn is_time(concept: &str) -> bool {
    matches!(
        concept,
        "start"
            | "end"
            | "attached"
            | "date"
            | "moment"
            | "clock"
            | "duration"
            | "prepare"
            | "from"
            | "to"
            | "collected"
            | "delivered"
    )
}

/// How well the headers fit a table; what it needs and does not find counts against it.
fn likeness(table: &Table, heads: &[Head], seen: &[Seen]) -> i64 {
    let mut filled: BTreeSet<usize> = BTreeSet::new();
    let mut points = 0;
    let mut times = 0;
    for (head, seen) in heads.iter().zip(seen) {
        let quarter = if table.name == "visits" { head.quarters.first().copied() } else { None };
        if !head.quarters.is_empty() && quarter.is_none() {
            points -= 2;
        }
        let best = head
            .meanings
            .iter()
            .find_map(|meaning| Some((target(table, meaning.concept, quarter)?, meaning.fit)));
        if let Some((target, fit)) = best
            && filled.insert(target)
        {
            points += if fit == Fit::Known { 4 } else { 2 };
        } else if head.meanings.iter().any(|meaning| is_time(meaning.concept)) {
            times += match seen.shape {
                Shape::Moment => 2,
                _ => 1,
            };
        } else if !head.meanings.is_empty() {
            // Known words of other tables.
            points -= 1;
        }
    }
    let is_required = |at: &usize| table.columns[*at].required;
    for at in (0..table.columns.len()).filter(is_required) {
        if filled.contains(&at) {
            points += 3;
        } else if matches!(
            table.columns[at].kind,
            cowpath_core::tables::Kind::Time | cowpath_core::tables::Kind::Date
        ) && 0 < times
        {
            points += 2;
            times -= 1;
        } else {
            points -= if matches!(table.columns[at].name, "box" | "minutes") { 3 } else { 7 };
        }
    }
    // Columns without which it is no use, beyond those it needs.
    let marks: &[&str] = match table.name {
        "animals" => &["parity", "calved_on", "born_on"],
        "visits" => &["milk_kg", "lf_kg", "outcome", "lf_ms_cm", "ended_at"],
        "movement" => &["activity", "rumination_min", "lying_min", "eating_min", "steps"],
        "recordings" => &["milk_kg", "fat_pct", "scc_k"],
        "feeds" => &["dm_pct", "ndf_pct_dm", "cp_pct_dm"],
        _ => &[],
    };
    let has_mark =
        marks.is_empty() || marks.iter().any(|name| table.index(name).is_some_and(|at| filled.contains(&at)));
    if has_mark { points } else { points - 8 }
}

/// The table that fits best, and the one that fits nearly as well.
pub(crate) fn table(heads: &[Head], seen: &[Seen]) -> Option<(&'static Table, Option<&'static Table>)> {
    let mut all: Vec<(i64, &'static Table)> =
        TABLES.into_iter().map(|table| (likeness(table, heads, seen), table)).collect();
    all.sort_by_key(|(points, _)| -points);
    let &(best, table) = all.first()?;
    let &(second, other) = all.get(1)?;
    let any = heads.iter().any(|head| !head.meanings.is_empty());
    any.then_some((table, (best - second < 3).then_some(other)))
}
