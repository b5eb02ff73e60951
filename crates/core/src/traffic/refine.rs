//! The last step of a fit: what waiting, closures and chance make of the hazards is simulated, and the hazards are moved
//! until simulated milkings and visits by hour meet the log's.
//!
//! # Equation
//! since ← since · (observed / simulated milkings a cow-day)^1.3,   hour ← hour · (observed / simulated visits of the hour)^0.8
//! a few times over, with the same chance each time. The hour's ratio is drawn to 1 by the visits of a day. Powers are
//! stated defaults: milkings answer the hazard less than in proportion, since a shortest interval stands before it.

use std::sync::atomic::AtomicBool;

use super::{
    counted::Figure,
    fit_log::{Log, Shown},
    gathered::{Gathered, Ready},
    pen::HALVES,
    run::{Days, Room},
    setup::Setup,
};

/// Passes.
const PASSES: usize = 3;
/// Replicates of a pass, and their days.
const REPLICATES: u32 = 3;
const DAYS: f64 = 28.0;

/// Moves a fitted setup's hazards until it shows what its log shows; left as it is where it cannot be simulated.
pub fn refine(setup: &mut Setup, log: &Log) {
    let shown = Shown::of(log);
    let cows = (shown.cows.round() as usize).max(1);
    let (mut room, never) = (Room::default(), AtomicBool::new(false));
    for _ in 0..PASSES {
        let Ok(scenario) = setup.of_cows(cows).scenario() else { return };
        let ready = Ready::of(scenario);
        let mut gathered = Gathered::default();
        for replicate in 0..REPLICATES {
            let days = Days { counted: DAYS, ..Days::default() };
            let Some(counted) = ready.replicate(days, (7, replicate), &mut room, &never) else { return };
            gathered.add(&counted);
        }
        let milkings = gathered.mean(Figure::Milkings).mean;
        if milkings <= 0.0 || shown.milkings <= 0.0 {
            return;
        }
        let level = (shown.milkings / milkings).powf(1.3).clamp(0.7, 1.4);
        setup.since_per_h.iter_mut().for_each(|hazard| *hazard *= level);
        // Visits a box and hour; of a whole day both have the same mean, so that the level stays what it is.
        let box_days = DAYS * f64::from(REPLICATES) * log.boxes.max(1) as f64;
        let simulated: Vec<f64> = gathered
            .all
            .by_half
            .chunks(HALVES / 24)
            .map(|pair| pair.iter().map(|count| f64::from(*count)).sum::<f64>() / box_days)
            .collect();
        let of_day = shown.by_hour.iter().sum::<f64>() / simulated.iter().sum::<f64>().max(1e-9);
        let days = (log.span.1 - log.span.0) / 1440.0;
        let before = setup.clock.iter().sum::<f64>();
        for (half, clock) in setup.clock.iter_mut().enumerate() {
            let hour = half * 24 / HALVES;
            let of_log = log.boxes.max(1) as f64 * days * shown.by_hour[hour];
            let expected = log.boxes.max(1) as f64 * days * simulated[hour] * of_day;
            let drawn = log.boxes.max(1) as f64 * 24.0;
            *clock *= ((of_log + drawn) / (expected + drawn)).powf(0.8).clamp(0.5, 2.0);
        }
        let after = setup.clock.iter().sum::<f64>();
        setup.clock.iter_mut().for_each(|clock| *clock *= before / after);
    }
}
