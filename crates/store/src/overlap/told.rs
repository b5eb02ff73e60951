//! Visits that are set aside, told as entries of the quarantine: which, of which file, and by which visit.

use jiff::tz::TimeZone;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::LONGEST_MS;
use crate::{
    batch::Displaced,
    cells,
    error::Result,
    layout::{Layout, day_of},
    quarantine::Quarantined,
};

/// Visits set aside now, and those read again and set aside still, in order of time; each by (animal, started_at, box).
pub(crate) fn list(
    connection: &Connection,
    batch: i64,
    set_aside: &[(i64, i64, i64)],
    still_aside: &[(i64, i64, i64)],
) -> Result<Vec<Displaced>> {
    let layout = visits();
    let select = select(&layout, "own.day = ?1 AND own.animal = ?2 AND own.started_at = ?3 AND own.box = ?4");
    let mut one = connection.prepare_cached(&select)?;
    let mut told = Vec::with_capacity(set_aside.len() + still_aside.len());
    let again = still_aside.iter().map(|key| (key, true));
    for ((cow, started_ms, milking_box), again) in set_aside.iter().map(|key| (key, false)).chain(again) {
        let mut rows = one.query([day_of(*started_ms), *cow, *started_ms, *milking_box])?;
        if let Some(row) = rows.next()? {
            let read_now = again || row.get::<_, i64>(4)? == batch;
            told.push(((*started_ms, *cow), Displaced { row: tell(connection, &layout, row)?, read_now }));
        }
    }
    told.sort_by(|a, b| (a.0, &a.1.row.raw).cmp(&(b.0, &b.1.row.raw)));
    Ok(told.into_iter().map(|(_, displaced)| displaced).collect())
}

/// A page of all visits that are set aside, in order of time.
pub(crate) fn aside(connection: &Connection, skip: u64, most: u64) -> Result<Vec<Quarantined>> {
    let layout = visits();
    let select = select(&layout, "own.stands = 0")
        + " ORDER BY own.started_at, own.animal, own.box LIMIT ?1 OFFSET ?2";
    let mut all = connection.prepare_cached(&select)?;
    let mut rows = all.query(params![most as i64, skip as i64])?;
    let mut told = Vec::new();
    while let Some(row) = rows.next()? {
        told.push(tell(connection, &layout, row)?);
    }
    Ok(told)
}

fn visits() -> Layout {
    Layout::of(cowpath_core::tables::TABLES[0])
}

fn select(layout: &Layout, condition: &str) -> String {
    format!(
        "SELECT b.file, b.zone, own.line, own.animal, own.batch, {} FROM visits AS own JOIN batch AS b ON b.id = own.batch
         WHERE {condition}",
        layout.columns()
    )
}

fn tell(connection: &Connection, layout: &Layout, row: &Row<'_>) -> Result<Quarantined> {
    let zone: String = row.get(1)?;
    let cow: i64 = row.get(3)?;
    let visit = cells::read(row, 5, layout)?;
    let started_ms = visit[2].time().map_or(0, |at| at.as_millisecond());
    let earliest = started_ms - LONGEST_MS;
    let by = connection
        .prepare_cached(
            "SELECT (SELECT name FROM box_name WHERE id = box), started_at, ended_at FROM visits
             WHERE day IN (?4, ?5) AND animal = ?1 AND started_at BETWEEN ?2 AND ?3 AND stands = 1
             ORDER BY started_at DESC LIMIT 1",
        )?
        .query_row([cow, earliest, started_ms, day_of(earliest), day_of(started_ms)], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?, row.get::<_, i64>(2)?))
        })
        .optional()?;
    let reason = match by {
        Some((name, from, to)) => format!(
            "she was in box {name} from {} to {}, by a visit that began earlier",
            local(from, &zone)?,
            local(to, &zone)?
        ),
        None => "she was elsewhere at that time".to_owned(),
    };
    let line: i64 = row.get(2)?;
    Ok(Quarantined {
        entry: None,
        file: row.get(0)?,
        table: layout.table.name.to_owned(),
        line: line.unsigned_abs(),
        column: "started_at".into(),
        value: local(started_ms, &zone)?,
        reason,
        remedy: "look which of the two visits is hers, or whether a box's clock is wrong; mend the row and read it again"
            .into(),
        raw: cells::as_line(layout.table, &visit),
        mended: false,
    })
}

/// Wall time with its offset, in the zone the file was read in.
fn local(ms: i64, zone: &str) -> Result<String> {
    let at = cells::instant(ms, "started_at")?;
    let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
    Ok(at.to_zoned_datetime(zone).strftime("%Y-%m-%dT%H:%M:%S%.f%:z").to_string())
}
