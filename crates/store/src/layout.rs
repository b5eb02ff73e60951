//! How a table of the contract lies in the file: SQL text made from its declaration, one way for all ten.

use std::fmt::Write;

use cowpath_core::tables::{Cell, Kind, Table};

/// How the cells of a column are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kept {
    /// Id of a herd number.
    Cow,
    /// Id of a box.
    Box,
    /// As written.
    Text,
    /// Milliseconds since 1970.
    Time,
    /// ISO text.
    Date,
    /// In the column's unit.
    Real,
    /// 1 or 0.
    Flag,
}

/// From when on a row is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Dated {
    /// From this instant, ms.
    At(i64),
    /// It bears no date and may concern any time.
    Undated,
    /// No state of a model rests on it.
    NoModel,
}

/// A table as it lies in the file.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub table: &'static Table,
    pub sql_name: String,
    pub kept: Vec<Kept>,
    /// Places of the key's columns.
    pub key: Vec<usize>,
    /// Whether rows of it may be set aside.
    pub stands: bool,
    /// Place of the column whose day rows are gathered by, cow by cow; see [`DAY_MS`].
    pub day_of: Option<usize>,
}

/// Tables that hold a herd's whole log (`visits`, `movement`) begin their key with the day in Greenwich, then the cow: a
/// cow's day lies on one page, a log still grows at its end, and no second index is needed for either way of reading.
pub(crate) const DAY_MS: i64 = 86_400_000;

/// The day an instant falls on, as the file counts days.
pub(crate) fn day_of(ms: i64) -> i64 {
    // As SQLite divides: towards zero.
    ms / DAY_MS
}

impl Layout {
    pub fn of(table: &'static Table) -> Layout {
        let kept = table
            .columns
            .iter()
            .map(|column| match (column.name, column.kind) {
                ("animal", _) => Kept::Cow,
                ("box", _) => Kept::Box,
                (_, Kind::Text | Kind::OfficialId | Kind::Words(_)) => Kept::Text,
                (_, Kind::Time) => Kept::Time,
                (_, Kind::Date) => Kept::Date,
                (_, Kind::Number { .. }) => Kept::Real,
                (_, Kind::Flag) => Kept::Flag,
            })
            .collect();
        Layout {
            table,
            sql_name: table.name.replace('-', "_"),
            kept,
            key: table.key.iter().filter_map(|column| table.index(column)).collect(),
            stands: table.name == "visits",
            day_of: match table.name {
                "visits" => table.index("started_at"),
                "movement" => table.index("from"),
                _ => None,
            },
        }
    }

    /// Whether a missing cell of the column is kept as '' (part of the key) rather than NULL.
    pub fn empty_is_text(&self, column: usize) -> bool {
        self.key.contains(&column) && matches!(self.kept[column], Kept::Text | Kept::Date)
    }

    /// Parameters: batch, line, print, then the given columns. Does nothing where the key exists.
    pub fn insert(&self, columns: &[usize]) -> String {
        self.write("INSERT INTO", columns) + " ON CONFLICT DO NOTHING"
    }

    /// The same, over the row of that key; parameter 4 is whether it stands, where the table knows that.
    pub fn overwrite(&self, columns: &[usize]) -> String {
        self.write("REPLACE INTO", columns)
    }

    fn write(&self, how: &str, columns: &[usize]) -> String {
        let mut names = String::from("batch, line, print");
        let mut values = String::from("?1, ?2, ?3");
        for (place, column) in columns.iter().enumerate() {
            let _ = write!(names, ", \"{}\"", self.table.columns[*column].name);
            let _ = write!(values, ", ?{}", place + 4);
        }
        if self.stands {
            names += ", stands";
            values += ", 1";
        }
        if let Some(time) = self.day_of.and_then(|time| columns.iter().position(|column| *column == time)) {
            names += ", day";
            let _ = write!(values, ", ?{} / {DAY_MS}", time + 4);
        }
        format!("{how} {} ({names}) VALUES ({values})", self.sql_name)
    }

    /// `print, batch, line, stands` of the row of a key; parameters are the key's columns.
    pub fn glance(&self) -> String {
        format!(
            "SELECT print, batch, line, {} FROM {} AS own WHERE {}",
            self.stand(),
            self.sql_name,
            self.of_key()
        )
    }

    /// All columns of the row of a key.
    pub fn fetch(&self) -> String {
        format!("SELECT {} FROM {} AS own WHERE {}", self.columns(), self.sql_name, self.of_key())
    }

    /// Takes the row of a key out; parameters are the key's columns.
    pub fn remove(&self) -> String {
        format!("DELETE FROM {} AS own WHERE {}", self.sql_name, self.of_key())
    }

    /// All columns in the order of the table, herd numbers and boxes by name.
    pub fn columns(&self) -> String {
        let mut list = String::new();
        for (place, column) in self.table.columns.iter().enumerate() {
            let comma = if place == 0 { "" } else { ", " };
            let _ = match self.kept[place] {
                Kept::Cow => {
                    write!(list, "{comma}(SELECT name FROM animal_name WHERE id = own.\"{}\")", column.name)
                }
                Kept::Box => {
                    write!(list, "{comma}(SELECT name FROM box_name WHERE id = own.\"{}\")", column.name)
                }
                _ => write!(list, "{comma}own.\"{}\"", column.name),
            };
        }
        list
    }

    fn stand(&self) -> &'static str {
        if self.stands { "stands" } else { "1" }
    }

    fn of_key(&self) -> String {
        let mut parts: Vec<String> = (self.key.iter().enumerate())
            .map(|(place, column)| format!("own.\"{}\" = ?{}", self.table.columns[*column].name, place + 1))
            .collect();
        if let Some(time) = self.day_of.and_then(|time| self.key.iter().position(|column| *column == time)) {
            parts.push(format!("own.day = ?{} / {DAY_MS}", time + 1));
        }
        parts.join(" AND ")
    }

    /// The column by which rows are asked for over a span of time.
    pub fn time_column(&self) -> Option<&'static str> {
        match self.table.name {
            "visits" => Some("started_at"),
            "movement" | "box-states" => Some("from"),
            "events" | "pushes" => Some("at"),
            "recordings" => Some("on"),
            "pickups" => Some("collected_at"),
            "bunk" => Some("delivered_at"),
            _ => None,
        }
    }

    /// From when on a row counts as known: a visit that has ended, a bin that has closed, an event dated by then.
    pub fn dated(&self, cells: &[Cell]) -> Dated {
        let time = |column: usize| cells.get(column).and_then(Cell::time).map(|at| at.as_millisecond());
        let at = match self.table.name {
            "visits" => time(3),
            "movement" => time(1).map(|from| {
                let minutes = cells.get(2).and_then(Cell::number).unwrap_or(0.0);
                from + (minutes * 60_000.0) as i64
            }),
            "events" => time(1),
            "pickups" => time(0),
            "box-states" => time(2),
            "animals" => day_begins(cells.get(5)),
            "recordings" => day_begins(cells.get(1)),
            // No model keeps a state that rests on these: they are read as they stand when they are asked for.
            _ => return Dated::NoModel,
        };
        at.map_or(Dated::Undated, Dated::At)
    }
}

/// First instant at which the day can have begun anywhere on earth, ms: 14 hours before it does in Greenwich.
fn day_begins(cell: Option<&Cell>) -> Option<i64> {
    let Some(Cell::Date(day)) = cell else { return None };
    let midnight = day.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?.timestamp().as_millisecond();
    Some(midnight - 14 * 3_600_000)
}
