//! The milk model rolled forward over a farm's rows to a time, from the nearest memory kept before it.
//!
//! Visits are taken in the order they ended, so that what is expected of a milking rests only on what had ended before
//! it. Once a week the model's memory is kept in the store, and that of the day at which the newest round's milkings begin,
//! from which the rounds of that day and the next go on; the store forgets one when a row dated before it changes.
//! The herd's parameters at a time were fitted to rows known at that time: a fit begins at the turn of the week by which
//! half as many milkings again have come in since the last one, and is in use from the next turn on.

use std::{cmp::Reverse, collections::BinaryHeap, ops::ControlFlow};

use cowpath_core::{
    expect::{Herd, Parameters, Scored},
    herd::Stages,
    tables::Visit,
    time::WallClock,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{
    cast::Cast,
    farm::Barn,
    fitting::{Fits, Pace},
    memories::{self, MemoryOf, OfDay},
    reading,
};

/// Which reckoning a kept memory came from; another one cannot go on from it.
pub const MODEL: &str = concat!("expect 8, cowpath ", env!("CARGO_PKG_VERSION"));

/// The longest visit that is read, so that no visit that ended after a time began earlier than this before it.
const LONGEST_VISIT: SignedDuration = SignedDuration::from_hours(6);
/// From one turn to the next.
pub const WEEK_MS: i64 = 7 * DAY_MS;
const DAY_MS: i64 = 86_400_000;
/// Monday 5 January 1970, UTC: turns of the week are counted from here, so that they hang on no row.
pub const FIRST_TURN_MS: i64 = 4 * 86_400_000;
/// The model at a time.
pub struct Rolled {
    /// Effects and states after the last visit that had ended by then.
    pub herd: Herd,
    /// When the parameters in use were fitted, if ever.
    pub fitted_at: Option<Timestamp>,
    /// Memories to keep for the next time.
    pub memories: Vec<(Timestamp, Vec<u8>)>,
    /// That of the day from which milkings were wanted, likewise.
    pub of_day: OfDay,
    /// Fits to keep for the next time.
    pub fits: Vec<(Timestamp, Vec<u8>)>,
    /// Fits that were not made ahead of the roll, so that it had to stop for all of them.
    #[allow(dead_code, reason = "a law asks for it")]
    pub late_fits: usize,
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
    std::thread::scope(|scope| {
        let mut rolling =
            Rolling::start(Fits::new(scope, barn, cast, zone, at), barn, cast, zone, at, wanted_from)?;
        rolling.over(each)?;
        let Rolling { herd, fitted_at, memories, of_day, fits, .. } = rolling;
        Ok(Rolled { herd, fitted_at, memories, of_day, fits: fits.made, late_fits: fits.late })
    })
}

/// Visits that have begun and whose turn has not come, by end; of equal ends the one that came first is first.
#[derive(Default)]
struct Waiting {
    ends: BinaryHeap<Reverse<(i64, u64, usize)>>,
    seats: Vec<(u32, Visit)>,
    free: Vec<usize>,
    came: u64,
}

impl Waiting {
    fn push(&mut self, number: u32, visit: &Visit) {
        let seat = match self.free.pop() {
            Some(seat) => {
                self.seats[seat] = (number, *visit);
                seat
            }
            None => {
                self.seats.push((number, *visit));
                self.seats.len() - 1
            }
        };
        self.came += 1;
        self.ends.push(Reverse((visit.ended_at.as_millisecond(), self.came, seat)));
    }

    /// The first that has ended by a time; it may be written into until the next is pushed.
    fn ended_by(&mut self, at: Timestamp) -> Option<&mut (u32, Visit)> {
        let Reverse((ended_ms, ..)) = self.ends.peek()?;
        if at.as_millisecond() < *ended_ms {
            return None;
        }
        let Reverse((_, _, seat)) = self.ends.pop()?;
        self.free.push(seat);
        self.seats.get_mut(seat)
    }
}

struct Rolling<'scope, 'env> {
    barn: &'env Barn,
    cast: &'env Cast,
    clock: WallClock,
    herd: Herd,
    /// Visits that ended by then are in `herd` already.
    since: Option<Timestamp>,
    next_turn_ms: Option<i64>,
    milkings: u64,
    fitted_at: Option<Timestamp>,
    fitted_milkings: u64,
    /// The turn of a fit that is not yet in use.
    fitting: Option<Timestamp>,
    fits: Fits<'scope, 'env>,
    memories: Vec<(Timestamp, Vec<u8>)>,
    /// Turns of which one is in the store.
    kept: Vec<Timestamp>,
    /// The turn of a day of which one is made, if it lies ahead; and that one.
    day_ms: Option<i64>,
    of_day: OfDay,
    /// The time rolled to, and from when on milkings are handed on.
    at: Timestamp,
    wanted_from: Timestamp,
    stages: Stages,
    /// What the last milking looked like, written over by the next.
    scored: Scored,
}

impl<'scope, 'env> Rolling<'scope, 'env> {
    fn start(
        fits: Fits<'scope, 'env>,
        barn: &'env Barn,
        cast: &'env Cast,
        zone: &TimeZone,
        at: Timestamp,
        wanted_from: Timestamp,
    ) -> anyhow::Result<Rolling<'scope, 'env>> {
        let mut rolling = Rolling {
            barn,
            cast,
            fitting: None,
            fits,
            at,
            wanted_from,
            stages: Stages::default(),
            scored: Scored::empty(),
            clock: WallClock::new(zone.clone()),
            herd: Herd::new(Parameters::prior()),
            since: None,
            next_turn_ms: None,
            milkings: 0,
            fitted_at: None,
            fitted_milkings: 0,
            memories: Vec::new(),
            kept: memories::of_weeks(barn, zone)?,
            day_ms: None,
            of_day: None,
        };
        let from = wanted_from.min(at);
        let day_ms = memories::day_of(from).as_millisecond();
        // At the turn of a week its own memory is kept.
        rolling.day_ms = Some(day_ms).filter(|day_ms| (day_ms - FIRST_TURN_MS) % WEEK_MS != 0);
        let Some((at, memory)) = memories::latest(barn, zone, from)? else { return Ok(rolling) };
        let (lives, boxes) = (cast.keys_of_lives(&memory.lives), cast.keys_of_boxes(&memory.boxes));
        rolling.herd = memory.herd.rekey(&|key| lives.get(key.0 as usize).copied().flatten(), &|key| {
            boxes.get(usize::from(key.0)).copied().flatten()
        });
        rolling.since = Some(at);
        rolling.day_ms = rolling.day_ms.filter(|day_ms| at.as_millisecond() < *day_ms);
        let next_turn_ms = turn_by(at).as_millisecond() + WEEK_MS;
        rolling.next_turn_ms = Some(next_turn_ms);
        rolling.milkings = memory.milkings;
        rolling.fitted_at = memory.fitted_at_ms.and_then(|ms| Timestamp::from_millisecond(ms).ok());
        rolling.fitted_milkings = memory.fitted_milkings;
        rolling.fitting = memory.fitting_ms.and_then(|ms| Timestamp::from_millisecond(ms).ok());
        if rolling.fitting.is_some() || reading::WORTH_A_THREAD <= rolling.at.duration_since(at) {
            rolling.fit_ahead(next_turn_ms);
        }
        Ok(rolling)
    }

    /// Takes every visit from where the memory ends to the time rolled to.
    fn over(&mut self, each: &mut dyn FnMut(&Visit, &Scored) -> anyhow::Result<()>) -> anyhow::Result<()> {
        let at = self.at;
        let since = self.since;
        let from = since.map_or(Timestamp::MIN, |since| since.saturating_sub(LONGEST_VISIT).unwrap_or(since));
        let mut failed = None;
        // Rows come by their start; they are taken by their end. A visit waits here until no earlier end can come.
        let mut waiting = Waiting::default();
        reading::milkings(self.barn, self.cast, from..at, &mut |number, visit| {
            while let Some((number, visit)) = waiting.ended_by(visit.started_at) {
                if let Err(error) = self.take(*number, visit, each) {
                    failed = Some(error);
                    return ControlFlow::Break(());
                }
            }
            if visit.ended_at <= at && since.is_none_or(|since| since < visit.ended_at) {
                waiting.push(number, visit);
            }
            ControlFlow::Continue(())
        })?;
        if let Some(error) = failed {
            return Err(error);
        }
        while let Some((number, visit)) = waiting.ended_by(at) {
            self.take(*number, visit, each)?;
        }
        self.turn_weeks_until(at.as_millisecond() + 1)
    }

    fn take(
        &mut self,
        number: u32,
        visit: &mut Visit,
        each: &mut dyn FnMut(&Visit, &Scored) -> anyhow::Result<()>,
    ) -> anyhow::Result<()> {
        self.turn_weeks_until(visit.ended_at.as_millisecond())?;
        let Some(life) = self.cast.life(number, visit.started_at) else { return Ok(()) };
        visit.life = life.key;
        let stage = self.stages.of(life, visit.started_at);
        let hour_of_day = self.clock.hour_of_day(visit.ended_at);
        if self.herd.take_into(visit, &stage, hour_of_day, &mut self.scored) {
            self.milkings += 1;
            if self.wanted_from <= visit.ended_at {
                each(visit, &self.scored)?;
            }
        }
        Ok(())
    }

    /// Passes every turn of the week before `ended_ms`: fits the herd's parameters if enough is new, keeps a memory.
    fn turn_weeks_until(&mut self, ended_ms: i64) -> anyhow::Result<()> {
        loop {
            self.keep_day_until(self.next_turn_ms.unwrap_or(i64::MAX).min(ended_ms))?;
            let turn_ms = match self.next_turn_ms {
                Some(turn_ms) => turn_ms,
                None => {
                    let turn_ms =
                        FIRST_TURN_MS + (ended_ms - FIRST_TURN_MS).div_euclid(WEEK_MS) * WEEK_MS + WEEK_MS;
                    self.fit_ahead(turn_ms);
                    turn_ms
                }
            };
            self.next_turn_ms = Some(turn_ms);
            // A visit that ends on the very turn belongs to the week before it.
            if ended_ms <= turn_ms {
                return Ok(());
            }
            let turn = Timestamp::from_millisecond(turn_ms)?;
            self.fit(turn)?;
            if memories::is_kept(turn_ms, self.at) && !self.kept.contains(&turn) {
                self.memories.push((turn, self.memory()?));
            }
            self.next_turn_ms = Some(turn_ms + WEEK_MS);
        }
    }

    /// Keeps the memory of the day that is wanted, if its turn lies before `until_ms`.
    fn keep_day_until(&mut self, until_ms: i64) -> anyhow::Result<()> {
        // Of no milking there is nothing to remember.
        if let Some(day_ms) = self.day_ms.take_if(|day_ms| *day_ms < until_ms)
            && 0 < self.milkings
        {
            self.of_day = Some((Timestamp::from_millisecond(day_ms)?, self.memory()?));
        }
        Ok(())
    }

    /// Puts the fit begun a week ago in use, and begins another if enough is new.
    fn fit(&mut self, turn: Timestamp) -> anyhow::Result<()> {
        if let Some(begun) = self.fitting.take() {
            self.use_fit(begun)?;
        }
        if !self.pace(turn.as_millisecond()).is_due() {
            return Ok(());
        }
        self.fitted_milkings = self.milkings;
        if self.fitted_at.is_none() {
            return self.use_fit(turn);
        }
        self.fitting = Some(turn);
        self.fit_ahead(turn.as_millisecond() + WEEK_MS);
        Ok(())
    }

    fn use_fit(&mut self, turn: Timestamp) -> anyhow::Result<()> {
        let parameters = self.fits.fitted(turn, self.herd.parameters())?;
        self.herd.set_parameters(parameters);
        self.fitted_at = Some(turn);
        Ok(())
    }

    /// Has fits made ahead of the roll from a turn on, if any comes into use before the roll ends.
    fn fit_ahead(&mut self, turn_ms: i64) {
        if turn_ms <= self.at.as_millisecond() {
            self.fits.run_ahead(self.pace(turn_ms), self.fitting, self.herd.parameters());
        }
    }

    fn pace(&self, turn_ms: i64) -> Pace {
        Pace {
            turn_ms,
            milkings: self.milkings,
            counted_ms: self.since.map_or(i64::MIN, Timestamp::as_millisecond),
            fitted_milkings: self.fitted_milkings,
            fitted: self.fitted_at.is_some(),
        }
    }

    /// What the model remembers here, as it is kept.
    fn memory(&self) -> anyhow::Result<Vec<u8>> {
        let memory = MemoryOf {
            lives: self.cast.life_names(),
            boxes: &self.cast.boxes,
            herd: &self.herd,
            milkings: self.milkings,
            fitted_at_ms: self.fitted_at.map(Timestamp::as_millisecond),
            fitted_milkings: self.fitted_milkings,
            fitting_ms: self.fitting.map(Timestamp::as_millisecond),
        };
        Ok(postcard::to_stdvec(&memory)?)
    }
}

/// The last turn of the week by a time.
pub fn turn_by(at: Timestamp) -> Timestamp {
    let turn_ms = FIRST_TURN_MS + (at.as_millisecond() - FIRST_TURN_MS).div_euclid(WEEK_MS) * WEEK_MS;
    Timestamp::from_millisecond(turn_ms).unwrap_or(at)
}
