//! Marks of cows that were brought to the box: they show who was not milked of her own will, which no log tells.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, TransactionBehavior, params};

use crate::{cells::instant, error::Result, farm::Farm};

/// A cow was brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewBrought {
    /// Herd number.
    pub animal: String,
    /// End of her last milking then, if one was known.
    pub since: Option<Timestamp>,
    /// When.
    pub at: Timestamp,
    /// Who brought her.
    pub by: Option<String>,
    /// The sender's own word for this mark; a second one of the same word is the same mark.
    pub sent_as: Option<String>,
}

/// A mark as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brought {
    /// Its number.
    pub id: i64,
    /// What was marked.
    pub what: NewBrought,
}

impl Farm {
    /// Keeps a mark and gives its number. One that was sent before, or that stands for the same cow and milking already,
    /// gives the number it had.
    pub fn note_brought(&mut self, brought: &NewBrought) -> Result<i64> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let since = brought.since.map(Timestamp::as_millisecond);
        let known: Option<i64> = transaction
            .prepare_cached(
                "SELECT id FROM brought WHERE sent_as = ?1
                 OR (animal = ?2 AND since = ?3 AND undone_at IS NULL) ORDER BY id LIMIT 1",
            )?
            .query_row(params![brought.sent_as, brought.animal, since], |row| row.get(0))
            .optional()?;
        if let Some(known) = known {
            return Ok(known);
        }
        transaction
            .prepare_cached(
                "INSERT INTO brought (animal, since, at, \"by\", sent_as) VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![
                brought.animal,
                since,
                brought.at.as_millisecond(),
                brought.by,
                brought.sent_as
            ])?;
        let id = transaction.last_insert_rowid();
        transaction.commit()?;
        Ok(id)
    }

    /// Takes a mark back; whether there was one that still stood.
    pub fn undo_brought(&mut self, id: i64, at: Timestamp, by: Option<&str>) -> Result<bool> {
        let changed = self.connection.execute(
            "UPDATE brought SET undone_at = ?2, undone_by = ?3 WHERE id = ?1 AND undone_at IS NULL",
            params![id, at.as_millisecond(), by],
        )?;
        Ok(changed == 1)
    }

    /// Marks of a span that stand, by time.
    pub fn brought(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Brought>> {
        let mut all = self.connection.prepare_cached(
            "SELECT id, animal, since, at, \"by\", sent_as FROM brought
             WHERE ?1 <= at AND at <= ?2 AND undone_at IS NULL ORDER BY at, id",
        )?;
        let mut rows = all.query([from.as_millisecond(), to.as_millisecond()])?;
        let mut marks = Vec::new();
        while let Some(row) = rows.next()? {
            let since: Option<i64> = row.get(2)?;
            marks.push(Brought {
                id: row.get(0)?,
                what: NewBrought {
                    animal: row.get(1)?,
                    since: since.map(|since| instant(since, "since")).transpose()?,
                    at: instant(row.get(3)?, "at")?,
                    by: row.get(4)?,
                    sent_as: row.get(5)?,
                },
            });
        }
        Ok(marks)
    }

    /// Another figure whenever a mark was set or taken back.
    pub fn brought_mark(&self) -> Result<(i64, i64)> {
        let mut mark = self.connection.prepare_cached("SELECT count(*), count(undone_at) FROM brought")?;
        Ok(mark.query_row([], |row| Ok((row.get(0)?, row.get(1)?)))?)
    }
}
