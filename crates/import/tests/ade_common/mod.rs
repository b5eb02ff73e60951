//! Documents of the exchange standard in memory, for the tests.
#![allow(dead_code, clippy::unwrap_used, clippy::panic, reason = "each test uses its part")]

use std::convert::Infallible;

use cowpath_core::tables::{Cell, Table, table};
use cowpath_import::ade::{self, Counts, Document, Documents, Herd};
use cowpath_import::{Issue, IssueKind, ReadError, Reading, Unreadable};

/// What came of reading.
#[derive(Debug, Default)]
pub struct Kept {
    pub documents: Vec<Document>,
    pub issues: Vec<(&'static str, Issue)>,
    pub aliases: Vec<(String, String, String)>,
    pub counts: Counts,
}

impl Documents for Kept {
    type Error = Infallible;
    fn document(&mut self, document: Document) -> Result<(), Infallible> {
        self.documents.push(document);
        Ok(())
    }
    fn issue(&mut self, table: &'static Table, issue: Issue) -> Result<(), Infallible> {
        self.issues.push((table.name, issue));
        Ok(())
    }
    fn alias(&mut self, scheme: &str, id: &str, number: &str) -> Result<(), Infallible> {
        self.aliases.push((scheme.into(), id.into(), number.into()));
        Ok(())
    }
}

pub fn reading() -> Reading {
    let zone = jiff::tz::TimeZone::get("America/Chicago").unwrap();
    Reading::new(zone, "2026-04-01T00:00:00Z".parse().unwrap())
}

pub fn try_read_with(bytes: &[u8], reading: &Reading, herd: Herd) -> Result<Kept, Unreadable> {
    let mut kept = Kept::default();
    match ade::read_bytes(bytes, reading, herd, &mut kept) {
        Ok(counts) => {
            kept.counts = counts;
            Ok(kept)
        }
        Err(ReadError::File(why)) => Err(why),
        Err(ReadError::Sink(never)) => match never {},
    }
}

pub fn try_read(bytes: &[u8]) -> Result<Kept, Unreadable> {
    try_read_with(bytes, &reading(), Herd::default())
}

pub fn read(text: &str) -> Kept {
    try_read(text.as_bytes()).unwrap()
}

impl Kept {
    /// Every row as a line: table, place, filled cells.
    pub fn rows(&self) -> Vec<String> {
        let mut lines = Vec::new();
        for document in &self.documents {
            let line = document.line;
            if let Some(meal) = &document.meal {
                let kg = |name: &str, kg: Option<f64>| kg.map_or(String::new(), |kg| format!(" {name}={kg}"));
                lines.push(format!(
                    "meal {line} animal={} place={} started_at={} ended_at={}{}{}",
                    meal.animal,
                    meal.place,
                    meal.started_at,
                    meal.ended_at,
                    kg("offered_kg", meal.offered_kg),
                    kg("eaten_kg", meal.eaten_kg)
                ));
            }
            for (name, cells) in &document.rows {
                let columns = table(name).unwrap().columns;
                let mut text = format!("{name} {line}");
                for (column, cell) in columns.iter().zip(cells) {
                    let words = match cell {
                        Cell::Missing => continue,
                        Cell::Text(text) => text.clone(),
                        Cell::Number(figure) => figure.to_string(),
                        Cell::Time(at) => at.to_string(),
                        Cell::Date(day) => day.to_string(),
                        Cell::Flag(flag) => flag.to_string(),
                    };
                    text += &format!(" {}={words}", column.name);
                }
                lines.push(text);
            }
        }
        lines
    }

    /// A cell of the only row, as text; '' where it is missing.
    pub fn cell(&self, column: &str) -> String {
        let rows = self.rows();
        assert_eq!(rows.len(), 1, "{rows:?} {:?}", self.issues);
        let start = format!(" {column}=");
        let Some(at) = rows[0].find(&start) else { return String::new() };
        let rest = &rows[0][at + start.len()..];
        // Words of a cell may hold blanks: the next cell begins with its column.
        let names: Vec<&str> = cowpath_core::tables::TABLES
            .iter()
            .flat_map(|table| table.columns.iter().map(|column| column.name))
            .collect();
        let end = names.iter().filter_map(|name| rest.find(&format!(" {name}="))).min().unwrap_or(rest.len());
        rest[..end].to_owned()
    }

    /// The only refusal: property and reason.
    pub fn refused(&self) -> (String, String) {
        let refused: Vec<_> =
            self.issues.iter().filter(|(_, issue)| issue.kind == IssueKind::RowRefused).collect();
        assert_eq!(refused.len(), 1, "{:?} {:?}", self.issues, self.rows());
        (refused[0].1.column.clone().unwrap_or_default(), refused[0].1.reason.clone())
    }

    /// Everything said that is no refusal.
    pub fn said(&self) -> Vec<String> {
        let others = self.issues.iter().filter(|(_, issue)| issue.kind != IssueKind::RowRefused);
        others
            .map(|(_, issue)| format!("{}: {}", issue.column.clone().unwrap_or_default(), issue.reason))
            .collect()
    }
}
