//! What should her other signals have been: movement, rumination, feed, weight, what the milk holds?
//!
//! # Equation
//! expected(cow, t) = stage(days in milk, parity) + own(cow) + hour(t) + herd(t) + box(t)
//!   on the logarithmic scale for what is counted in minutes, steps or kilograms ([`Scale::Ratio`]), plainly for shares,
//!   degrees and per cents ([`Scale::Plain`]), on logarithms of readings for cells, blood, flow, seconds ([`Scale::Logged`])
//!   stage  mean of the herd's cows in that part of lactation, pulled to the herd's mean where few are
//!   own    her own standing beside it, n/(n + σ²/τ²) of what her days show; σ within, τ between cows
//!   hour   the herd's day, and hers beside it    herd  what all cows do at that time    box  what its sensor adds that day
//! Stage, own and hour are learned from four weeks that end at a turn of the week at least ten days before the time of
//! judging ([`Ground`]); herd and box from the ten days themselves, from the middle of many cows ([`said`]). So an illness of the
//! last days is never learned as her own, and nothing is known that was not known then.
//! Readings are put together in blocks of [`Way::block_h`] hours that end at the time of judging; a block's departure is
//! measured against its own scatter, and her standing's own error is handed on beside it.
//! # Source
//! Stated defaults stand in [`ways`] with their reasons; published courses are the templates' ([`crate::causes::templates`]).
//! # Proof
//! `signals/tests`: truth-known readings, laws (missing is not zero, units, what all cows do is nobody's departure).
//! # Not here
//! Milk, quarters, conductivity, kicks and intervals: [`crate::expect`].

mod block;
pub(crate) mod columns;
mod depart;
mod ground;
pub mod jump;
mod ordered;
mod past_heat;
mod points;
mod readings;
mod said;
mod spoke;
pub(crate) mod stuck;
mod tags;
#[cfg(test)]
mod tests;
pub mod ways;

use jiff::Timestamp;

pub use columns::Column;
pub use depart::{Taken, Window};
pub use ground::{Ground, Learner, Own};
pub use past_heat::PastHeat;
pub use points::Points;
pub use readings::{Reading, of_bin, of_visit};
pub use said::{Heard, HerdLine, Hers, Said};
pub use spoke::Began;
pub use stuck::{BoxSensors, Run, Stuck, Whose};
pub use tags::{Frozen, TAG_H, Tags};
pub use ways::{Scale, Way};

use crate::{
    expect::Signal,
    herd::{Quarter, Stage},
};

/// Readings of the last days that are judged, h.
pub const JUDGED_H: f64 = 240.0;
/// Days a [`Ground`] is learned from.
pub const LEARNED_D: i64 = 28;

/// One signal of one cow (or of one quarter) over the judged days.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Which signal.
    pub signal: Signal,
    /// Which quarter, for flow.
    pub quarter: Option<Quarter>,
    /// Its blocks, oldest first.
    pub points: Points,
}

/// One block of readings beside what was expected of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// First instant of the block that was measured.
    pub from: Timestamp,
    /// Last instant of it.
    pub to: Timestamp,
    /// As measured, in the signal's unit.
    pub observed: f64,
    /// As expected, same unit.
    pub expected: f64,
    /// Departure on the signal's own scale.
    pub gap: f64,
    /// Stated scatter of such a block on that scale; the herd's own is estimated later ([`crate::causes::noise`]).
    pub noise_sd: f64,
    /// Standard deviation of her standing's own error on that scale, one and the same for all her blocks.
    pub error: f64,
}

/// Parts of a lactation in which cows are alike: 0 dry, then by days in milk, first parity and older apart.
pub(crate) const STAGES: usize = 15;
/// Days in milk at which a part begins. Stated default: finer where much changes.
const STAGE_FROM_D: [f64; 7] = [0.0, 3.0, 7.0, 14.0, 30.0, 60.0, 130.0];

/// The part of lactation a cow is in.
pub(crate) fn stage_class(stage: &Stage) -> usize {
    if stage.dry {
        return 0;
    }
    let days = stage.days_in_milk.unwrap_or(130.0);
    let part = STAGE_FROM_D.partition_point(|from| *from <= days).max(1);
    if stage.parity == Some(1) { part } else { part + STAGE_FROM_D.len() }
}
