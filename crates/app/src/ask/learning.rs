//! What was learned, since when and why, as it is told on Records and by `cowpath learned`.

use std::collections::BTreeMap;

use cowpath_core::{
    causes::{
        Cause,
        learned::{Learned, Step},
    },
    say::{learned as words, when},
    time::{day_starts, farm_day},
};
use cowpath_store::Unlearned;
use jiff::{Timestamp, ToSpan, tz::TimeZone};
use serde::Serialize;

/// What was learned, for Records and `cowpath learned`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Learning {
    /// By cause, of whom anything was told.
    pub causes: Vec<LearnedRow>,
    /// Every change of what is used, newest first.
    pub steps: Vec<LearnedStep>,
    /// Every taking back, newest first, those taken back too.
    pub taken_back: Vec<TakenBack>,
}

/// What is learned of a cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LearnedRow {
    /// The cause's word.
    pub cause: &'static str,
    /// Factor of the stated rate that is used.
    pub factor: f64,
    /// Lower end of its 90 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// In words.
    pub words: String,
}

/// What is used of a cause changed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LearnedStep {
    /// The cause's word.
    pub cause: &'static str,
    /// Since when, RFC 3339 in the farm's zone.
    pub since: String,
    /// The factor before.
    pub before: f64,
    /// The factor since.
    pub factor: f64,
    /// In words, with the reason.
    pub words: String,
}

/// What was learned of a cause was taken back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TakenBack {
    /// Its number.
    pub id: i64,
    /// The cause's word.
    pub cause: String,
    /// When, RFC 3339 in the farm's zone.
    pub at: String,
    /// In words.
    pub words: String,
    /// It was itself taken back.
    pub undone: bool,
}

impl Learning {
    /// Puts it into words, as told at `now`.
    pub fn of(
        learned: &BTreeMap<Cause, Learned>,
        steps: &[Step],
        unlearned: &[Unlearned],
        now: Timestamp,
        zone: &TimeZone,
    ) -> Learning {
        let tenths = |value: f64| (value * 10.0).round() / 10.0;
        Learning {
            // A cause that was only considered beside others, and is as stated, has nothing to tell.
            causes: learned
                .iter()
                .filter(|(_, own)| own.factor != 1.0 || 0 < own.answered + own.instead + own.missed)
                .map(|(cause, own)| LearnedRow {
                    cause: cause.word(),
                    factor: own.factor,
                    low: tenths(own.between.0),
                    high: tenths(own.between.1),
                    words: words::now(*cause, own),
                })
                .collect(),
            steps: steps
                .iter()
                .rev()
                .map(|step| {
                    // What is told on one farm day counts from the next.
                    let next = farm_day(step.at, zone).saturating_add(1.day());
                    let since = day_starts(next, zone).unwrap_or(step.at);
                    LearnedStep {
                        cause: step.cause.word(),
                        since: when::rfc3339(since, zone),
                        before: step.before,
                        factor: step.now.factor,
                        words: words::step(step, since, now, zone),
                    }
                })
                .collect(),
            taken_back: unlearned
                .iter()
                .rev()
                .map(|back| TakenBack {
                    id: back.id,
                    cause: back.cause.clone(),
                    at: when::rfc3339(back.told_at, zone),
                    words: words::taken_back(&back.cause, back.told_at, back.by.as_deref(), now, zone),
                    undone: back.undone.is_some(),
                })
                .collect(),
        }
    }
}
