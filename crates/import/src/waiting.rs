//! Rows that wait for others to tell which hour is meant: first all rows of the file, then those of one box or sensor.
//!
//! A file that mixes several boxes is often written as cows leave, and then entries are not in order over the whole file,
//! but each box's own are: a box holds one cow at a time. A sensor's bins likewise follow each other, cow by cow.
//! What the whole file's order decides needs no more; the rest is asked of the box's or sensor's own rows.

use std::collections::BTreeMap;

use cowpath_core::tables::{Cell, Table};

use crate::order::{Decided, Held, Order};
use crate::time::Twice;

/// Rows held for boxes and sensors together.
const MOST_APART: usize = 1 << 16;

/// Rows settled together.
#[derive(Debug)]
pub(crate) struct Settled {
    pub held: Vec<Held>,
    /// None: they cannot be decided.
    pub decided: Option<Decided>,
    /// Whose own order decided; none if the whole file's.
    pub whose: Option<String>,
}

/// Every row that waits.
#[derive(Debug)]
pub(crate) struct Waiting {
    whole: Order,
    /// The column that says whose a row is.
    by: Option<usize>,
    /// Bins of one sensor cannot begin at one time; visits to one box can, in a log that keeps whole minutes.
    distinct: bool,
    /// By box or cow, from the moment the whole file did not decide.
    apart: Option<Apart>,
}

#[derive(Debug)]
struct Apart {
    /// How each part begins.
    seed: Order,
    parts: BTreeMap<String, Order>,
    held: usize,
}

impl Apart {
    fn new(seed: Order) -> Apart {
        Apart { seed, parts: BTreeMap::new(), held: 0 }
    }

    fn part(&mut self, whose: &str) -> Option<&mut Order> {
        if !self.parts.contains_key(whose) {
            self.parts.insert(whose.to_owned(), self.seed.clone());
        }
        self.parts.get_mut(whose)
    }
}

impl Waiting {
    pub fn new(table: &Table) -> Waiting {
        let is_bins = table.index("minutes").is_some();
        let by = table.index("box").or_else(|| table.index("animal").filter(|_| is_bins));
        Waiting { whole: Order::new(), by, distinct: is_bins, apart: None }
    }

    /// A row of a certain time came: the rows that it settles, which go before it.
    #[inline]
    pub fn certain(&mut self, ms: i64, row: &[Cell]) -> Vec<Settled> {
        if self.apart.is_none() && !self.whole.waits() {
            self.whole.passed(ms);
            if self.by.is_some() && !self.whole.is_kept() {
                // The whole never had a direction, or lost it: each part shows its own from here on.
                self.apart = Some(Apart::new(Order::part((true, true), self.distinct)));
                self.pass_apart(ms, row, &mut Vec::new());
            }
            return Vec::new();
        }
        let mut settled = Vec::new();
        self.settle_whole(Some(ms), &mut settled);
        self.whole.passed(ms);
        self.pass_apart(ms, row, &mut settled);
        settled
    }

    /// A row whose time came twice: it waits. The rows that it settles.
    pub fn twice(&mut self, line: u64, text: &[u8], twice: Twice, row: &[Cell]) -> Vec<Settled> {
        let whose = self.by.and_then(|by| row[by].text()).map(str::to_owned);
        let held = Held { line, whose, text: text.to_vec(), twice };
        let mut settled = Vec::new();
        if self.apart.is_some() && !self.whole.is_kept() {
            self.hold_apart(held, &mut settled);
            return settled;
        }
        if !self.whole.same_fold(twice) {
            self.settle_whole(Some(twice.first), &mut settled);
        }
        if !self.whole.hold(held) {
            let (held, decided) = self.whole.settle(None);
            settled.push(Settled { held, decided, whose: None });
        }
        settled
    }

    /// The file is over: the rest.
    pub fn end(&mut self) -> Vec<Settled> {
        let mut settled = Vec::new();
        self.settle_whole(None, &mut settled);
        self.settle_parts(&mut settled);
        settled
    }

    fn settle_whole(&mut self, next_ms: Option<i64>, settled: &mut Vec<Settled>) {
        if !self.whole.waits() {
            return;
        }
        let (held, decided) = self.whole.settle(next_ms);
        if decided.is_some() || self.by.is_none() {
            settled.push(Settled { held, decided, whose: None });
            return;
        }
        if self.apart.is_none() {
            self.apart = Some(Apart::new(Order::part(self.whole.directions(), self.distinct)));
        }
        for held in held {
            self.hold_apart(held, settled);
        }
    }

    fn hold_apart(&mut self, held: Held, settled: &mut Vec<Settled>) {
        let undecided = |held| Settled { held: vec![held], decided: None, whose: None };
        let (Some(apart), Some(whose)) = (&mut self.apart, held.whose.clone()) else {
            settled.push(undecided(held));
            return;
        };
        let Some(part) = apart.part(&whose) else { return settled.push(undecided(held)) };
        let before =
            if part.same_fold(held.twice) { None } else { Some(part.settle(Some(held.twice.first))) };
        let has_room = part.hold(held);
        apart.held += 1;
        if let Some((held, decided)) = before {
            apart.held -= held.len();
            settled.push(Settled { held, decided, whose: Some(whose) });
        }
        if !has_room || MOST_APART < apart.held {
            self.settle_parts(settled);
        }
    }

    fn pass_apart(&mut self, ms: i64, row: &[Cell], settled: &mut Vec<Settled>) {
        let (Some(apart), Some(whose)) = (&mut self.apart, self.by.and_then(|by| row[by].text())) else {
            return;
        };
        let Some(part) = apart.part(whose) else { return };
        if part.waits() {
            let (held, decided) = part.settle(Some(ms));
            part.passed(ms);
            apart.held -= held.len();
            settled.push(Settled { held, decided, whose: Some(whose.to_owned()) });
        } else {
            part.passed(ms);
        }
    }

    fn settle_parts(&mut self, settled: &mut Vec<Settled>) {
        let Some(apart) = &mut self.apart else { return };
        apart.held = 0;
        for (whose, part) in apart.parts.iter_mut().filter(|(_, part)| part.waits()) {
            let (held, decided) = part.settle(None);
            settled.push(Settled { held, decided, whose: Some(whose.clone()) });
        }
    }
}
