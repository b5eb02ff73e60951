//! For each column of the file: which of ours, in which unit, with which words, and how sure.

use std::collections::BTreeMap;

use cowpath_core::tables::{Column, Conversion, Kind, Table};

use super::bands::{self, Told};
use super::choose::{Head, is_time, target};
use super::dialect::Grid;
use super::seen::{Seen, Shape};
use super::words::{Fit, our_word};
use super::{Draft, Mark};
use crate::column_map::measure::Measure;
use crate::trouble::listed;

/// What is said of a column that is not used, or not yet.
pub(crate) type Said = BTreeMap<usize, (Mark, String)>;

/// What one column may fill.
struct Claim {
    at: usize,
    to: Vec<usize>,
    fit: Fit,
    draft: Draft,
}

/// Drafts of all columns that do not tell when, and what is said of the others.
pub(crate) fn drafts(
    table: &'static Table,
    grid: &Grid,
    heads: &[Head],
    seen: &[Seen],
    taken: &[Draft],
) -> (Vec<Draft>, Said) {
    let mut said = Said::new();
    let mut claims: Vec<Claim> = Vec::new();
    for (at, (head, own)) in heads.iter().zip(seen).enumerate() {
        if taken.iter().any(|draft| draft.from.contains(&at)) {
            continue;
        }
        if own.shape == Shape::Empty {
            said.insert(at, (Mark::NotUsed, "empty in the sample".into()));
            continue;
        }
        match claim(table, at, head, own) {
            Ok(claim) => claims.push(claim),
            Err(words) => {
                said.insert(at, words);
            }
        }
    }
    // Known ones first; of two that want one column of ours the first gets it, and both are marked.
    claims.sort_by_key(|claim| (std::cmp::Reverse(claim.fit), claim.at));
    let mut drafts: Vec<Draft> = Vec::new();
    let mut fits: Vec<Fit> = Vec::new();
    for claim in claims {
        let clash = drafts.iter().position(|draft: &Draft| draft.to.iter().any(|to| claim.to.contains(to)));
        let in_time = taken.iter().find(|draft| draft.to.iter().any(|to| claim.to.contains(to)));
        match (clash, in_time) {
            (None, None) => {
                fits.push(claim.fit);
                drafts.push(claim.draft);
            }
            (Some(other), _) => {
                let names: Vec<&str> = claim.to.iter().map(|&to| table.columns[to].name).collect();
                let winner = grid.header[drafts[other].column].clone();
                said.insert(
                    claim.at,
                    (Mark::Unsure, format!("may be {} too, which \"{winner}\" fills", listed(&names, "and"))),
                );
                if fits[other] == claim.fit {
                    drafts[other].sure = false;
                    drafts[other].reason += &format!("; but \"{}\" may be it as well", grid.header[claim.at]);
                }
            }
            (None, Some(_)) => {
                said.insert(claim.at, (Mark::NotUsed, "other columns tell these times already".into()));
            }
        }
    }
    drafts.sort_by_key(|draft| draft.column);
    (drafts, said)
}

fn claim(table: &'static Table, at: usize, head: &Head, own: &Seen) -> Result<Claim, (Mark, String)> {
    if head.otherwise {
        return Err((Mark::NotUsed, "the header speaks of another figure than the one measured then".into()));
    }
    if head.meanings.is_empty() {
        return Err((Mark::NotUsed, "no word of the header is known".into()));
    }
    let four = own.shape == Shape::Four;
    let quarters: Vec<usize> = match (head.quarters.as_slice(), four) {
        (named @ [_, _, _, _], true) => named.to_vec(),
        (_, true) => vec![0, 1, 2, 3],
        ([one], false) => vec![*one],
        ([], false) => vec![],
        _ => {
            return Err((Mark::Unsure, "the header names several quarters, the cells hold one value".into()));
        }
    };
    let targets = |concept: &str| -> Option<Vec<usize>> {
        if quarters.is_empty() {
            return target(table, concept, None).map(|at| vec![at]);
        }
        quarters.iter().map(|&quarter| target(table, concept, Some(quarter))).collect()
    };
    let mut options: Vec<(&'static str, Fit, Vec<usize>)> = Vec::new();
    let mut misfit = None;
    for meaning in &head.meanings {
        let Some(to) = targets(meaning.concept) else { continue };
        let column = &table.columns[to[0]];
        if fits_shape(column, own, meaning.concept) {
            if !options.iter().any(|(.., other)| *other == to) {
                options.push((meaning.concept, meaning.fit, to));
            }
        } else {
            misfit = Some(column.name);
        }
    }
    let Some((concept, fit, to)) = options.first().cloned() else {
        return Err(match misfit {
            Some(name) => (
                Mark::Unsure,
                format!(
                    "by its header it would be `{name}`, but its cells (\"{}\") are not",
                    own.examples.join("\", \"")
                ),
            ),
            None if head.meanings.iter().any(|meaning| is_time(meaning.concept)) => {
                (Mark::Unsure, "tells when, but not of what".into())
            }
            None => (Mark::NotUsed, format!("`{}` has no column for it", table.name)),
        });
    };
    let column = &table.columns[to[0]];
    let mut draft = Draft::of(at, to[0], fit == Fit::Known, "");
    draft.to.clone_from(&to);
    draft.split = own.split.map(str::to_owned);
    draft.reason = match (fit, head.meanings.first().is_some_and(|meaning| meaning.letters == 0)) {
        (Fit::Known, _) => "the header says so".into(),
        (Fit::Like, true) => "by its values alone".into(),
        (Fit::Like, false) => "the header holds a word for it beside others".into(),
    };
    if 1 < options.iter().filter(|(_, other, _)| *other == fit).count() {
        draft.sure = false;
        let names: Vec<&str> = options.iter().map(|(.., to)| table.columns[to[0]].name).collect();
        draft.reason = format!("the header may mean {}", listed(&names, "or"));
    }
    if head.counted || (four && head.quarters.len() != 4) {
        draft.sure = false;
        draft.reason += "; which quarter is which it does not say: left front, right front, left rear, right rear is supposed";
    }
    if column.name == "until" && concept != "until" {
        draft.sure = false;
        draft.reason += "; of milk that is held until then it does not speak";
    }
    dress(table, column, head, own, &mut draft)?;
    let all: BTreeMap<String, String> =
        own.nothing.iter().map(|word| (word.clone(), String::new())).collect();
    for (word, ours) in all {
        draft.words.entry(word).or_insert(ours);
    }
    Ok(Claim { at, to, fit, draft })
}

fn fits_shape(column: &Column, own: &Seen, concept: &str) -> bool {
    match column.kind {
        Kind::Number { .. } => matches!(own.shape, Shape::Figure | Shape::Four | Shape::Clock),
        Kind::Flag => matches!(own.shape, Shape::Figure | Shape::Words) && !own.many,
        Kind::Words(_) => {
            matches!(own.shape, Shape::Words | Shape::Figure) && (!own.many || concept == "kind")
        }
        Kind::Text => !matches!(own.shape, Shape::Moment | Shape::Four | Shape::Day | Shape::Clock),
        Kind::OfficialId => matches!(own.shape, Shape::Digits15 | Shape::Words | Shape::Figure),
        Kind::Date => matches!(own.shape, Shape::Day | Shape::Moment),
        Kind::Time => own.shape == Shape::Moment,
    }
}

/// Unit and words of a draft.
fn dress(
    table: &'static Table,
    column: &'static Column,
    head: &Head,
    own: &Seen,
    draft: &mut Draft,
) -> Result<(), (Mark, String)> {
    match column.kind {
        Kind::Number { .. } => {
            let told = told(table, column, head, own)?;
            // Named as the column's own unit or not: it is one.
            let is_own = |measure: &Measure| {
                !measure.is_clock() && measure.of(table, column) == Some(Conversion::Same)
            };
            draft.unit = Some(told.measure).filter(|measure| !is_own(measure));
            draft.sure &= told.sure;
            if !told.reason.is_empty() {
                draft.reason += &format!("; {}", told.reason);
            }
        }
        Kind::Flag => words(draft, own, "flag"),
        Kind::Words(ours) => {
            let list = match (table.name, column.name) {
                ("feeds", "kind") => "feedkind",
                (_, name) => name,
            };
            let foreign = own.words.keys().any(|word| !ours.iter().any(|own| own.eq_ignore_ascii_case(word)));
            if foreign {
                words(draft, own, list);
            }
        }
        Kind::OfficialId if own.shape != Shape::Digits15 => {
            draft.sure = false;
            draft.reason += "; but its cells are not 15 digits (ISO 11784)";
        }
        _ => {}
    }
    Ok(())
}

/// The unit of a figure: as the header says, if it can be so, else as its values tell.
fn told(table: &Table, column: &Column, head: &Head, own: &Seen) -> Result<Told, (Mark, String)> {
    if own.shape == Shape::Clock {
        let measure = match &head.unit {
            Some(Ok(measure)) if measure.is_clock() => *measure,
            _ if own.examples.iter().any(|cell| cell.matches(':').count() == 2) => Measure::HoursAndMinutes,
            _ if column.name.ends_with("_s") => Measure::MinutesAndSeconds,
            _ => Measure::HoursAndMinutes,
        };
        if measure.of(table, column).is_none() {
            return Err((
                Mark::Unsure,
                format!("by its header it would be `{}`, but its cells are like a clock's", column.name),
            ));
        }
        let sure = head.unit.as_ref().is_some_and(|unit| *unit == Ok(measure))
            || own.examples.iter().all(|cell| cell.matches(':').count() == 2);
        return Ok(Told { measure, sure, reason: "its cells are written like a clock's".into() });
    }
    let by_values = bands::unit_of(table, column, &own.figures);
    let name = |measure: Measure| measure.name().unwrap_or("its own unit");
    let outside = |measure| bands::outside(table, column, measure, &own.figures) * 50 > own.figures.len();
    match &head.unit {
        Some(Err(unit)) => {
            Err((Mark::Unsure, format!("its unit, {unit}, is not read; `docs/maps.md` lists those that are")))
        }
        Some(Ok(Measure::Litres)) if Measure::Litres.of(table, column).is_none() => Err((
            Mark::Unsure,
            format!(
                "its unit is litres, which are read of tank pickups only; have it exported in kg for `{}`",
                column.name
            ),
        )),
        Some(Ok(named)) => {
            // kg stands for kg/min and so on where the header says the rest in words.
            let named = match (*named, column.kind) {
                (
                    Measure::Pounds,
                    Kind::Number { unit: cowpath_core::tables::Unit::KilogramsPerMinute, .. },
                ) => Measure::PoundsPerMinute,
                (
                    Measure::Grams,
                    Kind::Number { unit: cowpath_core::tables::Unit::KilogramsPerMinute, .. },
                ) => Measure::GramsPerMinute,
                (named, _) => named,
            };
            match named.of(table, column) {
                Some(_) if !outside(named) => Ok(Told { measure: named, sure: true, reason: String::new() }),
                Some(_) => Ok(Told {
                    measure: named,
                    sure: false,
                    reason: format!("but many of its figures lie outside the range of `{}`", column.name),
                }),
                None => Ok(Told {
                    sure: false,
                    reason: format!("but its unit, {}, is none of `{}`", name(named), column.name),
                    ..by_values
                }),
            }
        }
        None if outside(by_values.measure) => Ok(Told {
            sure: false,
            reason: format!("but many of its figures lie outside the range of `{}`", column.name),
            ..by_values
        }),
        None => Ok(by_values),
    }
}

/// Our words for theirs.
fn words(draft: &mut Draft, own: &Seen, list: &str) {
    let mut unknown: Vec<&str> = Vec::new();
    for word in own.words.keys() {
        match our_word(list, word) {
            Some(ours) => {
                draft.words.insert(word.clone(), ours.to_owned());
            }
            None => unknown.push(word),
        }
    }
    if own.many || !unknown.is_empty() {
        draft.sure = false;
        let shown: Vec<&str> = unknown.iter().take(6).copied().collect();
        draft.reason += &format!("; what these words mean is not known: \"{}\"", shown.join("\", \""));
        draft.unknown_words = unknown.iter().map(|word| (*word).to_owned()).collect();
    }
}
