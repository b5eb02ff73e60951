//! What do visits in quarantine tell all the same: who stood in which box, and when?
//!
//! A row that holds one value outside its range is not taken in, and nothing it measured is judged. But she was there: a box
//! whose visits were refused did not stand still, and a cow whose visits were refused did not stay away. What lies between
//! two of her milkings that were taken in is not known then, so that neither her interval nor her milk is judged there.

use std::{collections::BTreeMap, convert::Infallible, path::Path, sync::Arc};

use cowpath_core::{
    causes::boxes::BoxLog,
    expect::{Scored, Signal},
    herd::{BoxKey, LifeKey},
    say::summary::{self, Lacks},
    tables::{Cell, Outcome, Table, Visit, table},
};
use cowpath_import::{Issue, ReadError, Reading, Sink};
use cowpath_store::RefusedRows;
use jiff::{SignedDuration, Timestamp};

use super::{
    cast::Cast,
    farm::{self, Barn},
    maps,
    mending::{line, split},
};

/// Refused visits are told of as long as the logs they came with are no older than what is judged, days.
const TOLD_D: i64 = 10;
/// How far back they bear on what is judged: as far as visits tell of a box.
const SPAN: SignedDuration = SignedDuration::from_hours(21 * 24);
/// Rows looked at; of more the newest. Some weeks of a large herd.
const MOST: u64 = 50_000;
/// Who, where, from when, until when: no row can do without these.
const NEEDED: [&str; 4] = ["animal", "box", "started_at", "ended_at"];

/// The warning that visits are in quarantine, where some of the latest logs are.
pub fn note(barn: &Barn, lacks: Lacks) -> anyhow::Result<Option<String>> {
    let refused = barn.store.visits_in_quarantine(TOLD_D)?;
    Ok((0 < refused).then(|| summary::in_quarantine(refused, lacks)))
}

/// Visits in quarantine that ended in the weeks before a time, as far as they can be read: nothing but who, where and when.
///
/// # Errors
/// When the store fails. A row that tells not even that is left out.
pub fn visits(barn: &Barn, cast: &Cast, at: Timestamp) -> anyhow::Result<Vec<Visit>> {
    let mut found = Vec::new();
    let from = at.saturating_sub(SPAN)?;
    for rows in barn.store.refused_visits(MOST)? {
        for cells in read(&barn.dir, &rows, at)? {
            let time = |place: usize| cells.get(place).and_then(Cell::time);
            let name = |place: usize| match cells.get(place) {
                Some(Cell::Text(name)) => Some(name.as_str()),
                _ => None,
            };
            let (Some(animal), Some(of_box), Some(started_at), Some(ended_at)) =
                (name(0), name(1), time(2), time(3))
            else {
                continue;
            };
            let key = cast.boxes.iter().position(|own| own == of_box).and_then(|key| u16::try_from(key).ok());
            let (Some(life), Some(key)) = (cast.find(animal, started_at), key) else { continue };
            if from <= started_at && ended_at <= at && life.present(started_at) {
                let stay = Visit::stay(life.key, BoxKey(key), started_at, ended_at);
                found.push(Visit { outcome: Some(Outcome::Fed), ..stay });
            }
        }
    }
    found.sort_by_key(|visit| (visit.ended_at, visit.at_box, visit.life));
    Ok(found)
}

/// The rows' needed cells, in the table's order, read as their file was; those of a later time than `at` are left out.
fn read(dir: &Path, rows: &RefusedRows, at: Timestamp) -> anyhow::Result<Vec<Vec<Cell>>> {
    let header = split(&rows.header, b',');
    let Some(of) = table("visits") else { return Ok(Vec::new()) };
    let mut reading = Reading::new(farm::zone(&rows.zone)?, at);
    let text = if rows.map.is_empty() {
        let place = |word: &&str| header.iter().position(|own| own.trim().eq_ignore_ascii_case(word));
        let Some(places) = NEEDED.iter().map(place).collect::<Option<Vec<usize>>>() else {
            return Ok(Vec::new());
        };
        let needed = |raw: &String| {
            let cells = split(raw, b',');
            let cell = |place: &usize| cells.get(*place).map_or("", String::as_str);
            line(places.iter().map(cell), b',')
        };
        let lines = rows.raws.iter().map(needed).collect::<anyhow::Result<Vec<String>>>()?;
        cowpath_import::as_table(&NEEDED.map(str::to_owned), lines.iter().map(String::as_str))
    } else {
        let Some(mut map) = maps::of_rows(dir, &header, of.name, &rows.map) else { return Ok(Vec::new()) };
        let needed =
            |place: &usize| of.columns.get(*place).is_some_and(|column| NEEDED.contains(&column.name));
        map.takes.retain(|take| take.to.iter().any(needed));
        let (map, text) =
            cowpath_import::as_mapped_table(&map, &header, rows.raws.iter().map(String::as_str));
        reading.map = Some(Arc::new(map));
        text
    };
    let mut known = Known::default();
    match cowpath_import::read_bytes(text.as_bytes(), &reading, &mut known) {
        Ok(_) | Err(ReadError::File(_)) => Ok(known.0),
        Err(ReadError::Sink(never)) => match never {},
    }
}

/// Rows that could be read.
#[derive(Default)]
struct Known(Vec<Vec<Cell>>);

impl Sink for Known {
    type Error = Infallible;

    fn table(&mut self, _: &'static Table, _: &[String]) -> Result<(), Infallible> {
        Ok(())
    }

    fn row(&mut self, _: u64, cells: &mut Vec<Cell>) -> Result<(), Infallible> {
        self.0.push(std::mem::take(cells));
        Ok(())
    }

    fn issue(&mut self, _: Issue) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Notes where they were: the box was in use, the cow was seen, and what followed is no milking after that interval.
pub fn join(
    refused: &[Visit],
    boxes: &mut BoxLog,
    seen: &mut BTreeMap<LifeKey, Vec<Timestamp>>,
    milkings: &mut BTreeMap<LifeKey, Vec<Scored>>,
) {
    for visit in refused {
        boxes.take(visit.life, visit);
        // Who was seen in the judged days only in rows that were refused was there too.
        let ends = seen.entry(visit.life).or_default();
        ends.insert(ends.partition_point(|end| *end < visit.ended_at), visit.ended_at);
        let hers = milkings.entry(visit.life).or_default();
        let next = hers.partition_point(|own| own.started_at < visit.ended_at);
        if let Some(own) = hers.get_mut(next) {
            own.departures.retain(|own| !matches!(own.signal, Signal::Milk | Signal::Interval));
        }
    }
    milkings.retain(|_, own| !own.is_empty());
}

#[cfg(test)]
mod tests;
