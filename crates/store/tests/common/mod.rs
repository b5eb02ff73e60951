//! Rows and farms for the tests.
#![allow(dead_code, clippy::expect_used)]

use cowpath_core::tables::{Cell, Kind, Table, table};
use cowpath_store::{Farm, Finished, Source};
use jiff::Timestamp;
use tempfile::TempDir;

/// The first instant of the tests' logs.
pub fn begin() -> Timestamp {
    "2026-03-01T00:00:00Z".parse().expect("a time")
}

/// So many minutes after it.
pub fn minute(minutes: i64) -> Timestamp {
    Timestamp::from_millisecond(begin().as_millisecond() + minutes * 60_000).expect("a time")
}

/// The declaration of a table.
pub fn declared(name: &str) -> &'static Table {
    table(name).expect("a table of the contract")
}

/// A new farm in a folder of its own.
pub fn farm() -> (TempDir, Farm) {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = Farm::create_or_open(folder.path(), begin()).expect("a farm");
    (folder, farm)
}

/// A row of a table from words, as a plain table writes them.
pub fn row(name: &str, words: &[(&str, &str)]) -> Vec<Cell> {
    let table = declared(name);
    let mut cells = vec![Cell::Missing; table.columns.len()];
    for (column, word) in words {
        let place = table.index(column).expect("a column of the table");
        cells[place] = match table.columns[place].kind {
            Kind::Text | Kind::OfficialId | Kind::Words(_) => Cell::Text((*word).into()),
            Kind::Time => Cell::Time(word.parse().expect("a time")),
            Kind::Date => Cell::Date(word.parse().expect("a day")),
            Kind::Number { .. } => Cell::Number(word.parse().expect("a figure")),
            Kind::Flag => Cell::Flag(*word == "1"),
        };
    }
    cells
}

/// A visit of so many minutes.
pub fn visit(animal: &str, milking_box: &str, from_min: i64, minutes: i64, milk_kg: f64) -> Vec<Cell> {
    let mut cells = vec![Cell::Missing; 45];
    cells[0] = Cell::Text(animal.into());
    cells[1] = Cell::Text(milking_box.into());
    cells[2] = Cell::Time(minute(from_min));
    cells[3] = Cell::Time(minute(from_min + minutes));
    cells[5] = Cell::Text("milked".into());
    cells[6] = Cell::Number(milk_kg);
    cells
}

/// What a batch is read from.
pub fn source(name: &str, file: &str, content: u8) -> Source {
    Source {
        file: file.into(),
        content: [content; 32],
        table: declared(name),
        zone: "UTC".into(),
        map: String::new(),
        now: begin(),
        columns: Vec::new(),
    }
}

/// Reads rows as one batch, numbered from line 2 on.
pub fn read(farm: &mut Farm, name: &str, rows: &[Vec<Cell>]) -> Finished {
    let mut batch = farm.begin(&source(name, "log.csv", 1)).expect("a batch");
    for (place, row) in rows.iter().enumerate() {
        batch.row(place as u64 + 2, row).expect("a row");
    }
    batch.finish().expect("a finished batch")
}

/// Standing rows of a table.
pub fn standing(farm: &Farm, name: &str) -> Vec<Vec<Cell>> {
    farm.rows(declared(name), None, None).expect("rows")
}

/// Visits that are set aside, by their cells.
pub fn set_aside(farm: &Farm) -> Vec<String> {
    let mut rows: Vec<String> =
        farm.quarantined(0, 100_000).expect("quarantine").into_iter().map(|row| row.raw).collect();
    rows.sort();
    rows
}

/// Fails if the file is broken.
pub fn assert_whole(farm: &Farm) {
    let broken: Vec<_> =
        farm.check().expect("a check").into_iter().filter(|fault| fault.kind.is_broken()).collect();
    assert!(broken.is_empty(), "{broken:#?}");
}
