//! What boxes were doing, and what their logs are able to tell.

use std::{collections::BTreeMap, ops::Range};

use cowpath_core::{herd::BoxKey, tables::Outcome};
use jiff::Timestamp;
use rusqlite::types::ValueRef;

use crate::{
    cells::instant,
    error::{Result, StoreError},
    farm::Farm,
    layout::day_of,
    names,
};

/// One row of `box-states`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BoxStateRow {
    /// Where.
    pub at_box: BoxKey,
    /// When it began.
    pub from: Timestamp,
    /// When it ended.
    pub to: Timestamp,
    /// `cleaning`, `service`, `fault` or `off`.
    pub state: String,
}

/// A visit, no more of it than a day of the boxes shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// Place of her herd number in [`Farm::numbers`].
    pub number: u32,
    /// Where.
    pub at_box: BoxKey,
    /// She went in.
    pub started_at: Timestamp,
    /// She went out.
    pub ended_at: Timestamp,
    /// What came of it, if the row says it.
    pub outcome: Option<Outcome>,
    /// Milk, kg; `None` where it was not measured.
    pub milk_kg: Option<f64>,
}

/// How often a box told of an outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Told {
    /// Which box.
    pub at_box: BoxKey,
    /// What its rows say; `None` where a row does not say it.
    pub outcome: Option<Outcome>,
    /// Standing visits that say so.
    pub visits: u64,
}

impl Farm {
    /// States of boxes that share time with `[start, end)`, or have no length and lie in it; in order of begin, then box.
    pub fn box_states(&self, span: Range<Timestamp>) -> Result<Vec<BoxStateRow>> {
        let boxes = names::places(&self.connection, "box_name")?;
        let mut all = self.connection.prepare_cached(
            "SELECT box, \"from\", \"to\", state FROM box_states
             WHERE \"from\" < ?2 AND (?1 < \"to\" OR ?1 <= \"from\")",
        )?;
        let mut rows = all.query([span.start.as_millisecond(), span.end.as_millisecond()])?;
        let mut states = Vec::new();
        while let Some(row) = rows.next()? {
            states.push(BoxStateRow {
                at_box: key(&boxes, row.get(0)?)?,
                from: instant(row.get(1)?, "from")?,
                to: instant(row.get(2)?, "to")?,
                state: row.get(3)?,
            });
        }
        states.sort_by_key(|state| (state.from, state.at_box));
        Ok(states)
    }

    /// Standing visits that began in `[start, end)`, in order of start, then herd number, then box.
    pub fn stays(&self, span: Range<Timestamp>) -> Result<Vec<Stay>> {
        let cows = names::places(&self.connection, "animal_name")?;
        let boxes = names::places(&self.connection, "box_name")?;
        let ends = [span.start.as_millisecond(), span.end.as_millisecond()];
        let mut all = self.connection.prepare_cached(
            "SELECT animal, box, started_at, ended_at, outcome, milk_kg FROM visits
             WHERE day BETWEEN ?3 AND ?4 AND ?1 <= started_at AND started_at < ?2 AND stands = 1",
        )?;
        let mut rows = all.query([ends[0], ends[1], day_of(ends[0]), day_of(ends[1])])?;
        let mut stays = Vec::new();
        while let Some(row) = rows.next()? {
            let id: i64 = row.get(0)?;
            stays.push(Stay {
                number: cows.get(id as usize).copied().unwrap_or(u32::MAX),
                at_box: key(&boxes, row.get(1)?)?,
                started_at: instant(row.get(2)?, "started_at")?,
                ended_at: instant(row.get(3)?, "ended_at")?,
                outcome: outcome(row.get_ref(4)?),
                milk_kg: if let ValueRef::Real(milk_kg) = row.get_ref(5)? { Some(milk_kg) } else { None },
            });
        }
        stays.sort_unstable_by_key(|stay| (stay.started_at, stay.number, stay.at_box));
        Ok(stays)
    }

    /// Whether any state of a box was ever read.
    pub fn tells_box_states(&self) -> Result<bool> {
        Ok(self.connection.query_row("SELECT EXISTS (SELECT 1 FROM box_states)", [], |row| row.get(0))?)
    }

    /// Which outcomes each box told of, and how often, in visits that began in `[start, end)`.
    pub fn outcomes_told(&self, span: Range<Timestamp>) -> Result<Vec<Told>> {
        let boxes = names::places(&self.connection, "box_name")?;
        let ends = [span.start.as_millisecond(), span.end.as_millisecond()];
        let mut all = self.connection.prepare_cached(
            "SELECT box, outcome FROM visits
             WHERE day BETWEEN ?3 AND ?4 AND ?1 <= started_at AND started_at < ?2 AND stands = 1",
        )?;
        let mut rows = all.query([ends[0], ends[1], day_of(ends[0]), day_of(ends[1])])?;
        // Counted here: SQLite would sort all of them to count a dozen kinds.
        let mut counts: BTreeMap<(BoxKey, Option<Outcome>), u64> = BTreeMap::new();
        while let Some(row) = rows.next()? {
            *counts.entry((key(&boxes, row.get(0)?)?, outcome(row.get_ref(1)?))).or_default() += 1;
        }
        Ok(counts.into_iter().map(|((at_box, outcome), visits)| Told { at_box, outcome, visits }).collect())
    }

    /// When the last standing visit or box state that began before a time began.
    pub fn box_row_before(&self, at: Timestamp) -> Result<Option<Timestamp>> {
        self.nearest_box_row(
            "SELECT max(at) FROM (
                SELECT max(started_at) AS at FROM visits WHERE stands = 1 AND started_at < ?1 AND day =
                    (SELECT day FROM visits WHERE day <= ?2 AND started_at < ?1 AND stands = 1
                     ORDER BY day DESC LIMIT 1)
                UNION ALL SELECT max(\"from\") FROM box_states WHERE \"from\" < ?1)",
            at,
        )
    }

    /// When the first standing visit or box state that began at a time or after it began.
    pub fn box_row_from(&self, at: Timestamp) -> Result<Option<Timestamp>> {
        self.nearest_box_row(
            "SELECT min(at) FROM (
                SELECT min(started_at) AS at FROM visits WHERE stands = 1 AND ?1 <= started_at AND day =
                    (SELECT day FROM visits WHERE ?2 <= day AND ?1 <= started_at AND stands = 1
                     ORDER BY day LIMIT 1)
                UNION ALL SELECT min(\"from\") FROM box_states WHERE ?1 <= \"from\")",
            at,
        )
    }

    fn nearest_box_row(&self, select: &str, at: Timestamp) -> Result<Option<Timestamp>> {
        let ms = at.as_millisecond();
        let found: Option<i64> =
            self.connection.prepare_cached(select)?.query_row([ms, day_of(ms)], |row| row.get(0))?;
        found.map(|ms| instant(ms, "a box's row")).transpose()
    }
}

fn outcome(word: ValueRef<'_>) -> Option<Outcome> {
    if let ValueRef::Text(word) = word {
        std::str::from_utf8(word).ok().and_then(Outcome::from_word)
    } else {
        None
    }
}

fn key(places: &[u32], id: i64) -> Result<BoxKey> {
    let place = usize::try_from(id).ok().and_then(|id| places.get(id)).copied();
    place
        .and_then(|place| u16::try_from(place).ok())
        .map(BoxKey)
        .ok_or_else(|| StoreError::Stored { what: "box", detail: format!("there is no name for box {id}") })
}
