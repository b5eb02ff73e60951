//! Is the farm's file whole, and do its sums agree?
//!
//! What is broken and what is only worth naming are told apart: a file is broken if SQLite finds damage, a reference
//! leads nowhere, a batch's sums do not add up or rows are missing, or a cow stands in two boxes at once. Quarters that
//! do not add up to the whole udder, and two cows in one box, are what the logs say: they are named.

use std::{collections::BTreeMap, ops::ControlFlow};

use cowpath_core::tables::{TABLES, Visit};
use jiff::Timestamp;
use rusqlite::{Connection, params};

use crate::{error::Result, farm::Farm, layout::Layout};

/// Share of the whole udder's milk by which its quarters may differ before it is named.
const UDDER_SHARE: f64 = 0.10;
/// And the least difference that is named, kg.
const UDDER_KG: f64 = 0.5;

/// What kind of finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// SQLite finds the file damaged.
    Damage,
    /// A row names a batch, cow or box that is not there.
    Reference,
    /// Rows read of a batch are not the sum of new, same, replaced and quarantined.
    Sums,
    /// Rows that a batch brought are not there, or there are more than it brought.
    Rows,
    /// A cow stands in two boxes at once.
    TwoPlaces,
    /// Quarters and whole udder differ by more than 10 % and 0.5 kg. Named only.
    Quarters,
    /// Two cows stood in one box at once. Named only.
    SharedBox,
}

impl FaultKind {
    /// The file is broken; otherwise it is only worth knowing.
    pub fn is_broken(self) -> bool {
        !matches!(self, FaultKind::Quarters | FaultKind::SharedBox)
    }
}

/// One kind of finding at one place.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Fault {
    /// What kind.
    pub kind: FaultKind,
    /// Where: a table, a batch, a box, a cow.
    pub place: String,
    /// How often it was found there.
    pub times: u64,
    /// What was found, in a sentence without a full stop; of several the first.
    pub says: String,
}

impl Farm {
    /// Looks through the whole file. Empty: nothing found. [`FaultKind::is_broken`] tells damage from what is only
    /// named. Takes a few seconds for years of logs, and blocks nobody.
    pub fn check(&self) -> Result<Vec<Fault>> {
        self.at_one_state(|farm| {
            let mut faults = damage(&farm.connection)?;
            references(&farm.connection, &mut faults)?;
            sums(&farm.connection, &mut faults)?;
            for table in TABLES {
                rows(&farm.connection, &Layout::of(table), &mut faults)?;
            }
            stays(farm, &mut faults)?;
            Ok(faults)
        })
    }
}

/// What SQLite itself finds.
pub(crate) fn damage(connection: &Connection) -> Result<Vec<Fault>> {
    let mut statement = connection.prepare("PRAGMA integrity_check(20)")?;
    let lines =
        statement.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    Ok(lines
        .into_iter()
        .filter(|line| line != "ok")
        .map(|line| Fault { kind: FaultKind::Damage, place: "file".into(), times: 1, says: line })
        .collect())
}

fn references(connection: &Connection, faults: &mut Vec<Fault>) -> Result<()> {
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    let mut found: BTreeMap<(String, String), u64> = BTreeMap::new();
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        *found.entry((row.get(0)?, row.get(2)?)).or_default() += 1;
    }
    faults.extend(found.into_iter().map(|((table, parent), times)| Fault {
        kind: FaultKind::Reference,
        says: format!("rows name an entry of {parent} that is not there"),
        place: table,
        times,
    }));
    Ok(())
}

fn sums(connection: &Connection, faults: &mut Vec<Fault>) -> Result<()> {
    let mut statement = connection.prepare(
        "SELECT id, file, rows_read, rows_new + rows_same + rows_replaced + rows_refused + rows_overlapping,
                rows_refused, (SELECT count(*) FROM quarantine_seen WHERE batch = b.id)
         FROM batch AS b ORDER BY id",
    )?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let (batch, file): (i64, String) = (row.get(0)?, row.get(1)?);
        let (read, added_up, refused, seen): (i64, i64, i64, i64) =
            (row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?);
        let place = format!("batch {batch}, {file}");
        if read != added_up {
            let says = format!("{read} rows were read, and what became of them adds up to {added_up}");
            faults.push(Fault { kind: FaultKind::Sums, place: place.clone(), times: 1, says });
        }
        if refused != seen {
            let says = format!("{refused} rows were not usable, and {seen} are in quarantine");
            faults.push(Fault { kind: FaultKind::Sums, place, times: 1, says });
        }
    }
    Ok(())
}

/// Every row a batch ever wrote is in its table or in the history.
fn rows(connection: &Connection, layout: &Layout, faults: &mut Vec<Fault>) -> Result<()> {
    let mut found: BTreeMap<i64, i64> = BTreeMap::new();
    let counts = [
        format!("SELECT batch, count(*) FROM {} GROUP BY batch", layout.sql_name),
        format!(
            "SELECT batch, count(*) FROM history WHERE table_name = '{}' GROUP BY batch",
            layout.table.name
        ),
    ];
    for select in counts {
        let mut statement = connection.prepare(&select)?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            *found.entry(row.get(0)?).or_default() += row.get::<_, i64>(1)?;
        }
    }
    let mut statement =
        connection.prepare("SELECT id, file, rows_added + rows_changed FROM batch WHERE table_name = ?1")?;
    let mut rows = statement.query(params![layout.table.name])?;
    let mut told = |place: String, wrote: i64, are: i64| {
        let says = format!("{wrote} rows were written, and {are} are there or in the history");
        faults.push(Fault { kind: FaultKind::Rows, place, times: wrote.abs_diff(are), says });
    };
    while let Some(row) = rows.next()? {
        let (batch, file, wrote): (i64, String, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let are = found.remove(&batch).unwrap_or(0);
        if wrote != are {
            told(format!("batch {batch}, {file}"), wrote, are);
        }
    }
    for (batch, are) in found {
        told(format!("batch {batch}, {}", layout.table.name), 0, are);
    }
    Ok(())
}

/// One pass over all standing visits: who stood where when, and do quarters add up?
fn stays(farm: &Farm, faults: &mut Vec<Fault>) -> Result<()> {
    let (numbers, boxes) = (farm.numbers()?, farm.boxes()?);
    let mut cow_until: Vec<Option<Timestamp>> = vec![None; numbers.len()];
    let mut box_until: Vec<Option<(Timestamp, u32)>> = vec![None; boxes.len()];
    let mut found: BTreeMap<(FaultKind, String), (u64, String)> = BTreeMap::new();
    let mut note = |kind: FaultKind, place: String, says: &dyn Fn() -> String| {
        found.entry((kind, place)).and_modify(|(times, _)| *times += 1).or_insert_with(|| (1, says()));
    };
    let number = |cow: u32| numbers.get(cow as usize).map_or("a cow without a number", String::as_str);
    farm.visits(Timestamp::MIN..Timestamp::MAX, &mut |cow, visit| {
        let name = boxes.get(usize::from(visit.at_box.0)).map_or("without a name", String::as_str);
        let at = visit.started_at;
        if let Some(until) = cow_until.get_mut(cow as usize) {
            if until.is_some_and(|until| at < until) {
                let says = || format!("in box {name} at {at} she had not left the box before");
                note(FaultKind::TwoPlaces, format!("cow {}", number(cow)), &says);
            }
            *until = (*until).max(Some(visit.ended_at));
        }
        if let Some(last) = box_until.get_mut(usize::from(visit.at_box.0)) {
            if let Some((_, other)) = last.filter(|(until, other)| at < *until && *other != cow) {
                let says =
                    || format!("cow {} went in at {at} before cow {} was out", number(cow), number(other));
                note(FaultKind::SharedBox, format!("box {name}"), &says);
            }
            if last.is_none_or(|(until, _)| until < visit.ended_at) {
                *last = Some((visit.ended_at, cow));
            }
        }
        if let Some((quarters_kg, udder_kg)) = udder_differs(visit) {
            let says = || {
                format!(
                    "cow {} at {at}: quarters give {quarters_kg:.2} kg, the whole udder {udder_kg:.2} kg",
                    number(cow)
                )
            };
            note(FaultKind::Quarters, format!("box {name}"), &says);
        }
        ControlFlow::Continue(())
    })?;
    faults.extend(found.into_iter().map(|((kind, place), (times, says))| Fault { kind, place, times, says }));
    Ok(())
}

/// Milk of the quarters and of the whole udder, kg, where they differ by more than both limits. Quarters that were not
/// measured may explain that the sum is smaller, not that it is greater.
fn udder_differs(visit: &Visit) -> Option<(f64, f64)> {
    let udder_kg = visit.milk_kg?;
    let measured: Vec<f64> = visit.quarters.iter().filter_map(|quarter| quarter.milk_kg).collect();
    let quarters_kg: f64 = measured.iter().sum();
    let limit_kg = (UDDER_SHARE * udder_kg).max(UDDER_KG);
    let beyond =
        limit_kg < quarters_kg - udder_kg || (measured.len() == 4 && limit_kg < udder_kg - quarters_kg);
    (!measured.is_empty() && beyond).then_some((quarters_kg, udder_kg))
}
