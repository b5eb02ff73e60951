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
/// A year of 2,000 cows; about 220 megabytes.
const MOST_MILKINGS: u64 = 2_100_000;

/// Signals that have lanes, but for the interval; the place in [`Drawn::figures`].
const SIGNALS: usize = 9;
/// Steps in which each is kept, in its unit: milk kg, share %, conductivity mS/cm. Finer than any meter or picture, and a
/// range of 32,767 of them holds any of the signals.
const STEPS: [f64; SIGNALS] = [0.002, 0.005, 0.005, 0.005, 0.005, 0.001, 0.001, 0.001, 0.001];
/// Not reckoned at this milking.
const NONE: i16 = i16::MIN;

/// What is drawn of one milking: for each signal what was measured, expected, and the ends of its band. Kept small, for a
/// large farm has millions.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    started_ms: i64,
    lasted_ms: u32,
    figures: [[i16; 4]; SIGNALS],
    /// Hours since her last milking: from minutes to months, so as they are; not a number where it was not reckoned.
    interval: [f32; 4],
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
        _ => return None,
    })
}

impl Drawn {
    /// What is drawn of a scored milking.
    pub fn of(scored: &Scored) -> Drawn {
        let mut drawn = Drawn {
            started_ms: scored.started_at.as_millisecond(),
            lasted_ms: scored.ended_at.duration_since(scored.started_at).as_millis().try_into().unwrap_or(0),
            figures: [[NONE; 4]; SIGNALS],
            interval: [f32::NAN; 4],
        };
        for own in &scored.departures {
            let all = [own.observed, own.expected, own.low95, own.high95];
            if own.signal == Signal::Interval {
                drawn.interval = all.map(|value| value as f32);
            } else if let Some(place) = place(own.signal, own.quarter) {
                let most = f64::from(i16::MAX);
                drawn.figures[place] =
                    all.map(|value| (value / STEPS[place]).round().clamp(-most, most) as i16);
            }
        }
        drawn
    }

    /// Entry.
    pub fn started_at(&self) -> Timestamp {
        instant(self.started_ms)
    }

    /// Exit.
    pub fn ended_at(&self) -> Timestamp {
        instant(self.started_ms + i64::from(self.lasted_ms))
    }

    /// One signal, if it was reckoned at this milking.
    pub fn signal(&self, signal: Signal, quarter: Option<Quarter>) -> Option<DrawnSignal> {
        let [observed, expected, low95, high95] = if signal == Signal::Interval {
            Some(self.interval.map(f64::from)).filter(|all| !all[0].is_nan())?
        } else {
            let place = place(signal, quarter)?;
            let figures = self.figures[place];
            (figures[0] != NONE).then(|| figures.map(|steps| f64::from(steps) * STEPS[place]))?
        };
        Some(DrawnSignal { observed, expected, low95, high95 })
    }
}

fn instant(ms: i64) -> Timestamp {
    Timestamp::from_millisecond(ms).unwrap_or(Timestamp::MAX)
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
        let asked = |one: &&Drawn| from <= one.started_at() && one.started_at() < to && one.ended_at() <= at;
        Some(own.iter().filter(asked).cloned().collect())
    }
}
