//! Rows that could not be used, kept with file, line, column, value, reason and what to do.
//!
//! An entry is a row that differs from every other entry: the same file read twice adds nothing, and each reading still
//! counts the lines it saw. Visits that are set aside lie with the visits and are listed here beside the entries.

use cowpath_core::tables::Table;
use rusqlite::{Connection, OptionalExtension, params};

use crate::{batch::Refusal, error::Result, farm::Farm, overlap};

/// One row in quarantine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quarantined {
    /// Number of the entry; `None` for a visit that is set aside.
    pub entry: Option<i64>,
    /// The file it was first read from.
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
    /// The row as the file has it; of a visit that is set aside, its cells.
    pub raw: String,
    /// It was mended and taken in since.
    pub mended: bool,
}

/// Rows in quarantine of one reading, with all that is needed to read them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedRows {
    /// The file's header, one CSV line; empty where it is not known.
    pub header: String,
    /// IANA zone its wall times were read in.
    pub zone: String,
    /// The column map's text; empty for a plain table.
    pub map: String,
    /// The rows as the file has them.
    pub raws: Vec<String>,
}

/// Keeps a refusal; tells whether the line is counted for the first time in the batch.
pub(crate) fn keep(connection: &Connection, batch: i64, table: &str, refusal: &Refusal) -> Result<bool> {
    let mut print = blake3::Hasher::new();
    for part in [table, &refusal.column, &refusal.value, &refusal.raw] {
        print.update(&(part.len() as u64).to_le_bytes()).update(part.as_bytes());
    }
    let print = print.finalize();
    let line = refusal.line as i64;
    let known: Option<i64> = connection
        .prepare_cached("SELECT id FROM quarantine WHERE print = ?1")?
        .query_row([print.as_bytes()], |row| row.get(0))
        .optional()?;
    let entry = match known {
        Some(entry) => {
            // What somebody mended stays mended when the faulty file is read again.
            connection
                .prepare_cached(
                    "UPDATE quarantine SET reason = ?2, remedy = ?3,
                     mended_by = (SELECT batch FROM arrival WHERE batch = mended_by AND way IN ('mended', 'again'))
                     WHERE id = ?1",
                )?
                .execute(params![entry, refusal.reason, refusal.remedy])?;
            entry
        }
        None => {
            connection
                .prepare_cached(
                    "INSERT INTO quarantine (print, table_name, batch, line, column_name, value, reason, remedy, raw)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                )?
                .execute(params![
                    print.as_bytes(),
                    table,
                    batch,
                    line,
                    refusal.column,
                    refusal.value,
                    refusal.reason,
                    refusal.remedy,
                    refusal.raw
                ])?;
            connection.last_insert_rowid()
        }
    };
    let seen = connection
        .prepare_cached(
            "INSERT INTO quarantine_seen (batch, line, entry) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
        )?
        .execute(params![batch, line, entry])?;
    Ok(seen == 1)
}

/// Entries of the same file, read before, that this reading of it no longer refuses are mended: what was in the future
/// has come.
pub(crate) fn mend_by_rereading(connection: &Connection, batch: i64, content: &[u8; 32]) -> Result<()> {
    connection
        .prepare_cached(
            "UPDATE quarantine SET mended_by = ?1
             WHERE mended_by IS NULL
               AND id IN (SELECT seen.entry FROM quarantine_seen AS seen JOIN batch AS earlier ON earlier.id = seen.batch
                          WHERE earlier.content = ?2 AND earlier.id <> ?1
                            AND earlier.table_name = (SELECT table_name FROM batch WHERE id = ?1))
               AND id NOT IN (SELECT entry FROM quarantine_seen WHERE batch = ?1)",
        )?
        .execute(params![batch, content])?;
    Ok(())
}

impl Farm {
    /// Rows in quarantine that are not mended, entries first, in the order they came; then visits that are set aside,
    /// in order of time. `skip` many are left out, at most `most` are given.
    pub fn quarantined(&self, skip: u64, most: u64) -> Result<Vec<Quarantined>> {
        let mut entries = self.connection.prepare_cached(
            "SELECT q.id, b.file, q.table_name, q.line, q.column_name, q.value, q.reason, q.remedy, q.raw,
                    q.mended_by IS NOT NULL
             FROM quarantine AS q JOIN batch AS b ON b.id = q.batch
             WHERE q.mended_by IS NULL ORDER BY q.id LIMIT ?1 OFFSET ?2",
        )?;
        let rows = entries.query_map(params![most as i64, skip as i64], |row| {
            Ok(Quarantined {
                entry: row.get(0)?,
                file: row.get(1)?,
                table: row.get(2)?,
                line: row.get::<_, i64>(3)?.unsigned_abs(),
                column: row.get(4)?,
                value: row.get(5)?,
                reason: row.get(6)?,
                remedy: row.get(7)?,
                raw: row.get(8)?,
                mended: row.get(9)?,
            })
        })?;
        let mut page = rows.collect::<rusqlite::Result<Vec<_>>>()?;
        let (entry_count, _) = self.quarantine_counts()?;
        let left = most.saturating_sub(page.len() as u64);
        page.extend(overlap::aside(&self.connection, skip.saturating_sub(entry_count), left)?);
        Ok(page)
    }

    /// How many rows are in quarantine: entries not mended, and visits set aside.
    pub fn quarantine_counts(&self) -> Result<(u64, u64)> {
        let counts: (i64, i64) = self.connection.query_row(
            "SELECT (SELECT count(*) FROM quarantine WHERE mended_by IS NULL),
                    (SELECT count(*) FROM visits WHERE stands = 0)",
            [],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok((counts.0.unsigned_abs(), counts.1.unsigned_abs()))
    }

    /// Rows of visits that are in quarantine and first came with a reading of logs at most `days` before the last one.
    pub fn visits_in_quarantine(&self, days: i64) -> Result<u64> {
        let count: i64 = self.connection.query_row(
            "SELECT count(*) FROM quarantine JOIN batch ON batch.id = quarantine.batch
             WHERE mended_by IS NULL AND quarantine.table_name = 'visits'
               AND (SELECT max(read_at) FROM batch) - ?1 * 86400000 <= read_at",
            [days],
            |row| row.get(0),
        )?;
        Ok(count.unsigned_abs())
    }

    /// The text of rows of `visits` that are in quarantine, by the reading that first brought them, in the order they came;
    /// of more than `most` the newest.
    pub fn refused_visits(&self, most: u64) -> Result<Vec<RefusedRows>> {
        let mut all = self.connection.prepare_cached(
            "SELECT q.batch, q.raw, b.zone, b.map, coalesce(h.words, '')
             FROM (SELECT id, batch, raw FROM quarantine WHERE mended_by IS NULL AND table_name = 'visits'
                   ORDER BY id DESC LIMIT ?1) AS q
             JOIN batch AS b ON b.id = q.batch LEFT JOIN header AS h ON h.batch = b.id
             ORDER BY q.batch, q.id",
        )?;
        let mut rows = all.query([most as i64])?;
        let mut groups: Vec<RefusedRows> = Vec::new();
        let mut last = None;
        while let Some(row) = rows.next()? {
            let batch: i64 = row.get(0)?;
            if last != Some(batch) {
                last = Some(batch);
                let (zone, map, header) = (row.get(2)?, row.get(3)?, row.get(4)?);
                groups.push(RefusedRows { header, zone, map, raws: Vec::new() });
            }
            if let Some(group) = groups.last_mut() {
                group.raws.push(row.get(1)?);
            }
        }
        Ok(groups)
    }

    /// What is wrong most often with entries that are not mended: table, column, reason, and how many, the most frequent
    /// first.
    pub fn quarantine_reasons(&self, most: u64) -> Result<Vec<(String, String, String, u64)>> {
        let mut all = self.connection.prepare_cached(
            "SELECT table_name, column_name, reason, count(*) FROM quarantine WHERE mended_by IS NULL
             GROUP BY table_name, column_name, reason ORDER BY count(*) DESC, min(id) LIMIT ?1",
        )?;
        let rows = all.query_map([most as i64], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get::<_, i64>(3)?.unsigned_abs()))
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// An entry was mended by hand and its row taken in by a batch. Tells whether there was such an entry.
    pub fn mended(&mut self, entry: i64, batch: i64) -> Result<bool> {
        let changed = self
            .connection
            .execute("UPDATE quarantine SET mended_by = ?2 WHERE id = ?1", params![entry, batch])?;
        Ok(changed == 1)
    }

    /// The table of an entry and its row as the file had it, to be mended.
    pub fn quarantine_entry(&self, entry: i64) -> Result<Option<(&'static Table, String)>> {
        let found: Option<(String, String)> = self
            .connection
            .prepare_cached("SELECT table_name, raw FROM quarantine WHERE id = ?1")?
            .query_row([entry], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        Ok(found.and_then(|(name, raw)| Some((cowpath_core::tables::table(&name)?, raw))))
    }
}
