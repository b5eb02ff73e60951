//! Readers of farm logs: rows out, issues out. Keeps nothing.
//!
//! A plain table (`docs/tables.md`) comes in as bytes, whatever its name: CSV in UTF-8 or UTF-16, plain, gzip or zstd. Its
//! header tells which table it is. Each data row leaves as typed cells in the table's order, in the table's own units,
//! or as an [`Issue`] with line, column, value, reason and what to do. Reading never stops at a bad row; it stops only
//! where the file as a whole cannot be read, with an [`Unreadable`].
//!
//! Read in this order: [`Sink`] (where rows go), `stream` (bytes), `records` (lines and cells), `sniff` (header),
//! `cells`, `figure` and `time` (one cell), `faults` (what is wrong with it), `order` and `waiting` (wall times that came
//! twice), `plain` (the loop).
//!
//! # Whole or none
//! Rows are handed on while the file is still being read, so a compressed file that turns out to be cut short has
//! already delivered rows when the error comes. Whoever keeps rows must drop all of them when [`read_file`] returns an
//! error.
//!
//! # Not here
//! What needs more than one row (visits of one cow that overlap, a cow in two boxes, same or replaced) is the store's.

pub mod ade;
mod alike;
mod cells;
mod column_map;
mod faults;
mod figure;
mod head;
mod issue;
mod mend;
mod order;
mod plain;
mod proposal;
mod records;
mod row;
mod sniff;
mod stream;
mod time;
mod trouble;
mod utf16;
mod waiting;
mod windows1252;

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;

use cowpath_core::tables::{Cell, Table};

pub use column_map::{Chosen, ColumnMap, DayOrder, MapFault, Measure, Take, VERSION as MAP_VERSION};
pub use issue::{Issue, IssueKind};
pub use mend::{as_mapped_table, as_table};
pub use proposal::{Mark, Proposal, Proposed};
pub use stream::Encoding;
pub use trouble::{ReadError, Unreadable};

/// How a file is to be read.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The farm's zone: wall times without an offset are in it.
    pub zone: jiff::tz::TimeZone,
    /// Rows of a later time are refused.
    pub now: jiff::Timestamp,
    /// A compressed file may unpack to so many bytes; [`Reading::MOST_UNPACKED_BYTES`] does for any farm.
    pub most_unpacked_bytes: u64,
    /// A longer row is refused unread, in bytes; [`Reading::LONGEST_LINE`] does for any log.
    pub longest_line: usize,
    /// How a table of another form is read; none: it is one of our own.
    pub map: Option<Arc<ColumnMap>>,
}

impl Reading {
    /// 64 GiB: about 250 million visits.
    pub const MOST_UNPACKED_BYTES: u64 = 64 << 30;
    /// 1 MiB.
    pub const LONGEST_LINE: usize = 1 << 20;

    /// With the limits that do for any farm.
    pub fn new(zone: jiff::tz::TimeZone, now: jiff::Timestamp) -> Reading {
        Reading {
            zone,
            now,
            most_unpacked_bytes: Reading::MOST_UNPACKED_BYTES,
            longest_line: Reading::LONGEST_LINE,
            map: None,
        }
    }
}

/// Where rows and issues go. An error of the sink ends the reading.
pub trait Sink {
    /// What can go wrong with keeping a row.
    type Error;

    /// Once, before the first row: which table the file is, and its header words as written, in the file's order.
    /// From these words and the text of refused rows [`as_table`] makes a file that can be read again.
    fn table(&mut self, table: &'static Table, columns: &[String]) -> Result<(), Self::Error>;

    /// A good row; rows come in the file's order, but for those that waited until a clock change was understood.
    /// `cells` in the table's order, as many as it has columns, in its own units. The cells may be taken
    /// out; whatever is left is used again for the next row.
    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), Self::Error>;

    /// Something the person should know; exactly one of kind [`IssueKind::RowRefused`] for each refused row.
    fn issue(&mut self, issue: Issue) -> Result<(), Self::Error>;
}

/// How far the reading has come; handed on every few thousand rows and at the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Data rows so far, good or refused.
    pub rows: u64,
    /// Bytes of the file (packed, if it is compressed) so far.
    pub bytes: u64,
    /// Bytes of the whole file, where known.
    pub of_bytes: Option<u64>,
}

/// What a file held. `rows_read − rows_refused` rows went to [`Sink::row`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counts {
    /// Which table it was.
    pub table: &'static str,
    /// Every data row, good or refused; blank lines are none.
    pub rows_read: u64,
    /// Rows that left as an issue of kind [`IssueKind::RowRefused`].
    pub rows_refused: u64,
}

/// Reads a file: `.csv`, `.csv.gz` or `.csv.zst`, told apart by content.
///
/// # Errors
/// [`ReadError::File`] where the file as a whole cannot be read, [`ReadError::Sink`] where the sink gave up. Rows
/// already handed on are then not to be kept.
pub fn read_file<S: Sink>(
    path: &Path,
    reading: &Reading,
    sink: &mut S,
    progress: &mut dyn FnMut(Progress),
) -> Result<Counts, ReadError<S::Error>> {
    let (file, bytes) = open(path)?;
    read_from(file, Some(bytes), reading, sink, progress)
}

/// Reads what is already in memory, as [`read_file`] reads a file.
///
/// # Errors
/// As [`read_file`].
pub fn read_bytes<S: Sink>(
    bytes: &[u8],
    reading: &Reading,
    sink: &mut S,
) -> Result<Counts, ReadError<S::Error>> {
    read_from(bytes, Some(bytes.len() as u64), reading, sink, &mut |_| {})
}

/// Reads an upload or any other stream; `of_bytes` is its whole length where known, for the progress alone.
///
/// # Errors
/// As [`read_file`].
pub fn read_from<S: Sink>(
    source: impl Read,
    of_bytes: Option<u64>,
    reading: &Reading,
    sink: &mut S,
    progress: &mut dyn FnMut(Progress),
) -> Result<Counts, ReadError<S::Error>> {
    plain::read(source, of_bytes, reading, sink, progress)
}

/// Which table a file is, from its header alone.
///
/// # Errors
/// As [`read_file`], without the rows' share.
pub fn which_table(path: &Path, reading: &Reading) -> Result<&'static Table, Unreadable> {
    let (file, _) = open(path)?;
    plain::which(file, reading)
}

/// Proposes a map for a file from a sample of it; `name` is what the map is called.
///
/// # Errors
/// When the file cannot be read, holds no table, or no column of it has a meaning that is known.
pub fn propose_file(path: &Path, name: &str, reading: &Reading) -> Result<Proposal, Unreadable> {
    let (file, _) = open(path)?;
    proposal::propose(file, name, None, reading)
}

/// The same where somebody has said which table it is; columns of which no word is known are then not used.
///
/// # Errors
/// When the file cannot be read, or holds no table.
pub fn propose_file_as(
    path: &Path,
    name: &str,
    table: &'static Table,
    reading: &Reading,
) -> Result<Proposal, Unreadable> {
    let (file, _) = open(path)?;
    proposal::propose(file, name, Some(table), reading)
}

/// The same as [`propose_file`] for what is already in memory.
///
/// # Errors
/// As [`propose_file`].
pub fn propose_bytes(bytes: &[u8], name: &str, reading: &Reading) -> Result<Proposal, Unreadable> {
    proposal::propose(io::Cursor::new(bytes), name, None, reading)
}

/// Whether a file has just the header that a saved map was made for.
///
/// # Errors
/// When it cannot be opened or unpacked.
pub fn fits(path: &Path, map: &ColumnMap, reading: &Reading) -> Result<bool, Unreadable> {
    let (file, _) = open(path)?;
    column_map::header::fits(file, map, reading)
}

/// BLAKE3 of a file's bytes as they lie on the disk: the same file again has the same hash.
///
/// # Errors
/// When the file cannot be opened or read.
pub fn content_hash(path: &Path) -> io::Result<[u8; 32]> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(File::open(path)?)?;
    Ok(*hasher.finalize().as_bytes())
}

/// The same of bytes in memory.
pub fn content_hash_of(bytes: &[u8]) -> [u8; 32] {
    *blake3::hash(bytes).as_bytes()
}

/// The file and its length; a folder is not a file.
fn open(path: &Path) -> Result<(File, u64), Unreadable> {
    let file = File::open(path).map_err(|why| Unreadable::Io { why })?;
    let about = file.metadata().map_err(|why| Unreadable::Io { why })?;
    if about.is_dir() {
        return Err(Unreadable::Io { why: io::Error::from(io::ErrorKind::IsADirectory) });
    }
    Ok((file, about.len()))
}
