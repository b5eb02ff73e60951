//! Records of a cow that cannot all be true: listed, and never judged by in silence.

use cowpath_core::{herd::Life, say::when, time::hours_between};
use jiff::Timestamp;

use super::view::View;

/// No calving follows another within so many days: the shortest calf that lives is carried some 240 d (gestation 278 to 287 d,
/// sd 5 to 6, `sources.md` §8), and no cow is in calf again on the day she calves.
const BETWEEN_CALVINGS_D: f64 = 250.0;
/// A cow that calves was in calf for so long before, and no service of that time can be right. Same source, less five spreads.
const CARRIED_D: f64 = 240.0;
/// Older contradictions bear on nothing that is judged today, days.
const LOOKED_BACK_D: f64 = 400.0;
/// Sentences of a round; of more the number is said.
const MOST: usize = 4;

/// What contradicts, a sentence each, by herd number.
pub fn notes(view: &View) -> Vec<String> {
    let mut notes: Vec<String> =
        view.cast.lives.iter().filter(|life| life.present(view.at)).flat_map(|life| of(view, life)).collect();
    let more = notes.len().saturating_sub(MOST);
    if 0 < more {
        notes.truncate(MOST);
        notes.push(format!("{more} more records contradict each other: see the calendars of those cows."));
    }
    notes
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
