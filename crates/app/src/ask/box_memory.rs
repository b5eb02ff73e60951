//! What the boxes wrote before the days that are judged: read once a day, and kept.
//!
//! A round reads the visits of its last ten days for its cows; of the days before them only the boxes are asked, and those rows
//! are the same at every round of a day. The store forgets them when a row dated before their end changes.

use std::ops::{ControlFlow, Range};

use cowpath_core::causes::boxes::{BoxLog, LOG_D};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use super::{
    cast::Cast,
    farm::Barn,
    memories::{self, OfDay},
    model::MODEL,
};

/// How far back visits tell of a box.
pub const BOX_SPAN: SignedDuration = SignedDuration::from_hours(LOG_D * 24);

/// What is kept in the store: names instead of keys.
#[derive(Deserialize)]
struct Kept {
    lives: Vec<(String, u32)>,
    boxes: Vec<String>,
    log: BoxLog,
}

/// The same while it is written.
#[derive(Serialize)]
struct KeptOf<'a> {
    lives: Vec<(&'a str, u32)>,
    boxes: &'a [String],
    log: &'a BoxLog,
}

/// Rows of the boxes, and what to keep of them.
pub struct OfBoxes {
    /// Rows from [`BOX_SPAN`] before a time on, as they were known then.
    pub log: BoxLog,
    /// Those of the days before, where they are not kept yet.
    pub of_day: OfDay,
}

/// The name they are kept under.
pub fn name() -> String {
    format!("{MODEL}, boxes")
}

/// What boxes wrote from [`BOX_SPAN`] before a time to `until`, as it was known then.
pub fn log(barn: &Barn, cast: &Cast, at: Timestamp, until: Timestamp) -> anyhow::Result<OfBoxes> {
    let from = at.saturating_sub(BOX_SPAN)?;
    let day = memories::day_of(until);
    let name = name();
    let mut log = BoxLog::new();
    let mut of_day = None;
    if barn.store.checkpoints(&name)?.last() < Some(&day) {
        // For every round of the day: the first of them looks back furthest.
        let mut before = BoxLog::new();
        read(barn, cast, from.saturating_sub(until.duration_since(day))?..day, Timestamp::MAX, &mut before)?;
        log.take_kept(&before, (from, at), Some, Some);
        if !before.is_empty() {
            of_day = Some((day, kept(cast, &before)?));
        }
    } else {
        let known = barn.store.checkpoint_before(day, &name)?.filter(|(kept, _)| *kept == day);
        match known.and_then(|(_, bytes)| postcard::from_bytes(&bytes).ok()) {
            Some(kept) => take(&mut log, &kept, cast, (from, at)),
            None => read(barn, cast, from..day, at, &mut log)?,
        }
    }
    read(barn, cast, day..until, at, &mut log)?;
    Ok(OfBoxes { log, of_day })
}

/// Keeps them for the next time, as [`memories::keep_of_day`] does.
pub fn keep(barn: &mut Barn, cast: &Cast, of_day: &OfDay) -> anyhow::Result<()> {
    memories::keep_of_day(barn, cast, &name(), of_day)
}

/// Reads visits that began in a span and had ended by a time.
fn read(
    barn: &Barn,
    cast: &Cast,
    span: Range<Timestamp>,
    by: Timestamp,
    log: &mut BoxLog,
) -> anyhow::Result<()> {
    barn.store.box_visits(span, &mut |number, visit| {
        if visit.ended_at <= by
            && let Some(life) = cast.life(number, visit.started_at)
        {
            log.take(life.key, visit);
        }
        ControlFlow::Continue(())
    })?;
    Ok(())
}

fn kept(cast: &Cast, log: &BoxLog) -> anyhow::Result<Vec<u8>> {
    Ok(postcard::to_stdvec(&KeptOf { lives: cast.life_names(), boxes: &cast.boxes, log })?)
}

/// Takes what was kept, under the keys of today.
fn take(log: &mut BoxLog, kept: &Kept, cast: &Cast, span: (Timestamp, Timestamp)) {
    let (lives, boxes) = (cast.keys_of_lives(&kept.lives), cast.keys_of_boxes(&kept.boxes));
    log.take_kept(
        &kept.log,
        span,
        |key| lives.get(key.0 as usize).copied().flatten(),
        |key| boxes.get(usize::from(key.0)).copied().flatten(),
    );
}
