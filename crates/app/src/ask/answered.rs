//! Joins what people found to the calls of a round, and tells a cow's earlier calls with what they turned out to be.
//!
//! A round is what the logs say; what was found is what people say. Answers are joined to a round when it is
//! shown; the calls of a day do not hang on what was answered that day. Only answers of earlier days move the rates it is
//! made with ([`super::learned`]).

use std::collections::BTreeMap;

use cowpath_core::{
    say::{
        found::{self as words, Outcome},
        summary, when,
    },
    time::hours_between,
};
use cowpath_store::{Farm, Found, KeptCall};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{
    found::answer,
    round::{OpenCall, PastCall, Round},
};

/// An urgent call that nobody answered is asked after for so long, though no round shows it any more.
const ASKED_FOR: SignedDuration = SignedDuration::from_hours(72);
/// Nothing was found, and the signs go on: after so long the call is back on the walk, h.
const NOTHING_HOLDS_H: f64 = 24.0;
/// A call first shown so long before a round has had its chance to be answered, h.
const ASKED_AFTER_H: f64 = 1.0;
/// Calls of a cow that are told with her newest.
const PAST_CALLS: usize = 6;

/// What people said by a time, and what rounds had shown.
pub struct Told {
    /// Calls of the last days; none for a time that was asked for.
    pub shown: Vec<KeptCall>,
    /// It is the newest round's.
    walked: bool,
    /// Answers, oldest first.
    pub found: Vec<Found>,
}

impl Told {
    /// Reads it for a round of `at`. Of a time that was `asked` for it holds what was found by then, and no walk: what
    /// such a round says must not hang on which rounds were looked at before. In the newest round whatever was found
    /// after the last row is known too, and nobody is let off who was sent and said nothing.
    pub fn read(store: &Farm, at: Timestamp, asked: Option<Timestamp>) -> anyhow::Result<Told> {
        let shown = match asked {
            None => store.shown_since(at.saturating_sub(ASKED_FOR)?, at)?,
            Some(_) => Vec::new(),
        };
        Ok(Told { shown, walked: asked.is_none(), found: store.found_by(asked.unwrap_or(Timestamp::MAX))? })
    }

    /// Everything ever shown, and what was found until a time.
    pub fn ever(store: &Farm, until: Timestamp) -> anyhow::Result<Told> {
        let shown = store.shown_since(Timestamp::MIN, Timestamp::MAX)?;
        Ok(Told { shown, walked: true, found: store.found_by(until)? })
    }

    /// The answer that stands, by call.
    pub fn standing(&self) -> BTreeMap<&str, &Found> {
        let standing = self.found.iter().filter(|found| found.undone.is_none());
        standing.map(|found| (found.what.call.as_str(), found)).collect()
    }
}

/// The round with what was found: each call with its answer, those dealt with off the walk, and urgent calls of the last
/// days that nobody answered.
pub fn joined(mut round: Round, told: &Told, at: Timestamp, zone: &TimeZone) -> Round {
    let standing = told.standing();
    for call in &mut round.calls {
        let found = standing.get(call.id.as_str());
        call.found = found.map(|found| answer(found, call.quarter, at, zone));
        let first_now =
            told.shown.iter().find(|kept| kept.shown.call == call.id).and_then(|kept| kept.now_at);
        call.asked = match found {
            Some(found) if is_nothing(found) && NOTHING_HOLDS_H <= hours_between(found.what.found_at, at) => {
                words::went_on(found.what.found_at, at, zone)
            }
            Some(_) => String::new(),
            None => match first_now.filter(|first| ASKED_AFTER_H <= hours_between(*first, at)) {
                // It is asked after even where it has become less urgent since: nobody has looked.
                Some(first) => words::unanswered(first, at, zone),
                None => String::new(),
            },
        };
    }
    let done: Vec<usize> = (0..round.calls.len())
        .filter(|index| {
            let call = &round.calls[*index];
            call.asked.is_empty() && call.found.as_ref().is_some_and(|found| found.outcome != "look-again")
        })
        .collect();
    for place in &mut round.places {
        place.calls.retain(|call| !done.contains(call));
    }
    round.places.retain(|place| !place.calls.is_empty());
    round.looked_at = done;
    round.open = told
        .shown
        .iter()
        .filter(|kept| !round.calls.iter().any(|call| call.id == kept.shown.call))
        .filter_map(|kept| open(kept, standing.get(kept.shown.call.as_str()).copied(), at, zone))
        .collect();
    round.counts.calls = round.calls.len() - round.looked_at.len();
    round.counts.looked_at = round.looked_at.len();
    round.counts.open = round.open.len();
    if 0 < round.counts.looked_at + round.counts.open {
        round.summary = summary::round(round.counts);
    }
    round
}

fn is_nothing(found: &Found) -> bool {
    found.what.outcome == Outcome::Nothing.word()
}

/// A call that no longer is in the round, but waits for an answer.
fn open(kept: &KeptCall, found: Option<&Found>, at: Timestamp, zone: &TimeZone) -> Option<OpenCall> {
    let asked = match (found, kept.now_at) {
        (Some(found), _) if kept.walked_at.is_some() && found.what.outcome == Outcome::LookAgain.word() => {
            answer(found, kept.shown.quarter.as_deref(), at, zone).words
        }
        (None, Some(first)) if first <= at => words::unanswered(first, at, zone),
        _ => return None,
    };
    Some(OpenCall {
        id: kept.shown.call.clone(),
        animal: kept.shown.animal.clone(),
        cause: kept.shown.cause.clone(),
        quarter: kept.shown.quarter.clone(),
        sentence: kept.shown.sentence.clone(),
        place: kept.shown.place.clone(),
        asked,
    })
}

/// The round with each cow's earlier calls.
pub fn with_past(
    mut round: Round,
    store: &Farm,
    told: &Told,
    at: Timestamp,
    zone: &TimeZone,
) -> anyhow::Result<Round> {
    let ids: Vec<String> = round.calls.iter().map(|call| call.id.clone()).collect();
    for call in &mut round.calls {
        if let Some(animal) = &call.animal {
            call.past = past(store, told, animal, &ids, at, zone)?;
        }
    }
    Ok(round)
}

/// A cow's earlier calls and what they turned out to be, newest first; those in `but` are left out.
pub fn past(
    store: &Farm,
    told: &Told,
    animal: &str,
    but: &[String],
    at: Timestamp,
    zone: &TimeZone,
) -> anyhow::Result<Vec<PastCall>> {
    let standing = told.standing();
    let hers = store.shown_of(animal, at)?;
    // Of a time that was asked for only calls with an answer: whether others were ever shown hangs on who looked.
    let told_of = |kept: &&KeptCall| {
        standing.contains_key(kept.shown.call.as_str()) || told.walked && kept.walked_at.is_some()
    };
    let earlier = hers.iter().rev().filter(|kept| !but.contains(&kept.shown.call)).filter(told_of);
    Ok(earlier
        .take(PAST_CALLS)
        .map(|kept| PastCall {
            id: kept.shown.call.clone(),
            when: when::instant(kept.first_at, at, zone),
            sentence: kept.shown.sentence.clone(),
            found: standing
                .get(kept.shown.call.as_str())
                .map(|found| answer(found, kept.shown.quarter.as_deref(), at, zone).words)
                .unwrap_or_default(),
        })
        .collect())
}
