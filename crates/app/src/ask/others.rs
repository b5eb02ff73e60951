//! The other signals of every cow at a time: movement, feed, weight, what the milk holds.
//!
//! What is each cow's own is learned from the four weeks before a turn of the week, at least ten days before the time; it is
//! kept in the store like any memory, and forgotten when one of its rows changes. The ten days are read anew.

use std::{
    collections::BTreeMap,
    ops::{ControlFlow, Range},
    thread,
};

use cowpath_core::{
    causes::boxes::BoxLog,
    herd::{Life, LifeKey, Stage, Stages},
    signals::{
        self, BoxSensors, Frozen, Ground, Heard, LEARNED_D, Learner, PastHeat, Reading, Said, Stuck, Tags,
        Taken, Window,
    },
    tables::{Bin, Visit},
    time::WallClock,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde::{Deserialize, Serialize};

use super::{beside, cast::Cast, farm::Barn, memories, model, view::TEN_DAYS};

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
    format!("{}, signals", memories::name(zone))
}

/// Reads the other signals as they were known at a time: rows of movement here, visits beside them.
pub fn at(barn: &Barn, cast: &Cast, zone: &TimeZone, at: Timestamp) -> anyhow::Result<Others> {
    let (ground, learned) = ground(barn, cast, zone, at)?;
    let span = at.saturating_sub(TEN_DAYS)?..at;
    let window = || Window::new(&ground, at, WallClock::new(zone.clone()));
    let visits = |barn: &Barn| OfVisits::read(barn, cast, span.clone(), window());
    let (mut of_visits, tags, of_tags) = thread::scope(|scope| {
        let beside = beside::ask(scope, barn, cast.last_batch, visits);
        let mut window = window();
        let tags = each_bin(barn, cast, span.clone(), &mut |reading, stage| window.take(reading, stage))?;
        window.without(&tags);
        let said = said(window);
        anyhow::Ok((beside.or(|| visits(barn))?, tags, said))
    })?;
    let stuck = [tags, std::mem::take(&mut of_visits.stuck)].concat();
    let heats = ground.heats.iter().enumerate();
    let heats = heats.filter_map(|(key, heat)| Some((LifeKey(key as u32), (*heat)?))).collect();
    let OfVisits { said, seen, boxes, .. } = of_visits;
    Ok(Others {
        heard: Heard::of(of_tags.into_iter().chain(said).collect()),
        seen,
        boxes,
        heats,
        stuck,
        learned,
    })
}

/// What a window's readings say.
fn said(window: Window<'_>) -> Vec<Said> {
    beside::in_turns(window.taken(), Taken::said)
}

/// What visits tell.
struct OfVisits {
    said: Vec<Said>,
    seen: BTreeMap<LifeKey, Vec<Timestamp>>,
    boxes: BoxLog,
    stuck: Vec<Stuck>,
}

impl OfVisits {
    fn read(
        barn: &Barn,
        cast: &Cast,
        span: Range<Timestamp>,
        mut window: Window<'_>,
    ) -> anyhow::Result<OfVisits> {
        let mut boxes = BoxLog::new();
        let mut ends: Vec<Vec<Timestamp>> = vec![Vec::new(); cast.lives.len()];
        let stuck =
            each_visit(barn, cast, span, &mut |reading, stage| window.take(reading, stage), &mut |visit| {
                boxes.take(visit.life, visit);
                ends[visit.life.0 as usize].push(visit.ended_at);
            })?;
        window.without(&stuck);
        let mut seen: BTreeMap<LifeKey, Vec<Timestamp>> = BTreeMap::new();
        for (key, mut ends) in (0..).map(LifeKey).zip(ends).filter(|(_, ends)| !ends.is_empty()) {
            ends.sort_unstable();
            seen.insert(key, ends);
        }
        Ok(OfVisits { said: said(window), seen, boxes, stuck })
    }
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
        let lives = cast.keys_of_lives(&kept.lives);
        let ground = kept.ground.rekey(cast.lives.len(), |key| lives.get(key.0 as usize).copied().flatten());
        return Ok((ground, None));
    }
    let mut learner = Learner::new(cast.lives.len(), WallClock::new(zone.clone()));
    let from = turn.saturating_sub(SignedDuration::from_hours(24 * LEARNED_D))?;
    let mut take = |reading: &Reading, stage: &Stage| learner.take(reading, stage);
    let mut stuck = each_bin(barn, cast, from..turn, &mut take)?;
    stuck.extend(each_visit(barn, cast, from..turn, &mut take, &mut |_| {})?);
    let ground = learner.learned(turn.as_millisecond(), &stuck);
    let lives = cast.lives.iter().map(|life| (life.animal.clone(), life.instance)).collect();
    let kept = Kept { lives, ground };
    let bytes = postcard::to_stdvec(&kept)?;
    Ok((kept.ground, Some((turn, bytes))))
}

/// What is called with each reading: it, and her stage when it began.
type EachReading<'f> = dyn FnMut(&Reading, &Stage) + 'f;

/// Every reading of the bins of a span, day by day. Returned are the sensors that were stuck. What is known at a row to come
/// of one is left out of the readings; what is only known later (the first readings of a stuck sensor, a column of a tag) is
/// for who takes them to leave out.
fn each_bin(
    barn: &Barn,
    cast: &Cast,
    span: Range<Timestamp>,
    each: &mut EachReading<'_>,
) -> anyhow::Result<Vec<Stuck>> {
    let (mut tags, mut stages) = (Tags::default(), Stages::default());
    let mut frozen: Vec<Option<Frozen>> = vec![None; cast.lives.len()];
    // What comes of a tag that is stuck as a whole is left out, and of the others each column is asked.
    let mut sound = |life: &Life, bin: &Bin| {
        tags.take(life.key, bin);
        let stage = stages.of(life, bin.from);
        signals::of_bin(life.key, bin, &mut |reading| each(&reading, &stage));
    };
    barn.store.movement(span, &mut |number, bin| {
        if let Some(life) = cast.life(number, bin.from)
            && let Some(own) = frozen.get_mut(life.key.0 as usize)
        {
            own.get_or_insert_default().take(bin, &mut |bin| sound(life, bin));
        }
        ControlFlow::Continue(())
    })?;
    let mut stuck = Vec::new();
    for (life, frozen) in cast.lives.iter().zip(frozen) {
        stuck.extend(frozen.and_then(|frozen| frozen.end(life.key, &mut |bin| sound(life, bin))));
    }
    stuck.extend(tags.end());
    Ok(stuck)
}

/// Every reading of the visits of a span, likewise, and the visits themselves, as the log has them.
fn each_visit(
    barn: &Barn,
    cast: &Cast,
    span: Range<Timestamp>,
    each: &mut EachReading<'_>,
    visited: &mut dyn FnMut(&Visit),
) -> anyhow::Result<Vec<Stuck>> {
    let end = span.end;
    let (mut sensors, mut stages) = (BoxSensors::default(), Stages::default());
    barn.store.measured_visits(span, &mut |number, visit| {
        if visit.ended_at <= end
            && let Some(life) = cast.life(number, visit.started_at)
        {
            visit.life = life.key;
            visited(visit);
            sensors.take(visit);
            let stage = stages.of(life, visit.started_at);
            signals::of_visit(visit, &mut |reading| each(&reading, &stage));
        }
        ControlFlow::Continue(())
    })?;
    Ok(sensors.end())
}
