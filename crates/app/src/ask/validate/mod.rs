//! How often is the program right? Simulated herds heard round by round, and held against what truly was.
//!
//! Each herd's logs are written, read through the same importer into a farm of its own, and a round is made at 05:30 and
//! 16:00 of every day once the herd has been known for 40 days, from what was known at that time only. The truth is
//! written beside the logs and read by nothing but this. What is counted, and how: [`count`].
//!
//! Herds are heard two at a time, each on a thread; the same words give the same figures.

pub mod calibration;
pub mod count;
pub mod curve;
pub mod faults;
mod forecast;
pub mod heard;
pub mod page;
pub mod report;
pub mod rows;
pub mod rules;
#[cfg(test)]
mod tests;

pub mod truth;

pub mod without;
pub mod words;

use std::sync::{
    Mutex, PoisonError,
    atomic::{AtomicUsize, Ordering},
};

use heard::Heard;
pub use report::Report;
use without::Dropped;

/// Seeds whose herds templates and defaults may be tuned on.
pub const TUNED_ON: std::ops::RangeInclusive<u64> = 1..=9;
/// The first seed that figures are reported on, and no template is ever looked at.
pub const REPORTED_FROM: u64 = 101;

/// Which herds, and what of them.
#[derive(Debug, Clone)]
pub struct Asked {
    /// Herds.
    pub herds: u32,
    /// Seed of the first; the others follow.
    pub seed: u64,
    /// Cows of each.
    pub cows: u32,
    /// Boxes of each.
    pub boxes: u32,
    /// Days of logs of each.
    pub days: u32,
    /// A round after every milking, instead of two a day.
    pub every_milking: bool,
}

/// Hears herds two at a time, once for each set of columns left out; each herd is told of as it is done.
///
/// # Errors
/// When a herd could not be made, read or judged.
pub fn hear(
    asked: &Asked,
    each_without: &[Dropped],
    told: &(dyn Fn(&Heard) + Sync),
) -> anyhow::Result<Vec<Vec<Heard>>> {
    let next = AtomicUsize::new(0);
    let herds = asked.herds as usize;
    let heard: Mutex<Vec<Option<anyhow::Result<Vec<Heard>>>>> =
        Mutex::new((0..herds).map(|_| None).collect());
    let work = || {
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            if herds <= place {
                return;
            }
            let one = heard::herd(asked, asked.seed + place as u64, each_without);
            if let Ok(all) = &one {
                all.iter().for_each(told);
            } else {
                // What went wrong with one herd goes wrong with the next: no other is begun.
                next.store(herds, Ordering::Relaxed);
            }
            heard.lock().unwrap_or_else(PoisonError::into_inner)[place] = Some(one);
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(work);
        work();
    });
    let heard = heard.into_inner().unwrap_or_else(PoisonError::into_inner);
    let mut by_set: Vec<Vec<Heard>> = each_without.iter().map(|_| Vec::new()).collect();
    for herd in heard.into_iter().flatten() {
        for (set, own) in by_set.iter_mut().zip(herd?) {
            set.push(own);
        }
    }
    Ok(by_set)
}

/// Hears herds and reports on them.
///
/// # Errors
/// As [`hear`].
pub fn validate(asked: &Asked, dropped: Dropped, told: &(dyn Fn(&Heard) + Sync)) -> anyhow::Result<Report> {
    let sets = [dropped];
    let heard = hear(asked, &sets, told)?.pop().unwrap_or_default();
    let [dropped] = sets;
    Ok(report::of(asked, &dropped, &heard))
}

/// Hears herds with every sensor and without some: a report of each set.
///
/// # Errors
/// As [`hear`].
pub fn ablation(asked: &Asked, told: &(dyn Fn(&Heard) + Sync)) -> anyhow::Result<Vec<Report>> {
    let sets = without::sets();
    let heard = hear(asked, &sets, told)?;
    Ok(sets.iter().zip(&heard).map(|(dropped, heard)| report::of(asked, dropped, heard)).collect())
}
