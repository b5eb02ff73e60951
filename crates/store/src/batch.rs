//! One file read into one table: the whole of it is kept, or none of it.
//!
//! # Sums
//! read = new + same + replaced + quarantined, for every batch ever taken. A row counts once, by what became of it when
//! the batch ended: a visit that was put in and then set aside, because she was elsewhere, is quarantined and not new.
//! # Rows of fewer columns
//! A file that lacks a column says nothing of it: where its row meets one of the same key, the other's cell stays. A
//! file that has the column and leaves the cell empty says "not measured", and that replaces.

use cowpath_core::tables::{Cell, Table};
use jiff::Timestamp;
use rusqlite::{Connection, Statement, params};

use crate::{
    error::{Result, StoreError},
    farm::Farm,
    layout::{Dated, Layout},
    names::Names,
    open,
    overlap::{self, Stays},
    quarantine::{self, Quarantined},
};

/// What a batch is read from, and how.
#[derive(Debug, Clone)]
pub struct Source {
    /// The file as the user named it.
    pub file: String,
    /// BLAKE3 of its whole content as it lies on the disk.
    pub content: [u8; 32],
    /// Which table it is.
    pub table: &'static Table,
    /// IANA zone its wall times were read in.
    pub zone: String,
    /// What else decides how it is read: the text of the column map; empty for a plain table.
    pub map: String,
    /// When it is read.
    pub now: Timestamp,
    /// Places, in the table's order, of the columns it has. Empty: all.
    pub columns: Vec<usize>,
}

/// What became of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Disposition {
    /// Its key was not known. Of visits it is decided when the batch ends whether they stand.
    New,
    /// It stands already, cell by cell.
    Same,
    /// It differs from the row of its key; that one went to the history.
    Replaced,
    /// It cannot be kept as a row of the table; it went to quarantine.
    Refused(Refusal),
}

/// Why a row cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Its line in the file.
    pub line: u64,
    /// The column to look at first; empty where it is the whole row.
    pub column: String,
    /// What stands there.
    pub value: String,
    /// What is wrong, in words.
    pub reason: String,
    /// What to do about it.
    pub remedy: String,
    /// The row as the file has it.
    pub raw: String,
}

/// Something to say of a file that is not about a row that cannot be used: a column not used, how a doubtful wall time
/// was settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// Its line in the file, where it has one.
    pub line: Option<u64>,
    /// The column, where it is about one.
    pub column: String,
    /// What there is to say.
    pub text: String,
}

/// Rows of a batch by what became of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct Sums {
    /// All of them: the sum of the next four.
    pub read: u64,
    /// Not known before.
    pub new: u64,
    /// Known, and the same.
    pub same: u64,
    /// Known, and changed.
    pub replaced: u64,
    /// Not usable.
    pub quarantined: u64,
    /// Of earlier files: rows that were set aside by this one, because an earlier visit of hers came to light. Not part
    /// of the sum.
    #[serde(skip)]
    pub displaced: u64,
    /// Of earlier files: rows that were set aside and now stand. Not part of the sum.
    #[serde(skip)]
    pub freed: u64,
}

/// A visit that was set aside when the batch ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Displaced {
    /// The visit, its file and line, and why.
    pub row: Quarantined,
    /// Its row was read in this batch; otherwise an earlier file's row gave way.
    pub read_now: bool,
}

/// A batch that has ended well.
#[derive(Debug, Clone, PartialEq)]
pub struct Finished {
    /// Its number.
    pub batch: i64,
    /// What became of its rows.
    pub sums: Sums,
    /// Visits it set aside, and those it read again that are set aside still, in order of time; at most
    /// [`Finished::MOST`] of each.
    pub displaced: Vec<Displaced>,
}

impl Finished {
    /// Most visits set aside that are listed one by one; all are counted, and found in the quarantine.
    pub const MOST: usize = 10_000;
}

/// Counts of a batch while it runs.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Tally {
    pub read: u64,
    pub new: u64,
    pub same: u64,
    pub replaced: u64,
    pub refused: u64,
    pub overlapping: u64,
    pub added: u64,
    pub changed: u64,
    pub own_changed: u64,
    pub taken_back: u64,
}

/// A batch under way. Dropped without [`Batch::finish`] it leaves nothing behind.
pub struct Batch<'a> {
    pub(crate) connection: &'a Connection,
    pub(crate) id: i64,
    pub(crate) layout: Layout,
    pub(crate) given: Vec<usize>,
    pub(crate) given_mask: u64,
    pub(crate) filled_mask: u64,
    pub(crate) names: Names<'a>,
    pub(crate) insert: Statement<'a>,
    pub(crate) glance: Statement<'a>,
    pub(crate) stays: Option<Stays<'a>>,
    pub(crate) tally: Tally,
    /// The last row was known: the next one probably is too, and is looked up before it is put in.
    pub(crate) likely_known: bool,
    /// Known visits read again that are set aside: (animal, started_at, box).
    pub(crate) aside_again: Vec<(i64, i64, i64)>,
    earliest: Option<i64>,
    undated: bool,
    content: [u8; 32],
    /// What its file's format has no word for.
    pub(crate) cannot_say: String,
    pub(crate) broken: bool,
    pub(crate) finished: bool,
}

impl Farm {
    /// Begins to read a file into a table. One batch at a time: another one, of this or another program, waits 5 s and
    /// then fails with [`StoreError::InUse`].
    pub fn begin(&mut self, source: &Source) -> Result<Batch<'_>> {
        let connection = &self.connection;
        open::make_room(connection)?;
        connection.execute_batch("BEGIN IMMEDIATE")?;
        let begun = Batch::start(connection, source);
        if begun.is_err() {
            // What matters is why it could not begin; an open transaction would only hide that.
            let _ = connection.execute_batch("ROLLBACK");
        }
        begun
    }
}

impl<'a> Batch<'a> {
    /// Within a transaction that was begun.
    pub(crate) fn start(connection: &'a Connection, source: &Source) -> Result<Batch<'a>> {
        let layout = Layout::of(source.table);
        let mut given = source.columns.clone();
        if given.is_empty() {
            given = (0..source.table.columns.len()).collect();
        }
        given.sort_unstable();
        given.dedup();
        if given.last().is_some_and(|last| source.table.columns.len() <= *last || 64 <= *last) {
            return Err(StoreError::Misfit { line: 1, detail: "a column beyond the table's last".into() });
        }
        let columns: Vec<&str> = given.iter().map(|column| source.table.columns[*column].name).collect();
        connection.execute(
            "INSERT INTO batch (file, content, table_name, zone, map, read_at, columns_given) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                source.file,
                source.content,
                source.table.name,
                source.zone,
                source.map,
                source.now.as_millisecond(),
                columns.join(",")
            ],
        )?;
        Ok(Batch {
            connection,
            id: connection.last_insert_rowid(),
            given_mask: given.iter().fold(0, |mask, column| mask | 1 << column),
            filled_mask: 0,
            names: Names::load(connection)?,
            insert: connection.prepare(&layout.insert(&given))?,
            glance: connection.prepare(&layout.glance())?,
            stays: if layout.stands { Some(Stays::new(connection)?) } else { None },
            tally: Tally::default(),
            likely_known: false,
            aside_again: Vec::new(),
            earliest: None,
            undated: false,
            content: source.content,
            cannot_say: String::new(),
            broken: false,
            finished: false,
            layout,
            given,
        })
    }

    /// Takes one row: its cells in the table's order and units. After an error the batch can only be dropped.
    pub fn row(&mut self, line: u64, cells: &[Cell]) -> Result<Disposition> {
        self.sound()?;
        let taken = self.take(line, cells);
        self.broken |= taken.is_err();
        taken
    }

    /// Keeps a row that the reader could not use. A line counts once, however often it is named.
    pub fn refuse(&mut self, refusal: &Refusal) -> Result<()> {
        self.sound()?;
        let kept = quarantine::keep(self.connection, self.id, self.layout.table.name, refusal);
        self.broken |= kept.is_err();
        if kept? {
            self.tally.read += 1;
            self.tally.refused += 1;
        }
        Ok(())
    }

    /// Keeps something to say of the file.
    pub fn remark(&mut self, remark: &Remark) -> Result<()> {
        self.sound()?;
        let line = remark.line.map(|line| line as i64);
        let kept = self
            .connection
            .prepare_cached("INSERT INTO remark (batch, line, column_name, text) VALUES (?1, ?2, ?3, ?4)")
            .and_then(|mut add| add.execute(params![self.id, line, remark.column, remark.text]));
        self.broken |= kept.is_err();
        kept?;
        Ok(())
    }

    /// What became of the rows so far; of visits those that overlap are settled only by [`Batch::finish`].
    pub fn so_far(&self) -> Sums {
        let Tally { read, new, same, replaced, refused, .. } = self.tally;
        let aside = self.aside_again.len() as u64;
        Sums { read, new, same, replaced, quarantined: refused + aside, displaced: 0, freed: 0 }
    }

    /// Settles which visits stand, and keeps the whole batch.
    pub fn finish(mut self) -> Result<Finished> {
        self.sound()?;
        let finished = self.settle()?;
        self.connection.execute_batch("COMMIT")?;
        self.finished = true;
        Ok(finished)
    }

    pub(crate) fn settle(&mut self) -> Result<Finished> {
        let mut displaced = Vec::new();
        let (mut displaced_count, mut freed) = (0, 0);
        if let Some(stays) = self.stays.take() {
            let settled = overlap::settle(self.connection, stays.finish()?, self.id)?;
            if let Some(at) = settled.earliest {
                self.note_change(Dated::At(at));
            }
            (displaced_count, freed) = (settled.displaced, settled.freed);
            let still_aside = overlap::recount(self)?;
            displaced = overlap::list(self.connection, self.id, &settled.set_aside, &still_aside)?;
        }
        if self.undated {
            self.connection.execute("DELETE FROM checkpoint", [])?;
        } else if let Some(at) = self.earliest {
            self.connection.execute("DELETE FROM checkpoint WHERE ?1 <= at", [at])?;
        }
        quarantine::mend_by_rereading(self.connection, self.id, &self.content)?;
        let tally = self.tally;
        let filled: Vec<&str> = (self.layout.table.columns.iter().enumerate())
            .filter(|(column, _)| self.filled_mask >> column & 1 == 1)
            .map(|(_, column)| column.name)
            .collect();
        let number = |count: u64| count as i64;
        self.connection.execute(
            "UPDATE batch SET columns_filled = ?2, rows_read = ?3, rows_new = ?4, rows_same = ?5, rows_replaced = ?6,
             rows_refused = ?7, rows_overlapping = ?8, rows_added = ?9, rows_changed = ?10, own_rows_changed = ?11,
             displaced = ?12, freed = ?13, rows_taken_back = ?14, cannot_say = ?15 WHERE id = ?1",
            params![
                self.id,
                filled.join(","),
                number(tally.read),
                number(tally.new),
                number(tally.same),
                number(tally.replaced),
                number(tally.refused),
                number(tally.overlapping),
                number(tally.added),
                number(tally.changed),
                number(tally.own_changed),
                number(displaced_count),
                number(freed),
                number(tally.taken_back),
                self.cannot_say
            ],
        )?;
        let sums = Sums {
            read: tally.read,
            new: tally.new,
            same: tally.same,
            replaced: tally.replaced,
            quarantined: tally.refused + tally.overlapping,
            displaced: displaced_count,
            freed,
        };
        Ok(Finished { batch: self.id, sums, displaced })
    }

    /// States of the models at or after the change will be thrown away.
    pub(crate) fn note_change(&mut self, dated: Dated) {
        match dated {
            Dated::At(at) => self.earliest = Some(self.earliest.map_or(at, |earliest| earliest.min(at))),
            Dated::Undated => self.undated = true,
            Dated::NoModel => {}
        }
    }

    /// After an error SQLite may have ended the transaction: nothing may be written then, or a half would be kept.
    pub(crate) fn sound(&self) -> Result<()> {
        if self.broken || self.connection.is_autocommit() {
            return Err(StoreError::Stored {
                what: "the batch",
                detail: "it failed before and cannot go on".into(),
            });
        }
        Ok(())
    }
}

impl Drop for Batch<'_> {
    fn drop(&mut self) {
        if !self.finished && !self.connection.is_autocommit() {
            // Nothing can be done if this fails too: SQLite rolls back when the file is opened next.
            let _ = self.connection.execute_batch("ROLLBACK");
        }
    }
}
