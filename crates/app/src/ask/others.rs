//! The other signals of every cow at a time: movement, feed, weight, what the milk holds.
//!
//! What is each cow's own is learned from the four weeks before a turn of the week, at least ten days before the time; it is
//! kept in the store like any memory, and forgotten when one of its rows changes. The ten days are read anew.

use std::{collections::BTreeMap, ops::ControlFlow, ops::Range};

use cowpath_core::{
    causes::boxes::BoxLog,
    herd::{Life, LifeKey},
    signals::{
        self, BoxSensors, Frozen, Ground, Heard, LEARNED_D, Learner, PastHeat, Reading, Stuck, Tags, Window,
    },
    tables::{Bin, Visit},
    time::WallClock,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde::{Deserialize, Serialize};

use super::{cast::Cast, farm::Barn, model, view::TEN_DAYS};

/// The other signals at a time.
#[derive(Default)]
pub struct Others {
    /// Lines of cows and herd.
    pub heard: Heard,
    /// When each cow's visits of the ten days ended, in order.
    pub seen: BTreeMap<LifeKey, Vec<Timestamp>>,
    /// Of each cow that was probably in heat in the weeks that were learned from: when last.
    pub heats: BTreeMap<LifeKey, PastHeat>,
    /// The same visits, as they tell of the boxes.
    pub boxes: BoxLog,
    /// Sensors that were stuck in the last ten days.
    pub stuck: Vec<Stuck>,
    /// What was learned, to keep for the next time; none where it was kept already.
    pub learned: Option<Learned>,
}

/// The turn of the week it was learned by, and its bytes.
type Learned = (Timestamp, Vec<u8>);

/// What is kept in the store: names instead of keys.
#[derive(Serialize, Deserialize)]
struct Kept {
    lives: Vec<(String, u32)>,
    ground: Ground,
}

/// The name it is kept under.
pub fn name(zone: &TimeZone) -> String {
    format!("{}, signals", model::model_name(zone))
}

/// Reads the other signals as they were known at a time.
pub fn at(barn: &Barn, cast: &Cast, zone: &TimeZone, at: Timestamp) -> anyhow::Result<Others> {
    let (ground, learned) = ground(barn, cast, zone, at)?;
    let mut window = Window::new(&ground, at, WallClock::new(zone.clone()));
    let from = at.saturating_sub(TEN_DAYS)?;
    let mut boxes = BoxLog::new();
    let mut seen: BTreeMap<LifeKey, Vec<Timestamp>> = BTreeMap::new();
    let stuck = each_reading(
        barn,
        cast,
        from..at,
        &mut |life, reading| window.take(reading, &life.stage(start(reading))),
        &mut |visit| {
            boxes.take(visit);
            seen.entry(visit.life).or_default().push(visit.ended_at);
        },
    )?;
    window.without(&stuck);
    seen.values_mut().for_each(|ends| ends.sort_unstable());
    let heats = ground.heats.iter().enumerate();
    let heats = heats.filter_map(|(key, heat)| Some((LifeKey(key as u32), (*heat)?))).collect();
    Ok(Others { heard: window.heard(), seen, boxes, heats, stuck, learned })
}

/// Keeps what was learned for the next time; a store that is only read, or busy, keeps nothing, and nothing is lost by that.
pub fn keep(barn: &mut Barn, cast: &Cast, zone: &TimeZone, others: &Others) -> anyhow::Result<()> {
    let Some(learned) = &others.learned else { return Ok(()) };
    let name = name(zone);
    barn.store.if_free(|store| {
        store.save_checkpoints(cast.last_batch, &name, std::slice::from_ref(learned))?;
        let all = store.checkpoints(&name)?;
        if MOST_KEPT < all.len() {
            store.thin_checkpoints(&name, &all[all.len() - MOST_KEPT..])?;
        }
        Ok(())
    })?;
    Ok(())
}

/// What was learned at so many turns of the week is kept.
const MOST_KEPT: usize = 30;

fn start(reading: &Reading) -> Timestamp {
    Timestamp::from_millisecond(reading.from_ms).unwrap_or_default()
}

/// What was learned by the last turn of the week that is ten days before a time, and its bytes where they are new.
fn ground(
    barn: &Barn,
    cast: &Cast,
    zone: &TimeZone,
    at: Timestamp,
) -> anyhow::Result<(Ground, Option<Learned>)> {
    let turn = model::turn_by(at.saturating_sub(TEN_DAYS)?);
    let kept = barn.store.checkpoint_before(turn, &name(zone))?.filter(|(at, _)| *at == turn);
    if let Some(kept) = kept.and_then(|(_, bytes)| postcard::from_bytes::<Kept>(&bytes).ok()) {
        let now: BTreeMap<(&str, u32), LifeKey> =
            cast.lives.iter().map(|life| ((life.animal.as_str(), life.instance), life.key)).collect();
        let ground = kept.ground.rekey(cast.lives.len(), |key| {
            let (animal, instance) = kept.lives.get(key.0 as usize)?;
            now.get(&(animal.as_str(), *instance)).copied()
        });
        return Ok((ground, None));
    }
    let mut learner = Learner::new(cast.lives.len(), WallClock::new(zone.clone()));
    let from = turn.saturating_sub(SignedDuration::from_hours(24 * LEARNED_D))?;
    let stuck = each_reading(
        barn,
        cast,
        from..turn,
        &mut |life, reading| learner.take(reading, &life.stage(start(reading))),
        &mut |_| {},
    )?;
    let ground = learner.learned(turn.as_millisecond(), &stuck);
    let lives = cast.lives.iter().map(|life| (life.animal.clone(), life.instance)).collect();
    let kept = Kept { lives, ground };
    let bytes = postcard::to_stdvec(&kept)?;
    Ok((kept.ground, Some((turn, bytes))))
}

/// Every reading of a span, bins first, then visits, each day by day, and the visits themselves, as the log has them.
/// Returned are the sensors that were stuck. What is known at a row to come of one is left out of the readings; what is only
/// known later (the first readings of a stuck sensor, a column of a tag) is for who takes them to leave out.
fn each_reading(
    barn: &Barn,
    cast: &Cast,
    span: Range<Timestamp>,
    each: &mut dyn FnMut(&Life, &Reading),
    visited: &mut dyn FnMut(&Visit),
) -> anyhow::Result<Vec<Stuck>> {
    let mut tags = Tags::default();
    let mut frozen: BTreeMap<LifeKey, Frozen> = BTreeMap::new();
    // What comes of a tag that is stuck as a whole is left out, and of the others each column is asked.
    let mut sound = |life: &Life, bin: &Bin| {
        tags.take(life.key, bin);
        signals::of_bin(life.key, bin, &mut |reading| each(life, &reading));
    };
    barn.store.movement(span.clone(), &mut |number, bin| {
        if let Some(life) = cast.life(number, bin.from) {
            frozen.entry(life.key).or_default().take(bin, &mut |bin| sound(life, bin));
        }
        ControlFlow::Continue(())
    })?;
    let mut stuck = Vec::new();
    for (key, frozen) in frozen {
        let Some(life) = cast.of(key) else { continue };
        stuck.extend(frozen.end(key, &mut |bin| sound(life, bin)));
    }
    stuck.extend(tags.end());
    let end = span.end;
    let mut sensors = BoxSensors::default();
    barn.store.visits(span, &mut |number, visit| {
        if visit.ended_at <= end
            && let Some(life) = cast.life(number, visit.started_at)
        {
            let mut visit = *visit;
            visit.life = life.key;
            visited(&visit);
            sensors.take(&mut visit);
            signals::of_visit(&visit, &mut |reading| each(life, &reading));
        }
        ControlFlow::Continue(())
    })?;
    stuck.extend(sensors.end());
    Ok(stuck)
}
