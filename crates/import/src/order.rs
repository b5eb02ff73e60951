//! Which of its two hours is meant, when the clock was set back? The order of the rows may tell.
//!
//! # Rule
//! Rows whose time came twice are held until a row of a certain time, or the end of the file, follows. Their order is
//! trusted only if every row before them and the one after them are in order of time (rising, or falling as in logs that
//! put the newest first), and if among them the wall clock steps against that order exactly once. Then the step is the
//! moment the clock was set back: any other reading would break the order. Else each row is refused.
//!
//! # Bounds
//! So many rows and bytes are held and no more: beyond them the rows are refused like any that cannot be decided.

use crate::time::Twice;

const MOST_HELD_ROWS: usize = 1 << 16;
const MOST_HELD_BYTES: usize = 16 << 20;

/// Rows of one fold lie within a day of each other.
const ONE_FOLD_MS: u64 = 86_400_000;

/// A row that waits.
#[derive(Debug)]
pub(crate) struct Held {
    pub line: u64,
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

/// Whether rows are in order of time so far, and the rows that wait for it.
#[derive(Debug)]
pub(crate) struct Order {
    last_ms: Option<i64>,
    rising: bool,
    falling: bool,
    held: Vec<Held>,
    held_bytes: usize,
    overfull: bool,
}

impl Order {
    pub fn new() -> Order {
        Order { last_ms: None, rising: true, falling: true, held: Vec::new(), held_bytes: 0, overfull: false }
    }

    /// Whether rows wait.
    #[inline]
    pub fn waits(&self) -> bool {
        !self.held.is_empty() || self.overfull
    }

    /// A row of a certain time went by.
    #[inline]
    pub fn passed(&mut self, ms: i64) {
        if let Some(last) = self.last_ms {
            self.rising &= last <= ms;
            self.falling &= ms <= last;
        }
        self.last_ms = Some(ms);
    }

    /// Whether a row of this time belongs to the rows that wait; else they are to be settled first.
    pub fn same_fold(&self, twice: Twice) -> bool {
        self.held.first().is_none_or(|held| held.twice.first.abs_diff(twice.first) < ONE_FOLD_MS)
    }

    /// Lets a row wait. Gives back `false` when there is no more room: then the rows are to be settled, undecided.
    pub fn hold(&mut self, line: u64, text: &[u8], twice: Twice) -> bool {
        self.held_bytes += text.len();
        self.overfull |= MOST_HELD_BYTES < self.held_bytes || MOST_HELD_ROWS <= self.held.len();
        self.held.push(Held { line, text: text.to_vec(), twice });
        !self.overfull
    }

    /// The rows that waited, each with its choice: all decided, or all not. `next_ms`: the certain time that follows;
    /// none at the end of the file.
    pub fn settle(&mut self, next_ms: Option<i64>) -> Vec<(Held, Choice)> {
        let held = std::mem::take(&mut self.held);
        self.held_bytes = 0;
        let decided = if self.overfull { None } else { self.decide(&held, next_ms) };
        if let (Some((step, before, after)), Some(first), Some(last)) = (decided, held.first(), held.last()) {
            self.passed(instant(first, if step == 0 { after } else { before }));
            self.passed(instant(last, after));
        }
        held.into_iter()
            .enumerate()
            .map(|(at, held)| {
                let choice = match decided {
                    Some((step, before, after)) => {
                        if at < step {
                            before
                        } else {
                            after
                        }
                    }
                    None => Choice::Undecided,
                };
                (held, choice)
            })
            .collect()
    }

    /// The fold is over: a row of a certain time came.
    pub fn fold_is_over(&mut self) {
        self.overfull = false;
    }

    /// Place of the first row after the step, and the choices before and after it.
    fn decide(&self, held: &[Held], next_ms: Option<i64>) -> Option<(usize, Choice, Choice)> {
        let (first, last) = (held.first()?, held.last()?);
        let known = self.last_ms.is_some() || next_ms.is_some();
        let steps = |back: bool| {
            let mut steps = held.windows(2).enumerate().filter(|(_, pair)| {
                let (one, other) = (pair[0].twice.first, pair[1].twice.first);
                if back { other < one } else { one < other }
            });
            let step = steps.next()?.0 + 1;
            steps.next().is_none().then_some(step)
        };
        let rises = self.rising
            && self.last_ms.is_none_or(|before| before <= first.twice.first)
            && next_ms.is_none_or(|next| last.twice.second <= next);
        if rises && let Some(step) = steps(true) {
            return Some((step, Choice::First, Choice::Second));
        }
        let falls = self.falling
            && known
            && self.last_ms.is_none_or(|before| first.twice.second <= before)
            && next_ms.is_none_or(|next| next <= last.twice.first);
        if falls && let Some(step) = steps(false) {
            return Some((step, Choice::Second, Choice::First));
        }
        None
    }
}

fn instant(held: &Held, choice: Choice) -> i64 {
    if choice == Choice::Second { held.twice.second } else { held.twice.first }
}
