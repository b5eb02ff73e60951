//! Takes a case that no call named, and takes back what was learned; each can be taken back itself.

use cowpath_core::{
    causes::Cause,
    herd::Quarter,
    say::{found as words, when},
};
use cowpath_store::NewMissed;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde::{Deserialize, Serialize};

use super::{
    farm::{self, Barn},
    learned::Lessons,
    misses::{Miss, Walked},
};
use crate::trouble::{short, user};

/// Longest note, letters.
const LONGEST_NOTE: usize = 500;
/// Longest name, letters.
const LONGEST_NAME: usize = 60;
/// The same case told again within so many hours is the same case.
const SAME_CASE_H: i64 = 7 * 24;

/// A case as it was typed; nothing of it is checked yet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GivenMissed {
    /// Herd number.
    pub animal: String,
    /// Word of the cause.
    pub cause: String,
    /// Quarter.
    pub quarter: Option<String>,
    /// When she was ill, in words; without it now.
    pub at: Option<String>,
    /// Her own words.
    pub note: Option<String>,
    /// Who tells it.
    pub by: Option<String>,
}

/// A case that no call named, as it is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MissedCase {
    /// Its number, by which it is taken back; a case of the log has none.
    pub id: Option<i64>,
    /// Herd number.
    pub animal: String,
    /// The cause's word.
    pub cause: &'static str,
    /// `LF RF LR RR`.
    pub quarter: Option<&'static str>,
    /// When she was ill, RFC 3339 in the farm's zone.
    pub at: String,
    /// In words.
    pub words: String,
}

impl MissedCase {
    /// A case as it is told at `now`.
    pub fn of(miss: &Miss, now: Timestamp, zone: &TimeZone) -> MissedCase {
        let quarter = miss.quarter.map_or(String::new(), |quarter| format!(", {}", quarter.words()));
        let told = match (miss.id, miss.by.as_deref()) {
            (None, _) => "diagnosed in the log".to_owned(),
            (Some(_), Some(by)) => format!("told by {by}"),
            (Some(_), None) => "told by a person".to_owned(),
        };
        let then =
            if miss.at <= now { when::instant(miss.at, now, zone) } else { when::minute(miss.at, zone) };
        MissedCase {
            id: miss.id,
            animal: miss.animal.clone(),
            cause: miss.cause.word(),
            quarter: miss.quarter.map(|quarter| quarter.code()),
            at: when::rfc3339(miss.at, zone),
            words: format!(
                "{}: {}{quarter}, {then}; no call named it. It was {told}.",
                miss.animal,
                words::cause(miss.cause.word())
            ),
        }
    }
}

/// Takes a case that no call named.
///
/// # Errors
/// Words that are not understood, a cow nobody knows, a case a call did name, or one that is told already; nothing is kept
/// then.
pub fn tell(barn: &mut Barn, given: &GivenMissed, now: Timestamp) -> anyhow::Result<MissedCase> {
    let zone = barn.ways()?.zone;
    let animal = given.animal.trim().to_owned();
    if !barn.knows(&animal)? {
        return Err(farm::unknown(&animal));
    }
    let cause = cow_cause(&given.cause)?;
    let quarter = match given.quarter.as_deref().map(str::trim).filter(|word| !word.is_empty()) {
        None => None,
        Some(word) => Some(Quarter::from_code(&word.to_uppercase()).ok_or_else(|| {
            refused(format!("`{}` is no quarter", short(word)), "write LF, RF, LR or RR".into())
        })?),
    };
    if quarter.is_some() && cause != Cause::Udder {
        return Err(refused(
            format!("`{}` has no quarter", cause.word()),
            "leave the quarter out, or name the cause udder".into(),
        ));
    }
    let at = match given.at.as_deref().map(str::trim).filter(|word| !word.is_empty()) {
        Some(word) => farm::time(word, &zone)?,
        None => now,
    };
    if now < at {
        return Err(refused(
            "she cannot have been ill later than now".into(),
            "write an earlier time".into(),
        ));
    }
    let lessons = Lessons::read(&barn.store, Timestamp::MAX)?;
    let walked = Walked::read(&barn.store, &lessons)?;
    if let Some(call) = walked.called(&animal, cause, at) {
        return Err(refused(
            format!("a call did name it: {}", call.shown.sentence),
            format!("answer that call: `cowpath found {} confirmed`", call.shown.call),
        ));
    }
    let span = SignedDuration::from_hours(SAME_CASE_H);
    let known = lessons.missed.iter().find(|known| {
        known.undone.is_none()
            && known.what.animal == animal
            && known.what.cause == cause.word()
            && known.what.at.duration_since(at).abs() <= span
    });
    if let Some(known) = known {
        return Err(refused(
            format!("this case is told already, as case {}", known.id),
            "`cowpath record` lists every case that no call named".into(),
        ));
    }
    let by = line(given.by.as_deref(), LONGEST_NAME)?;
    let what = NewMissed {
        animal: animal.clone(),
        cause: cause.word().to_owned(),
        quarter: quarter.map(|quarter| quarter.code().to_owned()),
        at,
        told_at: now,
        note: line(given.note.as_deref(), LONGEST_NOTE)?,
        by: by.clone(),
    };
    let id = barn.store.note_missed(&what)?;
    let miss = Miss { id: Some(id), animal, cause, quarter, at, by };
    Ok(MissedCase::of(&miss, now, &zone))
}

/// Takes such a case back; it stays on record as taken back.
pub fn take_back(barn: &mut Barn, id: i64, now: Timestamp, by: Option<&str>) -> anyhow::Result<()> {
    if barn.store.undo_missed(id, now, by)? {
        return Ok(());
    }
    Err(refused(
        format!("there is no case {id} that still stands"),
        "`cowpath record` lists the cases that no call named, with their numbers".into(),
    ))
}

/// What was learned of a cause so far no longer counts; gives the number of this taking back.
pub fn unlearn(barn: &mut Barn, cause: &str, now: Timestamp, by: Option<&str>) -> anyhow::Result<i64> {
    let Some(cause) = Cause::from_word(cause.trim()) else { return Err(no_cause(cause)) };
    let by = line(by, LONGEST_NAME)?;
    Ok(barn.store.unlearn(cause.word(), now, by.as_deref())?)
}

/// It counts again.
pub fn learn_again(barn: &mut Barn, id: i64, now: Timestamp, by: Option<&str>) -> anyhow::Result<()> {
    if barn.store.undo_unlearn(id, now, by)? {
        return Ok(());
    }
    Err(refused(
        format!("there is no taking back {id} that still stands"),
        "`cowpath learned` lists them with their numbers".into(),
    ))
}

/// A cause a cow may have.
fn cow_cause(word: &str) -> anyhow::Result<Cause> {
    match Cause::from_word(word.trim()) {
        Some(cause) if cause.is_illness() || cause == Cause::Heat => Ok(cause),
        _ => Err(no_cause(word)),
    }
}

fn no_cause(word: &str) -> anyhow::Error {
    let all = Cause::ALL.map(Cause::word).join(", ");
    refused(
        format!("`{}` is no cause that can be told of here", short(word.trim())),
        format!("write one of {all}"),
    )
}

fn line(word: Option<&str>, most: usize) -> anyhow::Result<Option<String>> {
    let word = word.unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ");
    match word.chars().count() {
        0 => Ok(None),
        letters if most < letters => {
            Err(refused(format!("{letters} letters are too many"), format!("write at most {most}")))
        }
        _ => Ok(Some(word.chars().filter(|letter| !letter.is_control()).collect())),
    }
}

fn refused(what: String, next: String) -> anyhow::Error {
    user(what, "nothing was changed", next)
}

/// One thing told or taken back on a page or by a program.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lesson {
    /// `missed`, `undo-missed`, `take-back`, `learn-again`.
    pub act: String,
    /// Herd number, for `missed`.
    pub animal: Option<String>,
    /// Word of the cause, for `missed` and `take-back`.
    pub cause: Option<String>,
    /// Quarter, for `missed`.
    pub quarter: Option<String>,
    /// When she was ill, for `missed`; empty: now.
    pub at: Option<String>,
    /// Her own words, for `missed`.
    pub note: Option<String>,
    /// Who tells it.
    pub by: Option<String>,
    /// Number of what is taken back, for `undo-missed` and `learn-again`.
    pub id: Option<i64>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Taught {
    /// Number by which it is taken back, where it can be.
    pub id: Option<i64>,
    /// In words.
    pub words: String,
}

/// Does what is told.
///
/// # Errors
/// As [`tell`], [`take_back`], [`unlearn`] and [`learn_again`].
pub fn teach(barn: &mut Barn, lesson: &Lesson, now: Timestamp) -> anyhow::Result<Taught> {
    let by = lesson.by.as_deref();
    let id = || lesson.id.ok_or_else(|| refused("no number was sent".into(), "send it as `id`".into()));
    match lesson.act.as_str() {
        "missed" => {
            let given = GivenMissed {
                animal: lesson.animal.clone().unwrap_or_default(),
                cause: lesson.cause.clone().unwrap_or_default(),
                quarter: lesson.quarter.clone(),
                at: lesson.at.clone(),
                note: lesson.note.clone(),
                by: lesson.by.clone(),
            };
            let case = tell(barn, &given, now)?;
            Ok(Taught { id: case.id, words: case.words })
        }
        "undo-missed" => {
            take_back(barn, id()?, now, by)?;
            Ok(Taught { id: None, words: "The case is taken back.".into() })
        }
        "take-back" => {
            let id = unlearn(barn, lesson.cause.as_deref().unwrap_or_default(), now, by)?;
            Ok(Taught { id: Some(id), words: "What was learned so far is taken back.".into() })
        }
        "learn-again" => {
            learn_again(barn, id()?, now, by)?;
            Ok(Taught { id: None, words: "It counts again.".into() })
        }
        other => Err(refused(
            format!("`{}` is nothing that can be done here", short(other)),
            "send missed, undo-missed, take-back or learn-again as `act`".into(),
        )),
    }
}
