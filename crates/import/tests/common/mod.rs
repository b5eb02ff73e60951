//! A sink that keeps everything, and short ways to read and to show.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use std::convert::Infallible;

use cowpath_core::tables::{Cell, Table};
use cowpath_import::{Counts, Issue, IssueKind, ReadError, Reading, Sink, Unreadable, read_bytes};

/// Everything a file gave.
#[derive(Default)]
pub struct Kept {
    pub table: Option<&'static Table>,
    pub header: Vec<String>,
    pub rows: Vec<(u64, Vec<Cell>)>,
    pub issues: Vec<Issue>,
}

impl Sink for Kept {
    type Error = Infallible;
    fn table(&mut self, table: &'static Table, columns: &[String]) -> Result<(), Infallible> {
        assert!(self.table.is_none() && self.rows.is_empty(), "the table comes once, before the rows");
        self.table = Some(table);
        self.header = columns.to_vec();
        Ok(())
    }
    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), Infallible> {
        assert_eq!(Some(cells.len()), self.table.map(|table| table.columns.len()));
        // Half of the rows are taken out, half copied: the reader must bear both.
        self.rows.push((line, if line.is_multiple_of(2) { std::mem::take(cells) } else { cells.clone() }));
        Ok(())
    }
    fn issue(&mut self, issue: Issue) -> Result<(), Infallible> {
        self.issues.push(issue);
        Ok(())
    }
}

impl Kept {
    /// The cell of a column in the nth row delivered.
    pub fn cell(&self, row: usize, column: &str) -> &Cell {
        &self.rows[row].1[self.table.unwrap().index(column).unwrap()]
    }
    /// The time of a column in the nth row, RFC 3339 in UTC.
    pub fn time(&self, row: usize, column: &str) -> String {
        self.cell(row, column).time().unwrap().to_string()
    }
    /// Lines of the rows delivered.
    pub fn lines(&self) -> Vec<u64> {
        self.rows.iter().map(|(line, _)| *line).collect()
    }
    /// Every issue on a line of its own: `line 2, milk_kg "-3": outside … → mend it …`.
    pub fn said(&self) -> Vec<String> {
        self.issues.iter().map(said).collect()
    }
}

pub fn said(issue: &Issue) -> String {
    let mut text = format!("line {}", issue.line.unwrap());
    if let Some(column) = &issue.column {
        text += &format!(", {column}");
    }
    if let Some(value) = &issue.value {
        text += &format!(" \"{value}\"");
    }
    text + &format!(": {} → {}", issue.reason, issue.remedy)
}

/// A farm in New York State on 25 November 2026.
pub fn reading() -> Reading {
    reading_in("America/New_York")
}

pub fn reading_in(zone: &str) -> Reading {
    Reading::new(jiff::tz::TimeZone::get(zone).unwrap(), "2026-11-25T12:00:00Z".parse().unwrap())
}

/// Reads and checks that the sums agree.
pub fn try_read(bytes: &[u8], reading: &Reading) -> Result<(Kept, Counts), Unreadable> {
    let mut kept = Kept::default();
    match read_bytes(bytes, reading, &mut kept) {
        Ok(counts) => {
            let refused =
                kept.issues.iter().filter(|issue| issue.kind == IssueKind::RowRefused).count() as u64;
            assert_eq!(counts.rows_refused, refused);
            assert_eq!(counts.rows_read, refused + kept.rows.len() as u64);
            assert_eq!(counts.table, kept.table.unwrap().name);
            Ok((kept, counts))
        }
        Err(ReadError::File(why)) => Err(why),
        Err(ReadError::Sink(never)) => match never {},
    }
}

pub fn read(text: &str) -> Kept {
    try_read(text.as_bytes(), &reading()).unwrap().0
}

/// What a file that cannot be read is said to be, and what to do.
pub fn unreadable(bytes: &[u8]) -> (String, String) {
    let why = try_read(bytes, &reading()).err().expect("it cannot be read");
    (why.to_string(), why.remedy())
}

/// Header of a visit's table.
pub const HEADER: &str = "animal,box,started_at,ended_at,milk_kg,lf_ms_cm,milk_c,scc_k,lf_kicked,outcome\n";
/// A visit that is read.
pub const GOOD: &str = "214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,9.8,5.2,38.5,120,0,milked\n";

/// A visit with one cell replaced, between two good rows: the good ones must come through.
pub fn with(column: &str, value: &str) -> Kept {
    let at = HEADER.trim().split(',').position(|word| word == column).unwrap();
    let mut cells: Vec<&str> = GOOD.trim().split(',').collect();
    cells[at] = value;
    let kept = read(&format!("{HEADER}{GOOD}{}\n{GOOD}", cells.join(",")));
    assert_eq!(kept.lines(), [2, 4]);
    assert_eq!(kept.issues.len(), 1);
    assert_eq!(kept.issues[0].kind, IssueKind::RowRefused);
    assert_eq!(kept.issues[0].raw.as_deref(), Some(cells.join(",").as_str()));
    kept
}

/// What is said of a visit with one cell replaced.
pub fn said_of(column: &str, value: &str) -> String {
    with(column, value).said().remove(0)
}
