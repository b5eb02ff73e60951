//! What a farm says its cases cost, cases that no call named, and what was learned and is not to count.
//!
//! Nothing here is ever changed or thrown away: costs are kept as versions, a told case and a taking back are taken back
//! with when and by whom.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use crate::{
    cells::instant,
    error::{Result, StoreError},
    farm::Farm,
};

/// One version of the farm's own costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptCosts {
    /// Its number, counted from 1.
    pub id: i64,
    /// When it was kept.
    pub kept_at: Timestamp,
    /// JSON of what differs from the stated costs; `{}`: the stated ones again.
    pub words: String,
}

/// A case that no call named, as somebody tells it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMissed {
    /// Herd number of the cow.
    pub animal: String,
    /// Word of the cause.
    pub cause: String,
    /// `LF RF LR RR`.
    pub quarter: Option<String>,
    /// When she was ill.
    pub at: Timestamp,
    /// When it is told.
    pub told_at: Timestamp,
    /// In her own words.
    pub note: Option<String>,
    /// Who tells it.
    pub by: Option<String>,
}

/// The same as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missed {
    /// Its number.
    pub id: i64,
    /// What was told.
    pub what: NewMissed,
    /// When it was taken back, and by whom.
    pub undone: Option<(Timestamp, Option<String>)>,
}

/// What was learned of a cause was taken back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unlearned {
    /// Its number.
    pub id: i64,
    /// Word of the cause.
    pub cause: String,
    /// What was told by then no longer counts.
    pub told_at: Timestamp,
    /// Who took it back.
    pub by: Option<String>,
    /// When the taking back was itself taken back, and by whom.
    pub undone: Option<(Timestamp, Option<String>)>,
}

/// A figure a cause, as JSON in a column.
pub(crate) fn figures(words: &str, what: &'static str) -> Result<BTreeMap<String, f64>> {
    serde_json::from_str(words).map_err(|error| StoreError::Stored { what, detail: error.to_string() })
}

/// The other way round.
pub(crate) fn as_words(figures: &BTreeMap<String, f64>) -> Result<String> {
    serde_json::to_string(figures)
        .map_err(|error| StoreError::Stored { what: "figures by cause", detail: error.to_string() })
}

fn undone(at: Option<i64>, by: Option<String>) -> Result<Option<(Timestamp, Option<String>)>> {
    at.map(|at| Ok((instant(at, "undone_at")?, by))).transpose()
}

impl Farm {
    /// Every version of the farm's own costs, the newest last.
    pub fn costs(&self) -> Result<Vec<KeptCosts>> {
        let mut all = self.connection.prepare_cached("SELECT id, kept_at, words FROM costs ORDER BY id")?;
        let mut rows = all.query([])?;
        let mut versions = Vec::new();
        while let Some(row) = rows.next()? {
            versions.push(KeptCosts {
                id: row.get(0)?,
                kept_at: instant(row.get(1)?, "kept_at")?,
                words: row.get(2)?,
            });
        }
        Ok(versions)
    }

    /// The version in force; `None` while the farm never set any.
    pub fn newest_costs(&self) -> Result<Option<KeptCosts>> {
        let mut newest = self
            .connection
            .prepare_cached("SELECT id, kept_at, words FROM costs ORDER BY id DESC LIMIT 1")?;
        let row: Option<(i64, i64, String)> =
            newest.query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).optional()?;
        row.map(|(id, kept_at, words)| Ok(KeptCosts { id, kept_at: instant(kept_at, "kept_at")?, words }))
            .transpose()
    }

    /// Keeps a version and gives its number.
    pub fn keep_costs(&mut self, kept_at: Timestamp, words: &str) -> Result<i64> {
        self.connection.execute(
            "INSERT INTO costs (kept_at, words) VALUES (?1, ?2)",
            params![kept_at.as_millisecond(), words],
        )?;
        Ok(self.connection.last_insert_rowid())
    }

    /// Keeps a case that no call named, and gives its number.
    pub fn note_missed(&mut self, missed: &NewMissed) -> Result<i64> {
        self.connection.execute(
            "INSERT INTO missed (animal, cause, quarter, at, told_at, note, \"by\")
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                missed.animal,
                missed.cause,
                missed.quarter,
                missed.at.as_millisecond(),
                missed.told_at.as_millisecond(),
                missed.note,
                missed.by,
            ],
        )?;
        Ok(self.connection.last_insert_rowid())
    }

    /// Takes such a case back; whether there was one that still stood.
    pub fn undo_missed(&mut self, id: i64, at: Timestamp, by: Option<&str>) -> Result<bool> {
        let changed = self.connection.execute(
            "UPDATE missed SET undone_at = ?2, undone_by = ?3 WHERE id = ?1 AND undone_at IS NULL",
            params![id, at.as_millisecond(), by],
        )?;
        Ok(changed == 1)
    }

    /// Cases told by a time, in the order they were told, those taken back too.
    pub fn missed_by(&self, until: Timestamp) -> Result<Vec<Missed>> {
        let mut all = self.connection.prepare_cached(
            "SELECT id, animal, cause, quarter, at, told_at, note, \"by\", undone_at, undone_by
             FROM missed WHERE told_at <= ?1 ORDER BY told_at, id",
        )?;
        let mut rows = all.query([until.as_millisecond()])?;
        let mut cases = Vec::new();
        while let Some(row) = rows.next()? {
            cases.push(Missed {
                id: row.get(0)?,
                what: NewMissed {
                    animal: row.get(1)?,
                    cause: row.get(2)?,
                    quarter: row.get(3)?,
                    at: instant(row.get(4)?, "at")?,
                    told_at: instant(row.get(5)?, "told_at")?,
                    note: row.get(6)?,
                    by: row.get(7)?,
                },
                undone: undone(row.get(8)?, row.get(9)?)?,
            });
        }
        Ok(cases)
    }

    /// What was learned of a cause no longer counts; gives the number of this taking back.
    pub fn unlearn(&mut self, cause: &str, told_at: Timestamp, by: Option<&str>) -> Result<i64> {
        self.connection.execute(
            "INSERT INTO unlearned (cause, told_at, \"by\") VALUES (?1, ?2, ?3)",
            params![cause, told_at.as_millisecond(), by],
        )?;
        Ok(self.connection.last_insert_rowid())
    }

    /// It counts again; whether there was a taking back that still stood.
    pub fn undo_unlearn(&mut self, id: i64, at: Timestamp, by: Option<&str>) -> Result<bool> {
        let changed = self.connection.execute(
            "UPDATE unlearned SET undone_at = ?2, undone_by = ?3 WHERE id = ?1 AND undone_at IS NULL",
            params![id, at.as_millisecond(), by],
        )?;
        Ok(changed == 1)
    }

    /// Every taking back, oldest first, those taken back too.
    pub fn unlearned(&self) -> Result<Vec<Unlearned>> {
        let mut all = self.connection.prepare_cached(
            "SELECT id, cause, told_at, \"by\", undone_at, undone_by FROM unlearned ORDER BY told_at, id",
        )?;
        let mut rows = all.query([])?;
        let mut back = Vec::new();
        while let Some(row) = rows.next()? {
            back.push(Unlearned {
                id: row.get(0)?,
                cause: row.get(1)?,
                told_at: instant(row.get(2)?, "told_at")?,
                by: row.get(3)?,
                undone: undone(row.get(4)?, row.get(5)?)?,
            });
        }
        Ok(back)
    }

    /// Another figure whenever costs were kept, a case was told, or anything of it was taken back.
    pub fn learned_mark(&self) -> Result<[i64; 5]> {
        let mut mark = self.connection.prepare_cached(
            "SELECT (SELECT count(*) FROM costs), (SELECT count(*) FROM missed), (SELECT count(undone_at) FROM missed),
                    (SELECT count(*) FROM unlearned), (SELECT count(undone_at) FROM unlearned)",
        )?;
        Ok(mark.query_row([], |row| Ok([row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?]))?)
    }
}
