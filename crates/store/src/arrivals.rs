//! Files that came: by which way, when, and what became of each, also of those that could not be read.
//!
//! A file that was read has a batch; one that was not has its trouble and what to do. What came by the inbox is known
//! again by its content, so that a restart reads nothing twice and a bad file is tried again only when it has changed.

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::{
    batch::{Batch, Sums},
    cells,
    error::Result,
    farm::{Farm, count},
};

/// By which way a file came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Named on the command line.
    Command,
    /// Found in the inbox.
    Inbox,
    /// Dropped or chosen on a page.
    Page,
    /// A row of the quarantine, mended by hand.
    Mended,
    /// Rows of the quarantine that are understood by now.
    Again,
}

impl Way {
    /// The word for it, as the file keeps it.
    pub fn word(self) -> &'static str {
        match self {
            Way::Command => "command",
            Way::Inbox => "inbox",
            Way::Page => "page",
            Way::Mended => "mended",
            Way::Again => "again",
        }
    }

    fn of(word: &str) -> Way {
        [Way::Inbox, Way::Page, Way::Mended, Way::Again]
            .into_iter()
            .find(|way| way.word() == word)
            .unwrap_or(Way::Command)
    }
}

/// A file that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// By which way it came.
    pub way: Way,
    /// Its name.
    pub file: String,
    /// BLAKE3 of its content, where its bytes could be read.
    pub content: Option<[u8; 32]>,
    /// Its length, bytes.
    pub bytes: u64,
    /// When it came.
    pub at: Timestamp,
    /// Why it could not be read.
    pub trouble: String,
    /// What to do about it.
    pub remedy: String,
}

/// One file that came, as Records lists it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// By which way.
    pub way: Way,
    /// Its name.
    pub file: String,
    /// When it came.
    pub at: Timestamp,
    /// Its table and what became of its rows; `None` where it could not be read.
    pub read: Option<(i64, String, Sums)>,
    /// Why it could not be read; empty where it was.
    pub trouble: String,
    /// What to do about it.
    pub remedy: String,
}

impl Batch<'_> {
    /// Says by which way the file came, how long it is, and what its header says (one CSV line; empty where it has
    /// none). It is kept with the batch, or not at all.
    pub fn came(&mut self, way: Way, bytes: u64, header: &str) -> Result<()> {
        let noted = note_batch(self.connection, self.id, way, bytes);
        self.broken |= noted.is_err();
        noted?;
        if !header.is_empty() {
            let kept = self
                .connection
                .execute("INSERT INTO header (batch, words) VALUES (?1, ?2)", params![self.id, header]);
            self.broken |= kept.is_err();
            kept?;
        }
        Ok(())
    }
}

fn note_batch(connection: &Connection, batch: i64, way: Way, bytes: u64) -> Result<()> {
    connection
        .prepare_cached(
            "INSERT INTO arrival (way, file, content, bytes, came_at, batch, trouble, remedy)
             SELECT ?2, file, content, ?3, read_at, id, '', '' FROM batch WHERE id = ?1",
        )?
        .execute(params![batch, way.word(), bytes as i64])?;
    Ok(())
}

/// Every file that came, newest first: those noted, and batches of before anything was noted.
const ARRIVALS: &str = "
    SELECT coalesce(a.way, 'command'), b.file, b.read_at AS at, b.id, b.table_name, b.rows_read, b.rows_new, b.rows_same,
           b.rows_replaced, b.rows_refused + b.rows_overlapping, b.displaced, b.freed, '' AS trouble, '' AS remedy,
           coalesce(a.id, 0) AS nth
    FROM batch AS b LEFT JOIN arrival AS a ON a.batch = b.id
    UNION ALL
    SELECT way, file, came_at, NULL, '', 0, 0, 0, 0, 0, 0, 0, trouble, remedy, id FROM arrival WHERE batch IS NULL";

impl Farm {
    /// Notes by which way a file came whose reading was answered without reading it.
    pub fn note_way(&mut self, batch: i64, way: Way, bytes: u64) -> Result<()> {
        note_batch(&self.connection, batch, way, bytes)
    }

    /// Notes a file that could not be read.
    pub fn note_unread(&mut self, unread: &Unread) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO arrival (way, file, content, bytes, came_at, batch, trouble, remedy)
                 VALUES (?1, ?2, ?3, ?4, ?5, NULL, ?6, ?7)",
            )?
            .execute(params![
                unread.way.word(),
                unread.file,
                unread.content,
                unread.bytes as i64,
                unread.at.as_millisecond(),
                unread.trouble,
                unread.remedy
            ])?;
        Ok(())
    }

    /// Whether a file of this content has come before, by any way, read or not.
    pub fn has_come(&self, content: &[u8; 32]) -> Result<bool> {
        let found: Option<i64> = self
            .connection
            .prepare_cached("SELECT 1 FROM arrival WHERE content = ?1 LIMIT 1")?
            .query_row([content], |row| row.get(0))
            .optional()?;
        Ok(found.is_some())
    }

    /// Files that came, newest first. `skip` many are left out, at most `most` are given.
    pub fn arrivals(&self, skip: u64, most: u64) -> Result<Vec<Arrival>> {
        let select = format!("{ARRIVALS} ORDER BY at DESC, nth DESC, 4 DESC LIMIT ?1 OFFSET ?2");
        let mut all = self.connection.prepare_cached(&select)?;
        let mut rows = all.query(params![most as i64, skip as i64])?;
        let mut arrivals = Vec::new();
        while let Some(row) = rows.next()? {
            arrivals.push(arrival(row)?);
        }
        Ok(arrivals)
    }

    /// How many files came.
    pub fn arrival_count(&self) -> Result<u64> {
        let all: i64 = self.connection.query_row(
            "SELECT (SELECT count(*) FROM batch) + (SELECT count(*) FROM arrival WHERE batch IS NULL)",
            [],
            |row| row.get(0),
        )?;
        count(all, "files that came")
    }

    /// A mark of what Records shows: another one whenever a file came, could not be read, or a row was mended.
    pub fn records_mark(&self) -> Result<(u64, i64)> {
        let last: i64 =
            self.connection.query_row("SELECT coalesce(max(id), 0) FROM arrival", [], |row| row.get(0))?;
        Ok((self.last_batch()?, last))
    }
}

fn arrival(row: &Row<'_>) -> Result<Arrival> {
    let number = |column: usize| -> Result<u64> { count(row.get(column)?, "a batch's sums") };
    let way: String = row.get(0)?;
    let batch: Option<i64> = row.get(3)?;
    let read = match batch {
        None => None,
        Some(batch) => Some((
            batch,
            row.get(4)?,
            Sums {
                read: number(5)?,
                new: number(6)?,
                same: number(7)?,
                replaced: number(8)?,
                quarantined: number(9)?,
                displaced: number(10)?,
                freed: number(11)?,
            },
        )),
    };
    Ok(Arrival {
        way: Way::of(&way),
        file: row.get(1)?,
        at: cells::instant(row.get(2)?, "when a file came")?,
        read,
        trouble: row.get(12)?,
        remedy: row.get(13)?,
    })
}
