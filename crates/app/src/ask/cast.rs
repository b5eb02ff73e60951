//! Who and what the rows are about: cows by their lives, boxes, and what is noted of each cow.

use std::{collections::BTreeMap, ops::Range, thread};

use cowpath_core::herd::{BoxKey, EventRow, Life, LifeKey};
use jiff::{Timestamp, tz::TimeZone};

use super::{beside, farm::Barn};

/// Who lived in the herd and where they are milked, as the farm's file stood.
pub struct Cast {
    /// Every cow, in order of number.
    pub lives: Vec<Life>,
    /// Every box, in order of name.
    pub boxes: Vec<String>,
    /// Mark of the last reading of logs that is in this; after a later one, keys may be others.
    pub last_batch: u64,
    /// For each herd number in order: which lives bore it.
    of_number: Vec<Range<usize>>,
    /// What is noted under each herd number, in order of time.
    events: BTreeMap<String, Vec<EventRow>>,
}

/// Herd numbers from which on their events are read by two threads.
const WORTH_A_THREAD: usize = 500;

/// What is noted under each herd number.
fn events(barn: &Barn, last_batch: u64, numbers: usize) -> anyhow::Result<BTreeMap<String, Vec<EventRow>>> {
    if numbers < WORTH_A_THREAD {
        return Ok(barn.store.events_by_number((0, 1))?);
    }
    thread::scope(|scope| {
        let other = |barn: &Barn| Ok(barn.store.events_by_number((1, 2))?);
        let beside = beside::ask(scope, barn, last_batch, other);
        let mut events = barn.store.events_by_number((0, 2))?;
        events.append(&mut beside.or(|| other(barn))?);
        Ok(events)
    })
}

impl Cast {
    /// Reads who lived in the herd.
    pub fn read(barn: &Barn, zone: &TimeZone) -> anyhow::Result<Cast> {
        // All of it from one state of the file: a new number moves the places of all after it.
        let _held = barn.store.hold()?;
        let (last_batch, numbers) = (barn.store.last_batch()?, barn.store.numbers()?);
        let (boxes, animals) = (barn.store.boxes()?, barn.store.animal_rows()?);
        let events = events(barn, last_batch, numbers.len())?;
        let lives = cowpath_core::herd::lives(&numbers, &animals, events.values().flatten(), zone);
        let mut of_number = Vec::with_capacity(numbers.len());
        let mut next = 0;
        for number in &numbers {
            let from = next;
            while lives.get(next).is_some_and(|life| life.animal == *number) {
                next += 1;
            }
            of_number.push(from..next);
        }
        Ok(Cast { lives, boxes, last_batch, of_number, events })
    }

    /// Whose a row of a number at a time is.
    pub fn life(&self, number: u32, at: Timestamp) -> Option<&Life> {
        let range = self.of_number.get(number as usize)?.clone();
        let lives = self.lives.get(range)?;
        lives.iter().find(|life| life.present(at)).or_else(|| lives.last())
    }

    /// The cow that bears a number at a time.
    pub fn find(&self, animal: &str, at: Timestamp) -> Option<&Life> {
        let first = self.lives.partition_point(|life| life.animal.as_str() < animal);
        let own = self.lives[first..].iter().take_while(|life| life.animal == animal);
        own.clone().find(|life| life.present(at)).or_else(|| own.last())
    }

    /// Her life.
    pub fn of(&self, key: LifeKey) -> Option<&Life> {
        self.lives.get(key.0 as usize)
    }

    /// The cows by name, as memories keep them: keys move when a new number comes between.
    pub fn life_names(&self) -> Vec<(&str, u32)> {
        self.lives.iter().map(|life| (life.animal.as_str(), life.instance)).collect()
    }

    /// The keys of cows that were kept by name; none for one that is no more.
    pub fn keys_of_lives(&self, names: &[(String, u32)]) -> Vec<Option<LifeKey>> {
        let now: BTreeMap<(&str, u32), LifeKey> =
            self.life_names().into_iter().zip((0..).map(LifeKey)).collect();
        names.iter().map(|(animal, instance)| now.get(&(animal.as_str(), *instance)).copied()).collect()
    }

    /// The keys of boxes that were kept by name; none for one that is no more.
    pub fn keys_of_boxes(&self, names: &[String]) -> Vec<Option<BoxKey>> {
        let now: BTreeMap<&str, BoxKey> =
            self.boxes.iter().map(String::as_str).zip((0..).map(BoxKey)).collect();
        names.iter().map(|name| now.get(name.as_str()).copied()).collect()
    }

    /// What is noted under a herd number, in order of time.
    pub fn events_of(&self, animal: &str) -> &[EventRow] {
        self.events.get(animal).map_or(&[], Vec::as_slice)
    }
}
