//! What was read: every batch ever taken, what was said of it, and the rows it replaced.

use cowpath_core::tables::Table;
use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, params};

use crate::{
    batch::{Source, Sums},
    cells,
    error::{Result, StoreError},
    farm::{Farm, count},
    layout::Layout,
};

/// One batch as it was taken.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchRecord {
    /// Its number.
    pub batch: i64,
    /// The file as the user named it.
    pub file: String,
    /// BLAKE3 of its content, in hexadecimal digits.
    pub content: String,
    /// Its table.
    pub table: String,
    /// IANA zone its wall times were read in.
    pub zone: String,
    /// The column map's text; empty for a plain table.
    pub map: String,
    /// When it was read.
    pub read_at: Timestamp,
    /// What became of its rows.
    pub sums: Sums,
    /// What its file's format has no word for, as words parted by blanks: unknown in its rows, not zero.
    pub cannot_say: String,
}

/// Something said of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptRemark {
    /// Its line, where it has one.
    pub line: Option<u64>,
    /// The column, where it is about one.
    pub column: String,
    /// What there is to say.
    pub text: String,
}

/// A row that was replaced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HistoryRow {
    /// Its table.
    pub table: String,
    /// Its key: the key's columns in the order of the declaration, times in RFC 3339.
    pub key: Vec<String>,
    /// Batch that had brought it.
    pub batch: i64,
    /// Its line there.
    pub line: u64,
    /// Batch that replaced it.
    pub replaced_by: i64,
    /// What had been measured, as JSON of column and value.
    pub cells: String,
}

const BATCH_COLUMNS: &str =
    "id, file, content, table_name, zone, map, read_at, rows_read, rows_new, rows_same,
     rows_replaced, rows_refused + rows_overlapping, displaced, freed, cannot_say";

impl Farm {
    /// Every batch ever taken, oldest first.
    pub fn batches(&self) -> Result<Vec<BatchRecord>> {
        let mut all =
            self.connection.prepare_cached(&format!("SELECT {BATCH_COLUMNS} FROM batch ORDER BY id"))?;
        let mut rows = all.query([])?;
        let mut batches = Vec::new();
        while let Some(row) = rows.next()? {
            batches.push(record(row)?);
        }
        Ok(batches)
    }

    /// A mark of the last batch that was taken: another one whenever rows have come, gone or changed, the same on every
    /// connection. 0 while nothing was read.
    pub fn last_batch(&self) -> Result<u64> {
        let mut last = self
            .connection
            .prepare_cached("SELECT id, read_at, content FROM batch ORDER BY id DESC LIMIT 1")?;
        let mark = last
            .query_row([], |row| {
                let (id, read_at, content): (i64, i64, Vec<u8>) = (row.get(0)?, row.get(1)?, row.get(2)?);
                let start = content.iter().take(8).fold(0_u64, |word, byte| word << 8 | u64::from(*byte));
                // A restored farm may count its batches anew, so the number alone would not do.
                Ok((id as u64).rotate_left(40) ^ (read_at as u64).rotate_left(17) ^ start)
            })
            .optional()?;
        Ok(mark.unwrap_or(0))
    }

    /// What was said of a batch's file, in the order it was said.
    pub fn remarks(&self, batch: i64) -> Result<Vec<KeptRemark>> {
        let mut all = self
            .connection
            .prepare_cached("SELECT line, column_name, text FROM remark WHERE batch = ?1 ORDER BY id")?;
        let rows = all.query_map([batch], |row| {
            let line: Option<i64> = row.get(0)?;
            Ok(KeptRemark { line: line.map(i64::unsigned_abs), column: row.get(1)?, text: row.get(2)? })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// What was said of a batch's file that begins with a word, in the order it was said, each once; at most `most`.
    pub fn remarks_that_begin(&self, batch: i64, word: &str, most: u64) -> Result<Vec<KeptRemark>> {
        let mut all = self.connection.prepare_cached(
            "SELECT min(line), column_name, text FROM remark WHERE batch = ?1 AND substr(text, 1, length(?2)) = ?2
             GROUP BY column_name, text ORDER BY min(id) LIMIT ?3",
        )?;
        let rows = all.query_map(params![batch, word, most as i64], |row| {
            let line: Option<i64> = row.get(0)?;
            Ok(KeptRemark { line: line.map(i64::unsigned_abs), column: row.get(1)?, text: row.get(2)? })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// What is known beforehand of reading a file: if its whole content was read before, the same way and with nothing
    /// left over, and no row of its table has changed since, then every row of it is the same. The answer is what
    /// reading it row by row would give; `None` means it must be read.
    pub fn already_read(&self, source: &Source) -> Result<Option<Sums>> {
        let mut earlier = self.connection.prepare_cached(
            "SELECT rows_read FROM batch AS b
             WHERE content = ?1 AND table_name = ?2 AND zone = ?3 AND map = ?4
               AND rows_refused = 0 AND rows_overlapping = 0 AND own_rows_changed = 0
               AND NOT EXISTS (SELECT 1 FROM batch AS later WHERE later.id > b.id AND later.table_name = b.table_name
                               AND (later.rows_changed > 0 OR later.displaced > 0 OR later.rows_taken_back > 0))
               AND NOT EXISTS (SELECT 1 FROM remark WHERE batch = b.id AND line IS NOT NULL)
             ORDER BY id DESC LIMIT 1",
        )?;
        let read: Option<i64> = earlier
            .query_row(params![source.content, source.table.name, source.zone, source.map], |row| row.get(0))
            .optional()?;
        let Some(read) = read else { return Ok(None) };
        let read = count(read, "rows read")?;
        Ok(Some(Sums { read, same: read, ..Sums::default() }))
    }

    /// Records a reading that [`Farm::already_read`] has answered, so that Records shows it; gives its number.
    pub fn note_already_read(&mut self, source: &Source, sums: &Sums) -> Result<i64> {
        self.connection.execute(
            "INSERT INTO batch (file, content, table_name, zone, map, read_at, columns_given, rows_read, rows_same)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, '', ?7, ?7)",
            params![
                source.file,
                source.content,
                source.table.name,
                source.zone,
                source.map,
                source.now.as_millisecond(),
                sums.same as i64
            ],
        )?;
        Ok(self.connection.last_insert_rowid())
    }

    /// Earlier versions of the row of a key, oldest first; the key as in [`HistoryRow::key`].
    pub fn history_of(&self, table: &Table, key: &[&str]) -> Result<Vec<HistoryRow>> {
        let mut all = self.connection.prepare_cached(
            "SELECT table_name, row_key, batch, line, replaced_by, cells FROM history
             WHERE table_name = ?1 AND row_key = ?2 ORDER BY id",
        )?;
        let rows = all.query_map(params![table.name, key.join("\u{1f}")], history_row)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Rows that were replaced, the latest first. `skip` many are left out, at most `most` are given.
    pub fn history(&self, skip: u64, most: u64) -> Result<Vec<HistoryRow>> {
        let mut all = self.connection.prepare_cached(
            "SELECT table_name, row_key, batch, line, replaced_by, cells FROM history ORDER BY id DESC LIMIT ?1 OFFSET ?2",
        )?;
        let rows = all.query_map(params![most as i64, skip as i64], history_row)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// The key of a row of cells as the history writes it.
    pub fn key_of(table: &'static Table, row: &[cowpath_core::tables::Cell]) -> Vec<String> {
        cells::key_words(&Layout::of(table), row).split('\u{1f}').map(str::to_owned).collect()
    }
}

fn history_row(row: &Row<'_>) -> rusqlite::Result<HistoryRow> {
    let key: String = row.get(1)?;
    Ok(HistoryRow {
        table: row.get(0)?,
        key: key.split('\u{1f}').map(str::to_owned).collect(),
        batch: row.get(2)?,
        line: row.get::<_, i64>(3)?.unsigned_abs(),
        replaced_by: row.get(4)?,
        cells: row.get(5)?,
    })
}

fn record(row: &Row<'_>) -> Result<BatchRecord> {
    let number = |column: usize| -> Result<u64> { count(row.get(column)?, "a batch's sums") };
    let content: Vec<u8> = row.get(2)?;
    let content: [u8; 32] = content
        .try_into()
        .map_err(|_| StoreError::Stored { what: "a batch's content", detail: "it is not 32 bytes".into() })?;
    Ok(BatchRecord {
        batch: row.get(0)?,
        file: row.get(1)?,
        content: blake3::Hash::from_bytes(content).to_hex().to_string(),
        table: row.get(3)?,
        zone: row.get(4)?,
        map: row.get(5)?,
        read_at: cells::instant(row.get(6)?, "read_at")?,
        sums: Sums {
            read: number(7)?,
            new: number(8)?,
            same: number(9)?,
            replaced: number(10)?,
            quarantined: number(11)?,
            displaced: number(12)?,
            freed: number(13)?,
        },
        cannot_say: row.get(14)?,
    })
}
