//! What models remember: their states at a time, and the rounds they gave.
//!
//! A state at a time rests on every row dated by then. When a batch adds, changes or sets aside a row dated at or before
//! a state, the state is thrown away in the same transaction: it can never answer for rows it has not seen. Rounds are
//! kept as they were given; later rows change nothing of them.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, TransactionBehavior, params};

use crate::{cells, error::Result, farm::Farm};

/// A round as it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptRound {
    /// The time it was made for.
    pub at: Timestamp,
    /// Which model with which fitted parameters.
    pub model: String,
    /// The round.
    pub json: String,
}

impl Farm {
    /// Keeps a model's state at a time, over one it had there. `model` names model, version and settings: whatever
    /// would make the state another.
    pub fn save_checkpoint(&mut self, at: Timestamp, model: &str, bytes: &[u8]) -> Result<()> {
        self.connection
            .prepare_cached("REPLACE INTO checkpoint (model, at, bytes) VALUES (?1, ?2, ?3)")?
            .execute(params![model, at.as_millisecond(), bytes])?;
        Ok(())
    }

    /// Keeps a model's states, unless rows have come in since `last_batch` ([`Farm::last_batch`]): they may rest on rows
    /// that are no longer so. Whether they are kept. One of a time that has a state already is that same state.
    pub fn save_checkpoints(
        &mut self,
        last_batch: u64,
        model: &str,
        states: &[(Timestamp, Vec<u8>)],
    ) -> Result<bool> {
        let begun = rusqlite::Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)?;
        if self.last_batch()? != last_batch {
            return Ok(false);
        }
        for (at, bytes) in states {
            self.connection
                .prepare_cached(
                    "INSERT INTO checkpoint (model, at, bytes) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
                )?
                .execute(params![model, at.as_millisecond(), bytes])?;
        }
        begun.commit()?;
        Ok(true)
    }

    /// The latest state at or before a time.
    pub fn checkpoint_before(&self, at: Timestamp, model: &str) -> Result<Option<(Timestamp, Vec<u8>)>> {
        let found: Option<(i64, Vec<u8>)> = self
            .connection
            .prepare_cached(
                "SELECT at, bytes FROM checkpoint WHERE model = ?1 AND at <= ?2 ORDER BY at DESC LIMIT 1",
            )?
            .query_row(params![model, at.as_millisecond()], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        found.map(|(at, bytes)| Ok((cells::instant(at, "checkpoint")?, bytes))).transpose()
    }

    /// Times of a model's states, earliest first.
    pub fn checkpoints(&self, model: &str) -> Result<Vec<Timestamp>> {
        let mut all =
            self.connection.prepare_cached("SELECT at FROM checkpoint WHERE model = ?1 ORDER BY at")?;
        let times = all.query_map([model], |row| row.get::<_, i64>(0))?;
        times.map(|at| cells::instant(at?, "checkpoint")).collect()
    }

    /// Throws away all states of all models.
    pub fn forget_checkpoints(&mut self) -> Result<()> {
        self.connection.execute("DELETE FROM checkpoint", [])?;
        Ok(())
    }

    /// Throws away a model's states but those at the given times, to keep the file small.
    pub fn thin_checkpoints(&mut self, model: &str, keep: &[Timestamp]) -> Result<()> {
        let transaction = self.connection.transaction()?;
        for at in {
            let mut all = transaction.prepare_cached("SELECT at FROM checkpoint WHERE model = ?1")?;
            all.query_map([model], |row| row.get::<_, i64>(0))?.collect::<rusqlite::Result<Vec<_>>>()?
        } {
            if !keep.iter().any(|kept| kept.as_millisecond() == at) {
                transaction
                    .execute("DELETE FROM checkpoint WHERE model = ?1 AND at = ?2", params![model, at])?;
            }
        }
        transaction.commit()?;
        Ok(())
    }

    /// Keeps a round, over one of the same time and model.
    pub fn keep_round(&mut self, at: Timestamp, model: &str, json: &str) -> Result<()> {
        self.connection
            .prepare_cached("REPLACE INTO round (at, model, json) VALUES (?1, ?2, ?3)")?
            .execute(params![at.as_millisecond(), model, json])?;
        Ok(())
    }

    /// Rounds made for times up to `until`, the latest first, at most `most`.
    pub fn rounds(&self, until: Timestamp, most: u64) -> Result<Vec<KeptRound>> {
        let mut all = self.connection.prepare_cached(
            "SELECT at, model, json FROM round WHERE at <= ?1 ORDER BY at DESC, model DESC LIMIT ?2",
        )?;
        let mut rows = all.query(params![until.as_millisecond(), most as i64])?;
        let mut rounds = Vec::new();
        while let Some(row) = rows.next()? {
            rounds.push(KeptRound {
                at: cells::instant(row.get(0)?, "round")?,
                model: row.get(1)?,
                json: row.get(2)?,
            });
        }
        Ok(rounds)
    }
}
