//! Takes what a person found: checks the words of an answer to a call, keeps it, says it back, takes it back.

use cowpath_core::{
    herd::Quarter,
    say::{
        found::{self as words, Outcome},
        when,
    },
};
use cowpath_store::{Farm, Found, KeptCall, NewFound, ShownCall};
use jiff::{Timestamp, tz::TimeZone};

use super::{
    farm::Barn,
    round::{Answer, Round, RoundCall},
};
use crate::trouble::user;

/// Longest note, letters.
const LONGEST_NOTE: usize = 500;
/// Longest name and sign, letters.
const LONGEST_WORD: usize = 60;

/// An answer as it was typed or tapped; nothing of it is checked yet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Given {
    /// Identity of the call, or the number of a cow with one call.
    pub call: String,
    /// Word of the outcome.
    pub outcome: String,
    /// Cause, where it was another.
    pub cause: Option<String>,
    /// Quarter, where it was another.
    pub quarter: Option<String>,
    /// A word or two on what was seen.
    pub sign: Option<String>,
    /// Her own words.
    pub note: Option<String>,
    /// Who looked.
    pub by: Option<String>,
    /// The sender's own word for this answer.
    pub sent_as: Option<String>,
}

/// Keeps what a round showed (`walked`: that of the newest rows), if nobody else is writing; without it nothing is lost but
/// the time of a first call.
pub fn keep_shown(store: &mut Farm, at: Timestamp, walked: bool, round: &Round) -> anyhow::Result<()> {
    let shown: Vec<ShownCall> = round.calls.iter().filter_map(|call| as_shown(call, round)).collect();
    if !shown.is_empty() {
        store.if_free(|store| store.note_shown(at, walked, &shown))?;
    }
    Ok(())
}

fn as_shown(call: &RoundCall, round: &Round) -> Option<ShownCall> {
    Some(ShownCall {
        call: call.id.clone(),
        subject: call.subject.to_owned(),
        animal: call.animal.clone(),
        box_name: call.box_name.clone(),
        cause: call.cause.to_owned(),
        quarter: call.quarter.map(str::to_owned),
        probability: call.probability,
        urgency: call.urgency.to_owned(),
        since: call.since.parse().ok()?,
        sentence: call.sentence.clone(),
        place: call.place.clone(),
        model: round.model.clone(),
        others: call.others.iter().map(|other| (other.cause.to_owned(), other.probability)).collect(),
        learned: round.learned.iter().map(|(cause, factor)| ((*cause).to_owned(), *factor)).collect(),
    })
}

/// Takes an answer: checked, kept, and said back. `newest` is the newest round, by whose calls a cow's number is
/// understood.
///
/// # Errors
/// Words that are not understood, or a call no round ever showed; nothing is kept then.
pub fn give(barn: &mut Barn, newest: &Round, given: &Given, now: Timestamp) -> anyhow::Result<Answer> {
    let call = known_call(barn, newest, given.call.trim())?;
    let Some(outcome) = Outcome::of(given.outcome.trim()) else {
        let all = Outcome::ALL.map(Outcome::word).join(", ");
        return Err(refused(
            format!("`{}` is no outcome", given.outcome.trim()),
            format!("write one of {all}"),
        ));
    };
    let word = |word: &Option<String>, most: usize| {
        let word: String =
            word.as_deref().unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ");
        let word: String = word.chars().filter(|letter| !letter.is_control()).collect();
        match word.chars().count() {
            0 => Ok(None),
            letters if most < letters => {
                Err(refused(format!("{letters} letters are too many"), format!("write at most {most}")))
            }
            _ => Ok(Some(word)),
        }
    };
    let (cause, quarter) = (word(&given.cause, LONGEST_WORD)?, word(&given.quarter, LONGEST_WORD)?);
    let cause = match (outcome, cause) {
        (Outcome::OtherCause, None) => {
            return Err(refused("which other cause is not said".into(), causes_words("add --cause with")));
        }
        (Outcome::OtherCause, Some(cause)) if cause == call.shown.cause => {
            return Err(refused(
                format!("`{cause}` is what was called"),
                "say `confirmed`, or name another cause".into(),
            ));
        }
        (_, Some(cause)) if !words::CAUSES.iter().any(|(own, _)| *own == cause) => {
            return Err(refused(format!("`{cause}` is no cause"), causes_words("write")));
        }
        // A person who names another cause and taps that the call was right has said two things.
        (Outcome::Confirmed | Outcome::OtherQuarter | Outcome::Nothing, Some(cause))
            if cause != call.shown.cause =>
        {
            return Err(refused(
                format!("`{}` was said, and `{cause}` named as the cause", outcome.word()),
                "say `other-cause`, or leave the cause out".into(),
            ));
        }
        (_, cause) => cause,
    };
    let code = quarter.as_deref().map(str::to_uppercase);
    let quarter = match (outcome, code) {
        (Outcome::OtherQuarter, None) => {
            return Err(refused(
                "which other quarter is not said".into(),
                "add --quarter with LF, RF, LR or RR".into(),
            ));
        }
        (_, Some(code)) if Quarter::from_code(&code).is_none() => {
            return Err(refused(format!("`{code}` is no quarter"), "write LF, RF, LR or RR".into()));
        }
        (Outcome::OtherQuarter, Some(code)) if call.shown.quarter.as_deref() == Some(code.as_str()) => {
            return Err(refused(
                format!("{code} is the quarter that was called"),
                "say `confirmed`, or name another quarter".into(),
            ));
        }
        (Outcome::Confirmed, Some(code))
            if call.shown.quarter.as_deref().is_some_and(|own| own != code.as_str()) =>
        {
            return Err(refused(
                format!(
                    "{} was called, and {code} was found",
                    call.shown.quarter.as_deref().unwrap_or_default()
                ),
                "say `other-quarter`".into(),
            ));
        }
        (_, code) => code,
    };
    let what = NewFound {
        call: call.shown.call.clone(),
        outcome: outcome.word().to_owned(),
        cause,
        quarter,
        sign: word(&given.sign, LONGEST_WORD)?,
        note: word(&given.note, LONGEST_NOTE)?,
        by: word(&given.by, LONGEST_WORD)?,
        found_at: now,
        sent_as: word(&given.sent_as, LONGEST_WORD)?,
    };
    let Some(id) = barn.store.note_found(&what)? else { return Err(unknown(&what.call)) };
    let zone = barn.ways()?.zone;
    let kept = barn.store.found_by(Timestamp::MAX)?.into_iter().find(|found| found.id == id);
    kept.as_ref()
        .map(|found| answer(found, call.shown.quarter.as_deref(), now, &zone))
        .ok_or_else(|| unknown(&what.call))
}

/// Takes an answer back; it stays on record as taken back.
pub fn take_back(barn: &mut Barn, id: i64, now: Timestamp, by: Option<&str>) -> anyhow::Result<()> {
    if barn.store.undo_found(id, now, by)? {
        return Ok(());
    }
    Err(refused(
        format!("there is no answer {id} that still stands"),
        "`cowpath record` lists the answers with their numbers".into(),
    ))
}

fn known_call(barn: &mut Barn, newest: &Round, named: &str) -> anyhow::Result<KeptCall> {
    if let Some(call) = barn.store.shown_call(named)? {
        return Ok(call);
    }
    let hers: Vec<&RoundCall> = newest
        .calls
        .iter()
        .filter(|call| call.id == named || call.animal.as_deref() == Some(named))
        .collect();
    match hers[..] {
        [one] => {
            let at = newest.at.parse()?;
            if let Some(shown) = as_shown(one, newest) {
                barn.store.note_shown(at, true, &[shown])?;
            }
            barn.store.shown_call(&one.id)?.ok_or_else(|| unknown(named))
        }
        [] => Err(unknown(named)),
        _ => {
            let ids: Vec<&str> = hers.iter().map(|call| call.id.as_str()).collect();
            Err(refused(format!("cow {named} has several calls"), format!("name one: {}", ids.join(", "))))
        }
    }
}

fn unknown(call: &str) -> anyhow::Error {
    let call: String = call.chars().take(LONGEST_WORD).collect();
    refused(
        format!("no round ever showed a call `{call}`"),
        "`cowpath round --format json` lists the calls with their id".into(),
    )
}

fn refused(what: String, next: String) -> anyhow::Error {
    user(what, "nothing was changed", next)
}

fn causes_words(before: &str) -> String {
    format!("{before} one of {}", words::CAUSES.map(|(own, _)| own).join(", "))
}

/// An answer as it is told, at a time.
pub fn answer(found: &Found, called_quarter: Option<&str>, at: Timestamp, zone: &TimeZone) -> Answer {
    let what = &found.what;
    let outcome = Outcome::of(&what.outcome).unwrap_or(Outcome::LookAgain);
    let quarter = match outcome {
        Outcome::Confirmed => what.quarter.as_deref().or(called_quarter),
        _ => what.quarter.as_deref(),
    };
    let facts = words::Facts {
        outcome,
        cause: what.cause.as_deref(),
        quarter: quarter.and_then(Quarter::from_code),
        sign: what.sign.as_deref(),
        by: what.by.as_deref(),
        found_at: what.found_at,
    };
    Answer {
        id: found.id,
        call: what.call.clone(),
        outcome: outcome.word(),
        cause: what.cause.clone(),
        quarter: what.quarter.clone(),
        sign: what.sign.clone(),
        note: what.note.clone(),
        by: what.by.clone(),
        at: when::rfc3339(what.found_at, zone),
        words: words::found(&facts, at, zone),
        taken_back: found.undone.is_some(),
    }
}
