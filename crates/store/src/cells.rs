//! Cells on their way into the file and out of it, and the fingerprint that tells a changed row from the same one.

use std::fmt::Write;

use cowpath_core::tables::{Cell, Table};
use jiff::{Timestamp, civil::Date};
use rusqlite::{Row, Statement, types::ValueRef};

use crate::{
    error::{Result, StoreError},
    layout::{Kept, Layout},
    names::Names,
};

/// Sets one parameter of a statement to a cell.
pub(crate) fn bind(
    statement: &mut Statement<'_>,
    parameter: usize,
    layout: &Layout,
    column: usize,
    cell: &Cell,
    names: &mut Names<'_>,
) -> Result<()> {
    match cell {
        Cell::Missing if layout.empty_is_text(column) => statement.raw_bind_parameter(parameter, "")?,
        Cell::Missing => statement.raw_bind_parameter(parameter, rusqlite::types::Null)?,
        Cell::Text(text) => match layout.kept[column] {
            Kept::Cow => statement.raw_bind_parameter(parameter, names.cow(text)?)?,
            Kept::Box => statement.raw_bind_parameter(parameter, names.milking_box(text)?)?,
            _ => statement.raw_bind_parameter(parameter, text.as_str())?,
        },
        Cell::Number(figure) => statement.raw_bind_parameter(parameter, *figure)?,
        Cell::Time(at) => statement.raw_bind_parameter(parameter, at.as_millisecond())?,
        Cell::Date(day) => statement.raw_bind_parameter(parameter, day.to_string())?,
        Cell::Flag(flag) => statement.raw_bind_parameter(parameter, i64::from(*flag))?,
    }
    Ok(())
}

/// Reads the columns of a table from a row, the first of them at `first`.
pub(crate) fn read(row: &Row<'_>, first: usize, layout: &Layout) -> Result<Vec<Cell>> {
    (0..layout.kept.len()).map(|column| read_one(row.get_ref(first + column)?, layout, column)).collect()
}

fn read_one(value: ValueRef<'_>, layout: &Layout, column: usize) -> Result<Cell> {
    let what = layout.table.columns[column].name;
    let stored = |detail: String| StoreError::Stored { what, detail };
    Ok(match (layout.kept[column], value) {
        (_, ValueRef::Null) => Cell::Missing,
        (Kept::Text | Kept::Date, ValueRef::Text(b"")) => Cell::Missing,
        (Kept::Cow | Kept::Box | Kept::Text, ValueRef::Text(text)) => {
            Cell::Text(std::str::from_utf8(text).map_err(|error| stored(error.to_string()))?.to_owned())
        }
        (Kept::Date, ValueRef::Text(text)) => {
            let text = std::str::from_utf8(text).map_err(|error| stored(error.to_string()))?;
            Cell::Date(text.parse::<Date>().map_err(|error| stored(error.to_string()))?)
        }
        (Kept::Time, ValueRef::Integer(ms)) => Cell::Time(instant(ms, what)?),
        (Kept::Flag, ValueRef::Integer(flag)) => Cell::Flag(flag != 0),
        (Kept::Real, ValueRef::Real(figure)) => Cell::Number(figure),
        (kept, value) => return Err(stored(format!("{:?} where {kept:?} was expected", value.data_type()))),
    })
}

/// An instant from the file.
pub(crate) fn instant(ms: i64, what: &'static str) -> Result<Timestamp> {
    Timestamp::from_millisecond(ms).map_err(|error| StoreError::Stored { what, detail: error.to_string() })
}

/// Fingerprint of a row's cells, the same on every machine and in every version: a fold of 64-bit words by 128-bit
/// multiplication. Two different rows of one key share it by chance once in 2⁶⁴.
pub(crate) fn print(cells: &[Cell]) -> u64 {
    let mut state = 0x9E37_79B9_7F4A_7C15;
    for cell in cells {
        match cell {
            Cell::Missing => state = fold(state, 1),
            Cell::Text(text) => {
                state = fold(state, 2 | (text.len() as u64) << 3);
                for chunk in text.as_bytes().chunks(8) {
                    let mut word = [0; 8];
                    word[..chunk.len()].copy_from_slice(chunk);
                    state = fold(state, u64::from_le_bytes(word));
                }
            }
            // Minus zero is zero.
            Cell::Number(figure) => state = fold(fold(state, 3), (figure + 0.0).to_bits()),
            Cell::Time(at) => state = fold(fold(state, 4), at.as_millisecond() as u64),
            Cell::Date(day) => {
                let day =
                    i64::from(day.year()) * 10_000 + i64::from(day.month()) * 100 + i64::from(day.day());
                state = fold(fold(state, 5), day as u64);
            }
            Cell::Flag(flag) => state = fold(state, 6 | u64::from(*flag) << 3),
        }
    }
    state
}

fn fold(state: u64, word: u64) -> u64 {
    let product = u128::from(state ^ word ^ 0xA076_1D64_78BD_642F) * 0xE703_7ED1_A0B4_28DB;
    (product as u64) ^ (product >> 64) as u64 ^ state.rotate_left(23)
}

/// A cell as text; '' where nothing was measured.
pub(crate) fn words(cell: &Cell) -> String {
    match cell {
        Cell::Missing => String::new(),
        Cell::Text(text) => text.clone(),
        Cell::Number(figure) => figure.to_string(),
        Cell::Time(at) => at.to_string(),
        Cell::Date(day) => day.to_string(),
        Cell::Flag(flag) => u8::from(*flag).to_string(),
    }
}

/// The key of a row as text, its parts parted by U+001F.
pub(crate) fn key_words(layout: &Layout, cells: &[Cell]) -> String {
    let mut key = String::new();
    for (place, column) in layout.key.iter().enumerate() {
        if place != 0 {
            key.push('\u{1f}');
        }
        key += &words(&cells[*column]);
    }
    key
}

/// What was measured in a row, as JSON of column and value.
pub(crate) fn json(table: &Table, cells: &[Cell]) -> String {
    let row: serde_json::Map<String, serde_json::Value> = (table.columns.iter().zip(cells))
        .filter_map(|(column, cell)| {
            let value = match cell {
                Cell::Missing => return None,
                Cell::Number(figure) => (*figure).into(),
                Cell::Flag(flag) => u8::from(*flag).into(),
                other => words(other).into(),
            };
            Some((column.name.to_owned(), value))
        })
        .collect();
    serde_json::Value::Object(row).to_string()
}

/// A row as a line of comma-separated `column=value`, for rows of which the file's own text is not at hand.
pub(crate) fn as_line(table: &Table, cells: &[Cell]) -> String {
    let mut line = String::new();
    for (column, cell) in table.columns.iter().zip(cells) {
        if !cell.is_missing() {
            let comma = if line.is_empty() { "" } else { "," };
            let _ = write!(line, "{comma}{}={}", column.name, words(cell));
        }
    }
    line
}
