//! Which of its two hours is meant, when the clock was set back? The order of rows may tell.
//!
//! # Rule
//! Rows whose time came twice are held until a row of a certain time, or the end of the file, follows. Their order is
//! trusted only if every row before them and the one after them are in order of time (rising, or falling as in logs that
//! put the newest first), and if among them the wall clock steps against that order exactly once. Then the step is the
//! moment the clock was set back: any other reading would break the order. Else they stay undecided.
//!
//! # Bounds
//! So many rows and bytes are held and no more: beyond them the rows are undecided.
//!
//! [`crate::waiting`] asks this of the whole file first and then of each box or sensor.

use crate::time::Twice;

const MOST_HELD_ROWS: usize = 1 << 16;
const MOST_HELD_BYTES: usize = 16 << 20;

/// Rows of one fold lie within a day of each other.
const ONE_FOLD_MS: u64 = 86_400_000;

/// A row that waits.
#[derive(Debug, Clone)]
pub(crate) struct Held {
    pub line: u64,
    /// Whose it is, where the table tells: its box, or the cow whose sensor wrote it.
    pub whose: Option<String>,
    /// Its text, to be read again once decided.
    pub text: Vec<u8>,
    pub twice: Twice,
}

/// Which of the two instants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Choice {
    /// Not known yet.
    Open,
    /// Before the clock was set back.
    First,
    /// After it.
    Second,
    /// Cannot be known.
    Undecided,
}

/// How rows that waited were decided: those before place `step` one way, the others the other way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Decided {
    pub step: usize,
    pub before: Choice,
    pub after: Choice,
}

impl Decided {
    /// Of the row at a place.
    pub fn choice(self, at: usize) -> Choice {
        if at < self.step { self.before } else { self.after }
    }
}

/// Whether the rows of one sequence are in order of time so far, and those of them that wait.
#[derive(Debug, Clone)]
pub(crate) struct Order {
    last_ms: Option<i64>,
    rising: bool,
    falling: bool,
    /// No two rows of the sequence can have one time, so that equal wall times are a step.
    distinct: bool,
    held: Vec<Held>,
    held_bytes: usize,
    overfull: bool,
}

impl Order {
    pub fn new() -> Order {
        Order {
            last_ms: None,
            rising: true,
            falling: true,
            distinct: false,
            held: Vec::new(),
            held_bytes: 0,
            overfull: false,
        }
    }

    /// The beginning of a part of a sequence that was in order in these directions so far.
    pub fn part((rising, falling): (bool, bool), distinct: bool) -> Order {
        Order { rising, falling, distinct, ..Order::new() }
    }

    /// Whether every row so far was rising, and whether falling.
    #[inline]
    pub fn directions(&self) -> (bool, bool) {
        (self.rising, self.falling)
    }

    /// Whether every row so far was in order.
    #[inline]
    pub fn is_kept(&self) -> bool {
        self.rising || self.falling
    }

    /// Whether rows wait.
    #[inline]
    pub fn waits(&self) -> bool {
        !self.held.is_empty()
    }

    /// A row of a certain time went by; those that waited were settled before.
    #[inline]
    pub fn passed(&mut self, ms: i64) {
        if let Some(last) = self.last_ms {
            self.rising &= last <= ms;
            self.falling &= ms <= last;
        }
        self.last_ms = Some(ms);
        self.overfull = false;
    }

    /// Whether a row of this time belongs to the rows that wait; else they are to be settled first.
    pub fn same_fold(&self, twice: Twice) -> bool {
        self.held.first().is_none_or(|held| held.twice.first.abs_diff(twice.first) < ONE_FOLD_MS)
    }

    /// Lets a row wait. Gives back `false` when there is no more room: then they are to be settled, undecided.
    pub fn hold(&mut self, held: Held) -> bool {
        self.held_bytes += held.text.len();
        self.overfull |= MOST_HELD_BYTES < self.held_bytes || MOST_HELD_ROWS <= self.held.len();
        self.held.push(held);
        !self.overfull
    }

    /// The rows that waited, and how they are decided. `next_ms`: the certain time that follows; none at the end.
    pub fn settle(&mut self, next_ms: Option<i64>) -> (Vec<Held>, Option<Decided>) {
        let held = std::mem::take(&mut self.held);
        self.held_bytes = 0;
        let decided = if self.overfull { None } else { self.decide(&held, next_ms) };
        if let (Some(decided), Some(first), Some(last)) = (decided, held.first(), held.last()) {
            self.passed(instant(first, decided.choice(0)));
            self.passed(instant(last, decided.after));
        }
        (held, decided)
    }

    fn decide(&self, held: &[Held], next_ms: Option<i64>) -> Option<Decided> {
        let (first, last) = (held.first()?, held.last()?);
        let rises = self.rising
            && self.last_ms.is_none_or(|before| before <= first.twice.first)
            && next_ms.is_none_or(|next| last.twice.second <= next);
        if rises && let Some(step) = self.step(held, |one, other| other < one) {
            return Some(Decided { step, before: Choice::First, after: Choice::Second });
        }
        // Rows alone in a file say nothing for the newest first.
        let falls = self.falling
            && (self.last_ms.is_some() || next_ms.is_some())
            && self.last_ms.is_none_or(|before| first.twice.second <= before)
            && next_ms.is_none_or(|next| next <= last.twice.first);
        if falls && let Some(step) = self.step(held, |one, other| one < other) {
            return Some(Decided { step, before: Choice::Second, after: Choice::First });
        }
        None
    }

    /// The place after the one step of the wall clock, if there is just one.
    fn step(&self, held: &[Held], steps: impl Fn(i64, i64) -> bool) -> Option<usize> {
        let mut found = None;
        for (at, pair) in held.windows(2).enumerate() {
            let (one, other) = (&pair[0], &pair[1]);
            let same = self.distinct && one.twice == other.twice;
            if same && one.text == other.text {
                // The row is there twice, not the hour.
                return None;
            }
            if (same || steps(one.twice.first, other.twice.first)) && found.replace(at + 1).is_some() {
                return None;
            }
        }
        found
    }
}

fn instant(held: &Held, choice: Choice) -> i64 {
    if choice == Choice::Second { held.twice.second } else { held.twice.first }
}
