//! Feed that comes in documents of its own: which visit is it of?
//!
//! # Rule
//! The standing visit of that cow that shares most time with the feeding (a log may know the start of milking only, and
//! she feeds before it). A visit's feed cells are the sums over its meals, so that two
//! documents of one visit add up and one read twice does not. A meal outside every visit of hers is a visit of its own,
//! for feed only, where its place is a box on record; else it is refused: no box is made of a feeding station.

use cowpath_core::tables::{Cell, TABLES, Table};
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use crate::{
    batch::{Batch, Disposition, Refusal},
    cells::instant,
    delivery::Origin,
    error::Result,
    layout::day_of,
    overlap::{LONGEST_MS, free_from},
};

/// What a cow was given and ate at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Meal {
    /// Herd number.
    pub animal: String,
    /// When the feeding began.
    pub started_at: Timestamp,
    /// When it ended.
    pub ended_at: Timestamp,
    /// Name of the place where she ate; may be empty.
    pub place: String,
    /// Offered, kg as fed.
    pub offered_kg: Option<f64>,
    /// Eaten, kg as fed.
    pub eaten_kg: Option<f64>,
    /// The document as the file has it.
    pub raw: String,
}

/// The table that meals go to.
pub(crate) fn visits() -> &'static Table {
    TABLES[0]
}

/// Keeps a meal; `false` where a later version of the document is known.
pub(crate) fn keep(
    connection: &Connection,
    batch: i64,
    line: u64,
    origin: Option<&Origin>,
    meal: &Meal,
) -> Result<bool> {
    // Without a name it is known by what it is: this cow's, at this time, in this place.
    let own = format!("{}\u{1f}{}\u{1f}{}", meal.animal, meal.started_at, meal.place);
    let (source, id) = origin.map_or(("", own.as_str()), |origin| (&origin.source, &origin.id));
    let modified = origin.and_then(|origin| origin.modified).map(Timestamp::as_millisecond);
    let known: Option<Option<i64>> = connection
        .prepare_cached("SELECT modified FROM meal WHERE source = ?1 AND source_id = ?2")?
        .query_row([source, id], |row| row.get(0))
        .optional()?;
    if known.flatten().zip(modified).is_some_and(|(known, read)| read < known) {
        return Ok(false);
    }
    connection
        .prepare_cached(
            "INSERT INTO meal (source, source_id, modified, batch, line, animal, started_at, ended_at, place, offered_kg,
                               eaten_kg, deleted, raw)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)
             ON CONFLICT DO UPDATE SET modified = excluded.modified, batch = excluded.batch, line = excluded.line,
                 animal = excluded.animal, started_at = excluded.started_at, ended_at = excluded.ended_at,
                 place = excluded.place, offered_kg = excluded.offered_kg, eaten_kg = excluded.eaten_kg,
                 deleted = excluded.deleted, raw = excluded.raw",
        )?
        .execute(params![
            source,
            id,
            modified,
            batch,
            line as i64,
            meal.animal,
            meal.started_at.as_millisecond(),
            meal.ended_at.as_millisecond(),
            meal.place,
            meal.offered_kg,
            meal.eaten_kg,
            i64::from(origin.is_some_and(|origin| origin.deleted)),
            meal.raw
        ])?;
    Ok(true)
}

/// A meal on its way to its visit.
struct Kept {
    source: String,
    source_id: String,
    line: u64,
    meal: Meal,
    deleted: bool,
    before: Option<Place>,
}

/// A visit by its key.
#[derive(Debug, Clone, PartialEq)]
struct Place {
    animal: String,
    milking_box: String,
    started_ms: i64,
}

/// What is known of a visit that a meal is of.
struct Found {
    place: Place,
    ended_ms: i64,
    outcome: Option<String>,
}

/// Meals looked at together.
const MEALS_AT_ONCE: usize = 4096;

/// Finds the visit of each meal of a batch, whose columns are [`columns`]. Gives what was refused.
pub(crate) fn settle(batch: &mut Batch<'_>) -> Result<Vec<Refusal>> {
    let mut refused = Vec::new();
    let mut after = 0;
    loop {
        let page = page(batch.connection, batch.id, after)?;
        let Some(last) = page.last() else { return Ok(refused) };
        after = last.line;
        let mut found = Vec::with_capacity(page.len());
        for kept in &page {
            let visit = if kept.deleted { None } else { place_of(batch.connection, &kept.meal)? };
            let place = visit.as_ref().map(|visit| &visit.place);
            batch
                .connection
                .prepare_cached(
                    "UPDATE meal SET visit_animal = ?3, visit_box = ?4, visit_start = ?5 WHERE source = ?1 AND source_id = ?2",
                )?
                .execute(params![
                    kept.source,
                    kept.source_id,
                    place.map(|place| &place.animal),
                    place.map(|place| &place.milking_box),
                    place.map(|place| place.started_ms)
                ])?;
            found.push(visit);
        }
        for (kept, visit) in page.iter().zip(found) {
            if let Some(refusal) = bring(batch, kept, visit)? {
                refused.push(refusal);
            }
        }
    }
}

/// One meal into its visit's cells, and out of those of the visit it was of before.
fn bring(batch: &mut Batch<'_>, kept: &Kept, visit: Option<Found>) -> Result<Option<Refusal>> {
    let mut left = false;
    if let Some(before) = &kept.before
        && visit.as_ref().is_none_or(|visit| visit.place != *before)
        && let Some(visit) = visit_at(batch.connection, before)?
    {
        let (offered_kg, eaten_kg, meals) = sums(batch.connection, before)?;
        left = true;
        if meals == 0 && visit.outcome.as_deref() == Some("fed") {
            batch.take_back(&key(before)?)?;
        } else {
            let became = overwrite(batch, kept.line, &visit, (offered_kg, eaten_kg))?;
            // The meal is the row that was read, not the visit it has left.
            batch.uncount(&became);
        }
    }
    if let Some(visit) = visit {
        let (offered_kg, eaten_kg, _) = sums(batch.connection, &visit.place)?;
        overwrite(batch, kept.line, &visit, (offered_kg, eaten_kg))?;
        return Ok(None);
    }
    if kept.deleted {
        if left {
            batch.gone()
        } else {
            batch.pass()
        }
        return Ok(None);
    }
    batch
        .connection
        .prepare_cached("DELETE FROM meal WHERE source = ?1 AND source_id = ?2")?
        .execute([&kept.source, &kept.source_id])?;
    let meal = &kept.meal;
    let refusal = Refusal {
        line: kept.line,
        column: "feedingStartingDateTime".into(),
        value: meal.started_at.to_string(),
        reason: if meal.place.is_empty() {
            format!(
                "no visit of cow {} to a box is on record then, and the event names no place",
                meal.animal
            )
        } else {
            format!(
                "no visit of cow {} to a box is on record then, and `{}` is no box on record",
                meal.animal, meal.place
            )
        },
        remedy: "read the visits of that time, and then this file again".into(),
        raw: meal.raw.clone(),
    };
    batch.refuse(&refusal)?;
    Ok(Some(refusal))
}

fn overwrite(
    batch: &mut Batch<'_>,
    line: u64,
    visit: &Found,
    (offered_kg, eaten_kg): (Option<f64>, Option<f64>),
) -> Result<Disposition> {
    let table = visits();
    let mut row = vec![Cell::Missing; table.columns.len()];
    row[0] = Cell::Text(visit.place.animal.clone());
    row[1] = Cell::Text(visit.place.milking_box.clone());
    row[2] = Cell::Time(instant(visit.place.started_ms, "started_at")?);
    row[3] = Cell::Time(instant(visit.ended_ms, "ended_at")?);
    row[OUTCOME] = visit.outcome.clone().map_or(Cell::Missing, Cell::Text);
    row[OFFERED] = offered_kg.map_or(Cell::Missing, Cell::Number);
    row[EATEN] = eaten_kg.map_or(Cell::Missing, Cell::Number);
    batch.row(line, &row)
}

const OUTCOME: usize = 5;
const OFFERED: usize = 41;
const EATEN: usize = 42;

/// Columns of visits that a meal can fill.
pub(crate) fn columns() -> Vec<usize> {
    vec![0, 1, 2, 3, OUTCOME, OFFERED, EATEN]
}

fn key(place: &Place) -> Result<String> {
    let at = instant(place.started_ms, "started_at")?;
    Ok(format!("{}\u{1f}{}\u{1f}{at}", place.animal, place.milking_box))
}

fn page(connection: &Connection, batch: i64, after: u64) -> Result<Vec<Kept>> {
    let mut some = connection.prepare_cached(
        "SELECT source, source_id, line, animal, started_at, ended_at, place, offered_kg, eaten_kg, deleted, raw,
                visit_animal, visit_box, visit_start
         FROM meal WHERE batch = ?1 AND ?2 < line ORDER BY line LIMIT ?3",
    )?;
    let mut rows = some.query(params![batch, after as i64, MEALS_AT_ONCE as i64])?;
    let mut page = Vec::new();
    while let Some(row) = rows.next()? {
        let before = match (row.get(11)?, row.get(12)?, row.get(13)?) {
            (Some(animal), Some(milking_box), Some(started_ms)) => {
                Some(Place { animal, milking_box, started_ms })
            }
            _ => None,
        };
        page.push(Kept {
            source: row.get(0)?,
            source_id: row.get(1)?,
            line: row.get::<_, i64>(2)?.unsigned_abs(),
            meal: Meal {
                animal: row.get(3)?,
                started_at: instant(row.get(4)?, "started_at")?,
                ended_at: instant(row.get(5)?, "ended_at")?,
                place: row.get(6)?,
                offered_kg: row.get(7)?,
                eaten_kg: row.get(8)?,
                raw: row.get(10)?,
            },
            deleted: row.get::<_, i64>(9)? != 0,
            before,
        });
    }
    Ok(page)
}

/// The visit of hers that shares most time with a meal; else a visit for feed only, where she ate in a box.
fn place_of(connection: &Connection, meal: &Meal) -> Result<Option<Found>> {
    let (from, until) = (meal.started_at.as_millisecond(), meal.ended_at.as_millisecond());
    let until = free_from(from, until);
    let mut own = connection.prepare_cached(
        "SELECT (SELECT name FROM box_name WHERE id = box), started_at, ended_at, outcome FROM visits
         WHERE day BETWEEN ?4 AND ?5 AND animal = (SELECT id FROM animal_name WHERE name = ?1)
           AND started_at < ?3 AND ?2 < max(ended_at, started_at + 1) AND stands = 1
         ORDER BY min(ended_at, ?3) - max(started_at, ?2) DESC, started_at LIMIT 1",
    )?;
    let days = (day_of(from - LONGEST_MS), day_of(until));
    let found = own
        .query_row(params![meal.animal, from, until, days.0, days.1], |row| {
            Ok(Found {
                place: Place {
                    animal: meal.animal.clone(),
                    milking_box: row.get(0)?,
                    started_ms: row.get(1)?,
                },
                ended_ms: row.get(2)?,
                outcome: row.get(3)?,
            })
        })
        .optional()?;
    if found.is_some() || meal.place.is_empty() {
        return Ok(found);
    }
    let is_box: bool = connection
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM box_name WHERE name = ?1)")?
        .query_row([&meal.place], |row| row.get(0))?;
    Ok(is_box.then(|| Found {
        place: Place { animal: meal.animal.clone(), milking_box: meal.place.clone(), started_ms: from },
        ended_ms: meal.ended_at.as_millisecond(),
        outcome: Some("fed".into()),
    }))
}

fn visit_at(connection: &Connection, place: &Place) -> Result<Option<Found>> {
    Ok(connection
        .prepare_cached(
            "SELECT ended_at, outcome FROM visits
             WHERE day = ?1 AND animal = (SELECT id FROM animal_name WHERE name = ?2) AND started_at = ?3
               AND box = (SELECT id FROM box_name WHERE name = ?4)",
        )?
        .query_row(
            params![day_of(place.started_ms), place.animal, place.started_ms, place.milking_box],
            |row| Ok(Found { place: place.clone(), ended_ms: row.get(0)?, outcome: row.get(1)? }),
        )
        .optional()?)
}

/// Offered and eaten, kg, over the meals of a visit, in the order of their names, and how many there are.
fn sums(connection: &Connection, place: &Place) -> Result<(Option<f64>, Option<f64>, i64)> {
    let mut own = connection.prepare_cached(
        "SELECT offered_kg, eaten_kg FROM meal
         WHERE visit_start = ?1 AND visit_animal = ?2 AND visit_box = ?3 AND deleted = 0 ORDER BY source, source_id",
    )?;
    let mut rows = own.query(params![place.started_ms, place.animal, place.milking_box])?;
    let (mut offered_kg, mut eaten_kg, mut meals) = (None, None, 0);
    while let Some(row) = rows.next()? {
        for (sum, own) in [(&mut offered_kg, 0), (&mut eaten_kg, 1)] {
            if let Some(own) = row.get::<_, Option<f64>>(own)? {
                *sum = Some(sum.unwrap_or(0.0) + own);
            }
        }
        meals += 1;
    }
    Ok((offered_kg, eaten_kg, meals))
}
