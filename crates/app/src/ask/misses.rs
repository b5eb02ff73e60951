//! Which cases did no call name? Those people told, and those the log says were diagnosed.

use std::collections::BTreeMap;

use cowpath_core::{
    causes::Cause,
    herd::{EventRow, Quarter},
    say::found::Outcome,
    time::hours_between,
};
use cowpath_store::{Farm, Found, KeptCall};
use jiff::{SignedDuration, Timestamp};

use super::learned::Lessons;

/// A case counts as called by a call so long before it.
const CALLED_BEFORE: SignedDuration = SignedDuration::from_hours(72);
/// And by one so soon after it.
const CALLED_AFTER: SignedDuration = SignedDuration::from_hours(24);

/// A case that no call named.
#[derive(Debug, Clone, PartialEq)]
pub struct Miss {
    /// Its number, where a person told it; one of the log has none.
    pub id: Option<i64>,
    /// Herd number.
    pub animal: String,
    /// Which cause.
    pub cause: Cause,
    /// Which quarter.
    pub quarter: Option<Quarter>,
    /// When she was ill.
    pub at: Timestamp,
    /// Who told it.
    pub by: Option<String>,
}

/// Calls that people walked by, by cow, with the answers that stand.
pub struct Walked<'l> {
    of_cow: BTreeMap<String, Vec<KeptCall>>,
    /// From when to when rounds were walked by, each call's span.
    spans: Vec<(Timestamp, Timestamp)>,
    standing: BTreeMap<&'l str, &'l Found>,
}

impl<'l> Walked<'l> {
    /// Reads every call a round of the newest rows ever showed.
    pub fn read(store: &Farm, lessons: &'l Lessons) -> anyhow::Result<Walked<'l>> {
        let mut of_cow: BTreeMap<String, Vec<KeptCall>> = BTreeMap::new();
        let mut spans = Vec::new();
        for kept in store.shown_since(Timestamp::MIN, Timestamp::MAX)? {
            let Some(first) = kept.walked_at else { continue };
            spans.push((first, kept.last_at));
            if let Some(animal) = kept.shown.animal.clone() {
                of_cow.entry(animal).or_default().push(kept);
            }
        }
        Ok(Walked { of_cow, spans, standing: lessons.standing() })
    }

    /// The call that named a case, or whose answer did.
    pub fn called(&self, animal: &str, cause: Cause, at: Timestamp) -> Option<&KeptCall> {
        let (from, until) = around(at);
        self.of_cow.get(animal)?.iter().find(|kept| {
            kept.walked_at.is_some_and(|first| first <= until)
                && from <= kept.last_at
                && (kept.shown.cause == cause.word()
                    || self.standing.get(kept.shown.call.as_str()).is_some_and(|found| {
                        found.what.outcome == Outcome::OtherCause.word()
                            && found.what.cause.as_deref() == Some(cause.word())
                    }))
        })
    }

    /// Whether rounds were walked by around a time: a farm that had none then missed nothing.
    fn around(&self, at: Timestamp) -> bool {
        let (from, _) = around(at);
        self.spans.iter().any(|(first, last)| *first <= at && from <= *last)
    }
}

fn around(at: Timestamp) -> (Timestamp, Timestamp) {
    (
        at.saturating_sub(CALLED_BEFORE).unwrap_or(Timestamp::MIN),
        at.saturating_add(CALLED_AFTER).unwrap_or(Timestamp::MAX),
    )
}

/// Cases that no call named, by time. A diagnosis of the log counts once a call can no longer name it by `at`, and where
/// rounds were walked by in the days before; one that a person told too is told once.
pub fn misses(lessons: &Lessons, walked: &Walked<'_>, events: &[EventRow], at: Timestamp) -> Vec<Miss> {
    let told = lessons.missed.iter().filter(|missed| missed.undone.is_none());
    let mut misses: Vec<Miss> = told
        .filter_map(|missed| {
            Some(Miss {
                id: Some(missed.id),
                animal: missed.what.animal.clone(),
                cause: Cause::from_word(&missed.what.cause)?,
                quarter: missed.what.quarter.as_deref().and_then(Quarter::from_code),
                at: missed.what.at,
                by: missed.what.by.clone(),
            })
        })
        .collect();
    for (cause, event) in events.iter().filter_map(|event| Some((diagnosed(event)?, event))) {
        let (_, known_at) = around(event.at);
        let same = |miss: &Miss| {
            miss.animal == event.animal
                && miss.cause == cause
                && hours_between(miss.at, event.at).abs() <= CALLED_BEFORE.as_hours() as f64
        };
        if known_at <= at
            && walked.called(&event.animal, cause, event.at).is_none()
            && walked.around(event.at)
            && !misses.iter().any(same)
        {
            misses.push(Miss {
                id: None,
                animal: event.animal.clone(),
                cause,
                quarter: event.quarter,
                at: event.at,
                by: None,
            });
        }
    }
    misses.sort_by(|a, b| (a.at, &a.animal, a.cause).cmp(&(b.at, &b.animal, b.cause)));
    misses
}

/// Words of a diagnosis and the cause they are of, as people and other programs write them.
const DIAGNOSES: [(&str, Cause); 30] = [
    ("mastit", Cause::Udder),
    ("udder", Cause::Udder),
    ("ketos", Cause::Metabolic),
    ("aceton", Cause::Metabolic),
    ("metabolic", Cause::Metabolic),
    ("fatty liver", Cause::Metabolic),
    ("abomas", Cause::Gut),
    ("stomach", Cause::Gut),
    ("bloat", Cause::Gut),
    ("rumen", Cause::Gut),
    ("acidosis", Cause::Gut),
    ("indigest", Cause::Gut),
    ("diarr", Cause::Gut),
    ("off feed", Cause::Gut),
    ("gut", Cause::Gut),
    ("lame", Cause::Feet),
    ("hoof", Cause::Feet),
    ("claw", Cause::Feet),
    ("foot", Cause::Feet),
    ("feet", Cause::Feet),
    ("digital", Cause::Feet),
    ("sole", Cause::Feet),
    ("white line", Cause::Feet),
    ("laminit", Cause::Feet),
    ("metrit", Cause::Fever),
    ("pneumon", Cause::Fever),
    ("fever", Cause::Fever),
    ("respir", Cause::Fever),
    ("lung", Cause::Fever),
    ("retained", Cause::Fever),
];

/// The cause a diagnosis of the log is of; `None` where its words are none we know.
fn diagnosed(event: &EventRow) -> Option<Cause> {
    if event.kind != "diagnosed" {
        return None;
    }
    let words = event.detail.as_deref().unwrap_or_default().to_lowercase();
    let of_words = DIAGNOSES.iter().find(|(word, _)| words.contains(word)).map(|(_, cause)| *cause);
    of_words.or(event.quarter.map(|_| Cause::Udder))
}
