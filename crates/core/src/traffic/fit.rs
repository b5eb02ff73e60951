//! A farm's pens from its own log: when its cows come, what a visit takes, whom it turns away, when people fetch.
//!
//! # Equation
//! events(cow, s, h) ~ Poisson(open hours(cow, s, h) · z_cow · since_s · hour_h), fitted part by part to its marginals, each
//! part drawn to its prior by some pseudo-events. Only times count at which a box had stood open ([`super::fit_log::Open`]):
//! nobody waits then, so who enters has just come, and waiting, which no log tells, is not taken for staying away.
//! minutes = handling + milk/flow_cow: least squares, handling one for the herd, flow each cow's own.
//! Rounds of people and whom they bring: `fit_fetch`. What closes boxes: `fit_shut`. A cow let in soon after a milking, for milk
//! left behind: share of the first visits after a milking that come before 0.8 of her shortest interval.
//! Last, hazards are moved until what is simulated shows the log's milkings, visits turned away and visits by half-hour
//! (`refine`), with what counting put into the hours shrunk away ([`super::drive`]).
//! # Not told by any log
//! Patience, rank and feed's pull: those stay stated defaults, and are said to be.

use std::sync::Arc;

use super::{
    fit_fetch::Fetched,
    fit_log::{Came, Log, Open, Stay},
    herd::Cow,
    pen::{Coming, Feeding, HALVES, SINCE, Traffic, usual_clock},
    refine::refine,
    setup::{Cows, Setup},
    streams::even,
};
use crate::expect::secretion::{g, kappa_prior};

/// Fewer days than this, or fewer milkings, and nothing is fitted.
pub const FEWEST_DAYS: f64 = 7.0;
/// See above.
pub const FEWEST_MILKINGS: usize = 400;
/// Passes over the parts of the hazard.
const PASSES: usize = 15;
/// Pseudo-events that draw a part to its prior: since, hour, cow.
const DRAWN_BY: [f64; 3] = [4.0, 8.0, 12.0];
/// A cow without a visit for longer is out of the pen, h.
pub(super) const OUT_H: f64 = 36.0;
/// Why a log gives no fit.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TooLittle {
    /// Too few days.
    #[error("the log has {0:.0} days; at least 7 are needed")]
    Days(f64),
    /// Too few milkings.
    #[error("the log has {0} milkings; at least 400 are needed")]
    Milkings(usize),
}

/// Open hours and entries of one cow in one cell.
struct Cell {
    cow: u32,
    since: u16,
    half: u16,
    hours: f64,
    events: f64,
}

/// Fits a setup to a log.
///
/// # Errors
/// Where there is too little to fit.
pub fn fit(log: &Log) -> Result<Setup, TooLittle> {
    let days = (log.span.1 - log.span.0) / 1440.0;
    let milked = || log.stays.iter().filter(|stay| stay.came == Came::Milked);
    if days < FEWEST_DAYS {
        return Err(TooLittle::Days(days));
    }
    if milked().count() < FEWEST_MILKINGS {
        return Err(TooLittle::Milkings(milked().count()));
    }
    let open = Open::of(log);
    let by_cow = by_cow(log);
    let cells = cells(&by_cow, &open, log);
    let fetched = super::fit_fetch::fetched(&by_cow);
    let hazard = hazard(&cells, log.cows.len(), &fetched);
    let mut setup = Setup::usual(0, log.boxes);
    setup.since_per_h = hazard.since;
    let (from, to) = setup.fetching.working_h;
    setup.fetching.working_h =
        fetched.rounds_h.iter().fold((from, to), |(from, to), hour| (from.min(*hour), to.max(*hour)));
    // What the clock does holds the feed's pull too: it is taken out, so that other hours of feed can put it elsewhere.
    let feeding = Feeding::default();
    setup.clock = (0..)
        .zip(&hazard.hour)
        .map(|(half, own)| own / feeding.pull((f64::from(half) + 0.5) / 2.0))
        .collect();
    let service = super::fit_visit::service(log, &by_cow);
    let longest_h = fetched.longest_h;
    setup.fetching.rounds_h = fetched.rounds_h;
    let (mut cows, mut early) = (Vec::new(), [0.0, 0.0]);
    for (number, stays) in by_cow.iter().enumerate() {
        let Some(own) = hers(stays, log, number, service.flows[number], hazard.frailty[number], longest_h)
        else {
            continue;
        };
        let [let_in, kept_out] = came_early(stays, own.minimum_h);
        early = [early[0] + let_in, early[1] + kept_out];
        // A cow of half the days stands for half a cow: kept if she was there at the end.
        if stays.last().is_some_and(|last| log.span.1 - 60.0 * OUT_H < last.from) {
            cows.push(own);
        }
    }
    setup.cows = cows.len();
    setup.herd = Cows::Own(Arc::new(cows));
    setup.service = service.service;
    // What is let in soon after a milking was let in for milk left behind.
    if 0.0 < early[0] {
        let tried = 1.0 - setup.service.failed_share;
        setup.service.again_share = tried * early[0] / (early[0] + early[1] + DRAWN_BY[0]);
    }
    setup.closures = super::fit_shut::closures(log, days);
    refine(&mut setup, log);
    Ok(setup)
}

/// Each cow's stays in order.
fn by_cow(log: &Log) -> Vec<Vec<Stay>> {
    let mut all = vec![Vec::new(); log.cows.len()];
    for stay in &log.stays {
        if let Some(own) = all.get_mut(stay.cow as usize) {
            own.push(*stay);
        }
    }
    all
}

fn since_of(hours: f64) -> u16 {
    ((2.0 * hours).max(0.0) as usize).min(SINCE - 1) as u16
}

fn half_of(at: f64) -> u16 {
    ((at / 30.0).rem_euclid(HALVES as f64) as usize % HALVES) as u16
}

/// Walks every cow from visit to visit by half-hours of the clock.
fn cells(by_cow: &[Vec<Stay>], open: &Open, log: &Log) -> Vec<Cell> {
    let mut cells = Vec::new();
    for (cow, stays) in by_cow.iter().enumerate() {
        let mut last: Option<f64> = None;
        for (place, stay) in stays.iter().enumerate() {
            if stay.came == Came::Milked {
                last = Some(stay.from);
            }
            let Some(last) = last else { continue };
            let until = stays.get(place + 1).map_or(log.span.1, |next| next.from);
            let end = until.min(last + 60.0 * OUT_H);
            let came = stays.get(place + 1).is_some_and(|next| next.from <= end);
            let mut from = stay.to;
            while from < end {
                let to = (((from / 30.0).floor() + 1.0) * 30.0).min(end);
                let middle = 0.5 * (from + to);
                let hours = open.within(from, to) / 60.0;
                let events = f64::from(to == end && came && open.at(until));
                if 0.0 < hours + events {
                    let (since, half) = (since_of((middle - last) / 60.0), half_of(middle));
                    cells.push(Cell { cow: cow as u32, since, half, hours, events });
                }
                from = to;
            }
        }
    }
    cells
}

struct Hazard {
    since: Vec<f64>,
    hour: Vec<f64>,
    frailty: Vec<f64>,
}

fn hazard(cells: &[Cell], cows: usize, fetched: &Fetched) -> Hazard {
    let prior = Coming::usual(Traffic::Free, &Feeding::default());
    let (mut since, mut hour, mut frailty) = (prior.since_per_h.clone(), vec![1.0; HALVES], vec![1.0; cows]);
    let overdue = (2.0 * fetched.longest_h) as u16;
    // What people bring says nothing of coming: two hours from each round are left out for overdue cows.
    let brought = |cell: &Cell| {
        overdue <= cell.since
            && fetched
                .rounds_h
                .iter()
                .any(|round| (f64::from(cell.half) / 2.0 - round).rem_euclid(24.0) < 2.0)
    };
    let used: Vec<&Cell> = cells.iter().filter(|cell| !brought(cell)).collect();
    let usual = usual_clock();
    let pull = Feeding::default();
    let shape: Vec<f64> =
        (0..).zip(&usual).map(|(half, own)| own * pull.pull((f64::from(half) + 0.5) / 2.0)).collect();
    let mean = shape.iter().sum::<f64>() / HALVES as f64;
    for _ in 0..PASSES {
        let mut sums = vec![(0.0, 0.0); SINCE];
        for cell in &used {
            let own = &mut sums[cell.since as usize];
            own.0 += cell.events;
            own.1 += cell.hours * hour[cell.half as usize] * frailty[cell.cow as usize];
        }
        for ((value, (events, hours)), prior) in since.iter_mut().zip(&sums).zip(&prior.since_per_h) {
            *value = (events + DRAWN_BY[0]) / (hours + DRAWN_BY[0] / prior.max(1e-3));
        }
        let mut sums = vec![(0.0, 0.0); HALVES];
        for cell in &used {
            let own = &mut sums[cell.half as usize];
            own.0 += cell.events;
            own.1 += cell.hours * since[cell.since as usize] * frailty[cell.cow as usize];
        }
        for ((value, (events, expected)), prior) in hour.iter_mut().zip(&sums).zip(&shape) {
            *value = (events + DRAWN_BY[1] * prior / mean) / (expected + DRAWN_BY[1]);
        }
        let level = hour.iter().sum::<f64>() / HALVES as f64;
        hour.iter_mut().for_each(|value| *value /= level);
        let mut sums = vec![(0.0, 0.0); cows];
        for cell in &used {
            let own = &mut sums[cell.cow as usize];
            own.0 += cell.events;
            own.1 += cell.hours * since[cell.since as usize] * hour[cell.half as usize];
        }
        for (value, (events, expected)) in frailty.iter_mut().zip(&sums) {
            *value = (events + DRAWN_BY[2]) / (expected + DRAWN_BY[2]);
        }
    }
    Hazard { since, hour, frailty }
}

/// Step of an even walk over ranks, which no log tells.
const STEP: f64 = 0.618_033_988_75;

/// A shortest interval lies at least so far below the longest.
const BEFORE_LONGEST: f64 = 0.9;

/// One cow as the pen sees her.
fn hers(
    stays: &[Stay],
    log: &Log,
    number: usize,
    flow_kg_min: f64,
    frailty: f64,
    longest_h: f64,
) -> Option<Cow> {
    let mut last: Option<f64> = None;
    let (mut milk, mut hours) = (Vec::new(), Vec::new());
    let (mut let_in, mut kept_out) = (Vec::new(), Vec::new());
    for stay in stays {
        let since = last.map(|last| (stay.from - last) / 60.0).filter(|since| *since < OUT_H);
        match (stay.came, since) {
            (Came::NotDue, Some(since)) => kept_out.push(since),
            (Came::Milked, Some(since)) => {
                let_in.push(since);
                if let Some(kg) = stay.milk_kg {
                    milk.push(kg);
                    hours.push(since);
                }
            }
            _ => {}
        }
        if stay.came == Came::Milked {
            last = Some(stay.from);
        }
    }
    if milk.len() < 5 {
        return None;
    }
    let daily_kg = 24.0 * milk.iter().sum::<f64>() / hours.iter().sum::<f64>();
    let kappa_per_h = kappa_prior(daily_kg).0;
    let rate_kg_h = milk.iter().sum::<f64>() / hours.iter().map(|h| g(*h, kappa_per_h)).sum::<f64>();
    let known = log.cows.get(number)?;
    let first = known.first.unwrap_or(false);
    Some(Cow {
        rate_kg_h: rate_kg_h.clamp(0.05, 6.0),
        kappa_per_h,
        flow_kg_min,
        // A few visits, all of them late, say little: nobody keeps a cow out whom people must bring.
        minimum_h: threshold(&let_in, &kept_out).min(BEFORE_LONGEST * longest_h),
        longest_h,
        frailty,
        pace: 1.0,
        rank: if first {
            0.5 * even(0.5, number as u32, STEP)
        } else {
            0.3 + 0.7 * even(0.5, number as u32, STEP)
        },
        first,
        days: known.days.unwrap_or(150.0),
    })
}

/// Below this share of her shortest interval a cow that is let in is let in for another reason than time.
const EARLY: f64 = 0.8;

/// First visits after a milking that came early: how many were let in, and how many kept out.
fn came_early(stays: &[Stay], minimum_h: f64) -> [f64; 2] {
    let mut counts = [0.0, 0.0];
    for pair in stays.windows(2) {
        if pair[0].came == Came::Milked && (pair[1].from - pair[0].from) / 60.0 < EARLY * minimum_h {
            counts[usize::from(pair[1].came == Came::NotDue)] += 1.0;
        }
    }
    counts
}

/// The hours that part those it was turned away after from those it was milked after with the fewest exceptions; where
/// it was never turned away, a tenth below the shortest of them.
fn threshold(let_in: &[f64], kept_out: &[f64]) -> f64 {
    let mut marks: Vec<(f64, bool)> = let_in
        .iter()
        .map(|hours| (*hours, true))
        .chain(kept_out.iter().map(|hours| (*hours, false)))
        .collect();
    marks.sort_by(|one, other| one.0.total_cmp(&other.0));
    if kept_out.is_empty() {
        return marks.first().map_or(0.0, |(hours, _)| 0.9 * hours);
    }
    // Below the first mark everybody is let in: each who was kept out is an exception.
    let mut wrong = kept_out.len() as i64;
    let (mut least, mut best) = (wrong, 0.0);
    for (place, (hours, is_in)) in marks.iter().enumerate() {
        wrong += if *is_in { 1 } else { -1 };
        if wrong < least {
            least = wrong;
            let next = marks.get(place + 1).map_or(*hours, |(next, _)| *next);
            best = 0.5 * (hours + next);
        }
    }
    best
}
