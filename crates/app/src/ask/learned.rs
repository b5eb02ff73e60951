//! What the farm's costs and answers make of the stated settings, and what was learned since when.
//!
//! Which costs a round is made with: those in force now, also for a round of a past time. Costs say what a thing is worth
//! and nothing of who was ill, so they are no look ahead; the same rows and the same costs give the same round. What was
//! learned is knowledge of who was ill: a round of a past time uses only what was told by then. What was taken back counts
//! nowhere, as with answers. The round's `model` says what it was made with.

use std::collections::BTreeMap;

use cowpath_core::{
    causes::{
        self, Cause,
        costs::OwnCosts,
        learned::{self, How, Learned, Step, Told},
    },
    herd::{EventRow, Quarter},
    say::{found::Outcome, number},
    time::{farm_day, hours_between},
};
use cowpath_store::{Farm, Found, KeptCall, Missed, Unlearned};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::cast::Cast;

/// A case counts as called by a call so long before it.
const CALLED_BEFORE: SignedDuration = SignedDuration::from_hours(72);
/// And by one so soon after it.
const CALLED_AFTER: SignedDuration = SignedDuration::from_hours(24);

/// The settings a round is made with.
pub struct Judging {
    /// All of them.
    pub settings: causes::Settings,
    /// Which they are, for the round's `model`; empty where they are the stated ones.
    pub words: String,
}

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
    /// When that is known.
    pub known_at: Timestamp,
    /// Who told it.
    pub by: Option<String>,
}

/// All that was told by a time and may teach something.
pub struct Lessons {
    shown: Vec<KeptCall>,
    found: Vec<Found>,
    missed: Vec<Missed>,
    /// What was taken back.
    pub unlearned: Vec<Unlearned>,
}

impl Lessons {
    /// Reads what was told by `until`.
    pub fn read(store: &Farm, until: Timestamp) -> anyhow::Result<Lessons> {
        Ok(Lessons {
            shown: store.shown_since(Timestamp::MIN, Timestamp::MAX)?,
            found: store.found_by(until)?,
            missed: store.missed_by(until)?,
            unlearned: store.unlearned()?,
        })
    }

    /// Whether anything can be learned from it.
    fn is_empty(&self) -> bool {
        self.found.is_empty() && self.missed.is_empty() && self.shown.iter().all(|kept| kept.walked_at.is_none())
    }

    /// The answer that stands, by call.
    fn standing(&self) -> BTreeMap<&str, &Found> {
        let standing = self.found.iter().filter(|found| found.undone.is_none());
        standing.map(|found| (found.what.call.as_str(), found)).collect()
    }

    /// Whether a round that people walked by named the case, or an answer did.
    pub fn called(&self, animal: &str, cause: Cause, at: Timestamp) -> Option<&KeptCall> {
        let standing = self.standing();
        let (from, until) = around(at);
        self.shown.iter().find(|kept| {
            kept.shown.animal.as_deref() == Some(animal)
                && kept.walked_at.is_some_and(|first| first <= until && from <= kept.last_at)
                && (kept.shown.cause == cause.word()
                    || standing.get(kept.shown.call.as_str()).is_some_and(|found| {
                        found.what.outcome == Outcome::OtherCause.word()
                            && found.what.cause.as_deref() == Some(cause.word())
                    }))
        })
    }

    /// Whether rounds were walked by around a time: a farm that had none then missed nothing.
    fn walked_around(&self, at: Timestamp) -> bool {
        let (from, _) = around(at);
        self.shown.iter().any(|kept| kept.walked_at.is_some_and(|first| first <= at && from <= kept.last_at))
    }

    /// Cases that no call named and that were known by `at`: those people told, and those the log says were diagnosed.
    pub fn misses<'e>(&self, events: impl Iterator<Item = &'e EventRow>, at: Timestamp) -> Vec<Miss> {
        let told = self.missed.iter().filter(|missed| missed.undone.is_none());
        let mut misses: Vec<Miss> = told
            .filter_map(|missed| {
                Some(Miss {
                    id: Some(missed.id),
                    animal: missed.what.animal.clone(),
                    cause: Cause::from_word(&missed.what.cause)?,
                    quarter: missed.what.quarter.as_deref().and_then(Quarter::from_code),
                    at: missed.what.at,
                    known_at: missed.what.told_at,
                    by: missed.what.by.clone(),
                })
            })
            .collect();
        let by_log: Vec<(Cause, &EventRow)> =
            events.filter_map(|event| Some((diagnosed(event)?, event))).collect();
        for (cause, event) in by_log {
            let known_at = event.at.saturating_add(CALLED_AFTER).unwrap_or(Timestamp::MAX);
            let same = |miss: &Miss| {
                miss.animal == event.animal
                    && miss.cause == cause
                    && hours_between(miss.at, event.at).abs() <= CALLED_BEFORE.as_hours() as f64
            };
            if known_at <= at
                && self.walked_around(event.at)
                && self.called(&event.animal, cause, event.at).is_none()
                && !misses.iter().any(same)
            {
                misses.push(Miss {
                    id: None,
                    animal: event.animal.clone(),
                    cause,
                    quarter: event.quarter,
                    at: event.at,
                    known_at,
                    by: None,
                });
            }
        }
        misses.sort_by(|a, b| (a.at, &a.animal, a.cause).cmp(&(b.at, &b.animal, b.cause)));
        misses
    }

    /// Everything that was told of causes, what was taken back left out.
    fn told(&self, misses: &[Miss], settings: &causes::Settings) -> Vec<Told> {
        let mut told = Vec::new();
        for found in self.standing().values() {
            let Some(outcome) = Outcome::of(&found.what.outcome) else { continue };
            let was = match outcome {
                Outcome::LookAgain => continue,
                Outcome::Confirmed | Outcome::OtherQuarter => true,
                Outcome::OtherCause | Outcome::Nothing => false,
            };
            let one = |cause: Cause, stated: f64, was: bool, how: How| Told {
                cause,
                at: found.what.found_at,
                stated,
                learned: found.called_learned.get(cause.word()).copied().unwrap_or(1.0),
                was,
                how,
            };
            if let Some(cause) = Cause::from_word(&found.called.0) {
                told.push(one(cause, found.called.2, was, How::Called));
            }
            if was {
                // Two causes may hold at once: one that was right says nothing of the others.
                continue;
            }
            let instead = found.what.cause.as_deref().filter(|_| outcome == Outcome::OtherCause);
            for (word, chance) in &found.called_others {
                if let Some(cause) = Cause::from_word(word) {
                    told.push(one(cause, *chance, instead == Some(word), How::Beside));
                }
            }
            if let Some(cause) = instead
                .filter(|word| !found.called_others.contains_key(*word))
                .and_then(Cause::from_word)
            {
                let stated = causes::learned::chance_not_called(settings, cause);
                told.push(Told { learned: 1.0, ..one(cause, stated, true, How::Beside) });
            }
        }
        told.extend(misses.iter().map(|miss| Told {
            cause: miss.cause,
            at: miss.known_at,
            stated: causes::learned::chance_not_called(settings, miss.cause),
            learned: 1.0,
            was: true,
            how: How::Missed,
        }));
        let back: Vec<&Unlearned> = self.unlearned.iter().filter(|back| back.undone.is_none()).collect();
        told.retain(|one| {
            !back.iter().any(|back| back.cause == one.cause.word() && one.at <= back.told_at)
        });
        told
    }
}

fn around(at: Timestamp) -> (Timestamp, Timestamp) {
    (
        at.saturating_sub(CALLED_BEFORE).unwrap_or(Timestamp::MIN),
        at.saturating_add(CALLED_AFTER).unwrap_or(Timestamp::MAX),
    )
}

/// Words of a diagnosis and the cause they are of, as people and other programs write them.
const DIAGNOSES: [(&str, Cause); 29] = [
    ("mastit", Cause::Udder),
    ("udder", Cause::Udder),
    ("ketos", Cause::Metabolic),
    ("aceton", Cause::Metabolic),
    ("metabolic", Cause::Metabolic),
    ("fatty liver", Cause::Metabolic),
    ("abomas", Cause::Gut),
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

/// The farm's own costs, as they are in force.
pub fn own_costs(store: &Farm) -> anyhow::Result<OwnCosts> {
    let Some(kept) = store.newest_costs()? else { return Ok(OwnCosts::default()) };
    Ok(serde_json::from_str(&kept.words)?)
}

/// What was learned by then, with every change: `asked` is a time somebody asked for, `at` that of the newest row known.
pub fn learn<'e>(
    lessons: &Lessons,
    events: impl Iterator<Item = &'e EventRow>,
    settings: &causes::Settings,
    at: Timestamp,
    zone: &TimeZone,
) -> (BTreeMap<Cause, Learned>, Vec<Step>, Vec<Miss>) {
    if lessons.is_empty() {
        return (BTreeMap::new(), Vec::new(), Vec::new());
    }
    let misses = lessons.misses(events, at);
    let told = lessons.told(&misses, settings);
    let (learned, steps) = learned::learn(&told, |at| farm_day(at, zone));
    (learned, steps, misses)
}

/// The settings a round of `at` is made with; `asked` is the time where somebody named one.
pub fn judging(
    store: &Farm,
    cast: &Cast,
    at: Timestamp,
    asked: Option<Timestamp>,
    zone: &TimeZone,
) -> anyhow::Result<Judging> {
    let mut settings = own_costs(store)?.over(causes::Settings::default());
    let lessons = Lessons::read(store, asked.unwrap_or(Timestamp::MAX))?;
    let (learned, ..) = learn(&lessons, cast.events(), &settings, at, zone);
    let mut words = Vec::new();
    if let Some(kept) = store.newest_costs()?.filter(|kept| kept.words != "{}") {
        words.push(format!("costs of the farm's own, version {}", kept.id));
    }
    let moved: Vec<(&Cause, &Learned)> = learned.iter().filter(|(_, own)| own.factor != 1.0).collect();
    if !moved.is_empty() {
        let each = moved.iter().map(|(cause, own)| format!("{} {}", cause.word(), number::plain(own.factor, 1)));
        words.push(format!("learned {}", each.collect::<Vec<_>>().join(", ")));
    }
    settings.rates.learned = moved.iter().map(|(cause, own)| (**cause, own.factor)).collect();
    Ok(Judging { settings, words: words.join("; ") })
}
