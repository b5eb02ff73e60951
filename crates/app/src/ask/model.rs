//! The milk model rolled forward over a farm's rows to a time, from the nearest memory kept before it.
//!
//! Visits are taken in the order they ended, so that what is expected of a milking rests only on what had ended before
//! it. Once a week the model's memory is kept in the store; the store forgets it when a row dated before it changes.
//! The herd's parameters at a time were fitted to rows known at that time: when half as many milkings again have come in
//! since the last fit, at the next turn of the week.

use std::{cmp::Reverse, collections::BTreeMap, collections::BinaryHeap, ops::ControlFlow};

use cowpath_core::{
    expect::{self, Herd, Parameters, SampleMilking, Scored},
    herd::{BoxKey, Life, LifeKey, Stage},
    tables::Visit,
    time::WallClock,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde::{Deserialize, Serialize};

use super::farm::Barn;

/// Which reckoning a kept memory came from; another one cannot go on from it.
pub const MODEL: &str = concat!("expect 1, cowpath ", env!("CARGO_PKG_VERSION"));

/// The longest visit that is read, so that no visit that ended after a time began earlier than this before it.
const LONGEST_VISIT: SignedDuration = SignedDuration::from_hours(6);
const WEEK_MS: i64 = 7 * 86_400_000;
/// Monday 5 January 1970, UTC: turns of the week are counted from here, so that they hang on no row.
const FIRST_TURN_MS: i64 = 4 * 86_400_000;
/// Rows the herd's parameters are fitted to: the last six weeks, of as many cows as make about this many milkings.
const SAMPLE_SPAN: SignedDuration = SignedDuration::from_hours(42 * 24);
const SAMPLE_MILKINGS: u64 = 5_000;
/// Before this many milkings the prior parameters stand.
const FEWEST_MILKINGS: u64 = 400;
/// Of the kept memories older than the last few, one in so many weeks stays.
const OLD_MEMORY_EVERY: i64 = 4;

/// Who and what the rows are about.
pub struct Cast {
    /// Every cow, in order of number.
    pub lives: Vec<Life>,
    /// Every box, in order of name.
    pub boxes: Vec<String>,
    /// For each herd number in order: which lives bore it.
    of_number: Vec<std::ops::Range<usize>>,
}

impl Cast {
    /// Reads who lived in the herd.
    pub fn read(barn: &Barn, zone: &TimeZone) -> anyhow::Result<Cast> {
        let numbers = barn.store.numbers()?;
        let lives =
            cowpath_core::herd::lives(&numbers, &barn.store.animal_rows()?, &barn.store.event_rows()?, zone);
        let mut of_number = Vec::with_capacity(numbers.len());
        let mut next = 0;
        for number in &numbers {
            let from = next;
            while lives.get(next).is_some_and(|life| life.animal == *number) {
                next += 1;
            }
            of_number.push(from..next);
        }
        Ok(Cast { lives, boxes: barn.store.boxes()?, of_number })
    }

    /// Whose a row of a number at a time is.
    pub fn life(&self, number: u32, at: Timestamp) -> Option<&Life> {
        let range = self.of_number.get(number as usize)?.clone();
        let lives = self.lives.get(range)?;
        lives.iter().find(|life| life.present(at)).or_else(|| lives.last())
    }

    /// The cow that bears a number at a time.
    pub fn find(&self, animal: &str, at: Timestamp) -> Option<&Life> {
        let own = self.lives.iter().filter(|life| life.animal == animal);
        own.clone().find(|life| life.present(at)).or_else(|| own.last())
    }

    /// Her life.
    pub fn of(&self, key: LifeKey) -> Option<&Life> {
        self.lives.get(key.0 as usize)
    }
}

/// The model at a time.
pub struct Rolled {
    /// Effects and states after the last visit that had ended by then.
    pub herd: Herd,
    /// When the parameters in use were fitted, if ever.
    pub fitted_at: Option<Timestamp>,
    /// Memories to keep for the next time.
    pub memories: Vec<(Timestamp, Vec<u8>)>,
}

/// What is kept in the store: names instead of keys, for keys move when a new number comes between.
#[derive(Serialize, Deserialize)]
struct Memory {
    lives: Vec<(String, u32)>,
    boxes: Vec<String>,
    herd: Herd,
    milkings: u64,
    fitted_at_ms: Option<i64>,
    fitted_milkings: u64,
}

/// Rolls the model to `at`; every milking that ended from `wanted_from` on is handed to `each` in the order they ended.
pub fn roll(
    barn: &Barn,
    cast: &Cast,
    zone: &TimeZone,
    at: Timestamp,
    wanted_from: Timestamp,
    each: &mut dyn FnMut(&Visit, &Scored) -> anyhow::Result<()>,
) -> anyhow::Result<Rolled> {
    let mut rolling = Rolling::start(barn, cast, zone, wanted_from)?;
    let from =
        rolling.since.map_or(Timestamp::MIN, |since| since.saturating_sub(LONGEST_VISIT).unwrap_or(since));
    let mut failed = None;
    // Rows come by their start; they are taken by their end. A visit waits here until no earlier end can come.
    let mut waiting: BinaryHeap<Reverse<Ending>> = BinaryHeap::new();
    let mut order = 0_u64;
    barn.store.visits(from..at, &mut |number, visit| {
        while waiting.peek().is_some_and(|Reverse(first)| first.ended_ms <= visit.started_at.as_millisecond())
        {
            if let Some(Reverse(ending)) = waiting.pop()
                && let Err(error) = rolling.take(&ending, wanted_from, each)
            {
                failed = Some(error);
                return ControlFlow::Break(());
            }
        }
        if visit.ended_at <= at && rolling.since.is_none_or(|since| since < visit.ended_at) {
            order += 1;
            waiting.push(Reverse(Ending {
                ended_ms: visit.ended_at.as_millisecond(),
                order,
                number,
                visit: *visit,
            }));
        }
        ControlFlow::Continue(())
    })?;
    if let Some(error) = failed {
        return Err(error);
    }
    while let Some(Reverse(ending)) = waiting.pop() {
        rolling.take(&ending, wanted_from, each)?;
    }
    rolling.turn_weeks_until(at.as_millisecond() + 1)?;
    Ok(Rolled { herd: rolling.herd, fitted_at: rolling.fitted_at, memories: rolling.memories })
}

/// A visit waiting to be taken; ends first come first, and of equal ends the one that came first.
struct Ending {
    ended_ms: i64,
    order: u64,
    number: u32,
    visit: Visit,
}

impl PartialEq for Ending {
    fn eq(&self, other: &Ending) -> bool {
        self.cmp(other).is_eq()
    }
}
impl Eq for Ending {}
impl PartialOrd for Ending {
    fn partial_cmp(&self, other: &Ending) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Ending {
    fn cmp(&self, other: &Ending) -> std::cmp::Ordering {
        (self.ended_ms, self.order).cmp(&(other.ended_ms, other.order))
    }
}

struct Rolling<'a> {
    barn: &'a Barn,
    cast: &'a Cast,
    zone: &'a TimeZone,
    clock: WallClock,
    herd: Herd,
    /// Visits that ended by then are in `herd` already.
    since: Option<Timestamp>,
    next_turn_ms: Option<i64>,
    milkings: u64,
    fitted_at: Option<Timestamp>,
    fitted_milkings: u64,
    memories: Vec<(Timestamp, Vec<u8>)>,
}

impl<'a> Rolling<'a> {
    fn start(
        barn: &'a Barn,
        cast: &'a Cast,
        zone: &'a TimeZone,
        before: Timestamp,
    ) -> anyhow::Result<Rolling<'a>> {
        let mut rolling = Rolling {
            barn,
            cast,
            zone,
            clock: WallClock::new(zone.clone()),
            herd: Herd::new(Parameters::prior()),
            since: None,
            next_turn_ms: None,
            milkings: 0,
            fitted_at: None,
            fitted_milkings: 0,
            memories: Vec::new(),
        };
        let Some((at, bytes)) = barn.store.checkpoint_before(before, &model_name(zone))? else {
            return Ok(rolling);
        };
        // A memory that cannot be read is as good as none: the model starts from the first row.
        let Ok(memory) = postcard::from_bytes::<Memory>(&bytes) else { return Ok(rolling) };
        let lives: BTreeMap<(&str, u32), LifeKey> =
            cast.lives.iter().map(|life| ((life.animal.as_str(), life.instance), life.key)).collect();
        let boxes: BTreeMap<&str, BoxKey> = cast
            .boxes
            .iter()
            .enumerate()
            .map(|(index, name)| (name.as_str(), BoxKey(index as u16)))
            .collect();
        rolling.herd = memory.herd.rekey(
            &|key| {
                let (animal, instance) = memory.lives.get(key.0 as usize)?;
                lives.get(&(animal.as_str(), *instance)).copied()
            },
            &|key| boxes.get(memory.boxes.get(usize::from(key.0))?.as_str()).copied(),
        );
        rolling.since = Some(at);
        rolling.next_turn_ms = Some(at.as_millisecond() + WEEK_MS);
        rolling.milkings = memory.milkings;
        rolling.fitted_at = memory.fitted_at_ms.and_then(|ms| Timestamp::from_millisecond(ms).ok());
        rolling.fitted_milkings = memory.fitted_milkings;
        Ok(rolling)
    }

    fn take(
        &mut self,
        ending: &Ending,
        wanted_from: Timestamp,
        each: &mut dyn FnMut(&Visit, &Scored) -> anyhow::Result<()>,
    ) -> anyhow::Result<()> {
        self.turn_weeks_until(ending.ended_ms)?;
        let Some(life) = self.cast.life(ending.number, ending.visit.started_at) else { return Ok(()) };
        let visit = Visit { life: life.key, ..ending.visit };
        let stage = life.stage(visit.started_at);
        let hour_of_day = self.clock.hour_of_day(visit.started_at);
        if let Some(scored) = self.herd.take(&visit, &stage, hour_of_day) {
            self.milkings += 1;
            if wanted_from <= visit.ended_at {
                each(&visit, &scored)?;
            }
        }
        Ok(())
    }

    /// Passes every turn of the week before `ended_ms`: fits the herd's parameters if enough is new, keeps a memory.
    fn turn_weeks_until(&mut self, ended_ms: i64) -> anyhow::Result<()> {
        loop {
            let turn_ms = match self.next_turn_ms {
                Some(turn_ms) => turn_ms,
                None => FIRST_TURN_MS + (ended_ms - FIRST_TURN_MS).div_euclid(WEEK_MS) * WEEK_MS + WEEK_MS,
            };
            self.next_turn_ms = Some(turn_ms);
            // A visit that ends on the very turn belongs to the week before it.
            if ended_ms <= turn_ms {
                return Ok(());
            }
            let turn = Timestamp::from_millisecond(turn_ms)?;
            if FEWEST_MILKINGS <= self.milkings
                && self.fitted_milkings + self.fitted_milkings / 2 < self.milkings
            {
                self.fit(turn)?;
            }
            self.keep_memory(turn)?;
            self.next_turn_ms = Some(turn_ms + WEEK_MS);
        }
    }

    fn fit(&mut self, turn: Timestamp) -> anyhow::Result<()> {
        let sample = sample(self.barn, self.cast, self.zone, turn)?;
        let fitted = expect::fit(&sample, self.herd.parameters());
        self.herd.set_parameters(fitted.parameters);
        self.fitted_at = Some(turn);
        self.fitted_milkings = self.milkings;
        Ok(())
    }

    fn keep_memory(&mut self, turn: Timestamp) -> anyhow::Result<()> {
        let memory = Memory {
            lives: self.cast.lives.iter().map(|life| (life.animal.clone(), life.instance)).collect(),
            boxes: self.cast.boxes.clone(),
            herd: self.herd.clone(),
            milkings: self.milkings,
            fitted_at_ms: self.fitted_at.map(Timestamp::as_millisecond),
            fitted_milkings: self.fitted_milkings,
        };
        let bytes = postcard::to_stdvec(&memory)?;
        // Old ones are thinned as we go, so that three years of them do not fill the memory of the machine.
        let kept = self.memories.len();
        if 3 <= kept {
            let old = &self.memories[kept - 3].0;
            if (old.as_millisecond() - FIRST_TURN_MS) / WEEK_MS % OLD_MEMORY_EVERY != 0 {
                self.memories.remove(kept - 3);
            }
        }
        self.memories.push((turn, bytes));
        Ok(())
    }
}

/// The name memories are kept under: the reckoning and the zone its hours of day were in.
pub fn model_name(zone: &TimeZone) -> String {
    format!("{MODEL}, {}", zone.iana_name().unwrap_or("UTC"))
}

/// Milkings to fit the herd's parameters to: the six weeks before `until`, evenly spread over the herd's cows.
fn sample(barn: &Barn, cast: &Cast, zone: &TimeZone, until: Timestamp) -> anyhow::Result<Vec<SampleMilking>> {
    let from = until.saturating_sub(SAMPLE_SPAN)?;
    let mut seen = vec![0_u64; cast.lives.len()];
    let mut total = 0_u64;
    barn.store.visits(from..until, &mut |number, visit| {
        if visit.milk_kg.is_some()
            && let Some(life) = cast.life(number, visit.started_at)
        {
            seen[life.key.0 as usize] += 1;
            total += 1;
        }
        ControlFlow::Continue(())
    })?;
    let milked: Vec<usize> = (0..seen.len()).filter(|life| 0 < seen[*life]).collect();
    let stride = (total.div_ceil(SAMPLE_MILKINGS.max(1)) as usize).max(1);
    let mut chosen = vec![false; cast.lives.len()];
    for life in milked.iter().step_by(stride) {
        chosen[*life] = true;
    }
    let mut clock = WallClock::new(zone.clone());
    let mut sample: Vec<SampleMilking> = Vec::new();
    barn.store.visits(from..until, &mut |number, visit| {
        if visit.ended_at <= until
            && let Some(life) = cast.life(number, visit.started_at)
            && chosen[life.key.0 as usize]
        {
            let stage: Stage = life.stage(visit.started_at);
            let hour_of_day = clock.hour_of_day(visit.started_at);
            sample.push(SampleMilking { visit: Visit { life: life.key, ..*visit }, stage, hour_of_day });
        }
        ControlFlow::Continue(())
    })?;
    sample.sort_by_key(|milking| milking.visit.ended_at);
    Ok(sample)
}

/// Keeps memories for the next time; a store that is only read, or busy, keeps none, and nothing is lost by that.
pub fn keep_memories(barn: &mut Barn, zone: &TimeZone, rolled: &Rolled) -> anyhow::Result<()> {
    barn.store.if_free(|store| {
        rolled
            .memories
            .iter()
            .try_for_each(|(at, bytes)| store.save_checkpoint(*at, &model_name(zone), bytes))
    })?;
    Ok(())
}
