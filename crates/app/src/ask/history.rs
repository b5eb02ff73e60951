//! What pages draw of the herd's milkings over more than the last ten days, reckoned once and kept at hand while serving.
//!
//! What was expected of a milking hangs on the rows before it only, so one history answers for any span and any time, as
//! long as no logs are read. It goes back so far as its room reaches: [`MOST_MILKINGS`], at most [`MOST_DAYS`].

use std::collections::BTreeMap;

use cowpath_core::{
    expect::{Scored, Signal},
    herd::{LifeKey, Quarter},
};
use jiff::{SignedDuration, Timestamp};

use super::{farm::Barn, model, view::View};

/// Longer than any lactation but few.
const MOST_DAYS: i64 = 400;
/// About a hundred megabytes.
const MOST_MILKINGS: u64 = 600_000;

/// Signals that have lanes; the place in [`Drawn::figures`].
const SIGNALS: usize = 10;

/// What is drawn of one milking: for each signal what was measured, expected, and the ends of its band. Seven digits are
/// more than any meter has.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Entry.
    pub started_at: Timestamp,
    /// Exit.
    pub ended_at: Timestamp,
    figures: [[f32; 4]; SIGNALS],
}

/// One signal of a milking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnSignal {
    /// As measured, corrected for box and cup.
    pub observed: f64,
    /// What the held baseline expected.
    pub expected: f64,
    /// Lower end of the 95 % band.
    pub low95: f64,
    /// Upper end.
    pub high95: f64,
}

fn place(signal: Signal, quarter: Option<Quarter>) -> Option<usize> {
    Some(match (signal, quarter) {
        (Signal::Milk, None) => 0,
        (Signal::QuarterMilk, Some(quarter)) => 1 + quarter as usize,
        (Signal::Conductivity, Some(quarter)) => 5 + quarter as usize,
        (Signal::Interval, None) => 9,
        _ => return None,
    })
}

impl Drawn {
    /// What is drawn of a scored milking.
    pub fn of(scored: &Scored) -> Drawn {
        let mut figures = [[f32::NAN; 4]; SIGNALS];
        for own in &scored.departures {
            if let Some(place) = place(own.signal, own.quarter) {
                figures[place] =
                    [own.observed, own.expected, own.low95, own.high95].map(|value| value as f32);
            }
        }
        Drawn { started_at: scored.started_at, ended_at: scored.ended_at, figures }
    }

    /// One signal, if it was reckoned at this milking.
    pub fn signal(&self, signal: Signal, quarter: Option<Quarter>) -> Option<DrawnSignal> {
        let [observed, expected, low95, high95] = self.figures[place(signal, quarter)?].map(f64::from);
        (!observed.is_nan()).then_some(DrawnSignal { observed, expected, low95, high95 })
    }
}

/// The herd's milkings from a time on.
pub struct History {
    /// Mark of the last reading of logs that is in it.
    pub last_batch: u64,
    from: Timestamp,
    milkings: BTreeMap<LifeKey, Vec<Drawn>>,
}

impl History {
    /// Reckons the history up to a view's time.
    pub fn read(barn: &Barn, view: &View) -> anyhow::Result<History> {
        let recent = view.milkings.values().map(Vec::len).sum::<usize>() as u64;
        let days = (MOST_MILKINGS * 10 / recent.max(1)).min(MOST_DAYS as u64) as i64;
        let from = view.at.saturating_sub(SignedDuration::from_hours(24 * days))?;
        let mut milkings: BTreeMap<LifeKey, Vec<Drawn>> = BTreeMap::new();
        model::roll(barn, &view.cast, &view.ways.zone, view.at, from, &mut |visit, scored| {
            milkings.entry(visit.life).or_default().push(Drawn::of(scored));
            Ok(())
        })?;
        Ok(History { last_batch: view.cast.last_batch, from, milkings })
    }

    /// A cow's milkings that began in `[from, to)` and had ended by `at`; `None` where the history does not reach.
    pub fn of(&self, life: LifeKey, from: Timestamp, to: Timestamp, at: Timestamp) -> Option<Vec<Drawn>> {
        if from < self.from {
            return None;
        }
        let own = self.milkings.get(&life).map_or(&[][..], Vec::as_slice);
        let asked = |one: &&Drawn| from <= one.started_at && one.started_at < to && one.ended_at <= at;
        Some(own.iter().filter(asked).cloned().collect())
    }
}
