//! What was shown, and what people found when they looked.
//!
//! A call is kept from its first round on, as it was shown last. An answer stays with its call for ever: it is never
//! changed, only taken back, with when and by whom.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, TransactionBehavior, params};

use crate::{
    cells::instant,
    error::Result,
    farm::Farm,
    learned::{as_words, figures},
};

/// A call as a round showed it.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownCall {
    /// Its identity, the same from its first to its last round.
    pub call: String,
    /// `cow`, `box`, `herd`.
    pub subject: String,
    /// Herd number of the cow.
    pub animal: Option<String>,
    /// Name of the box.
    pub box_name: Option<String>,
    /// The cause's word.
    pub cause: String,
    /// `LF RF LR RR`.
    pub quarter: Option<String>,
    /// Of the cause, 0 to 1.
    pub probability: f64,
    /// `now`, `today`, `watch`.
    pub urgency: String,
    /// Likeliest onset.
    pub since: Timestamp,
    /// The sentence.
    pub sentence: String,
    /// Where one walks to see it.
    pub place: String,
    /// Which model.
    pub model: String,
    /// The other causes considered, by word, with their chances.
    pub others: BTreeMap<String, f64>,
    /// What was learned of each cause by then, by word: factors of the stated rates.
    pub learned: BTreeMap<String, f64>,
}

/// A call with the rounds it was shown in.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptCall {
    /// As it was shown last.
    pub shown: ShownCall,
    /// Its first round.
    pub first_at: Timestamp,
    /// Its last.
    pub last_at: Timestamp,
    /// The first round of the newest rows that showed it, if any did.
    pub walked_at: Option<Timestamp>,
    /// The first of those that sent somebody at once, if any did.
    pub now_at: Option<Timestamp>,
}

/// What somebody found.
#[derive(Debug, Clone, PartialEq)]
pub struct NewFound {
    /// Of which call.
    pub call: String,
    /// `confirmed`, `other-cause`, `other-quarter`, `nothing`, `look-again`.
    pub outcome: String,
    /// The cause that it was, where it was another.
    pub cause: Option<String>,
    /// The quarter that it was: `LF RF LR RR`.
    pub quarter: Option<String>,
    /// What was seen, in a word or two: `clots`.
    pub sign: Option<String>,
    /// In her own words.
    pub note: Option<String>,
    /// Who looked.
    pub by: Option<String>,
    /// When.
    pub found_at: Timestamp,
    /// The sender's own word for this answer; a second answer of the same word is the same answer.
    pub sent_as: Option<String>,
}

/// An answer as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Its number.
    pub id: i64,
    /// What was found.
    pub what: NewFound,
    /// Cause, quarter, probability and urgency of the call when it was answered.
    pub called: (String, Option<String>, f64, String),
    /// The other causes considered then, with their chances.
    pub called_others: BTreeMap<String, f64>,
    /// What was learned of each cause by then.
    pub called_learned: BTreeMap<String, f64>,
    /// When it was taken back, and by whom.
    pub undone: Option<(Timestamp, Option<String>)>,
}

const CALL_COLUMNS: &str = "call, first_at, last_at, subject, animal, box, cause, quarter, probability, urgency, now_at, \
                            since, sentence, place, model, walked_at, others, learned";

impl Farm {
    /// Keeps what a round showed; `walked`: it was the round of the newest rows, which people walk by. A round of an earlier time moves only the first round of a call, one of a later time
    /// how it was shown last.
    pub fn note_shown(&mut self, at: Timestamp, walked: bool, calls: &[ShownCall]) -> Result<()> {
        let at_ms = at.as_millisecond();
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        {
            let mut keep = transaction.prepare_cached(
                "INSERT INTO shown (call, first_at, last_at, subject, animal, box, cause, quarter, probability, urgency,
                                    now_at, since, sentence, place, model, walked_at, others, learned)
                 VALUES (?1, ?2, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)
                 ON CONFLICT (call) DO UPDATE SET
                   first_at = min(first_at, excluded.first_at),
                   now_at = coalesce(min(now_at, excluded.now_at), now_at, excluded.now_at),
                   walked_at = coalesce(min(walked_at, excluded.walked_at), walked_at, excluded.walked_at),
                   quarter = iif(last_at <= excluded.last_at, excluded.quarter, quarter),
                   probability = iif(last_at <= excluded.last_at, excluded.probability, probability),
                   urgency = iif(last_at <= excluded.last_at, excluded.urgency, urgency),
                   since = iif(last_at <= excluded.last_at, excluded.since, since),
                   sentence = iif(last_at <= excluded.last_at, excluded.sentence, sentence),
                   place = iif(last_at <= excluded.last_at, excluded.place, place),
                   model = iif(last_at <= excluded.last_at, excluded.model, model),
                   others = iif(last_at <= excluded.last_at, excluded.others, others),
                   learned = iif(last_at <= excluded.last_at, excluded.learned, learned),
                   last_at = max(last_at, excluded.last_at)",
            )?;
            for call in calls {
                keep.execute(params![
                    call.call,
                    at_ms,
                    call.subject,
                    call.animal,
                    call.box_name,
                    call.cause,
                    call.quarter,
                    call.probability,
                    call.urgency,
                    (walked && call.urgency == "now").then_some(at_ms),
                    call.since.as_millisecond(),
                    call.sentence,
                    call.place,
                    call.model,
                    walked.then_some(at_ms),
                    as_words(&call.others)?,
                    as_words(&call.learned)?,
                ])?;
            }
        }
        transaction.commit()?;
        Ok(())
    }

    /// One call by its identity.
    pub fn shown_call(&self, call: &str) -> Result<Option<KeptCall>> {
        let mut one =
            self.connection.prepare_cached(&format!("SELECT {CALL_COLUMNS} FROM shown WHERE call = ?1"))?;
        let mut rows = one.query([call])?;
        rows.next()?.map(kept_call).transpose()
    }

    /// Calls that a round of `from` or later showed and that were known at `at`, by their first round.
    pub fn shown_since(&self, from: Timestamp, at: Timestamp) -> Result<Vec<KeptCall>> {
        let mut all = self.connection.prepare_cached(&format!(
            "SELECT {CALL_COLUMNS} FROM shown WHERE ?1 <= last_at AND first_at <= ?2 ORDER BY first_at, call"
        ))?;
        let mut rows = all.query(params![from.as_millisecond(), at.as_millisecond()])?;
        let mut calls = Vec::new();
        while let Some(row) = rows.next()? {
            calls.push(kept_call(row)?);
        }
        Ok(calls)
    }

    /// Calls on a cow that were known at a time, by their first round.
    pub fn shown_of(&self, animal: &str, at: Timestamp) -> Result<Vec<KeptCall>> {
        let mut hers = self.connection.prepare_cached(&format!(
            "SELECT {CALL_COLUMNS} FROM shown WHERE animal = ?1 AND first_at <= ?2 ORDER BY first_at, call"
        ))?;
        let mut rows = hers.query(params![animal, at.as_millisecond()])?;
        let mut calls = Vec::new();
        while let Some(row) = rows.next()? {
            calls.push(kept_call(row)?);
        }
        Ok(calls)
    }

    /// Keeps an answer and gives its number; `None` where no round ever showed such a call. One that was sent before
    /// gives the number it had.
    pub fn note_found(&mut self, found: &NewFound) -> Result<Option<i64>> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let known: Option<i64> = transaction
            .prepare_cached("SELECT id FROM found WHERE sent_as = ?1")?
            .query_row([&found.sent_as], |row| row.get(0))
            .optional()?;
        if known.is_some() {
            return Ok(known);
        }
        let kept = transaction
            .prepare_cached(
                "INSERT INTO found (call, outcome, cause, quarter, sign, note, \"by\", found_at, sent_as,
                                    called_cause, called_quarter, called_probability, called_urgency, called_others,
                                    called_learned)
                 SELECT call, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, cause, quarter, probability, urgency, others, learned
                 FROM shown WHERE call = ?1",
            )?
            .execute(params![
                found.call,
                found.outcome,
                found.cause,
                found.quarter,
                found.sign,
                found.note,
                found.by,
                found.found_at.as_millisecond(),
                found.sent_as,
            ])?;
        let id = transaction.last_insert_rowid();
        transaction.commit()?;
        Ok((kept == 1).then_some(id))
    }

    /// Takes an answer back; whether there was one that still stood.
    pub fn undo_found(&mut self, id: i64, at: Timestamp, by: Option<&str>) -> Result<bool> {
        let changed = self.connection.execute(
            "UPDATE found SET undone_at = ?2, undone_by = ?3 WHERE id = ?1 AND undone_at IS NULL",
            params![id, at.as_millisecond(), by],
        )?;
        Ok(changed == 1)
    }

    /// Answers given by a time, oldest first, those taken back too.
    pub fn found_by(&self, until: Timestamp) -> Result<Vec<Found>> {
        let mut all = self.connection.prepare_cached(
            "SELECT id, call, outcome, cause, quarter, sign, note, \"by\", found_at, sent_as, called_cause,
                    called_quarter, called_probability, called_urgency, undone_at, undone_by, called_others,
                    called_learned
             FROM found WHERE found_at <= ?1 ORDER BY found_at, id",
        )?;
        let mut rows = all.query([until.as_millisecond()])?;
        let mut answers = Vec::new();
        while let Some(row) = rows.next()? {
            let undone_at: Option<i64> = row.get(14)?;
            answers.push(Found {
                id: row.get(0)?,
                what: NewFound {
                    call: row.get(1)?,
                    outcome: row.get(2)?,
                    cause: row.get(3)?,
                    quarter: row.get(4)?,
                    sign: row.get(5)?,
                    note: row.get(6)?,
                    by: row.get(7)?,
                    found_at: instant(row.get(8)?, "found_at")?,
                    sent_as: row.get(9)?,
                },
                called: (row.get(10)?, row.get(11)?, row.get(12)?, row.get(13)?),
                called_others: figures(&row.get::<_, String>(16)?, "an answer")?,
                called_learned: figures(&row.get::<_, String>(17)?, "an answer")?,
                undone: undone_at
                    .map(|at| Ok::<_, crate::StoreError>((instant(at, "undone_at")?, row.get(15)?)))
                    .transpose()?,
            });
        }
        Ok(answers)
    }

    /// Another figure whenever an answer was given or taken back.
    pub fn found_mark(&self) -> Result<(i64, i64)> {
        let mut mark = self.connection.prepare_cached("SELECT count(*), count(undone_at) FROM found")?;
        Ok(mark.query_row([], |row| Ok((row.get(0)?, row.get(1)?)))?)
    }
}

fn kept_call(row: &Row<'_>) -> Result<KeptCall> {
    let now_at: Option<i64> = row.get(10)?;
    let walked_at: Option<i64> = row.get(15)?;
    Ok(KeptCall {
        first_at: instant(row.get(1)?, "first_at")?,
        last_at: instant(row.get(2)?, "last_at")?,
        walked_at: walked_at.map(|at| instant(at, "walked_at")).transpose()?,
        now_at: now_at.map(|at| instant(at, "now_at")).transpose()?,
        shown: ShownCall {
            call: row.get(0)?,
            subject: row.get(3)?,
            animal: row.get(4)?,
            box_name: row.get(5)?,
            cause: row.get(6)?,
            quarter: row.get(7)?,
            probability: row.get(8)?,
            urgency: row.get(9)?,
            since: instant(row.get(11)?, "since")?,
            sentence: row.get(12)?,
            place: row.get(13)?,
            model: row.get(14)?,
            others: figures(&row.get::<_, String>(16)?, "a call")?,
            learned: figures(&row.get::<_, String>(17)?, "a call")?,
        },
    })
}
