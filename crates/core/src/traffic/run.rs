//! One pen, minute by minute: whoever is next does what she does, until the days are over.
//!
//! Each cow is in one of five states and has one time at which it ends; each box has one time at which it closes or opens.
//! Nothing is allocated once a run has begun, and what was allocated serves the next run.

mod boxes;
mod coming;
mod known;
mod people;

use std::sync::atomic::{AtomicBool, Ordering};

use super::{
    closing::Closing,
    counted::Counted,
    herd::Cow,
    next::Next,
    noise::Noise,
    pen::{HALVES, Law, Pen, Traffic},
    streams::Stream,
};

/// Minutes of a half-hour.
const HALF_MIN: f64 = 30.0;
/// Events between two looks whether the run is still wanted.
const LOOK_EVERY: u32 = 8192;

/// Days of a run.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Days {
    /// Days that do not count: every pen begins empty.
    pub warm_up: f64,
    /// Days that count.
    pub counted: f64,
}

impl Default for Days {
    /// Three days to settle, sixty that count: stated defaults.
    fn default() -> Days {
        Days { warm_up: 3.0, counted: 60.0 }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Neither waiting nor in a box; comes by herself.
    Away,
    /// On the way with a person behind her.
    Brought,
    Waiting,
    /// In the box, to be milked, to fail, or not due.
    Milked,
    Failed,
    NotDue,
}

/// A cow as she is now.
#[derive(Debug, Clone, Copy)]
struct Now {
    state: State,
    brought: bool,
    at_box: u8,
    third: u8,
    milkings: u32,
    /// Beginning of her last milking, min.
    last: f64,
    /// From when on a box milks her, min.
    due_from: f64,
    /// When she joined the queue, or entered the box.
    since: f64,
    coming: Stream,
    milking: Stream,
    patience: Stream,
}

/// Room for one run after another.
#[derive(Debug, Default)]
pub struct Room {
    cows: Vec<Cow>,
    now: Vec<Now>,
    next: Next,
    queue: Vec<(f64, u32)>,
    overdue: Vec<(f64, u32)>,
    /// Cows that are away, where visits come at a constant rate; a ring.
    ring: std::collections::VecDeque<u32>,
    closing: Vec<Closing>,
    /// Hazard a half-hour by half-hours since the last milking.
    since: Vec<f64>,
    /// Factors by half-hours of the clock.
    hours: Vec<f64>,
    counted: Counted,
}

/// Noise tables of a pen, made once for all its runs.
#[derive(Debug, Clone)]
pub struct Tables {
    handling: Noise,
    flow: Noise,
    milk: Noise,
    failed: Noise,
}

impl Tables {
    /// Those of a pen.
    pub fn of(pen: &Pen) -> Tables {
        Tables {
            handling: Noise::of(pen.service.handling_cv),
            flow: Noise::of(pen.service.flow_cv),
            milk: Noise::of(pen.service.milk_cv),
            failed: Noise::of(pen.service.failed_cv),
        }
    }
}

/// What is at hand during a run.
struct Run<'a> {
    pen: &'a Pen,
    tables: &'a Tables,
    room: &'a mut Room,
    /// Boxes that are open and empty, a bit each.
    free: u64,
    counts_from: f64,
    end: f64,
    /// Visits that come together.
    arrivals: Stream,
}

/// Simulates a pen; `None` where it was no longer wanted.
///
/// The pen must have passed [`super::check`]. The same seed and replicate give the same counts, whatever ran before.
pub fn run<'r>(
    pen: &Pen,
    tables: &Tables,
    days: Days,
    (seed, replicate): (u64, u32),
    room: &'r mut Room,
    cancelled: &AtomicBool,
) -> Option<&'r Counted> {
    pen.stock.fill(&mut room.cows, seed, replicate);
    let cows = room.cows.len();
    room.next.reset(cows + pen.boxes + 2);
    room.queue.clear();
    room.queue.reserve(cows);
    room.overdue.clear();
    room.overdue.reserve(cows);
    room.ring.clear();
    room.closing.clear();
    room.counted.clear();
    room.now.clear();
    room.since.clear();
    room.since.extend(pen.coming.since_per_h.iter().map(|per_h| 0.5 * per_h));
    room.hours.clear();
    room.hours.extend_from_slice(&pen.coming.hour);
    let mut run = Run {
        pen,
        tables,
        free: (1 << pen.boxes) - 1,
        counts_from: 1440.0 * days.warm_up,
        end: 1440.0 * (days.warm_up + days.counted),
        arrivals: Stream::named(seed, "visits together", replicate, 0),
        room,
    };
    run.begin(seed, replicate);
    let done = run.until(run.counts_from, cancelled);
    run.room.counted.clear();
    if !(done && run.until(run.end, cancelled)) {
        return None;
    }
    run.close(days.counted);
    Some(&room.counted)
}

impl Run<'_> {
    fn begin(&mut self, seed: u64, replicate: u32) {
        let cows = self.room.cows.len();
        for number in 0..cows as u32 {
            let mut coming = Stream::named(seed, "coming", replicate, number);
            let cow = self.room.cows[number as usize];
            // At the beginning she was milked at some time of the last eight hours.
            let last = -480.0 * coming.unit();
            self.room.now.push(Now {
                state: State::Away,
                brought: false,
                at_box: 0,
                third: ((3.0 * cow.rank) as u8).min(2),
                milkings: 0,
                last,
                due_from: last + 60.0 * cow.minimum_h,
                since: 0.0,
                coming,
                milking: Stream::named(seed, "milking", replicate, number),
                patience: Stream::named(seed, "patience", replicate, number),
            });
            self.away(number as usize, 0.0);
        }
        for number in 0..self.pen.boxes {
            let closing = Closing::of(&self.pen.closures, number, (seed, replicate));
            self.room.next.set(cows + number, closing.at());
            self.room.closing.push(closing);
        }
        if let Some(per_min) = self.pen.coming.together_per_min {
            let first = self.arrivals.wait() / per_min;
            self.room.next.set(cows + self.pen.boxes + 1, first);
        }
        self.next_round(0.0);
    }

    /// Runs on until a time; `false` where nobody wants it any more.
    fn until(&mut self, until: f64, cancelled: &AtomicBool) -> bool {
        let cows = self.room.cows.len();
        let mut events = 0_u32;
        loop {
            let (place, at) = self.room.next.first();
            if until <= at {
                return true;
            }
            events = events.wrapping_add(1);
            if events.is_multiple_of(LOOK_EVERY) && cancelled.load(Ordering::Relaxed) {
                return false;
            }
            if place < cows {
                match self.room.now[place].state {
                    State::Away | State::Brought => self.comes(place, at),
                    State::Waiting => self.gives_up(place, at),
                    State::Milked | State::Failed | State::NotDue => self.leaves(place, at),
                }
            } else if place < cows + self.pen.boxes {
                self.box_turns(place - cows, at);
            } else if place == cows + self.pen.boxes {
                self.round_of_people(at);
            } else {
                self.one_of_many(at);
            }
        }
    }

    /// She is away from now on: when does she come?
    fn away(&mut self, cow: usize, at: f64) {
        self.room.now[cow].state = State::Away;
        let time = if self.pen.coming.together_per_min.is_some() {
            self.room.ring.push_back(cow as u32);
            f64::INFINITY
        } else {
            self.coming_after(cow, at)
        };
        self.room.next.set(cow, time);
    }

    fn comes(&mut self, cow: usize, at: f64) {
        let now = &mut self.room.now[cow];
        now.brought = now.state == State::Brought;
        let due = now.brought || now.due_from <= at;
        if !due && self.pen.traffic == Traffic::Guided {
            self.room.counted.passed += 1;
            return self.away(cow, at);
        }
        now.since = at;
        if self.free != 0 {
            let free = self.free.trailing_zeros() as usize;
            return self.enters(cow, free, at);
        }
        now.state = State::Waiting;
        let patience_min = self.pen.queue.patience_min;
        let leaves = if now.brought || patience_min.is_infinite() {
            f64::INFINITY
        } else {
            at + patience_min * now.patience.wait()
        };
        self.room.next.set(cow, leaves);
        let key = at - self.pen.queue.rank_min * self.room.cows[cow].rank;
        self.room.queue.push((key, cow as u32));
    }

    fn gives_up(&mut self, cow: usize, at: f64) {
        if let Some(place) = self.room.queue.iter().position(|(_, waiting)| *waiting == cow as u32) {
            self.room.queue.swap_remove(place);
        }
        self.room.counted.gave_up += 1;
        self.room.counted.in_vain_min += at - self.room.now[cow].since;
        self.away(cow, at);
    }

    #[inline]
    fn enters(&mut self, cow: usize, at_box: usize, at: f64) {
        self.free &= !(1 << at_box);
        let (own, now) = (&self.room.cows[cow], &mut self.room.now[cow]);
        let counted = &mut self.room.counted;
        let waited = at - now.since;
        counted.waits_min[usize::from(now.third)].add(waited);
        counted.waited += u64::from(0.0 < waited);
        counted.visits += 1;
        counted.by_half[(at * (1.0 / HALF_MIN)) as u32 as usize % HALVES] += 1;
        counted.brought += u64::from(now.brought);
        now.at_box = at_box as u8;
        now.since = at;
        let service = &self.pen.service;
        let due = now.brought || now.due_from <= at;
        let mut again = false;
        let (state, minutes) = if !due {
            (State::NotDue, service.turned_away_min)
        } else {
            let word = now.milking.word();
            // Forty bits for four factors, twenty for whether it fails, or leaves milk behind.
            let (outcome, all) = ((word >> 44) as f64, f64::from(1 << 20));
            let fails = outcome < service.failed_share * all;
            again = (1.0 - service.again_share) * all <= outcome && service.law.is_none();
            if let Some(law) = service.law {
                (State::Milked, known::minutes_by(law, &mut now.milking))
            } else if fails {
                (State::Failed, service.failed_min * self.tables.failed.at(word))
            } else {
                let hours = (at - now.last) / 60.0;
                let gathered_kg = own.rate_kg_h * (1.0 - (-own.kappa_per_h * hours).exp()) / own.kappa_per_h;
                let milk_kg = gathered_kg * self.tables.milk.at(word >> 10);
                counted.milk_kg += milk_kg;
                let minutes = service.handling_min * self.tables.handling.at(word >> 20)
                    + milk_kg / own.flow_kg_min * self.tables.flow.at(word >> 30);
                (State::Milked, minutes)
            }
        };
        if state == State::Milked {
            counted.milkings += 1;
            counted.intervals_h.add((at - now.last) / 60.0);
            now.milkings += u32::from(self.counts_from <= at);
            now.last = at;
            now.due_from = if again { at } else { at + 60.0 * own.minimum_h };
        }
        counted.failed += u64::from(state == State::Failed);
        counted.turned_away += u64::from(state == State::NotDue);
        now.state = state;
        now.brought = false;
        self.room.next.set(cow, at + minutes);
    }

    fn leaves(&mut self, cow: usize, at: f64) {
        let now = self.room.now[cow];
        let at_box = usize::from(now.at_box);
        self.room.counted.busy_min += at - now.since.max(self.counts_from.min(at));
        self.away(cow, at);
        let closing = &mut self.room.closing[at_box];
        if closing.waits_for_her {
            closing.waits_for_her = false;
            return self.closes(at_box, at);
        }
        if 0.0 < self.pen.service.between_min && at < self.room.closing[at_box].at() {
            // Nobody can enter yet; the box's own time says when.
            self.room.closing[at_box].between = Some(at + self.pen.service.between_min);
            let turns = self.room.closing[at_box].at();
            let place = self.room.cows.len() + at_box;
            return self.room.next.set(place, turns);
        }
        self.opens(at_box, at);
    }

    /// The days are over: what boxes and cows are in the middle of counts up to here.
    fn close(&mut self, days: f64) {
        let counted = &mut self.room.counted;
        for now in &self.room.now {
            match now.state {
                State::Milked | State::Failed | State::NotDue => {
                    counted.busy_min += self.end - now.since.max(self.counts_from);
                }
                _ => {}
            }
            counted.under_two += u64::from(f64::from(now.milkings) < 2.0 * days);
        }
        for closing in &self.room.closing {
            for (kind, before) in closing.before.iter().enumerate() {
                counted.closed_min[kind] += before;
            }
        }
        counted.cows = self.room.cows.len() as f64;
        counted.boxes = self.pen.boxes as f64;
        counted.days = days;
    }
}
