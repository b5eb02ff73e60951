//! How much faster is the simulated pen than the same pen written for the event library most people use? Both in one
//! run: one box, free traffic, first come first served, no closures and nobody who fetches, for the library has no such
//! things of its own.

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::fmt::Write as _;
use std::process::Command;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use anyhow::{Context as _, anyhow, bail};
use cowpath_core::traffic::{
    Closures, Days, Drawn, Fetching, Figure, Pen, Queue, Room, Spread, Tables, Traffic, run,
};
use serde_json::json;

const THEIRS: &str = include_str!("simpy_race.py");
const COWS: usize = 60;
const DAYS: Days = Days { warm_up: 3.0, counted: 400.0 };

fn pen() -> Pen {
    let mut pen = Pen::usual(COWS, 1, Traffic::Free, Drawn::default());
    pen.closures = Closures::none();
    pen.fetching = Fetching { rounds_h: Vec::new(), ..Fetching::default() };
    pen.queue = Queue { rank_min: 0.0, ..Queue::default() };
    // Herds are the same cows in both: replicate 0 of seed 1.
    let mut cows = Vec::new();
    pen.stock.fill(&mut cows, 1, 0);
    pen.stock = cowpath_core::traffic::Stock::Own { count: cows.len(), of: std::sync::Arc::new(cows) };
    pen
}

/// Times both, prints and returns the comparison as Markdown; `PYTHON` names the interpreter, else `python3`.
pub fn race() -> anyhow::Result<String> {
    let pen = pen();
    let (tables, mut room, never) = (Tables::of(&pen), Room::default(), AtomicBool::new(false));
    let mut spreads = [Spread::default(); 4];
    let figures = [Figure::Milkings, Figure::TurnedAway, Figure::Wait, Figure::Idle];
    let (mut visits, replicates) = (0, 20);
    let begun = Instant::now();
    for replicate in 0..replicates {
        let counted =
            run(&pen, &tables, DAYS, (1, replicate), &mut room, &never).ok_or_else(|| anyhow!("stopped"))?;
        visits += counted.visits;
        spreads.iter_mut().zip(figures).for_each(|(spread, figure)| spread.add(counted.figure(figure)));
    }
    let ours_s = begun.elapsed().as_secs_f64();
    let theirs = theirs(&pen)?;
    let ratio = theirs[1] / theirs[2] / (ours_s / visits as f64);
    let mut text = String::from(
        "| | visits/s on one core | milkings a cow-day | turned away a cow-day | wait, min | idle share |\n|---|---|---|---|---|---|\n",
    );
    let own: Vec<String> = spreads
        .iter()
        .map(|spread| format!("{:.4} ± {:.4}", spread.mean().mean, spread.mean().half()))
        .collect();
    let _ = writeln!(
        text,
        "| `cowpath_core::traffic::run` | {:.0} | {} |",
        visits as f64 / ours_s,
        own.join(" | ")
    );
    let _ = writeln!(
        text,
        "| SimPy {}.{} | {:.0} | {:.4} | {:.4} | {:.4} | {:.4} |",
        theirs[0] as u32,
        ((theirs[0].fract() * 10.0).round()) as u32,
        theirs[2] / theirs[1],
        theirs[3],
        theirs[4],
        theirs[5],
        theirs[6]
    );
    let _ = write!(
        text,
        "\nRatio {ratio:.0} (asked: at least 100). {COWS} cows, one box, {:.0} days; ours {replicates} times with its 95 % interval, theirs once. One run, one core.\n",
        DAYS.counted
    );
    print!("{text}");
    Ok(text)
}

/// Version, seconds, visits, milkings, turned away, wait, idle.
fn theirs(pen: &Pen) -> anyhow::Result<[f64; 7]> {
    let mut cows = Vec::new();
    pen.stock.fill(&mut cows, 1, 0);
    let cows: Vec<_> = cows
        .iter()
        .map(|cow| {
            json!({"rate": cow.rate_kg_h, "kappa": cow.kappa_per_h, "flow": cow.flow_kg_min,
                   "minimum_h": cow.minimum_h, "frailty": cow.frailty, "pace": cow.pace})
        })
        .collect();
    let service = &pen.service;
    let words = json!({
        "cows": cows, "since": pen.coming.since_per_h, "hour": pen.coming.hour, "patience": pen.queue.patience_min,
        "days": DAYS.warm_up + DAYS.counted, "warm_up": DAYS.warm_up,
        "turned_away_min": service.turned_away_min, "failed_share": service.failed_share,
        "failed_min": service.failed_min, "failed_cv": service.failed_cv, "milk_cv": service.milk_cv,
        "handling_min": service.handling_min, "handling_cv": service.handling_cv, "flow_cv": service.flow_cv,
    });
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let ran = Command::new(&python).args(["-c", THEIRS, &words.to_string()]).output().with_context(|| {
        format!("{python} could not be started; install Python 3 or name it: PYTHON=… cargo xtask simpy-race")
    })?;
    if !ran.status.success() {
        bail!(
            "{python} did not simulate the pen:\n{}\nIf SimPy is missing: python3 -m venv venv && venv/bin/pip install simpy && PYTHON=venv/bin/python cargo xtask simpy-race",
            String::from_utf8_lossy(&ran.stderr).trim_end()
        );
    }
    let said = String::from_utf8_lossy(&ran.stdout);
    let words: Vec<&str> = said.split_whitespace().collect();
    let [version, rest @ ..] = &words[..] else { bail!("the Python side said nothing") };
    // 4.1.1 → 4.1
    let version: String = version.splitn(3, '.').take(2).collect::<Vec<_>>().join(".");
    let figures: Vec<f64> =
        [version.as_str()].iter().chain(rest).map(|word| word.parse::<f64>()).collect::<Result<_, _>>()?;
    figures
        .try_into()
        .map_err(|_| anyhow!("the Python side answered `{}`, seven words were expected", said.trim()))
}
