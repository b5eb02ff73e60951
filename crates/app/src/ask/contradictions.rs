//! Records of a cow that cannot all be true: listed, and never judged by in silence.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{
    expect::Scored,
    herd::{Life, LifeKey},
    say::{number, when},
    time::hours_between,
};
use jiff::{SignedDuration, Timestamp};

use super::{cast::Cast, farm::Barn, view::View};

/// No calving follows another within so many days: the shortest calf that lives is carried some 240 d (gestation 278 to 287 d,
/// sd 5 to 6, `sources.md` §8), and no cow is in calf again on the day she calves.
const BETWEEN_CALVINGS_D: f64 = 250.0;
/// A cow that calves was in calf for so long before, and no service of that time can be right. Same source, less five spreads.
const CARRIED_D: f64 = 240.0;
/// Older contradictions bear on nothing that is judged today, days.
const LOOKED_BACK_D: f64 = 400.0;
/// Sentences of a round; of more the cows are named.
const MOST: usize = 4;
/// Cows named in one sentence.
const NAMED: usize = 12;
/// She may be milked so long after the note that dried her off: some are let run dry, and a note may bear the day alone.
const RUNS_DRY: SignedDuration = SignedDuration::from_hours(72);
/// Milkings after that from which on the note cannot be right, and how old the last may be.
const MILKED: (usize, SignedDuration) = (3, SignedDuration::from_hours(48));
/// A note that she left or died may bear the day alone; a number that is milked by so long after it and was milked by so
/// long before it was not given to another cow.
const LEFT: (SignedDuration, SignedDuration) =
    (SignedDuration::from_hours(24), SignedDuration::from_hours(72));

/// Dry-offs that cannot be right, for she is milked as before: taken out, so that she is judged, and handed back to be named.
pub fn take_out_dry_offs(
    cast: &mut Cast,
    milkings: &BTreeMap<LifeKey, Vec<Scored>>,
    at: Timestamp,
) -> Vec<(LifeKey, Timestamp)> {
    let mut wrong = Vec::new();
    for life in cast.lives.iter_mut().filter(|life| life.present(at) && life.stage(at).dry) {
        let Some(dried) = life.dried_off.iter().rfind(|dried| **dried <= at).copied() else { continue };
        let hers = milkings.get(&life.key).map_or(&[][..], Vec::as_slice);
        let since = hers
            .iter()
            .filter(|own| own.observed_kg.is_some() && RUNS_DRY < own.started_at.duration_since(dried));
        let goes_on = since.clone().any(|own| at.duration_since(own.ended_at) < MILKED.1);
        if MILKED.0 <= since.count() && goes_on {
            let calved = life.stage(at).calved_at;
            life.dried_off.retain(|own| at < *own || calved.is_some_and(|calved| *own <= calved));
            wrong.push((life.key, dried));
        }
    }
    wrong
}

/// What contradicts, as a round says it: some sentences, then the cows of the others.
pub fn notes(barn: &Barn, view: &View) -> anyhow::Result<Vec<String>> {
    let mut all = all(barn, view)?;
    let more = all.split_off(all.len().min(MOST));
    let mut notes: Vec<String> = all.into_iter().map(|(_, sentence)| sentence).collect();
    let cows: BTreeSet<String> = more.into_iter().map(|(animal, _)| animal).collect();
    if !cows.is_empty() {
        let over = cows.len().saturating_sub(NAMED);
        let mut named: Vec<String> = cows.into_iter().take(NAMED).collect();
        if 0 < over {
            named.push(format!("{} more", number::count(over)));
        }
        notes.push(format!("What else contradicts is of {}: Records has each of it.", when::join(&named)));
    }
    Ok(notes)
}

/// What contradicts: herd number and sentence, first those of who is milked and cannot be, then by herd number.
pub fn all(barn: &Barn, view: &View) -> anyhow::Result<Vec<(String, String)>> {
    let named = |life: &Life, sentence: String| (life.animal.clone(), sentence);
    let here = || view.cast.lives.iter().filter(|life| life.present(view.at));
    let mut all = Vec::new();
    for life in here() {
        all.extend(milked_and_gone(barn, view, life)?.map(|sentence| named(life, sentence)));
        all.extend(milked_and_dry(view, life).map(|sentence| named(life, sentence)));
    }
    for life in here() {
        all.extend(of(view, life).into_iter().map(|sentence| named(life, sentence)));
    }
    Ok(all)
}

/// Her number is milked after she left or died as it was before.
fn milked_and_gone(barn: &Barn, view: &View, life: &Life) -> anyhow::Result<Option<String>> {
    let (Some(gone), Some(last)) = (life.from, view.rolled.herd.last_milking(life.key)) else {
        return Ok(None);
    };
    if LOOKED_BACK_D < hours_between(gone, view.at) / 24.0 {
        return Ok(None);
    }
    let span = gone.saturating_sub(LEFT.1)?..gone.saturating_add(LEFT.1)?;
    let visits = barn.store.visits_of(&life.animal, span)?;
    let milked = || visits.iter().filter(|own| own.milk_kg.is_some() && own.ended_at <= view.at);
    let before = milked().any(|own| own.started_at < gone);
    let after = milked().any(|own| LEFT.0 < own.started_at.duration_since(gone));
    if !(before && after) {
        return Ok(None);
    }
    let died = view.cast.events_of(&life.animal).iter().any(|event| event.at == gone && event.kind == "died");
    let words = |then: Timestamp| when::instant(then, view.at, &view.ways.zone);
    Ok(Some(format!(
        "{} is recorded to have {} {}, and is milked since as before, last milking {}: one of them is wrong. Until it is mended she is judged as a new cow of that number.",
        life.animal,
        if died { "died" } else { "left" },
        words(gone),
        words(last)
    )))
}

/// She is milked after she was dried off as she was before.
fn milked_and_dry(view: &View, life: &Life) -> Option<String> {
    let (_, dried) = view.undried.iter().find(|(key, _)| *key == life.key)?;
    let words = |then: Timestamp| when::instant(then, view.at, &view.ways.zone);
    let last = view.rolled.herd.last_milking(life.key)?;
    Some(format!(
        "{} is recorded as dried off {}, and is milked since as before, last milking {}: one of them is wrong, and she is judged as a cow in milk.",
        life.animal,
        words(*dried),
        words(last)
    ))
}

fn of(view: &View, life: &Life) -> Vec<String> {
    let words = |then: Timestamp| when::instant(then, view.at, &view.ways.zone);
    let days = |from: Timestamp, to: Timestamp| hours_between(from, to) / 24.0;
    let calvings: Vec<Timestamp> = life.calvings_by(view.at).map(|calving| calving.at).collect();
    let recent = |at: Timestamp| days(at, view.at) < LOOKED_BACK_D;
    let mut notes = Vec::new();
    for pair in calvings.windows(2) {
        if recent(pair[1]) && days(pair[0], pair[1]) < BETWEEN_CALVINGS_D {
            notes.push(format!(
                "{} is recorded to have calved {} and {}: one of them is wrong, and she is judged as if the last were right.",
                life.animal,
                words(pair[0]),
                words(pair[1])
            ));
        }
    }
    let events = view.cast.events_of(&life.animal).iter().filter(|event| event.at <= view.at);
    for event in events.filter(|event| event.kind == "inseminated" && life.present(event.at)) {
        let calved =
            calvings.iter().find(|calved| event.at < **calved && days(event.at, **calved) < CARRIED_D);
        if let Some(calved) = calved.filter(|calved| recent(**calved)) {
            notes.push(format!(
                "{} is recorded as inseminated {} and calved {}: she was in calf then, so one of them is wrong.",
                life.animal,
                words(event.at),
                words(*calved)
            ));
        }
    }
    notes
}

#[cfg(test)]
mod tests;
