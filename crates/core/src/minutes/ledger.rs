//! Where did each minute of a box's day go?
//!
//! # Rule
//! A day of a box is a line of milliseconds from one midnight of the farm's clock to the next. Each of them is given to
//! one use, so that the uses add up to the day without remainder, whatever the logs say:
//! 1. visits first, of two that share time the one that began earlier (as the store's rule is); a cow in the box is there,
//!    whatever a state says;
//! 2. then cleaning, service, fault and off, again the earlier first;
//! 3. what is left is idle.
//!
//! What is counted once although two rows claim it is told in [`Ledger::shared`], and long stretches without any row in
//! [`Ledger::gaps`]: nothing is smoothed away.
//!
//! A milking is split by its quarters' seconds of flow: from the first cup on (`attached_at`) until the second-longest quarter
//! is done it is milk flow, from then until the longest is done the last quarter's, before it preparing and after it
//! leaving. Where the first cup is not logged, the flow is laid at the end of the stay and all before it is handling that
//! cannot be split: sums of a day do not hang on that, only an hour's or midnight's share of one milking. A milking
//! without seconds of flow cannot be split either: all of it from the first cup on (from her entry, where that is not
//! logged) counts as milk flow and is told in [`Ledger::unsplit_ms`].
//! # Source
//! The words are those of the contract of `cowpath boxes`; the rule is this project's own.
//! # Proof
//! Laws in `tests/laws.rs`: arbitrary rows add up to the day, by hour and by cow too.

use std::collections::BTreeMap;

pub use super::uses::{Spent, Use, whole_seconds};
use crate::tables::{Outcome, Visit};

/// One visit as the ledger reads it; times in ms since the epoch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// Whose: any number that tells cows apart.
    pub cow: u32,
    /// Entry.
    pub from: i64,
    /// Exit.
    pub to: i64,
    /// First cup on.
    pub attached: Option<i64>,
    /// What came of it.
    pub outcome: Option<Outcome>,
    /// Whether any milk is logged.
    pub gave: bool,
    /// Seconds of flow of each quarter.
    pub flow_s: [Option<f64>; 4],
}

impl Stay {
    /// From a row; `cow` tells cows apart.
    pub fn of(cow: u32, visit: &Visit) -> Stay {
        let quarters = visit.quarters.iter().filter_map(|quarter| quarter.milk_kg);
        Stay {
            cow,
            from: visit.started_at.as_millisecond(),
            to: visit.ended_at.as_millisecond(),
            attached: visit.attached_at.map(jiff::Timestamp::as_millisecond),
            outcome: visit.outcome,
            gave: visit.milk_kg.into_iter().chain(quarters).any(|milk_kg| 0.0 < milk_kg),
            flow_s: visit.quarters.map(|quarter| quarter.flow_s),
        }
    }

    /// Milked out, as far as the row says: the outcome where it has one, else that milk is logged.
    pub fn milked(&self) -> bool {
        match self.outcome {
            Some(outcome) => outcome == Outcome::Milked,
            None => self.gave,
        }
    }

    /// Seconds of the longest and the second-longest quarter; `None` where no quarter's are logged.
    pub fn longest_s(&self) -> Option<(f64, f64)> {
        let mut all: Vec<f64> =
            self.flow_s.iter().flatten().copied().filter(|s| s.is_finite() && 0.0 <= *s).collect();
        all.sort_by(|one, other| other.total_cmp(one));
        let longest = *all.first()?;
        // A quarter of which nothing is logged may be dry: a lone quarter waits for no other.
        Some((longest, all.get(1).copied().unwrap_or(longest)))
    }

    /// The use of each piece of the stay: where it ends, and what it is; and whether it could not be split.
    fn pieces(&self) -> ([(i64, Use); 4], bool) {
        let whole = |of: Use| ([(self.to, of); 4], false);
        match self.outcome {
            Some(Outcome::Incomplete) => return whole(Use::Incomplete),
            Some(Outcome::TurnedAway) => return whole(Use::TurnedAway),
            Some(Outcome::Fed) => return whole(Use::FedOnly),
            Some(Outcome::Failed) => return whole(Use::Failed),
            // What she did is not said, and no milk is: she stood there.
            None if !self.gave => return ([(self.to, Use::Handling); 4], true),
            Some(Outcome::Milked) | None => {}
        }
        let attached = self.attached.filter(|at| (self.from..=self.to).contains(at));
        let Some((longest_s, second_s)) = self.longest_s() else {
            let begins = attached.unwrap_or(self.from);
            return (
                [
                    (begins, Use::Preparing),
                    (self.to, Use::MilkFlow),
                    (self.to, Use::MilkFlow),
                    (self.to, Use::MilkFlow),
                ],
                true,
            );
        };
        let room = self.to - attached.unwrap_or(self.from);
        let ms = |s: f64| ((s * 1000.0).round() as i64).clamp(0, room);
        let (longest, second) = (ms(longest_s), ms(second_s));
        let (begins, before) = match attached {
            Some(at) => (at, Use::Preparing),
            None => (self.to - longest, Use::Handling),
        };
        let after = if attached.is_some() { Use::Leaving } else { Use::Handling };
        let pieces = [
            (begins, before),
            (begins + second, Use::MilkFlow),
            (begins + longest, Use::LastQuarter),
            (self.to, after),
        ];
        (pieces, false)
    }
}

/// A row of `box-states` as the ledger reads it; times in ms since the epoch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct State {
    /// What: cleaning, service, fault or off.
    pub what: Use,
    /// From.
    pub from: i64,
    /// To.
    pub to: i64,
}

/// A row, by its place in what was handed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Row {
    /// Place among the stays.
    Stay(usize),
    /// Place among the states.
    State(usize),
}

/// Two rows that claim the same time; the first has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shared {
    /// From, ms.
    pub from: i64,
    /// To, ms.
    pub to: i64,
    /// Which row the time was given to.
    pub given: Row,
    /// Which row claims it too.
    pub claimed: Row,
}

/// A day of a box.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ledger {
    /// By piece of the day, in the order of the cuts.
    pub pieces: Vec<Spent>,
    /// By cow; time that is no cow's stands in none.
    pub cows: BTreeMap<u32, Spent>,
    /// Milk flow and handling of stays that the logs do not let one split, ms: part of the sums.
    pub unsplit_ms: i64,
    /// Rows that claim the same time, in order of begin.
    pub shared: Vec<Shared>,
    /// Stretches without any row that are longer than was asked for: from, to.
    pub gaps: Vec<(i64, i64)>,
    /// Rows that end before they begin; they claim nothing.
    pub backwards: Vec<Row>,
}

impl Ledger {
    /// Of the whole day.
    pub fn day(&self) -> Spent {
        let mut day = Spent::default();
        self.pieces.iter().for_each(|piece| day.add(piece));
        day
    }
}

/// Splits a day of a box.
///
/// `cuts` are the instants that part it, ms, rising: the day's begin, any hours within, its end. `silent_ms` is how long
/// a stretch without a row must be to be named. Rows may overlap, lie outside, end before they begin or be out of order.
pub fn ledger(cuts: &[i64], stays: &[Stay], states: &[State], silent_ms: i64) -> Ledger {
    let mut out =
        Ledger { pieces: vec![Spent::default(); cuts.len().saturating_sub(1)], ..Ledger::default() };
    let (Some(&day_from), Some(&day_to)) = (cuts.first(), cuts.last()) else { return out };
    let spans = stays.iter().map(|stay| (stay.from, stay.to)).zip((0..).map(Row::Stay));
    let of_states = states.iter().map(|state| (state.from, state.to)).zip((0..).map(Row::State));
    let (mut visits, mut other): (Vec<_>, Vec<_>) = (spans.collect(), of_states.collect());
    for rows in [&mut visits, &mut other] {
        out.backwards.extend(rows.iter().filter(|((from, to), _)| to < from).map(|(_, row)| *row));
        rows.retain(|((from, to), _)| from < to && *from < day_to && day_from < *to);
        rows.sort_unstable();
    }
    // What is claimed so far: spans that do not touch, in order.
    let mut claimed: Vec<((i64, i64), Row)> = Vec::with_capacity(visits.len() + other.len());
    for rows in [visits, other] {
        let mut fresh = Vec::with_capacity(rows.len());
        for (span, row) in rows {
            let own = (span.0.max(day_from), span.1.min(day_to));
            claim(&claimed, &mut fresh, own, row, &mut out.shared);
        }
        claimed.append(&mut fresh);
        claimed.sort_unstable();
    }
    out.shared.sort_by_key(|shared| (shared.from, shared.to, shared.claimed));
    let mut spend = Spend { cuts, out: &mut out };
    let mut at = day_from;
    for &((from, to), row) in &claimed {
        spend.idle(at, from, silent_ms);
        match row {
            Row::Stay(place) => spend.stay(&stays[place], from, to),
            Row::State(place) => spend.put(states[place].what, from, to, None),
        }
        at = to;
    }
    spend.idle(at, day_to, silent_ms);
    out
}

/// Gives a row what of its span nobody has, and notes who has the rest.
fn claim(
    before: &[((i64, i64), Row)],
    fresh: &mut Vec<((i64, i64), Row)>,
    (from, to): (i64, i64),
    row: Row,
    shared: &mut Vec<Shared>,
) {
    // Spans of one list do not touch, so that their ends rise as their begins do.
    let within = |list: &[((i64, i64), Row)]| {
        let first = list.partition_point(|((_, end), _)| *end <= from);
        let last = list.partition_point(|((begin, _), _)| *begin < to);
        list[first..last.max(first)].to_vec()
    };
    let mut holders = within(before);
    holders.extend(within(fresh));
    holders.sort_unstable();
    let mut at = from;
    for ((begin, end), given) in holders {
        if at < begin {
            fresh.push(((at, begin), row));
        }
        shared.push(Shared { from: begin.max(from), to: end.min(to), given, claimed: row });
        at = at.max(end);
    }
    if at < to {
        fresh.push(((at, to), row));
    }
}

/// Writes spans into the pieces of a day.
struct Spend<'a> {
    cuts: &'a [i64],
    out: &'a mut Ledger,
}

impl Spend<'_> {
    fn idle(&mut self, from: i64, to: i64, silent_ms: i64) {
        self.put(Use::Idle, from, to, None);
        if from < to && silent_ms <= to - from {
            self.out.gaps.push((from, to));
        }
    }

    /// What of a stay lies in a span.
    fn stay(&mut self, stay: &Stay, from: i64, to: i64) {
        let (pieces, unsplit) = stay.pieces();
        let mut at = stay.from;
        for (end, of) in pieces {
            let (own_from, own_to) = (at.max(from), end.min(to));
            self.put(of, own_from, own_to, Some(stay.cow));
            if unsplit && own_from < own_to && of != Use::Preparing {
                self.out.unsplit_ms += own_to - own_from;
            }
            at = at.max(end);
        }
    }

    fn put(&mut self, of: Use, from: i64, to: i64, cow: Option<u32>) {
        if to <= from {
            return;
        }
        if let Some(cow) = cow {
            self.out.cows.entry(cow).or_default().0[of as usize] += to - from;
        }
        // The piece that holds `from`: cuts rise, and the first is the day's begin.
        let mut piece = self.cuts.partition_point(|cut| *cut <= from).saturating_sub(1);
        let mut at = from;
        while at < to && piece < self.out.pieces.len() {
            let end = self.cuts[piece + 1].min(to);
            self.out.pieces[piece].0[of as usize] += (end - at).max(0);
            at = at.max(end);
            piece += 1;
        }
    }
}
