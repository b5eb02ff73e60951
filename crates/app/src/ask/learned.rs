//! What the farm's costs and answers make of the stated settings.
//!
//! Which costs a round is made with: those in force now, also for a round of a past time. Costs say what a thing is worth
//! and nothing of who was ill, so they are no look ahead; the same rows and the same costs give the same round. What was
//! learned is knowledge of who was ill: a round uses only what was told before its farm day. What was taken back counts
//! nowhere, as with answers. The round's `model` says what it was made with.
//!
//! Only what a person told teaches. A diagnosis in the log that no call named counts as missed in the record, but whether a
//! call named it hangs on which rounds were looked at: the same rows must give the same round, whoever looked.

use std::collections::BTreeMap;

use cowpath_core::{
    causes::{
        self, Cause,
        costs::OwnCosts,
        learned::{self, How, Learned, Step, Told},
    },
    say::{found::Outcome, number},
    time::{day_starts, farm_day},
};
use cowpath_store::{Farm, Found, Missed, Unlearned};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

/// The settings a round is made with.
pub struct Judging {
    /// All of them.
    pub settings: causes::Settings,
    /// Which they are, as the end of the round's `model`; empty where they are the stated ones.
    pub words: String,
}

/// All that people told by a time.
pub struct Lessons {
    found: Vec<Found>,
    /// Cases that no call named, those taken back too.
    pub missed: Vec<Missed>,
    /// What was taken back.
    pub unlearned: Vec<Unlearned>,
}

impl Lessons {
    /// Reads what was told by `until`.
    pub fn read(store: &Farm, until: Timestamp) -> anyhow::Result<Lessons> {
        Ok(Lessons {
            found: store.found_by(until)?,
            missed: store.missed_by(until)?,
            unlearned: store.unlearned()?,
        })
    }

    /// The answer that stands, by call.
    pub fn standing(&self) -> BTreeMap<&str, &Found> {
        let standing = self.found.iter().filter(|found| found.undone.is_none());
        standing.map(|found| (found.what.call.as_str(), found)).collect()
    }

    /// Everything that was told of causes, what was taken back left out.
    fn told(&self, settings: &causes::Settings) -> Vec<Told> {
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
            if let Some(cause) =
                instead.filter(|word| !found.called_others.contains_key(*word)).and_then(Cause::from_word)
            {
                let stated = learned::chance_not_called(settings, cause);
                told.push(Told { learned: 1.0, ..one(cause, stated, true, How::Beside) });
            }
        }
        let missed = self.missed.iter().filter(|missed| missed.undone.is_none());
        told.extend(missed.filter_map(|missed| {
            let cause = Cause::from_word(&missed.what.cause)?;
            Some(Told {
                cause,
                at: missed.what.told_at,
                stated: learned::chance_not_called(settings, cause),
                learned: 1.0,
                was: true,
                how: How::Missed,
            })
        }));
        let back: Vec<&Unlearned> = self.unlearned.iter().filter(|back| back.undone.is_none()).collect();
        told.retain(|one| !back.iter().any(|back| back.cause == one.cause.word() && one.at <= back.told_at));
        told
    }

    /// What is learned of each cause, and every change of it, by time.
    pub fn learn(
        &self,
        settings: &causes::Settings,
        zone: &TimeZone,
    ) -> (BTreeMap<Cause, Learned>, Vec<Step>) {
        learned::learn(&self.told(settings), |at| farm_day(at, zone))
    }
}

/// The farm's own costs, as they are in force.
pub fn own_costs(store: &Farm) -> anyhow::Result<OwnCosts> {
    let Some(kept) = store.newest_costs()? else { return Ok(OwnCosts::default()) };
    Ok(serde_json::from_str(&kept.words)?)
}

/// Until when answers count for a round of `at`: what is told on one farm day counts from the next, so that the list does
/// not move under the feet of those who walk it, and a call does not change by its own answer.
pub fn counts_until(at: Timestamp, zone: &TimeZone) -> anyhow::Result<Timestamp> {
    Ok(day_starts(farm_day(at, zone), zone)?.saturating_sub(SignedDuration::from_millis(1))?)
}

/// The settings a round of `at` is made with.
pub fn judging(store: &Farm, at: Timestamp, zone: &TimeZone) -> anyhow::Result<Judging> {
    let mut settings = own_costs(store)?.over(causes::Settings::default());
    let (learned, _) = Lessons::read(store, counts_until(at, zone)?)?.learn(&settings, zone);
    let mut words = Vec::new();
    if let Some(kept) = store.newest_costs()?.filter(|kept| kept.words != "{}") {
        words.push(format!("costs of the farm's own, version {}", kept.id));
    }
    let moved: Vec<(&Cause, &Learned)> = learned.iter().filter(|(_, own)| own.factor != 1.0).collect();
    if !moved.is_empty() {
        let each =
            moved.iter().map(|(cause, own)| format!("{} {}", cause.word(), number::plain(own.factor, 1)));
        words.push(format!("learned {}", each.collect::<Vec<_>>().join(", ")));
    }
    settings.rates.learned = moved.iter().map(|(cause, own)| (**cause, own.factor)).collect();
    Ok(Judging { settings, words: words.iter().map(|word| format!("; {word}")).collect() })
}
