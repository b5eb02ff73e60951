//! Tables of another form: a map proposed, shown with ten rows, kept in the farm's folder, and found again.
//!
//! A [`Shown`] is what a command or a page shows of a file and a map: each column with its reason, warnings, and ten rows as
//! they would be read. Nothing of it is kept in the farm; [`maps::keep`](super::maps::keep) keeps the map, reading the file keeps its rows.

use std::{path::Path, sync::Arc};

use cowpath_core::{
    say::when,
    tables::{Cell, Table},
};
use cowpath_import::{ColumnMap, Issue, IssueKind, Proposal, ReadError, Reading, Sink, Take, Unreadable};
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use crate::trouble::user;

/// Rows shown.
const ROWS: usize = 10;
/// Refused rows listed beside them.
const ISSUES: usize = 20;

/// A file as it lies on the disk.
#[derive(Debug, Clone, Copy)]
pub enum Input<'a> {
    /// A file.
    Path(&'a Path),
}

impl Input<'_> {
    /// Its name, without folders.
    pub fn name(&self) -> String {
        match self {
            Input::Path(path) => path
                .file_name()
                .map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned()),
        }
    }
}

/// One column of a file and what it becomes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Column {
    /// Header word; none for a value that every row gets.
    pub column: Option<String>,
    /// Some of its cells.
    pub examples: Vec<String>,
    /// Our columns.
    pub to: Vec<String>,
    /// How it is read beyond that: "lb", "split at /", "a length of time after started_at".
    pub how: String,
    /// `sure`, `unsure` or `not used`; `as the map says` where a map was given.
    pub mark: String,
    /// Why.
    pub reason: String,
}

/// One row as it would be read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Its line in the file; of rows from a sample's later parts not the file's.
    pub line: u64,
    /// Its cells in words, in the order of [`Shown::headings`]; empty: not measured.
    pub cells: Vec<String>,
}

/// One row that would go to quarantine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Refusal {
    /// Its line.
    pub line: Option<u64>,
    /// Column of the file.
    pub column: Option<String>,
    /// What stands there.
    pub value: Option<String>,
    /// What is wrong.
    pub reason: String,
    /// What to do.
    #[serde(rename = "do")]
    pub next: String,
}

/// A file and a map for it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shown {
    /// The file.
    pub file: String,
    /// The map's name.
    pub name: String,
    /// The table its rows become.
    pub table: String,
    /// What one of its rows is.
    pub row_is: String,
    /// How the file is written: separator, decimal sign, order of days.
    pub form: Vec<String>,
    /// Each column.
    pub columns: Vec<Column>,
    /// What to know before the map is kept.
    pub warnings: Vec<String>,
    /// Our columns that a row cannot do without and nothing fills: the map cannot be used before they are.
    pub lacks: Vec<String>,
    /// Our columns that the rows below have.
    pub headings: Vec<String>,
    /// Ten rows as they would be read.
    pub rows: Vec<Row>,
    /// Rows among the first that would go to quarantine.
    pub quarantined: Vec<Refusal>,
    /// The map as a file.
    pub map: String,
}

/// Proposes a map for a file.
///
/// # Errors
/// When the file cannot be read, or nothing in it has a meaning that is known.
pub fn propose(input: Input, zone: &TimeZone, now: Timestamp) -> anyhow::Result<Shown> {
    let reading = Reading::new(zone.clone(), now);
    let file = input.name();
    let name = file.split('.').next().filter(|stem| !stem.is_empty()).unwrap_or("map").to_owned();
    let Input::Path(path) = input;
    let proposal = cowpath_import::propose_file(path, &name, &reading).map_err(|why| unread(&file, &why))?;
    let shown = if proposal.lacks.is_empty() { Some(rows_of(input, &proposal.map, &reading)?) } else { None };
    Ok(proposed(file, &proposal, shown.unwrap_or_default(), zone))
}

/// Ten rows of a file as a map reads them.
///
/// # Errors
/// When the file cannot be read with it: nothing is guessed.
pub fn with(input: Input, map: &ColumnMap, zone: &TimeZone, now: Timestamp) -> anyhow::Result<Shown> {
    let reading = Reading::new(zone.clone(), now);
    let seen = rows_of(input, map, &reading)?;
    let columns = map
        .takes
        .iter()
        .map(|take| Column {
            column: (!take.from.is_empty()).then(|| take.from.join(" + ")),
            examples: take.value.clone().into_iter().collect(),
            to: names(map.table, take),
            how: how(map.table, take),
            mark: "as the map says".into(),
            reason: String::new(),
        })
        .collect();
    let mut shown = frame(input.name(), map, &seen, zone);
    shown.columns = columns;
    shown.map = map.to_toml(&std::collections::BTreeMap::new());
    shown.warnings = seen.notes;
    Ok(shown)
}

/// A file and a map that began as its proposal and was changed, without rows: [`filled`] reads those.
pub fn changed(file: String, proposal: &Proposal, map: &ColumnMap, zone: &TimeZone) -> Shown {
    let mut shown = frame(file, map, &Seen::default(), zone);
    shown.columns = proposal
        .columns
        .iter()
        .filter(|own| own.column.is_some())
        .map(|own| {
            let reads = |take: &&Take| take.from.iter().any(|word| Some(word) == own.column.as_ref());
            let takes: Vec<&Take> = map.takes.iter().filter(reads).collect();
            let kept = proposal.map.table.name == map.table.name
                && proposal.map.takes.iter().filter(reads).eq(takes.iter().copied());
            let (mark, reason) = match (kept, takes.is_empty()) {
                (true, _) => (own.mark.word(), own.reason.clone()),
                (false, true) => ("not used", "you chose so".to_owned()),
                (false, false) => ("chosen", String::new()),
            };
            let ways: Vec<String> =
                takes.iter().map(|take| how(map.table, take)).filter(|how| !how.is_empty()).collect();
            Column {
                column: own.column.clone(),
                examples: own.examples.clone(),
                to: takes.iter().flat_map(|take| names(map.table, take)).collect(),
                how: ways.join("; "),
                mark: mark.to_owned(),
                reason,
            }
        })
        .collect();
    // What is lacking is told of the map as it is now.
    let warnings = proposal.warnings.iter().filter(|warning| !warning.starts_with("nothing fills "));
    shown.warnings = warnings.cloned().collect();
    shown.lacks = map.lacks().into_iter().map(str::to_owned).collect();
    let mut reasons = proposal.reasons();
    let of_proposal = &proposal.map.takes;
    reasons.retain(|target, _| {
        let fills = |take: &&Take| take.to.contains(target);
        of_proposal.iter().find(fills) == map.takes.iter().find(fills)
    });
    if proposal.map.table.name != map.table.name {
        reasons.clear();
    }
    shown.map = map.to_toml(&reasons);
    shown
}

/// Puts the first rows into what is shown, as the map reads them.
///
/// # Errors
/// When the file cannot be read with it.
pub fn filled(
    input: Input,
    map: &ColumnMap,
    zone: &TimeZone,
    now: Timestamp,
    shown: &mut Shown,
) -> anyhow::Result<()> {
    let seen = rows_of(input, map, &Reading::new(zone.clone(), now))?;
    let rows = frame(String::new(), map, &seen, zone);
    (shown.rows, shown.quarantined) = (rows.rows, rows.quarantined);
    Ok(())
}

fn proposed(file: String, proposal: &Proposal, seen: Seen, zone: &TimeZone) -> Shown {
    let table = proposal.map.table;
    let mut shown = frame(file, &proposal.map, &seen, zone);
    shown.columns = proposal
        .columns
        .iter()
        .map(|own| Column {
            column: own.column.clone(),
            examples: own.examples.clone(),
            to: own.to.iter().map(|name| (*name).to_owned()).collect(),
            how: own.take.as_ref().map(|take| how(table, take)).unwrap_or_default(),
            mark: own.mark.word().to_owned(),
            reason: own.reason.clone(),
        })
        .collect();
    shown.warnings.clone_from(&proposal.warnings);
    shown.lacks = proposal.lacks.iter().map(|name| (*name).to_owned()).collect();
    shown.map = proposal.to_toml();
    shown
}

fn frame(file: String, map: &ColumnMap, seen: &Seen, zone: &TimeZone) -> Shown {
    let table = map.table;
    let mut used: Vec<usize> = map.takes.iter().flat_map(|take| take.to.iter().copied()).collect();
    used.sort_unstable();
    let cells = |cells: &Vec<Cell>| {
        used.iter().map(|&at| cells.get(at).map_or(String::new(), |cell| words(cell, zone))).collect()
    };
    let separator = match map.separator {
        b';' => "semicolons",
        b'\t' => "tabs",
        b'|' => "upright strokes",
        _ => "commas",
    };
    let mut form = vec![
        format!("columns separated by {separator}"),
        format!("decimal {}", if map.decimal == b',' { "comma" } else { "point" }),
        format!("days as {}", map.order.name()),
    ];
    if !map.header {
        form.push("no header line".into());
    }
    Shown {
        file,
        name: map.name.clone(),
        table: table.name.to_owned(),
        row_is: table.row_is.to_owned(),
        form,
        columns: Vec::new(),
        warnings: Vec::new(),
        lacks: Vec::new(),
        headings: used.iter().map(|&at| table.columns[at].name.to_owned()).collect(),
        rows: seen.rows.iter().map(|(line, row)| Row { line: *line, cells: cells(row) }).collect(),
        quarantined: seen
            .refused
            .iter()
            .map(|issue| Refusal {
                line: issue.line,
                column: issue.column.clone(),
                value: issue.value.clone(),
                reason: issue.reason.clone(),
                next: issue.remedy.clone(),
            })
            .collect(),
        map: String::new(),
    }
}

/// A cell as it is shown: figures as they were read, times in the farm's zone.
fn words(cell: &Cell, zone: &TimeZone) -> String {
    match cell {
        Cell::Missing => String::new(),
        Cell::Text(text) => text.clone(),
        Cell::Number(figure) => {
            let rounded = format!("{figure:.3}");
            rounded.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
        Cell::Time(at) => when::rfc3339(*at, zone),
        Cell::Date(day) => day.to_string(),
        Cell::Flag(is) => u8::from(*is).to_string(),
    }
}

fn names(table: &Table, take: &Take) -> Vec<String> {
    take.to.iter().filter_map(|&at| table.columns.get(at)).map(|column| column.name.to_owned()).collect()
}

fn how(table: &Table, take: &Take) -> String {
    let name = |at: usize| table.columns.get(at).map_or("", |column| column.name);
    let mut all: Vec<String> = Vec::new();
    all.extend(take.value.as_ref().map(|value| format!("\"{value}\" in every row")));
    all.extend(take.unit.and_then(|unit| unit.name()).map(|unit| format!("in {unit}")));
    all.extend(take.split.as_ref().map(|split| format!("split at \"{split}\"")));
    all.extend(take.after.map(|base| format!("a length of time after {}", name(base))));
    all.extend(take.before.map(|base| format!("a length of time before {}", name(base))));
    all.extend(take.next_day_of.map(|base| format!("of the next day if far before {}", name(base))));
    all.extend(take.clock.as_ref().map(|clock| format!("at {clock}")));
    let known: Vec<String> = take
        .words
        .iter()
        .map(|(own, ours)| format!("{own} = {}", if ours.is_empty() { "not measured" } else { ours }))
        .collect();
    if !known.is_empty() {
        all.push(known.join(", "));
    }
    all.join("; ")
}

/// The first rows and refusals of a file.
#[derive(Default)]
struct Seen {
    rows: Vec<(u64, Vec<Cell>)>,
    refused: Vec<Issue>,
    notes: Vec<String>,
}

/// Enough was seen.
#[derive(Debug)]
struct Enough;

impl Sink for Seen {
    type Error = Enough;
    fn table(&mut self, _: &'static Table, _: &[String]) -> Result<(), Enough> {
        Ok(())
    }
    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), Enough> {
        self.rows.push((line, cells.clone()));
        if self.rows.len() < ROWS { Ok(()) } else { Err(Enough) }
    }
    fn issue(&mut self, issue: Issue) -> Result<(), Enough> {
        match issue.kind {
            IssueKind::RowRefused => self.refused.push(issue),
            IssueKind::ColumnNotUsed | IssueKind::Note => {
                self.notes.push(format!("{}: {}", issue.column.unwrap_or_default(), issue.reason));
            }
        }
        if self.refused.len() < ISSUES { Ok(()) } else { Err(Enough) }
    }
}

fn rows_of(input: Input, map: &ColumnMap, reading: &Reading) -> anyhow::Result<Seen> {
    let reading = Reading { map: Some(Arc::new(map.clone())), ..reading.clone() };
    let mut seen = Seen::default();
    let Input::Path(path) = input;
    match cowpath_import::read_file(path, &reading, &mut seen, &mut |_| {}) {
        Ok(_) | Err(ReadError::Sink(Enough)) => Ok(seen),
        Err(ReadError::File(why)) => Err(unread(&input.name(), &why)),
    }
}

fn unread(file: &str, why: &Unreadable) -> anyhow::Error {
    user(format!("{file}: {why}"), "nothing was changed", why.remedy())
}
