//! Who and where: herd numbers, boxes, the herd list, events, and rows of any table as cells.

use std::{collections::BTreeMap, ops::Range};

use cowpath_core::{
    herd::{AnimalRow, EventRow, Quarter},
    tables::{Cell, Table, table},
};
use jiff::Timestamp;
use rusqlite::{
    Row, params_from_iter,
    types::{Value, ValueRef},
};

use crate::{
    cells,
    error::{Result, StoreError},
    farm::Farm,
    layout::{Kept, Layout, day_of},
    names,
};

/// Events of a herd number that room is made for at once: of a year or two.
const USUAL_EVENTS: usize = 24;

impl Farm {
    /// Every herd number that occurs in any row, in the order of its bytes.
    pub fn numbers(&self) -> Result<Vec<String>> {
        names::sorted(&self.connection, "animal_name")
    }

    /// Every box that occurs in any row, in the order of its bytes; a `BoxKey` is the place in this list.
    pub fn boxes(&self) -> Result<Vec<String>> {
        let boxes = names::sorted(&self.connection, "box_name")?;
        let most = usize::from(u16::MAX);
        if most < boxes.len() {
            return Err(StoreError::TooMany { what: "boxes", most });
        }
        Ok(boxes)
    }

    /// Rows of the herd list.
    pub fn animal_rows(&self) -> Result<Vec<AnimalRow>> {
        let mut animals = Vec::new();
        self.each_row("animals", None, None, &mut |row| {
            animals.push(AnimalRow {
                animal: cell_text(&row[0]).unwrap_or_default(),
                official_id: cell_text(&row[1]),
                born_on: cell_date(&row[2]),
                breed: cell_text(&row[3]),
                parity: row[4].number().map(|parity| parity as u8),
                calved_on: cell_date(&row[5]),
                pen: cell_text(&row[6]),
            });
        })?;
        Ok(animals)
    }

    /// All events, in order of time.
    pub fn event_rows(&self) -> Result<Vec<EventRow>> {
        let mut events: Vec<EventRow> = self.events_by_number((0, 1))?.into_values().flatten().collect();
        // Of one time in order of number, as they come.
        events.sort_by_key(|event| event.at);
        Ok(events)
    }

    /// Events by herd number, each number's in order of time, of the `.0`th of `.1` parts of the herd numbers; a number is in one
    /// part and stays there. A herd has tens of thousands: only what is asked of them is read, and no cell is made.
    pub fn events_by_number(&self, part: (u32, u32)) -> Result<BTreeMap<String, Vec<EventRow>>> {
        let named = names::ids(&self.connection, "animal_name")?;
        // By id first: there are few numbers, and many rows.
        let ids = named.last().map_or(0, |(id, _)| *id as usize + 1);
        let mut names = vec![String::new(); ids];
        for (id, name) in named {
            names[id as usize] = name;
        }
        let mut by_id: Vec<Vec<EventRow>> = vec![Vec::new(); ids];
        let mut all = self.connection.prepare_cached(
            "SELECT animal, at, kind, quarter, detail, value, until, note FROM events WHERE animal % ?2 = ?1
             ORDER BY at, animal, kind, quarter, detail",
        )?;
        let mut rows = all.query([part.0, part.1])?;
        while let Some(row) = rows.next()? {
            let text = |place: usize| -> Result<Option<String>> {
                let text = match row.get_ref(place)? {
                    ValueRef::Text(b"") => None,
                    ValueRef::Text(text) => Some(text),
                    _ => None,
                };
                let owned = text.map(|text| std::str::from_utf8(text).map(str::to_owned)).transpose();
                owned.map_err(|error| StoreError::Stored { what: "events", detail: error.to_string() })
            };
            let id = row.get::<_, i64>(0)? as usize;
            let Some((name, hers)) = names.get(id).zip(by_id.get_mut(id)) else {
                let detail = format!("there is no herd number {id}");
                return Err(StoreError::Stored { what: "events", detail });
            };
            let event = EventRow {
                animal: name.clone(),
                at: cells::instant(row.get(1)?, "at")?,
                kind: text(2)?.unwrap_or_default(),
                quarter: text(3)?.as_deref().and_then(Quarter::from_code),
                detail: text(4)?,
                value: row.get(5)?,
                until: row.get::<_, Option<i64>>(6)?.map(|ms| cells::instant(ms, "until")).transpose()?,
                note: text(7)?,
            };
            if hers.is_empty() {
                hers.reserve(USUAL_EVENTS);
            }
            hers.push(event);
        }
        Ok(names.into_iter().zip(by_id).filter(|(_, events)| !events.is_empty()).collect())
    }

    /// Rows of any table as cells in the table's order, in order of time (where it has one) and key, over a span of the
    /// table's time `[from, to)` and of one herd number if asked for. Of visits those that stand. For days (`recordings`)
    /// the span is of days in Greenwich that begin in it.
    pub fn rows(
        &self,
        table: &'static Table,
        span: Option<Range<Timestamp>>,
        animal: Option<&str>,
    ) -> Result<Vec<Vec<Cell>>> {
        let mut rows = Vec::new();
        self.each_row(table.name, span, animal, &mut |row| rows.push(row))?;
        Ok(rows)
    }

    fn each_row(
        &self,
        name: &str,
        span: Option<Range<Timestamp>>,
        animal: Option<&str>,
        take: &mut dyn FnMut(Vec<Cell>),
    ) -> Result<()> {
        self.each(name, span, animal, &mut |row, layout| {
            take(cells::read(row, 0, layout)?);
            Ok(())
        })
    }

    /// Rows as the file has them, columns in the table's order.
    fn each(
        &self,
        name: &str,
        span: Option<Range<Timestamp>>,
        animal: Option<&str>,
        take: &mut dyn FnMut(&Row<'_>, &Layout) -> Result<()>,
    ) -> Result<()> {
        let Some(table) = table(name) else { return Ok(()) };
        let layout = Layout::of(table);
        let mut conditions = Vec::new();
        let mut values: Vec<Value> = Vec::new();
        let mut from = format!("{} AS own", layout.sql_name);
        let mut with = String::new();
        if layout.day_of.is_some() {
            let all = Timestamp::MIN..Timestamp::MAX;
            let (first, last) = self.days_of(&layout, span.as_ref().unwrap_or(&all))?;
            values.extend([Value::Integer(first), Value::Integer(last)]);
            if animal.is_some() {
                with =
                    "WITH RECURSIVE d (day) AS (VALUES (?1) UNION ALL SELECT day + 1 FROM d WHERE day < ?2) "
                        .into();
                from = format!("d CROSS JOIN {from}");
                conditions.push("own.day = d.day".to_owned());
            } else {
                conditions.push("own.day BETWEEN ?1 AND ?2".to_owned());
            }
        }
        let time = layout.time_column();
        if let (Some(span), Some(column)) = (span, time) {
            let is_day = table.index(column).is_some_and(|place| layout.kept[place] == Kept::Date);
            for (end, sign) in [(span.start, ">="), (span.end, "<")] {
                values.push(if is_day {
                    Value::Text(jiff::tz::TimeZone::UTC.to_datetime(end).date().to_string())
                } else {
                    Value::Integer(end.as_millisecond())
                });
                conditions.push(format!("own.\"{column}\" {sign} ?{}", values.len()));
            }
        }
        if let (Some(animal), Some(_)) = (animal, table.index("animal")) {
            values.push(Value::Text(animal.to_owned()));
            conditions
                .push(format!("own.animal = (SELECT id FROM animal_name WHERE name = ?{})", values.len()));
        }
        if layout.stands {
            conditions.push("own.stands = 1".into());
        }
        let mut select = format!("{with}SELECT {} FROM {from}", layout.columns());
        if !conditions.is_empty() {
            select += &format!(" WHERE {}", conditions.join(" AND "));
        }
        // By name and not by id: ids tell in which order files were read.
        let by = time.iter().map(|column| format!("own.\"{column}\"")).chain(
            layout
                .key
                .iter()
                .filter(|place| Some(table.columns[**place].name) != time)
                .map(|place| (place + 1).to_string()),
        );
        select += &format!(" ORDER BY {}", by.collect::<Vec<_>>().join(", "));
        let mut statement = self.connection.prepare(&select)?;
        let mut rows = statement.query(params_from_iter(values))?;
        while let Some(row) = rows.next()? {
            take(row, &layout)?;
        }
        Ok(())
    }

    /// First and last day, as the file counts them, that a span shares with the rows of a table.
    pub(crate) fn days_of(&self, layout: &Layout, span: &Range<Timestamp>) -> Result<(i64, i64)> {
        let select =
            format!("SELECT (SELECT min(day) FROM {0}), (SELECT max(day) FROM {0})", layout.sql_name);
        let mut ends = self.connection.prepare_cached(&select)?;
        let (first, last): (Option<i64>, Option<i64>) =
            ends.query_row([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let (from, until) = (day_of(span.start.as_millisecond()), day_of(span.end.as_millisecond()));
        Ok((first.map_or(until, |first| first.max(from)), last.map_or(until, |last| last.min(until))))
    }

    /// Time of the newest row: the end of a visit, of a bin, of a box's state, or the time of an event or pickup.
    pub fn last_row_at(&self) -> Result<Option<Timestamp>> {
        self.last_row_by(Timestamp::MAX)
    }

    /// Time of the newest row that was known at a time, as [`Farm::last_row_at`] tells it of all rows.
    pub fn last_row_by(&self, at: Timestamp) -> Result<Option<Timestamp>> {
        // Rows lie by the day they began. One that had ended and began on an earlier day than the day before the last
        // begun one's ended before that.
        let last: Option<i64> = self.connection.query_row(
            "SELECT max(at) FROM (
                SELECT max(ended_at) AS at FROM visits
                    WHERE stands = 1 AND ended_at <= ?1 AND day >=
                        (SELECT day FROM visits WHERE stands = 1 AND day <= ?2 AND ended_at <= ?1
                         ORDER BY day DESC LIMIT 1) - 1
                UNION ALL SELECT max(\"from\" + CAST(minutes * 60000 AS INTEGER)) FROM movement
                    WHERE \"from\" + CAST(minutes * 60000 AS INTEGER) <= ?1 AND day >=
                        (SELECT day FROM movement
                         WHERE day <= ?2 AND \"from\" + CAST(minutes * 60000 AS INTEGER) <= ?1
                         ORDER BY day DESC LIMIT 1) - 1
                UNION ALL SELECT max(at) FROM events WHERE at <= ?1
                UNION ALL SELECT max(\"to\") FROM box_states WHERE \"to\" <= ?1
                UNION ALL SELECT max(collected_at) FROM pickups WHERE collected_at <= ?1)",
            [at.as_millisecond(), day_of(at.as_millisecond())],
            |row| row.get(0),
        )?;
        last.map(|at| cells::instant(at, "the newest row")).transpose()
    }

    /// Time of the oldest row: the start of a visit, bin or box's state, or the time of a pickup. Events are left out:
    /// a calving years before the first log does not make the logs older.
    pub fn first_row_at(&self) -> Result<Option<Timestamp>> {
        let first: Option<i64> = self.connection.query_row(
            "SELECT min(at) FROM (
                SELECT min(started_at) AS at FROM visits
                    WHERE stands = 1 AND day = (SELECT min(day) FROM visits WHERE stands = 1)
                UNION ALL SELECT min(\"from\") FROM movement WHERE day = (SELECT min(day) FROM movement)
                UNION ALL SELECT min(\"from\") FROM box_states
                UNION ALL SELECT min(collected_at) FROM pickups)",
            [],
            |row| row.get(0),
        )?;
        first.map(|at| cells::instant(at, "the oldest row")).transpose()
    }

    /// Rows kept of each table, by its name; of visits also those set aside.
    pub fn row_counts(&self) -> Result<BTreeMap<&'static str, u64>> {
        let mut counts = BTreeMap::new();
        for table in cowpath_core::tables::TABLES {
            let select = format!("SELECT count(*) FROM {}", Layout::of(table).sql_name);
            let rows: i64 = self.connection.query_row(&select, [], |row| row.get(0))?;
            counts.insert(table.name, rows.unsigned_abs());
        }
        Ok(counts)
    }
}

fn cell_text(cell: &Cell) -> Option<String> {
    cell.text().map(str::to_owned)
}

fn cell_date(cell: &Cell) -> Option<jiff::civil::Date> {
    if let Cell::Date(day) = cell { Some(*day) } else { None }
}
