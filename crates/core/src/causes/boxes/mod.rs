//! Is it the box?
//!
//! # Equation
//! What many cows show in one box, and do not show elsewhere, is the box's. Each question makes of six hours of a box one
//! look (a likelihood over how far it is off), and one chain ([`chain`]) makes of the looks a probability, an onset, a size:
//!   milk meter    milk against the cows' own levels, less the same in the other boxes    log
//!   conductivity probe    a cup's conductivity against the quarters' habits, less the other cups'    mS/cm
//!   attachment    milkings in which that quarter alone gave next to nothing    chance
//!   feed dispenser    share eaten of what was offered against the cows' own    share
//! A box that stood still is told by a silence that its own silences before make unlikely ([`idle`]).
//! With two boxes a contrast does not say which of them is off: how each moved against its cows at the onset does, for some
//! days, and the tank does ([`meter`]); where neither tells, the probability is shared and the other box is named too.
//! # Source
//! `sources.md` §4.4: what a meter may be off by; rates, sizes and speeds of faults are stated defaults.
//! # Proof
//! `causes/boxes/tests`: made rows of other shapes; `docs/validation.md`, box faults.
//! # Not here
//! How the cows are corrected meanwhile: [`crate::expect`], effects of herd, box and cup.

mod attach;
mod chain;
mod clocks;
mod dispenser;
mod frozen;
mod idle;
mod levels;
mod log;
mod meter;
mod probe;
mod tank;
#[cfg(test)]
mod tests;

pub use chain::Seen;
pub use clocks::{ClockOff, clock_off, clock_speaks};
pub use idle::{LogEnds, log_ends};
pub use log::BoxLog;
pub use tank::Pickup;

use jiff::{SignedDuration, Timestamp};

use super::{Cause, Finding, Reason, Subject, Urgency, judge::NAMED_FROM, worth::Settings};
use crate::{
    expect::{BIN_MS, BoxBin, HerdPoint, Signal},
    herd::{BoxKey, Quarter},
    middle::median,
    signals::Stuck,
};

/// Nothing is said of a box of which nothing was read for so long, h.
pub(crate) const SILENT_H: f64 = 24.0;

/// How far back a box's visits are read and counted, days: a fault of three weeks is still one and the same.
pub const LOG_D: i64 = 21;

/// A span in which a box said that it did not milk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stood {
    /// Which box.
    pub at_box: BoxKey,
    /// From when.
    pub from: Timestamp,
    /// Until when.
    pub to: Timestamp,
}

/// What is known of the boxes when they are judged.
#[derive(Debug, Clone, Copy)]
pub struct Boxes<'a> {
    /// When they are judged; nothing later is read.
    pub at: Timestamp,
    /// Time of the last row of any table by then: later than that nothing is known, not even a silence.
    pub known_until: Timestamp,
    /// Each box's milk and conductivity against its cows' own levels.
    pub courses: &'a [(BoxKey, Vec<BoxBin>)],
    /// The herd's effect on milk.
    pub herd: &'a [HerdPoint],
    /// Visits of the last weeks.
    pub log: &'a BoxLog,
    /// Spans in which a box said that it did not milk.
    pub stood: &'a [Stood],
    /// Milk that left the tank, in order of time.
    pub pickups: &'a [Pickup],
    /// Sensors that were stuck in the last days.
    pub stuck: &'a [Stuck],
}

/// A box's finding, and what a person is told of it.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxFault {
    /// Whose, which cause, how sure, since when.
    pub finding: Finding,
    /// How far off: log for a meter, mS/cm for a probe, chance for a cup, share for a dispenser, hours for a standstill.
    pub level: f64,
    /// Readings of this box since the onset.
    pub readings: u32,
    /// Of how many cows.
    pub cows: u32,
    /// Of two boxes, the one that may be off instead, the other way round.
    pub instead: Option<BoxKey>,
    /// The tank spoke for this box.
    pub tank_says: bool,
    /// It reads the same again and again, this many times.
    pub frozen: Option<u32>,
    /// A standstill that goes on: until when nothing came is not known.
    pub goes_on: bool,
    /// The box's course, for the picture.
    pub course: Vec<Seen>,
}

/// Every box's faults worth naming, likeliest first, but for those that a wrong clock explains. What is shown of them:
/// [`super::cut`].
pub fn judge_boxes(boxes: &Boxes, clock: Option<&ClockOff>, settings: &Settings) -> Vec<BoxFault> {
    let rows = boxes.log.by(boxes.at);
    let mut faults = frozen::judge(boxes, &rows);
    let place = |fault: &BoxFault| (fault.of_box(), fault.finding.cause, fault.finding.quarter);
    let frozen: Vec<_> = faults.iter().map(place).collect();
    // A meter or probe that always says the same is told as that, once.
    let mut read = meter::judge(boxes, settings);
    read.extend(probe::judge(boxes, settings));
    read.retain(|fault| !frozen.contains(&place(fault)));
    faults.extend(read);
    faults.extend(attach::judge(boxes, &rows, settings));
    faults.extend(dispenser::judge(boxes, &rows, settings));
    faults.extend(idle::judge(boxes, &rows, settings));
    faults.retain(|fault| NAMED_FROM <= fault.finding.probability);
    faults.retain(|fault| !clock.is_some_and(|off| clocks::explains(off, fault)));
    for fault in &mut faults {
        settings.value(&mut fault.finding, boxes.at);
        // It milks again: what is left is to ask why, and that waits for the walk.
        let over = fault.finding.cause == Cause::IdleFault && !fault.goes_on;
        if over && fault.finding.urgency == Urgency::Now {
            fault.finding.urgency = Urgency::Today;
        }
    }
    faults.sort_by(|a, b| b.finding.probability.total_cmp(&a.finding.probability));
    faults
}

/// How much of a herd's fall is left to explain, beyond what the meters' faults do, before the herd is less likely, %.
const LEFT_PCT: f64 = 1.5;

/// A meter that reads too low moves the herd's milk too: the herd's finding is as much less likely as the meter explains it.
pub fn explain(
    findings: &mut [Finding],
    faults: &[BoxFault],
    boxes: usize,
    settings: &Settings,
    at: Timestamp,
) {
    let meters =
        faults.iter().filter(|fault| fault.finding.cause == Cause::MilkMeter && fault.frozen.is_none());
    for fault in meters.filter(|fault| fault.level < 0.0) {
        let explained_pct = -100.0 * fault.level.exp_m1() / boxes.max(1) as f64;
        for herd in findings.iter_mut().filter(|finding| finding.cause == Cause::HerdMilk) {
            let fell_pct = herd.reasons.first().map_or(0.0, |reason| reason.expected - reason.observed);
            if fell_pct <= explained_pct + LEFT_PCT {
                herd.probability *= 1.0 - fault.finding.probability;
                herd.others = vec![
                    (Cause::MilkMeter, fault.finding.probability),
                    (Cause::Well, (1.0 - fault.finding.probability - herd.probability).max(0.0)),
                ];
                settings.value(herd, at);
            }
        }
    }
}

impl BoxFault {
    /// Which box it is about.
    pub fn of_box(&self) -> Option<BoxKey> {
        if let Subject::Box(key) = self.finding.subject { Some(key) } else { None }
    }

    /// Of a verdict of the chain.
    fn of(
        place: (BoxKey, Cause, Option<Quarter>),
        verdict: chain::Verdict,
        reason: (Signal, f64, f64),
        (readings, cows): (u32, u32),
    ) -> BoxFault {
        let (at_box, cause, quarter) = place;
        let (signal, observed, expected) = reason;
        BoxFault {
            finding: Finding {
                subject: Subject::Box(at_box),
                cause,
                quarter,
                probability: verdict.probability,
                others: vec![(Cause::Well, 1.0 - verdict.probability)],
                urgency: Urgency::Watch,
                since: verdict.since,
                since_between: verdict.since_between,
                episode: verdict.episode,
                worth: 0.0,
                severity: 1.0,
                reasons: vec![Reason { signal, quarter, observed, expected, weight: verdict.weight }],
            },
            level: verdict.level,
            readings,
            cows,
            instead: None,
            tank_says: false,
            frozen: None,
            goes_on: false,
            course: verdict.course,
        }
    }
}

/// Begins of all six hours from the first to that of `at`, ms.
pub(crate) fn steps(first_ms: i64, at: Timestamp) -> impl Iterator<Item = i64> {
    let first = first_ms.div_euclid(BIN_MS);
    // An instant that ends one and begins another belongs to the one that ended.
    let last = (at.as_millisecond() - 1).div_euclid(BIN_MS);
    (first..=last).map(|step| step * BIN_MS)
}

/// So many hours before.
pub(crate) fn before(at: Timestamp, hours: f64) -> Timestamp {
    at.saturating_sub(SignedDuration::from_secs((hours * 3600.0) as i64)).unwrap_or(at)
}

/// By how much means scatter more or less than their variances say, as variance: read off what each differs from the one
/// before it by, so that a slow drift counts for nothing. Within a half and four; 1 where there are few.
pub(crate) fn scatter(means: &[(i64, f64, f64)]) -> f64 {
    // The middle of a squared standard normal.
    const MIDDLE: f64 = 0.4549;
    let mut squares: Vec<f64> = means
        .windows(2)
        .map(|pair| (pair[1].1 - pair[0].1).powi(2) / (pair[1].2 + pair[0].2))
        .filter(|square| square.is_finite())
        .collect();
    if squares.len() < 16 {
        return 1.0;
    }
    median(&mut squares).map_or(1.0, |middle| (middle / MIDDLE).clamp(0.5, 4.0))
}
