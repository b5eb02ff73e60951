//! The last step of a fit: what waiting, closures and chance make of the hazards is simulated, and the hazards are moved
//! until the simulated pen shows the log's milkings, visits turned away, and visits by half-hour.
//!
//! # Equation
//! since(s) ← since(s) · exp(due · w(s) + early · (1 − w(s))),   w(s) share of cows whose shortest interval is over at s
//!   due ← due + 2 · ln(observed / simulated milkings)    early ← early + ln(observed / simulated turned away)
//!   raw(half) ← drive(half) + ln(observed / simulated visits of the half-hour of the clock)
//!   drive = raw with its noise shrunk away ([`drive`](super::drive))
//! Each pass has its own chance. The first three move all the way, the k-th after them by 1/(k + 1): from then on each is a
//! mean of passes, and the chance of the simulation fades from it (Robbins and Monro). The 2 is a stated default:
//! milkings answer the hazard about half in proportion, since a shortest interval stands before it.
//! # Source
//! Simulated and observed figures made to meet: Gouriéroux, Monfort, Renault 1993; steps: Robbins, Monro 1951 (both from memory).
//! # Not here
//! Whether it foretells: `docs/validation.md`, "What a fit foretells".

use std::sync::atomic::AtomicBool;

use super::{
    counted::Figure,
    drive::{Clock, smooth},
    fit_log::{Log, Shown},
    gathered::{Gathered, Ready},
    pen::HALVES,
    run::{Days, Room},
    setup::{Cows, Setup},
};

/// Passes, and how many of them move all the way.
const PASSES: u32 = 9;
const WHOLE: u32 = 3;
/// Visits simulated in all passes together: chance then moves a half-hour by about one in fifty, less than half as much as it
/// moves the log's own.
const VISITS: f64 = 150_000.0;
/// Least and most days of a replicate.
const DAYS: (f64, f64) = (7.0, 28.0);
/// How far milkings answer the hazard of cows that are due: see the top.
const DUE_POWER: f64 = 2.0;
/// A level moves by no more than this in a pass, log.
const MOST_LEVEL: f64 = 0.35;
/// A half-hour moves by no more than this in a pass, log.
const MOST_HALF: f64 = 0.7;

/// Moves a fitted setup's hazards until it shows what its log shows; left as it is where it cannot be simulated.
pub fn refine(setup: &mut Setup, log: &Log) {
    let shown = Shown::of(log);
    let Some(clock) = Clock::of(log) else { return };
    let cows = (shown.cows.round() as usize).max(1);
    let days_a_pass = VISITS / f64::from(PASSES) / clock.visits_a_day().max(1.0);
    let replicates = (days_a_pass / DAYS.1).ceil().max(1.0);
    let days = (days_a_pass / replicates).clamp(DAYS.0, DAYS.1).round();
    let pull: Vec<f64> = (0..HALVES).map(|half| setup.fed_as.pull((half as f64 + 0.5) / 2.0)).collect();
    let due = shares_due(setup);
    let first = setup.since_per_h.clone();
    let mut raw: Vec<f64> =
        setup.clock.iter().zip(&pull).map(|(clock, pull)| (clock * pull).max(1e-6).ln()).collect();
    let mut levels = [0.0, 0.0];
    let (mut room, never) = (Room::default(), AtomicBool::new(false));
    for pass in 0..=PASSES {
        let drive = smooth(&raw, clock.noise);
        let mean = drive.iter().map(|log| log.exp()).sum::<f64>() / HALVES as f64;
        setup.clock = drive.iter().zip(&pull).map(|(log, pull)| log.exp() / mean / pull).collect();
        setup.since_per_h = first
            .iter()
            .zip(&due)
            .map(|(hazard, due)| hazard * (levels[0] * due + levels[1] * (1.0 - due)).exp())
            .collect();
        if pass == PASSES {
            return;
        }
        let Ok(scenario) = setup.of_cows(cows).scenario() else { return };
        let ready = Ready::of(scenario);
        let mut gathered = Gathered::default();
        for replicate in 0..replicates as u32 {
            let days = Days { counted: days, ..Days::default() };
            let of = (7, pass * replicates as u32 + replicate);
            let Some(counted) = ready.replicate(days, of, &mut room, &never) else { return };
            gathered.add(&counted);
        }
        let step = if pass < WHOLE { 1.0 } else { 1.0 / f64::from(pass - WHOLE + 2) };
        let off = |observed: f64, figure: Figure| {
            let simulated = gathered.mean(figure).mean;
            if 0.0 < observed && 0.0 < simulated { (observed / simulated).ln() } else { 0.0 }
        };
        let milked =
            step * (DUE_POWER * off(shown.milkings, Figure::Milkings)).clamp(-MOST_LEVEL, MOST_LEVEL);
        levels[0] += milked;
        levels[1] += if log.tells_not_due {
            step * off(shown.turned_away, Figure::TurnedAway).clamp(-MOST_LEVEL, MOST_LEVEL)
        } else {
            milked
        };
        let off = clock.beside(&gathered.all.by_half);
        for ((raw, drive), off) in raw.iter_mut().zip(&drive).zip(&off) {
            let wanted = drive - mean.ln() + off.clamp(-MOST_HALF, MOST_HALF);
            *raw += step * (wanted - *raw);
        }
    }
}

/// Share of the cows whose shortest interval is over, by half-hours since the last milking.
fn shares_due(setup: &Setup) -> Vec<f64> {
    let Cows::Own(cows) = &setup.herd else { return vec![1.0; setup.since_per_h.len()] };
    let over = |half: usize| {
        let hours = (half as f64 + 0.5) / 2.0;
        cows.iter().filter(|cow| cow.minimum_h <= hours).count() as f64 / cows.len().max(1) as f64
    };
    (0..setup.since_per_h.len()).map(over).collect()
}
