//! What a log may hold: every table and column declared once, with unit, physical range and meaning.
//!
//! Readers, the store, the help and `docs/tables.md` are all driven by these declarations, so that a column is named in
//! one place. Files are told apart by their header: a table is the one whose `tells` columns all stand in it.

mod bunk;
mod conversion;
mod events;
mod feeds;
mod herd_list;
mod milk_records;
mod movement;
mod visits;

use jiff::{Timestamp, civil::Date};

pub use conversion::Conversion;
pub use events::EVENT_KINDS;
pub use movement::Bin;
pub use visits::{Destination, Outcome, QuarterVisit, Visit};

/// The unit a stored figure is in; the column's name ends in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// kg; a column may come as `_lb`.
    Kilograms,
    /// kg/min; a column may come as `_lb_min`.
    KilogramsPerMinute,
    /// °C; a column may come as `_f`.
    Celsius,
    /// s.
    Seconds,
    /// min.
    Minutes,
    /// mS/cm.
    MilliSiemensPerCm,
    /// Parts per million.
    PartsPerMillion,
    /// Per cent.
    Percent,
    /// Thousand cells (or colonies) a mL.
    ThousandPerMl,
    /// cm.
    Centimetres,
    /// Mcal a kg of dry matter.
    McalPerKg,
    /// The farm's money a tonne.
    MoneyPerTonne,
    /// A count, or the sensor's own unit.
    Own,
}

/// What a column's cells are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A name or number as text; never judged by its form.
    Text,
    /// 15 digits, ISO 11784.
    OfficialId,
    /// An instant: RFC 3339 with offset, or wall time of the farm's zone.
    Time,
    /// A calendar day, `2026-03-02`.
    Date,
    /// A figure within its physical range, both ends allowed.
    Number {
        /// Its unit.
        unit: Unit,
        /// Least value that can be real.
        low: f64,
        /// Greatest value that can be real.
        high: f64,
    },
    /// 1 or 0.
    Flag,
    /// One of these words.
    Words(&'static [&'static str]),
}

/// One column of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// As the header writes it.
    pub name: &'static str,
    /// What its cells are.
    pub kind: Kind,
    /// A row without it cannot be used, and a file without it is not this table.
    pub required: bool,
    /// One sentence.
    pub means: &'static str,
}

impl Column {
    /// The same column in the imperial units of the trade, if it may come so: `_kg` → `_lb`, `_kg_min` → `_lb_min`,
    /// `_c` → `_f`.
    pub fn imperial_name(&self) -> Option<String> {
        let Kind::Number { unit, .. } = self.kind else { return None };
        let (metric, imperial) = match unit {
            Unit::Kilograms => ("kg", "lb"),
            Unit::KilogramsPerMinute => ("kg_min", "lb_min"),
            Unit::Celsius => ("c", "f"),
            _ => return None,
        };
        let stem = self.name.strip_suffix(metric)?;
        (stem.is_empty() || stem.ends_with('_')).then(|| format!("{stem}{imperial}"))
    }
}

/// One table of the contract.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    /// As the import's answer names it.
    pub name: &'static str,
    /// What one row is.
    pub row_is: &'static str,
    /// Its columns, in the order every row of cells uses.
    pub columns: &'static [Column],
    /// Columns that make a row the same row when it is read again.
    pub key: &'static [&'static str],
    /// A header that holds all of these is this table's; of several the one with most columns known.
    pub tells: &'static [&'static str],
    /// What the columns of one row must be to each other.
    pub agrees: fn(&[Cell]) -> Result<(), Disagreement>,
}

impl Table {
    /// Place of a column in the table's order.
    pub fn index(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|own| own.name == column)
    }

    /// Which column a header word names, and how its figures become the column's unit: its own name, its imperial
    /// spelling, or `milk_l` for the `milk_kg` of the tank.
    pub fn spelling(&self, header: &str) -> Option<(usize, Conversion)> {
        if let Some(index) = self.index(header) {
            return Some((index, Conversion::Same));
        }
        if self.name == "pickups" && header == "milk_l" {
            return Some((self.index("milk_kg")?, Conversion::LitresOfMilk));
        }
        self.columns.iter().enumerate().find_map(|(index, column)| {
            (column.imperial_name()? == header).then_some((
                index,
                if header.ends_with('f') { Conversion::Fahrenheit } else { Conversion::Pounds },
            ))
        })
    }
}

/// Why a row's cells contradict each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// The column to look at first.
    pub column: &'static str,
    /// What is wrong, in words.
    pub reason: String,
    /// What to do about it.
    pub remedy: String,
}

/// One cell of a row, typed and in the column's own unit.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Cell {
    /// Not measured: never zero, never a default.
    #[default]
    Missing,
    /// Text, official number or one of a column's words.
    Text(String),
    /// A figure.
    Number(f64),
    /// An instant, to the millisecond.
    Time(Timestamp),
    /// A calendar day.
    Date(Date),
    /// 1 or 0.
    Flag(bool),
}

impl Cell {
    /// The figure, if it is one.
    pub fn number(&self) -> Option<f64> {
        if let Cell::Number(value) = self { Some(*value) } else { None }
    }
    /// The instant, if it is one.
    pub fn time(&self) -> Option<Timestamp> {
        if let Cell::Time(value) = self { Some(*value) } else { None }
    }
    /// The text, if it is text.
    pub fn text(&self) -> Option<&str> {
        if let Cell::Text(value) = self { Some(value) } else { None }
    }
    /// Whether nothing was measured.
    pub fn is_missing(&self) -> bool {
        matches!(self, Cell::Missing)
    }
}

/// Every table of the contract, in the order the docs list them.
pub const TABLES: [&Table; 10] = [
    &visits::VISITS,
    &movement::MOVEMENT,
    &herd_list::ANIMALS,
    &events::EVENTS,
    &milk_records::RECORDINGS,
    &milk_records::PICKUPS,
    &milk_records::BOX_STATES,
    &feeds::FEEDS,
    &bunk::BUNK,
    &bunk::PUSHES,
];

/// The table of a name.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.into_iter().find(|table| table.name == name)
}

/// What a table's rows must agree on when nothing is asked of them together.
fn anything(_: &[Cell]) -> Result<(), Disagreement> {
    Ok(())
}

const fn text(name: &'static str, required: bool, means: &'static str) -> Column {
    Column { name, kind: Kind::Text, required, means }
}

const fn time(name: &'static str, required: bool, means: &'static str) -> Column {
    Column { name, kind: Kind::Time, required, means }
}

const fn date(name: &'static str, required: bool, means: &'static str) -> Column {
    Column { name, kind: Kind::Date, required, means }
}

const fn figure(name: &'static str, unit: Unit, low: f64, high: f64, means: &'static str) -> Column {
    Column { name, kind: Kind::Number { unit, low, high }, required: false, means }
}

const fn required(column: Column) -> Column {
    Column { required: true, ..column }
}

const fn flag(name: &'static str, means: &'static str) -> Column {
    Column { name, kind: Kind::Flag, required: false, means }
}

const fn words(
    name: &'static str,
    required: bool,
    words: &'static [&'static str],
    means: &'static str,
) -> Column {
    Column { name, kind: Kind::Words(words), required, means }
}

/// Seconds from `from` to `to` of one row, if both are there.
fn span_s(cells: &[Cell], from: usize, to: usize) -> Option<f64> {
    Some(crate::time::seconds_between(cells.get(from)?.time()?, cells.get(to)?.time()?))
}
