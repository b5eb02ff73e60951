//! How often were the calls right? The track record by cause, from what people found.

use std::collections::BTreeMap;

use cowpath_core::say::{found::Outcome, summary};
use cowpath_store::Farm;
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use super::{answered::Told, found::answer, round::Answer};

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
}

/// The track record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Record {
    /// By cause, the most answered first.
    pub causes: Vec<RecordRow>,
    /// Every answer, newest first, those taken back too.
    pub answers: Vec<Answer>,
}

/// How often the calls were right, by what people answered until a time; times are told as seen from `now`.
pub fn record(store: &Farm, until: Timestamp, now: Timestamp, zone: &TimeZone) -> anyhow::Result<Record> {
    let told = Told::ever(store, until)?;
    let standing = told.standing();
    let mut by_cause: BTreeMap<&str, RecordRow> = BTreeMap::new();
    for kept in &told.shown {
        let found = standing.get(kept.shown.call.as_str());
        if found.is_none() && kept.walked_at.is_none() {
            continue;
        }
        let row = by_cause.entry(&kept.shown.cause).or_insert_with(|| RecordRow {
            cause: kept.shown.cause.clone(),
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
        });
        let on_walk = kept.shown.urgency != "watch" || kept.now_at.is_some();
        row.shown += u32::from(kept.walked_at.is_some() && on_walk);
        let Some(outcome) = found.and_then(|found| Outcome::of(&found.what.outcome)) else { continue };
        row.answered += u32::from(outcome != Outcome::LookAgain);
        row.right += u32::from(matches!(outcome, Outcome::Confirmed | Outcome::OtherQuarter));
        row.other_quarter += u32::from(outcome == Outcome::OtherQuarter);
        row.other_cause += u32::from(outcome == Outcome::OtherCause);
        row.nothing += u32::from(outcome == Outcome::Nothing);
    }
    let mut causes: Vec<RecordRow> = by_cause.into_values().collect();
    for row in &mut causes {
        let share = cowpath_core::right::share(row.right, row.answered);
        (row.share, row.low, row.high) = (share.share, share.low, share.high);
        row.words = summary::right(row.right, row.answered, share);
    }
    causes.sort_by(|a, b| b.answered.cmp(&a.answered).then(a.cause.cmp(&b.cause)));
    let quarter_of = |call: &str| {
        told.shown.iter().find(|kept| kept.shown.call == call).and_then(|kept| kept.shown.quarter.as_deref())
    };
    let answers =
        told.found.iter().rev().map(|found| answer(found, quarter_of(&found.what.call), now, zone)).collect();
    Ok(Record { causes, answers })
}
