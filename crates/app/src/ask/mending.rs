//! Rows of the quarantine mended and taken in: the same reader, the same store, a batch of their own.
//!
//! Each row is read by itself. Its neighbours in the quarantine are not its neighbours in the log, so that their order
//! must not decide a wall time that came twice. A row that still cannot be used stays where it was, as it was.

use std::{collections::BTreeMap, path::Path, sync::Arc};

use cowpath_core::tables::{Cell, Table};
use cowpath_import::{ColumnMap, Issue, IssueKind, ReadError, Reading, Sink};
use cowpath_store::{Disposition, Entry, Source, Way};
use jiff::Timestamp;

use super::{
    farm::{self, Barn},
    maps,
    taken::TakenFile,
};
use crate::trouble::{short, user};

/// Entries looked at in one go.
const ENTRIES: u64 = 500;
/// Rows understood that are held before they are kept.
const HELD: usize = 5000;

/// Cells of a row with their columns.
pub type Cells = Vec<(String, String)>;

/// A row in quarantine with its cells under their columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Opened {
    /// The entry.
    pub entry: Entry,
    /// Column and cell, as the file writes them; cells beyond the header have an empty column.
    pub cells: Cells,
    /// Why it cannot be mended here, and what to do instead.
    pub closed: Option<(&'static str, &'static str)>,
    /// What stands between cells in its file.
    pub separator: u8,
}

/// What came of mending a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Mended {
    /// It was taken in: new, same or replaced; and why it was set aside and what to do, where it was.
    Taken(&'static str, Option<(String, String)>),
    /// It still cannot be used: column, reason, what to do. The row in quarantine is as it was.
    Still(Option<String>, String, String),
    /// Somebody had mended it before.
    Before,
}

/// What came of taking in again what is understood by now.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize)]
pub struct Again {
    /// Rows looked at.
    pub looked_at: u64,
    /// Rows taken in.
    pub taken: u64,
    /// Rows that still cannot be used.
    pub left: u64,
    /// What became of those taken in, by the file they are of.
    pub files: Vec<TakenFile>,
}

/// Opens an entry to be mended.
///
/// # Errors
/// Where there is no such entry.
pub fn open(barn: &Barn, entry: i64) -> anyhow::Result<Opened> {
    let Some(entry) = barn.store.entry(entry)? else {
        return Err(user(
            format!("no row in quarantine has the number {entry}"),
            "nothing was changed",
            "`cowpath quarantine` lists the rows and their numbers",
        ));
    };
    let map = map_of(&barn.dir, &entry);
    let closed = if !entry.map.is_empty() && map.is_none() {
        Some((
            "its file is one of the exchange standard, and it is no row of cells",
            "mend it where it comes from, and read the file again",
        ))
    } else if entry.header.is_empty() {
        Some((
            "the header of its file is not known",
            "mend it in the file and read that again; what is read from now on can be mended here",
        ))
    } else {
        None
    };
    let separator = map.as_ref().map_or(b',', |map| map.separator);
    let (header, row) = (split(&entry.header, b','), split(&entry.raw, separator));
    let long = header.len().max(row.len());
    let at = |cells: &[String], place: usize| cells.get(place).cloned().unwrap_or_default();
    let cells = (0..long).map(|place| (at(&header, place), at(&row, place))).collect();
    Ok(Opened { entry, cells, closed, separator })
}

/// Mends an entry: `change` rewrites cells by their place.
///
/// # Errors
/// Where there is no such entry, or it cannot be mended here.
pub fn mend(
    barn: &mut Barn,
    entry: i64,
    change: &dyn Fn(&mut Cells) -> anyhow::Result<()>,
    now: Timestamp,
) -> anyhow::Result<Mended> {
    let mut opened = open(barn, entry)?;
    if opened.entry.mended {
        return Ok(Mended::Before);
    }
    if let Some((why, next)) = opened.closed {
        return Err(user(format!("this row cannot be mended here: {why}"), "nothing was changed", next));
    }
    change(&mut opened.cells)?;
    let row = line(opened.cells.iter().map(|(_, cell)| cell.as_str()), opened.separator)?;
    let known = match read_one(&barn.dir, &opened.entry, &row, now)? {
        Ok(known) => known,
        Err(issue) => return Ok(Mended::Still(issue.column, issue.reason, issue.remedy)),
    };
    let Entry { file, line, zone, .. } = &opened.entry;
    let source = Source {
        file: format!("{file}, line {line}, mended"),
        content: cowpath_import::content_hash_of(known.text.as_bytes()),
        table: known.table,
        zone: zone.clone(),
        map: known.map,
        now,
        columns: known.columns,
    };
    let mut batch = barn.store.begin(&source)?;
    batch.came(Way::Mended, known.text.len() as u64, &opened.entry.header)?;
    let said = match batch.row(*line, &known.row)? {
        Disposition::New => "new",
        Disposition::Same => "same",
        Disposition::Replaced => "replaced",
        // Dropped, the batch leaves nothing behind, and the entry is as it was.
        Disposition::Refused(refusal) => {
            return Ok(Mended::Still(Some(refusal.column), refusal.reason, refusal.remedy));
        }
    };
    if !batch.mends(entry)? {
        return Ok(Mended::Before);
    }
    let finished = batch.finish()?;
    let aside = finished.displaced.into_iter().find(|one| one.read_now);
    Ok(Mended::Taken(said, aside.map(|one| (one.row.reason, one.row.remedy))))
}

/// Rewrites the cells of the columns named; a column that the file does not have is the user's slip.
///
/// # Errors
/// Where a column is not one of the row's.
pub fn by_column(cells: &mut [(String, String)], changes: &[(String, String)]) -> anyhow::Result<()> {
    for (column, value) in changes {
        let Some(cell) = cells.iter_mut().find(|(own, _)| own.eq_ignore_ascii_case(column.trim())) else {
            let own: Vec<&str> =
                cells.iter().map(|(own, _)| own.as_str()).filter(|own| !own.is_empty()).collect();
            return Err(user(
                format!("this row has no column `{}`", short(column)),
                "nothing was changed",
                format!("its columns are {}", own.join(", ")),
            ));
        };
        cell.1.clone_from(value);
    }
    Ok(())
}

/// Takes in every row of the quarantine that is understood by now: a time of the future that has come, a value whose
/// range has grown.
///
/// # Errors
/// When the store fails; what was taken in before is kept.
pub fn again(barn: &mut Barn, now: Timestamp) -> anyhow::Result<Again> {
    let mut told = Again::default();
    let mut held: BTreeMap<Group, Vec<(Entry, Known)>> = BTreeMap::new();
    let mut last = 0;
    let mut rows = 0;
    loop {
        let entries = barn.store.entries(last, ENTRIES)?;
        let Some(newest) = entries.last() else { break };
        last = newest.entry;
        for entry in entries {
            told.looked_at += 1;
            if entry.header.is_empty() || !entry.map.is_empty() && map_of(&barn.dir, &entry).is_none() {
                continue;
            }
            if let Ok(known) = read_one(&barn.dir, &entry, &entry.raw, now)? {
                let group = (entry.file.clone(), entry.header.clone(), entry.zone.clone(), known.map.clone());
                held.entry(group).or_default().push((entry, known));
                rows += 1;
            }
        }
        if HELD <= rows {
            keep(barn, std::mem::take(&mut held), now, &mut told)?;
            rows = 0;
        }
    }
    keep(barn, held, now, &mut told)?;
    told.left = told.looked_at - told.taken;
    Ok(told)
}

fn keep(
    barn: &mut Barn,
    held: BTreeMap<Group, Vec<(Entry, Known)>>,
    now: Timestamp,
    told: &mut Again,
) -> anyhow::Result<()> {
    for ((file, header, zone, map), rows) in held {
        let Some((_, first)) = rows.first() else { continue };
        let text: String = rows.iter().map(|(_, known)| known.text.as_str()).collect();
        let source = Source {
            file: format!("{file}, rows of the quarantine"),
            content: cowpath_import::content_hash_of(text.as_bytes()),
            table: first.table,
            zone,
            map,
            now,
            columns: first.columns.clone(),
        };
        let mut batch = barn.store.begin(&source)?;
        batch.came(Way::Again, text.len() as u64, &header)?;
        let mut taken = 0;
        for (entry, known) in &rows {
            if !matches!(batch.row(entry.line, &known.row)?, Disposition::Refused(_)) {
                taken += u64::from(batch.mends(entry.entry)?);
            }
        }
        let sums = batch.finish()?.sums;
        told.taken += taken;
        told.files.push(TakenFile {
            file,
            table: Some(source.table.name.to_owned()),
            read: sums.read,
            new: sums.new,
            same: sums.same,
            replaced: sums.replaced,
            quarantined: sums.quarantined,
            ..TakenFile::default()
        });
    }
    Ok(())
}

/// Rows of one file, header, zone and map are taken in together.
type Group = (String, String, String, String);

/// A row that can be used.
struct Known {
    table: &'static Table,
    columns: Vec<usize>,
    row: Vec<Cell>,
    /// Essence of the map it was read with; empty for a plain table.
    map: String,
    /// It with its header, as it was read.
    text: String,
}

/// The map that its row is read with, if its file was no plain table.
fn map_of(farm: &Path, entry: &Entry) -> Option<ColumnMap> {
    if entry.map.is_empty() {
        return None;
    }
    maps::of_rows(farm, &split(&entry.header, b','), &entry.table, &entry.map)
}

/// Reads one row under the header of its file.
fn read_one(farm: &Path, entry: &Entry, row: &str, now: Timestamp) -> anyhow::Result<Result<Known, Issue>> {
    let header = split(&entry.header, b',');
    let mut reading = Reading::new(farm::zone(&entry.zone)?, now);
    let map = map_of(farm, entry);
    let text = match &map {
        Some(map) => {
            let (map, text) = cowpath_import::as_mapped_table(map, &header, [row]);
            reading.map = Some(Arc::new(map));
            text
        }
        None => cowpath_import::as_table(&header, [row]),
    };
    let mut one = One::default();
    let refused = |reason: String, remedy: String| {
        let (line, column, value, raw) = (None, None, None, None);
        Ok(Err(Issue { line, column, value, reason, remedy, kind: IssueKind::RowRefused, raw }))
    };
    match cowpath_import::read_bytes(text.as_bytes(), &reading, &mut one) {
        Ok(_) => {}
        Err(ReadError::File(trouble)) => return refused(trouble.to_string(), trouble.remedy()),
        Err(ReadError::Sink(never)) => match never {},
    }
    if let Some(issue) = one.refused {
        return Ok(Err(issue));
    }
    let mut rows = one.rows.into_iter();
    match (one.table, rows.next(), rows.next()) {
        (Some((table, columns)), Some(row), None) => {
            let columns = match &map {
                Some(map) => map.takes.iter().flat_map(|take| take.to.iter().copied()).collect(),
                None => columns,
            };
            let map = map.map(|map| map.essence()).unwrap_or_default();
            Ok(Ok(Known { table, columns, row, map, text }))
        }
        (_, None, _) => refused("the row is empty".into(), "enter what was measured".into()),
        _ => refused(
            "it is more than one row".into(),
            "write one row; line ends belong in quotation marks".into(),
        ),
    }
}

/// What reading one row gave.
#[derive(Default)]
struct One {
    table: Option<(&'static Table, Vec<usize>)>,
    rows: Vec<Vec<Cell>>,
    refused: Option<Issue>,
}

impl Sink for One {
    type Error = std::convert::Infallible;

    fn table(&mut self, table: &'static Table, header: &[String]) -> Result<(), Self::Error> {
        let place = |word: &String| table.spelling(&word.trim().to_lowercase()).map(|(column, _)| column);
        self.table = Some((table, header.iter().filter_map(place).collect()));
        Ok(())
    }

    fn row(&mut self, _: u64, cells: &mut Vec<Cell>) -> Result<(), Self::Error> {
        self.rows.push(std::mem::take(cells));
        Ok(())
    }

    fn issue(&mut self, issue: Issue) -> Result<(), Self::Error> {
        if issue.kind == IssueKind::RowRefused {
            self.refused.get_or_insert(issue);
        }
        Ok(())
    }
}

/// The cells of one line.
pub(super) fn split(line: &str, separator: u8) -> Vec<String> {
    let mut reader = csv::ReaderBuilder::new();
    reader.has_headers(false).flexible(true).delimiter(separator);
    let mut reader = reader.from_reader(line.as_bytes());
    // Bytes in memory can always be read; a line that is no record at all is one cell.
    match reader.records().next() {
        Some(Ok(record)) => record.iter().map(str::to_owned).collect(),
        _ => vec![line.to_owned()],
    }
}

/// One line of cells.
pub(super) fn line<'a>(cells: impl Iterator<Item = &'a str>, separator: u8) -> anyhow::Result<String> {
    let mut writer = csv::WriterBuilder::new().delimiter(separator).from_writer(Vec::new());
    writer.write_record(cells)?;
    let text = String::from_utf8(writer.into_inner().map_err(csv::IntoInnerError::into_error)?)?;
    Ok(text.trim_end_matches('\n').to_owned())
}
