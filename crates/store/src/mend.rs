//! Entries of the quarantine with all that is needed to mend them and read them again.

use rusqlite::{OptionalExtension, Row, params};

use crate::{batch::Batch, error::Result, farm::Farm};

/// One row in quarantine, as it can be mended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number.
    pub entry: i64,
    /// The file it was read from last.
    pub file: String,
    /// Its table.
    pub table: String,
    /// Its line there.
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
    /// The file's header, one CSV line; empty where it is not known (it was read before headers were kept).
    pub header: String,
    /// IANA zone its wall times were read in.
    pub zone: String,
    /// The column map's text; empty for a plain table.
    pub map: String,
    /// It was mended and taken in since.
    pub mended: bool,
}

/// Entries of `quarantine` that a condition picks, as the file that was read last and named them last had them.
fn entries(picked: &str) -> String {
    format!(
        "SELECT q.id, b.file, q.table_name,
                (SELECT min(line) FROM quarantine_seen WHERE entry = q.id AND batch = b.id),
                q.column_name, q.value, q.reason, q.remedy, q.raw,
                coalesce(h.words, ''), b.zone, b.map, q.mended_by IS NOT NULL
         FROM (SELECT * FROM quarantine WHERE {picked}) AS q
         JOIN batch AS b ON b.id = (SELECT max(batch) FROM quarantine_seen WHERE entry = q.id)
         LEFT JOIN header AS h ON h.batch = b.id
         ORDER BY q.id"
    )
}

impl Farm {
    /// One entry, mended or not.
    pub fn entry(&self, entry: i64) -> Result<Option<Entry>> {
        let mut one = self.connection.prepare_cached(&entries("id = ?1"))?;
        Ok(one.query_row([entry], read).optional()?)
    }

    /// Entries that are not mended, with a number above `after`, in order; at most `most`.
    pub fn entries(&self, after: i64, most: u64) -> Result<Vec<Entry>> {
        let mut some =
            self.connection.prepare_cached(&entries("mended_by IS NULL AND ?1 < id ORDER BY id LIMIT ?2"))?;
        let rows = some.query_map(params![after, most as i64], read)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

impl Batch<'_> {
    /// This batch takes in the row of an entry. It is mended when the batch is kept, and not before. Tells whether it
    /// was still to be mended.
    pub fn mends(&mut self, entry: i64) -> Result<bool> {
        let done = self
            .connection
            .prepare_cached("UPDATE quarantine SET mended_by = ?2 WHERE id = ?1 AND mended_by IS NULL")
            .and_then(|mut mend| mend.execute(params![entry, self.id]));
        self.broken |= done.is_err();
        Ok(done? == 1)
    }
}

fn read(row: &Row<'_>) -> rusqlite::Result<Entry> {
    Ok(Entry {
        entry: row.get(0)?,
        file: row.get(1)?,
        table: row.get(2)?,
        line: row.get::<_, i64>(3)?.unsigned_abs(),
        column: row.get(4)?,
        value: row.get(5)?,
        reason: row.get(6)?,
        remedy: row.get(7)?,
        raw: row.get(8)?,
        header: row.get(9)?,
        zone: row.get(10)?,
        map: row.get(11)?,
        mended: row.get(12)?,
    })
}
