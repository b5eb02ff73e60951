//! How often were the calls right? The track record by cause, from what people found.

use std::collections::BTreeMap;

use cowpath_core::{
    causes,
    say::{found::Outcome, learned as words, summary},
};
use cowpath_store::Farm;
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use super::{
    answered::Told,
    found::answer,
    learned::{self, Lessons},
    learning::Learning,
    missed::MissedCase,
    misses::{self, Walked},
    round::Answer,
};

/// How often the calls of one cause were right.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RecordRow {
    /// The cause's word.
    pub cause: String,
    /// Calls that newest rounds showed as `now` or `today`, ever.
    pub shown: u32,
    /// Calls with an answer that stands, `look-again` not counted.
    pub answered: u32,
    /// Of those, the cause was right.
    pub right: u32,
    /// Of those, the cause was right and the quarter was not.
    pub other_quarter: u32,
    /// Of those, it was something else.
    pub other_cause: u32,
    /// Of those, nothing was found.
    pub nothing: u32,
    /// Share right, with the ends of its exact 95 % interval.
    pub share: Option<f64>,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// In words.
    pub words: String,
    /// Cases that no call named.
    pub missed: u32,
    /// Of the cases known, the share that a call named, with the ends of its exact 95 % interval.
    pub caught: Option<f64>,
    /// Lower end.
    pub caught_low: f64,
    /// Upper end.
    pub caught_high: f64,
    /// In words.
    pub missed_words: String,
}

impl RecordRow {
    fn of(cause: &str) -> RecordRow {
        RecordRow {
            cause: cause.to_owned(),
            shown: 0,
            answered: 0,
            right: 0,
            other_quarter: 0,
            other_cause: 0,
            nothing: 0,
            share: None,
            low: 0.0,
            high: 1.0,
            words: String::new(),
            missed: 0,
            caught: None,
            caught_low: 0.0,
            caught_high: 1.0,
            missed_words: String::new(),
        }
    }
}

/// The track record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Record {
    /// By cause, the most answered first.
    pub causes: Vec<RecordRow>,
    /// Every answer, newest first, those taken back too.
    pub answers: Vec<Answer>,
    /// Cases that no call named, newest first.
    pub missed: Vec<MissedCase>,
    /// What was learned of how often each cause begins here.
    pub learned: Learning,
}

/// How often the calls were right, by what people answered until a time; times are told as seen from `now`. The log's own
/// diagnoses are known until then, and until the newest row.
pub fn record(store: &Farm, until: Timestamp, now: Timestamp, zone: &TimeZone) -> anyhow::Result<Record> {
    let told = Told::ever(store, until)?;
    let standing = told.standing();
    let mut by_cause: BTreeMap<&str, RecordRow> = BTreeMap::new();
    for kept in &told.shown {
        let found = standing.get(kept.shown.call.as_str());
        if found.is_none() && kept.walked_at.is_none() {
            continue;
        }
        let row = by_cause.entry(&kept.shown.cause).or_insert_with(|| RecordRow::of(&kept.shown.cause));
        let on_walk = kept.shown.urgency != "watch" || kept.now_at.is_some();
        row.shown += u32::from(kept.walked_at.is_some() && on_walk);
        let Some(outcome) = found.and_then(|found| Outcome::of(&found.what.outcome)) else { continue };
        row.answered += u32::from(outcome != Outcome::LookAgain);
        row.right += u32::from(matches!(outcome, Outcome::Confirmed | Outcome::OtherQuarter));
        row.other_quarter += u32::from(outcome == Outcome::OtherQuarter);
        row.other_cause += u32::from(outcome == Outcome::OtherCause);
        row.nothing += u32::from(outcome == Outcome::Nothing);
    }
    let lessons = Lessons::read(store, until)?;
    let known_at = until.min(store.last_row_at()?.unwrap_or(until));
    let settings = learned::own_costs(store)?.over(causes::Settings::default());
    let events = store.event_rows()?;
    let (learned, steps) = lessons.learn(&settings, zone);
    let misses = misses::misses(&lessons, &Walked::read(store, &lessons)?, &events, known_at);
    for miss in &misses {
        let word = miss.cause.word();
        by_cause.entry(word).or_insert_with(|| RecordRow::of(word)).missed += 1;
    }
    let mut causes: Vec<RecordRow> = by_cause.into_values().collect();
    for row in &mut causes {
        let share = cowpath_core::right::share(row.right, row.answered);
        (row.share, row.low, row.high) = (share.share, share.low, share.high);
        row.words = summary::right(row.right, row.answered, share);
        let caught = cowpath_core::right::share(row.right, row.right + row.missed);
        (row.caught, row.caught_low, row.caught_high) = (caught.share, caught.low, caught.high);
        row.missed_words = words::missed(row.missed, row.right);
    }
    causes.sort_by(|a, b| b.answered.cmp(&a.answered).then(a.cause.cmp(&b.cause)));
    let quarter_of = |call: &str| {
        told.shown.iter().find(|kept| kept.shown.call == call).and_then(|kept| kept.shown.quarter.as_deref())
    };
    let answers =
        told.found.iter().rev().map(|found| answer(found, quarter_of(&found.what.call), now, zone)).collect();
    let missed = misses.iter().rev().map(|miss| MissedCase::of(miss, now, zone)).collect();
    let learned = Learning::of(&learned, &steps, &lessons.unlearned, now, zone);
    Ok(Record { causes, answers, missed, learned })
}
