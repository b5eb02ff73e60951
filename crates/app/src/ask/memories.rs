//! What the milk model remembers in the store: its state at turns of the week, and at the turn of the day at which the newest
//! round's milkings begin.
//!
//! The first are there for rounds of any time, a few of them; the other lets the rounds of a day and of the next go on from ten
//! days back, whatever day of the week it is.

use cowpath_core::expect::Herd;
use jiff::{Timestamp, tz::TimeZone};
use serde::{Deserialize, Serialize};

use super::{
    cast::Cast,
    farm::Barn,
    fitting,
    model::{FIRST_TURN_MS, MODEL, Rolled, WEEK_MS},
};

/// A memory is kept for each of the last weeks …
const RECENT_WEEKS: i64 = 3;
/// … and for one in so many before.
const OLD_MEMORY_EVERY: i64 = 4;

/// What is kept in the store: names instead of keys, for keys move when a new number comes between.
#[derive(Serialize, Deserialize)]
pub struct Memory {
    pub lives: Vec<(String, u32)>,
    pub boxes: Vec<String>,
    pub herd: Herd,
    pub milkings: u64,
    pub fitted_at_ms: Option<i64>,
    pub fitted_milkings: u64,
    pub fitting_ms: Option<i64>,
}

/// The same while it is written: nothing is copied but the names' places.
#[derive(Serialize)]
pub struct MemoryOf<'a> {
    pub lives: Vec<(&'a str, u32)>,
    pub boxes: &'a [String],
    pub herd: &'a Herd,
    pub milkings: u64,
    pub fitted_at_ms: Option<i64>,
    pub fitted_milkings: u64,
    pub fitting_ms: Option<i64>,
}

/// Times of those of a week, the earliest first.
pub fn of_weeks(barn: &Barn, zone: &TimeZone) -> anyhow::Result<Vec<Timestamp>> {
    Ok(barn.store.checkpoints(&name(zone))?)
}

/// The latest by a time, of a week or of a day; of those that can be read, for another is as good as none.
pub fn latest(barn: &Barn, zone: &TimeZone, by: Timestamp) -> anyhow::Result<Option<(Timestamp, Memory)>> {
    let mut kept: Vec<(Timestamp, String)> = Vec::new();
    for name in [name(zone), day_name(zone)] {
        let latest = barn.store.checkpoints(&name)?.into_iter().rev().find(|kept| *kept <= by);
        kept.extend(latest.map(|at| (at, name)));
    }
    kept.sort();
    for (at, name) in kept.into_iter().rev() {
        let state = barn.store.checkpoint_before(at, &name)?;
        if let Some(memory) = state.and_then(|(_, bytes)| postcard::from_bytes(&bytes).ok()) {
            return Ok(Some((at, memory)));
        }
    }
    Ok(None)
}

/// The name memories are kept under: the reckoning and the zone its hours of day were in.
pub fn name(zone: &TimeZone) -> String {
    format!("{MODEL}, {}", zone.iana_name().unwrap_or("UTC"))
}

/// The name the memory of a day is kept under.
pub fn day_name(zone: &TimeZone) -> String {
    format!("{}, day", name(zone))
}

/// Keeps memories for the next time; a store that is only read, or busy, keeps none, and nothing is lost by that. Nor is
/// one kept where rows have come in since: it may rest on what is no longer so.
pub fn keep(barn: &mut Barn, cast: &Cast, zone: &TimeZone, rolled: &Rolled) -> anyhow::Result<()> {
    keep_of_day(barn, cast, &day_name(zone), &rolled.of_day)?;
    let name = name(zone);
    barn.store.if_free(|store| {
        if !rolled.fits.is_empty() {
            store.save_checkpoints(cast.last_batch, &fitting::name(zone), &rolled.fits)?;
        }
        if rolled.memories.is_empty() || !store.save_checkpoints(cast.last_batch, &name, &rolled.memories)? {
            return Ok(());
        }
        let all = store.checkpoints(&name)?;
        let Some(newest) = all.last().copied() else { return Ok(()) };
        let keep: Vec<Timestamp> =
            all.iter().copied().filter(|turn| is_kept(turn.as_millisecond(), newest)).collect();
        if keep.len() < all.len() {
            store.thin_checkpoints(&name, &keep)?;
        }
        Ok(())
    })?;
    Ok(())
}

/// A memory of a day, where one was made: the turn of the day, and its bytes.
pub type OfDay = Option<(Timestamp, Vec<u8>)>;

/// The turn of the day (of Greenwich) by a time.
pub fn day_of(at: Timestamp) -> Timestamp {
    const DAY_MS: i64 = 86_400_000;
    Timestamp::from_millisecond(at.as_millisecond().div_euclid(DAY_MS) * DAY_MS).unwrap_or(at)
}

/// Keeps a memory of a day under a name, in the same way. One is enough: that of the newest round.
pub fn keep_of_day(barn: &mut Barn, cast: &Cast, name: &str, of_day: &OfDay) -> anyhow::Result<()> {
    let Some(own @ (day, _)) = of_day else { return Ok(()) };
    barn.store.if_free(|store| {
        let newest = store.checkpoints(name)?.last().copied();
        if newest < Some(*day) && store.save_checkpoints(cast.last_batch, name, std::slice::from_ref(own))? {
            store.thin_checkpoints(name, &[*day])?;
        }
        Ok(())
    })?;
    Ok(())
}

/// Whether a memory of a turn is worth its room at a time: the last few weeks' are, of older ones one in so many.
pub fn is_kept(turn_ms: i64, at: Timestamp) -> bool {
    at.as_millisecond() - RECENT_WEEKS * WEEK_MS <= turn_ms
        || (turn_ms - FIRST_TURN_MS) / WEEK_MS % OLD_MEMORY_EVERY == 0
}
