//! How is a call held against what truly was?
//!
//! A call counts once, from its first to its last round. It is false when the cow has no true case from three days before
//! its first round to three days after its last; a heat is the case of a heat call, an illness that of any other. A case is
//! called in time by a round from the case's first departure to so many hours after its first sign.

use std::collections::BTreeMap;

use cowpath_core::{causes::Cause, right};
use jiff::{SignedDuration, Timestamp};

use super::{
    heard::{Heard, Said},
    truth::{Case, earlier, later},
};

/// A true case so near a call makes it no false one.
pub const MARGIN: SignedDuration = SignedDuration::from_hours(72);

/// One figure, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Figure {
    /// So many of so many.
    Share {
        /// Of these.
        part: u32,
        /// In all.
        whole: u32,
    },
    /// So many over so many cow-days.
    Rate {
        /// Counted.
        count: u32,
        /// Over.
        cow_days: f64,
    },
    /// Any other, with its 95 % interval where there is one, from so many.
    Number {
        /// The figure.
        value: Option<f64>,
        /// Its interval.
        between: Option<(f64, f64)>,
        /// From so many.
        n: u32,
    },
}

impl Figure {
    /// The figure: a share 0 to 1, a rate for 100 cow-days.
    pub fn value(&self) -> Option<f64> {
        match *self {
            Figure::Share { part, whole } => (0 < whole).then(|| f64::from(part) / f64::from(whole)),
            Figure::Rate { count, cow_days } => (0.0 < cow_days).then(|| 100.0 * f64::from(count) / cow_days),
            Figure::Number { value, .. } => value,
        }
    }

    /// Its 95 % interval: exact of a share and a rate.
    pub fn between(&self) -> Option<(f64, f64)> {
        match *self {
            Figure::Share { part, whole } => {
                let share = right::share(part, whole);
                (0 < whole).then_some((share.low, share.high))
            }
            Figure::Rate { count, cow_days } => {
                let (low, high) = right::count(count);
                (0.0 < cow_days).then(|| (100.0 * low / cow_days, 100.0 * high / cow_days))
            }
            Figure::Number { between, .. } => between,
        }
    }

    /// How many it rests on: cases, false calls counted, or as said.
    pub fn n(&self) -> u32 {
        match *self {
            Figure::Share { whole, .. } => whole,
            Figure::Rate { count, .. } => count,
            Figure::Number { n, .. } => n,
        }
    }
}

/// The share of those for which it holds.
pub fn share(holds: impl IntoIterator<Item = bool>) -> Figure {
    let (mut part, mut whole) = (0, 0);
    for one in holds {
        whole += 1;
        part += u32::from(one);
    }
    Figure::Share { part, whole }
}

/// One call: its shown rounds together.
#[derive(Debug, Clone, PartialEq)]
pub struct Call<'a> {
    /// Herd number.
    pub animal: &'a str,
    /// What it is known by.
    pub id: &'a str,
    /// The cause's word.
    pub cause: &'static str,
    /// First round it was shown at.
    pub first: Timestamp,
    /// Last.
    pub last: Timestamp,
    /// First round at which it was `now` or `today`.
    pub urgent: Option<Timestamp>,
}

/// The calls on cows of a herd.
pub fn calls(heard: &Heard) -> Vec<Call<'_>> {
    let mut all: BTreeMap<&str, Call<'_>> = BTreeMap::new();
    for ((subject, animal), said) in &heard.said {
        for one in said.iter().filter(|one| *subject == "cow" && one.shown.is_some()) {
            let call = all.entry(&one.id).or_insert(Call {
                animal,
                id: &one.id,
                cause: one.cause,
                first: one.at,
                last: one.at,
                urgent: None,
            });
            call.last = call.last.max(one.at);
            if one.is_urgent() && call.urgent.is_none() {
                call.urgent = Some(one.at);
            }
        }
    }
    all.into_values().collect()
}

/// Which true cases make a call no false one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Excuse {
    /// A heat for a heat call, an illness for any other.
    Kind,
    /// Any case, a heat too.
    Any,
}

impl Excuse {
    fn takes(self, cause: &str, case: &Case) -> bool {
        self == Excuse::Any || (cause == Cause::Heat.word()) != case.is_illness()
    }
}

/// Whether a call has no true case about it.
pub fn is_false(call: &Call<'_>, cases: &[Case], excuse: Excuse) -> bool {
    !cases
        .iter()
        .filter(|case| case.animal == call.animal && excuse.takes(call.cause, case))
        .any(|case| case.is_near(call.first, call.last, MARGIN))
}

/// Whether a round from the case's first departure to a time said something of her that is accepted.
pub fn is_called(heard: &Heard, case: &Case, until: Timestamp, accepts: impl Fn(&Said) -> bool) -> bool {
    heard
        .of_cow(&case.animal)
        .iter()
        .any(|said| case.began <= said.at && said.at <= until && said.shown.is_some() && accepts(said))
}

/// Whether she was judged at any round from the case's first departure to a time.
pub fn was_judged(heard: &Heard, case: &Case, until: Timestamp) -> bool {
    heard
        .judged
        .get(&case.animal)
        .is_some_and(|rounds| rounds.iter().any(|at| case.began <= *at && *at <= until))
}

/// Cases of these kinds whose first sign came while rounds were made, with two days of rounds after it.
pub fn cases<'a>(heard: &'a Heard, kinds: &'a [&str]) -> impl Iterator<Item = &'a Case> {
    let (starts, ends) = heard.span();
    heard.truth.cases.iter().filter(move |case| {
        kinds.contains(&case.kind.as_str())
            && starts <= case.first_sign
            && case.first_sign <= earlier(ends, SignedDuration::from_hours(48))
    })
}

/// So many hours after a time.
pub fn hours_after(at: Timestamp, hours: i64) -> Timestamp {
    later(at, SignedDuration::from_hours(hours))
}

/// Whether a call's quarter is the case's.
pub fn is_quarter(said: &Said, case: &Case) -> bool {
    said.quarter == case.quarter.as_deref()
}

/// False calls over the judged cow-days of herds: of these causes, `now` and `today`, or every one shown.
pub fn false_calls(
    herds: &[Heard],
    excuse: Excuse,
    urgent: bool,
    counts: impl Fn(&Call<'_>) -> bool,
) -> Figure {
    let mut count = 0;
    for heard in herds {
        count += calls(heard)
            .iter()
            .filter(|call| (!urgent || call.urgent.is_some()) && counts(call))
            .filter(|call| is_false(call, &heard.truth.cases, excuse))
            .count() as u32;
    }
    Figure::Rate { count, cow_days: herds.iter().map(Heard::cow_days).sum() }
}

/// Identities that the udder calls of a case had, from its first departure to its end.
pub fn identities<'a>(heard: &'a Heard, case: &Case) -> Vec<&'a str> {
    let mut ids: Vec<&str> = heard
        .of_cow(&case.animal)
        .iter()
        .filter(|said| said.shown.is_some() && said.cause == case.kind && case.holds(said.at))
        .map(|said| said.id.as_str())
        .collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}
