//! One cow's rows as half-hours in which she could have come, each with what was known at its begin.

use jiff::Timestamp;

use crate::expect::secretion::g;
use crate::herd::{Life, Stage};
use crate::time::WallClock;

/// A half-hour, ms.
pub const HALF_MS: i64 = 1_800_000;
const HOUR_MS: f64 = 3_600_000.0;
/// After so long without a milking she is not watched any more: dry, gone, or a gap in the log.
const LONGEST_MS: i64 = 48 * 3_600_000;
/// Share of old milk kept at each milking: about the last four count.
const MILK_KEEPS: f64 = 0.75;
/// Share of old intervals kept at each milking: about the last ten count.
const USUAL_KEEPS: f64 = 0.9;
/// A cow nothing is known of has so many intervals …
const USUAL_PRIOR: f64 = 4.0;
/// … of so many hours (`sources.md` §1: 2.8 milkings a day).
const USUAL_H: f64 = 8.5;
/// Hours over which feed eaten is averaged.
const FEED_MEMORY_H: f64 = 120.0;
/// Hours of feed that must be known before a rate is.
const FEED_FEWEST_H: f64 = 24.0;
/// Feed earned and not had is capped at so many hours' worth: stated default, a day.
const FEED_CAP_H: f64 = 24.0;

/// What came of a visit, as far as coming is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// Milked, or not milked out: her interval begins anew.
    Milked,
    /// The milking failed.
    Failed,
    /// Turned away, or feed only.
    Other,
}

/// One visit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Entry.
    pub from: Timestamp,
    /// Exit.
    pub to: Timestamp,
    /// What came of it.
    pub what: What,
    /// Milk of the udder, kg.
    pub milk_kg: Option<f64>,
    /// Concentrate offered, kg; `None`: not measured, which is not nothing.
    pub offered_kg: Option<f64>,
    /// Concentrate eaten, kg.
    pub eaten_kg: Option<f64>,
}

/// How far the boxes of each pen ran, half-hour by half-hour; where nothing is told they ran.
#[derive(Debug, Clone, Default)]
pub struct Open {
    /// By pen and half-hour since 1970: share of its box time that ran, 0 to 1; others ran.
    pub less: std::collections::BTreeMap<(usize, i64), f64>,
}

impl Open {
    /// Share of a half-hour in which boxes of a pen ran.
    pub fn share(&self, pen: usize, half: i64) -> f64 {
        self.less.get(&(pen, half)).copied().unwrap_or(1.0)
    }
}

/// One cow with her visits in order of time, all of them ended by the time looked at.
#[derive(Debug, Clone)]
pub struct Course<'a> {
    /// Who.
    pub life: &'a Life,
    /// Her pen's place among the pens.
    pub pen: usize,
    /// Her visits.
    pub visits: Vec<Seen>,
    /// When somebody marked her as brought, in order of time.
    pub brought: Vec<Timestamp>,
}

/// What was known of her in one half-hour, or a part of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Half {
    /// Hours since her last milking (her calving, before the first), at its middle.
    pub since_h: f64,
    /// The same over the hours she usually lets pass.
    pub of_usual: f64,
    /// Hours since a visit after it that was no milking.
    pub other_h: Option<f64>,
    /// Such a visit was a failed milking.
    pub failed: bool,
    /// Milk expected in her udder, kg; `None` before a milking of hers was weighed.
    pub milk_kg: Option<f64>,
    /// Feed earned and not had, kg; `None` where feed is not logged.
    pub feed_kg: Option<f64>,
    /// The farm's wall clock, 0 to 24.
    pub hour: f64,
    /// Days in milk.
    pub days: Option<f64>,
    /// First lactation.
    pub first: Option<bool>,
    /// Hours of it in which a box of hers ran.
    pub open_h: f64,
    /// She was milked at its end.
    pub came: bool,
}

/// What is known of her at a time: enough to go on from.
#[derive(Debug, Clone)]
pub struct State {
    /// End of her last milking, or her calving.
    pub since: Option<Timestamp>,
    /// End of the last visit since that was no milking.
    pub other: Option<Timestamp>,
    failed: bool,
    /// A visit of any kind.
    pub seen: Option<Timestamp>,
    milk: (f64, f64),
    /// Sum of log intervals, and their number.
    usual: (f64, f64),
    feed: (f64, f64),
    fed: Option<(Timestamp, f64)>,
}

impl State {
    /// Nothing is known.
    pub fn new() -> State {
        State {
            since: None,
            other: None,
            failed: false,
            seen: None,
            milk: (0.0, 0.0),
            usual: (0.0, 0.0),
            feed: (0.0, 0.0),
            fed: None,
        }
    }

    /// Rate of an empty udder by her last milkings, kg/h.
    pub fn rate_kg_h(&self) -> Option<f64> {
        (0.0 < self.milk.1).then(|| self.milk.0 / self.milk.1)
    }

    /// Hours she usually lets pass between two milkings.
    pub fn usual_h(&self) -> f64 {
        ((USUAL_PRIOR * USUAL_H.ln() + self.usual.0) / (USUAL_PRIOR + self.usual.1)).exp()
    }

    fn take(&mut self, visit: &Seen, kappa_per_h: f64) {
        let hours = |from: Timestamp| hours(from, visit.to).max(0.05);
        if let Some(eaten_kg) = visit.eaten_kg {
            if let Some((fed, _)) = self.fed {
                let (passed, keeps) = (hours(fed), (-hours(fed) / FEED_MEMORY_H).exp());
                self.feed = (self.feed.0 * keeps + eaten_kg, self.feed.1 * keeps + passed);
            }
            let left_kg = visit.offered_kg.map_or(0.0, |offered| (offered - eaten_kg).max(0.0));
            self.fed = Some((visit.to, left_kg));
        }
        self.seen = Some(visit.to);
        if visit.what == What::Milked {
            if let Some(log) = self.since.map(|since| hours(since).clamp(2.0, 36.0).ln()) {
                self.usual = (USUAL_KEEPS * self.usual.0 + log, USUAL_KEEPS * self.usual.1 + 1.0);
            }
            if let (Some(since), Some(milk_kg)) = (self.since, visit.milk_kg) {
                let worth = g(hours(since), kappa_per_h);
                self.milk = (MILK_KEEPS * self.milk.0 + milk_kg, MILK_KEEPS * self.milk.1 + worth);
            }
            (self.since, self.other, self.failed) = (Some(visit.to), None, false);
        } else {
            self.other = Some(visit.to);
            self.failed |= visit.what == What::Failed;
        }
    }

    /// A part of a half-hour, by its ends; `None` before anything began.
    pub fn half(
        &self,
        (from_ms, to_ms): (i64, i64),
        stage: &Stage,
        clock: &mut WallClock,
        kappa_per_h: f64,
    ) -> Option<Half> {
        let middle = Timestamp::from_millisecond(from_ms + (to_ms - from_ms) / 2).ok()?;
        let since_h = hours(self.since?, middle).max(0.0);
        let feed_kg = self.fed.filter(|_| FEED_FEWEST_H <= self.feed.1).map(|(fed, left_kg)| {
            let rate_kg_h = self.feed.0 / self.feed.1;
            (left_kg + rate_kg_h * hours(fed, middle).max(0.0)).min(rate_kg_h * FEED_CAP_H)
        });
        Some(Half {
            since_h,
            of_usual: since_h / self.usual_h(),
            other_h: self.other.map(|other| hours(other, middle).max(0.0)),
            failed: self.failed,
            milk_kg: self.rate_kg_h().map(|rate| rate * g(since_h, kappa_per_h)),
            feed_kg,
            hour: clock.hour_of_day(middle),
            days: stage.calved_at.map(|calved| hours(calved, middle).max(0.0) / 24.0),
            first: stage.parity.map(|parity| parity <= 1),
            open_h: (to_ms - from_ms) as f64 / HOUR_MS,
            came: false,
        })
    }
}

impl Default for State {
    fn default() -> State {
        State::new()
    }
}

/// Hands on every half-hour from `from` to `at` in which she was in milk and watched; gives what is known of her at `at`.
pub fn walk(
    course: &Course<'_>,
    open: &Open,
    clock: &mut WallClock,
    kappa_per_h: f64,
    (from, at): (Timestamp, Timestamp),
    each: &mut dyn FnMut(&Half),
) -> State {
    let mut state = State::new();
    for visit in course.visits.iter().filter(|visit| visit.to <= at) {
        begin(&mut state, course.life, visit.from);
        stretch(
            course,
            &state,
            open,
            clock,
            kappa_per_h,
            (from, visit.from),
            visit.what == What::Milked,
            each,
        );
        state.take(visit, kappa_per_h);
    }
    begin(&mut state, course.life, at);
    stretch(course, &state, open, clock, kappa_per_h, (from, at), false, each);
    state
}

/// A calving since her last milking begins her interval.
fn begin(state: &mut State, life: &Life, by: Timestamp) {
    let calved = life.calvings_by(by).last().map(|calving| calving.at);
    if let Some(calved) = calved.filter(|calved| state.since.is_none_or(|since| since < *calved)) {
        (state.since, state.other, state.failed) = (Some(calved), None, false);
    }
}

/// The half-hours from her last row to the next one.
#[expect(clippy::too_many_arguments, reason = "one place, called twice by its neighbour")]
fn stretch(
    course: &Course<'_>,
    state: &State,
    open: &Open,
    clock: &mut WallClock,
    kappa_per_h: f64,
    (from, to): (Timestamp, Timestamp),
    milked: bool,
    each: &mut dyn FnMut(&Half),
) {
    let Some(since) = state.since else { return };
    let begins = since.max(state.other.unwrap_or(since)).max(from).as_millisecond();
    let watched = since.as_millisecond() + LONGEST_MS;
    // Marked as brought: what she would have done is not known from there on.
    let fetched = course.brought.iter().find(|mark| since <= **mark && **mark <= to);
    let ends = to.as_millisecond().min(watched).min(fetched.map_or(i64::MAX, |mark| mark.as_millisecond()));
    let stage = course.life.stage(to);
    if stage.dry || ends <= begins {
        return;
    }
    let mut part = begins;
    while part < ends {
        let half = part.div_euclid(HALF_MS);
        let end = ((half + 1) * HALF_MS).min(ends);
        if let Some(mut one) = state.half((part, end), &stage, clock, kappa_per_h) {
            one.open_h *= open.share(course.pen, half);
            one.came = milked && end == to.as_millisecond();
            if one.came {
                // A milking shows that a box ran.
                one.open_h = one.open_h.max(1e-3);
            }
            each(&one);
        }
        part = end;
    }
}

fn hours(from: Timestamp, to: Timestamp) -> f64 {
    (to.as_millisecond() - from.as_millisecond()) as f64 / HOUR_MS
}
