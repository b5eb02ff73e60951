//! What a plan of a farm starts from: its own cows, boxes and habits of coming, where its logs tell of them; and how the
//! pens so simulated stand beside the log.

use std::sync::{Arc, atomic::AtomicBool};

use cowpath_core::traffic::{
    Cow, Cows, Days, Figure, Gathered, Ready, Room, Setup,
    fit::fit,
    fit_log::{Log, Shown, hour_errors},
};
use jiff::SignedDuration;
use serde::Serialize;

use super::{cast::Cast, farm::Barn, pen_log, plan_cows, plan_fetch, planning::Ground};
use crate::trouble::user;

/// Days of the log that are fitted.
const SPAN: SignedDuration = SignedDuration::from_hours(28 * 24);
/// Replicates and days with which the fitted pens are held beside the log.
const HELD: (u32, f64) = (4, 28.0);
/// Replicates with which days are foretold: nobody waits for them, and their chance is not to be taken for a miss.
const FORETOLD: u32 = 24;

/// A figure of the log and of the fitted pens.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Beside {
    /// What.
    pub what: &'static str,
    /// In the log.
    pub observed: f64,
    /// Simulated.
    pub simulated: f64,
}

/// The farm as it is.
pub fn of(barn: &Barn) -> anyhow::Result<Ground> {
    let ways = barn.ways()?;
    let mut ground = Ground::stated();
    (ground.farm, ground.units) = (ways.name.clone(), ways.units);
    ground.terms = barn.store.settings()?.terms;
    let Some(at) = barn.store.last_row_at()? else { return Ok(ground) };
    let cast = Cast::read(barn, &ways.zone)?;
    let from = at.saturating_sub(SPAN)?;
    let log = pen_log::read(barn, &cast, &ways.zone, (from, at))?;
    let log = without_empty_days(log);
    let days = (log.span.1 - log.span.0) / 1440.0;
    match fit(&log) {
        Ok(setup) if 0 < setup.cows => {
            ground.basis = format!("{days:.0} days of the farm’s own log");
            ground.fitted = true;
            ground.beside = beside(&setup, &log);
            ground.notes = notes(&log);
            ground.cows_now = Some(setup.cows);
            ground.setup = setup;
        }
        Ok(_) => {
            ground.notes.insert(0, "No cow of the log has enough milkings: stated defaults stand in.".into())
        }
        Err(why) => {
            ground.notes = vec![
                format!("Too little to fit the farm’s own pens: {why}. Stated defaults stand in."),
                "Cows, visits and coming are as in published herds, and what nobody published is a stated default."
                    .into(),
            ];
            // How many cows and boxes there are is known after a day.
            let shown = Shown::of(&log);
            if 0.0 < shown.cows && 0 < log.boxes {
                let cows = shown.cows.round().max(1.0) as usize;
                ground.setup = Setup::usual(cows, log.boxes);
                ground.cows_now = Some(cows);
            }
        }
    }
    plan_fetch::settle(barn, &mut ground, (from, at), &ways.zone)?;
    plan_cows::settle(barn, &cast, &mut ground, at)?;
    Ok(ground)
}

/// A log that begins later than the span does is that much shorter.
fn without_empty_days(mut log: Log) -> Log {
    if let Some(first) = log.stays.first() {
        log.span.0 = log.span.0.max(first.from);
    }
    log
}

fn notes(log: &Log) -> Vec<String> {
    let mut notes = vec![
        "Patience, rank and how far feed pulls cows stand in no log: they are stated defaults.".to_owned(),
    ];
    if !log.tells_not_due {
        notes.push(
            "The log tells of no cow that was turned away: shortest intervals are taken from her milkings."
                .into(),
        );
    }
    if !log.tells_shut {
        notes.push(
            "The log tells of no cleaning, service or fault: their time counts as idle, as in the log."
                .into(),
        );
    }
    notes
}

/// The fitted pens beside the log they were fitted to.
pub fn beside(setup: &Setup, log: &Log) -> Vec<Beside> {
    let shown = Shown::of(log);
    let Some(gathered) = simulated(setup, shown.cows.round() as usize, HELD.0) else { return Vec::new() };
    compared(&shown, &gathered, log.boxes)
}

/// Replicates of a setup with so many cows.
fn simulated(setup: &Setup, cows: usize, replicates: u32) -> Option<Gathered> {
    let ready = Ready::of(setup.of_cows(cows.max(1)).scenario().ok()?);
    let (mut room, never) = (Room::default(), AtomicBool::new(false));
    let mut gathered = Gathered::default();
    for replicate in 0..replicates {
        let days = Days { counted: HELD.1, ..Days::default() };
        gathered.add(&ready.replicate(days, (1, replicate), &mut room, &never)?);
    }
    Some(gathered)
}

/// Figures of a log beside simulated ones.
pub fn compared(shown: &Shown, gathered: &Gathered, boxes: usize) -> Vec<Beside> {
    let mean = |figure: Figure| gathered.mean(figure).mean;
    let mut all = vec![
        Beside { what: "milkings a cow-day", observed: shown.milkings, simulated: mean(Figure::Milkings) },
        Beside {
            what: "turned away a cow-day",
            observed: shown.turned_away,
            simulated: mean(Figure::TurnedAway),
        },
        Beside { what: "milk a cow-day, kg", observed: shown.milk_kg, simulated: mean(Figure::MilkCow) },
        Beside { what: "mean interval, h", observed: shown.interval_h, simulated: mean(Figure::Interval) },
        Beside {
            what: "interval, 10th percentile, h",
            observed: shown.interval_low_h,
            simulated: mean(Figure::IntervalLow),
        },
        Beside {
            what: "interval, 90th percentile, h",
            observed: shown.interval_high_h,
            simulated: mean(Figure::IntervalHigh),
        },
        Beside { what: "idle share", observed: shown.idle, simulated: mean(Figure::Idle) },
    ];
    let box_days = HELD.1 * gathered.count() as f64 * boxes.max(1) as f64;
    let hours = [
        "visits a box, 0 to 6 h",
        "visits a box, 6 to 12 h",
        "visits a box, 12 to 18 h",
        "visits a box, 18 to 24 h",
    ];
    for (part, what) in hours.into_iter().enumerate() {
        let observed = shown.by_hour[6 * part..6 * (part + 1)].iter().sum();
        let counts = &gathered.all.by_half[12 * part..12 * (part + 1)];
        let simulated = counts.iter().map(|count| f64::from(*count)).sum::<f64>() / box_days;
        all.push(Beside { what, observed, simulated });
    }
    all
}

/// A fit held beside days that it did not see.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Foretold {
    /// Days that were fitted.
    pub fitted_days: f64,
    /// Days that were foretold.
    pub foretold_days: f64,
    /// Cows in milk in either.
    pub cows: [f64; 2],
    /// Figures of the days foretold.
    pub beside: Vec<Beside>,
    /// Visits a box and hour of the clock: in the log, simulated.
    pub by_hour: Vec<(f64, f64)>,
    /// The same in the days that were fitted: how far two stretches of one log lie apart by chance.
    pub by_hour_before: Vec<f64>,
    /// By how much chance alone moves the log's visits of each hour, standard errors over their means.
    pub by_hour_error: Vec<f64>,
    /// Simulated idle share, had it been known how much milk the cows would give.
    pub idle_with_milk_known: f64,
}

/// Fits the days before the last `days`, and holds them beside these last days, with as many cows as there were then.
///
/// # Errors
/// Where there is too little to fit.
pub fn foretold(barn: &Barn, days: u32) -> anyhow::Result<Foretold> {
    let nothing = "nothing was changed";
    let ways = barn.ways()?;
    let at = barn
        .store
        .last_row_at()?
        .ok_or_else(|| user("no rows have been read yet", nothing, "read the logs of your boxes first"))?;
    let cast = Cast::read(barn, &ways.zone)?;
    let span = SignedDuration::from_hours(24 * i64::from(days));
    let between = at.saturating_sub(span)?;
    let read = |from, to| pen_log::read(barn, &cast, &ways.zone, (from, to));
    let before = without_empty_days(read(between.saturating_sub(span)?, between)?);
    let after = read(between, at)?;
    let setup =
        fit(&before).map_err(|why| user(why.to_string(), nothing, "read more days, or foretell fewer"))?;
    let shown = Shown::of(&after);
    let of = |setup: &Setup| {
        simulated(setup, shown.cows.round() as usize, FORETOLD)
            .ok_or_else(|| user("the days that were fitted give no pen", nothing, "read more days"))
    };
    let gathered = of(&setup)?;
    let more = shown.milk_kg / gathered.mean(Figure::MilkCow).mean.max(1e-9);
    let milked = of(&with_milk(&setup, more))?;
    let box_days = HELD.1 * f64::from(FORETOLD) * after.boxes.max(1) as f64;
    let simulated = gathered
        .all
        .by_half
        .chunks(2)
        .map(|pair| pair.iter().map(|count| f64::from(*count)).sum::<f64>() / box_days);
    Ok(Foretold {
        fitted_days: (before.span.1 - before.span.0) / 1440.0,
        foretold_days: (after.span.1 - after.span.0) / 1440.0,
        cows: [Shown::of(&before).cows, shown.cows],
        beside: compared(&shown, &gathered, after.boxes),
        by_hour: shown.by_hour.iter().copied().zip(simulated).collect(),
        by_hour_before: Shown::of(&before).by_hour,
        by_hour_error: hour_errors(&after),
        idle_with_milk_known: milked.mean(Figure::Idle).mean,
    })
}

/// A setup whose own cows give so many times the milk.
fn with_milk(setup: &Setup, more: f64) -> Setup {
    let Cows::Own(own) = &setup.herd else { return setup.clone() };
    let cows = own.iter().map(|cow| Cow { rate_kg_h: more * cow.rate_kg_h, ..*cow });
    Setup { herd: Cows::Own(Arc::new(cows.collect())), ..setup.clone() }
}
