//! How long until the best intervals, and until a plan of many herd sizes, are reckoned?

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::{path::Path, time::Instant};

use anyhow::anyhow;
use cowpath_core::minutes::intervals::{Cow, at_worth, best, least_minutes};

use super::{Line, herd, line, measure, told, word};

/// Runs of which the median stands.
const RUNS: usize = 21;
/// Worth of a kilogram of milk; the choice takes as long at any other.
const WORTH_KG: f64 = 0.33;

/// The choice of each cow's interval for 2,000 cows, the whole command on a farm, and the capacity plan.
pub fn speed(program: &Path) -> anyhow::Result<Vec<Line>> {
    Ok(vec![choice(2000)?, command(program)?, plan(program)?])
}

/// The pure choice: box minutes midway between the least and those of the shortest intervals.
fn choice(cows: u32) -> anyhow::Result<Line> {
    // Spread evenly over plausible ranges, by irrational steps: no chance, and no two alike.
    let at = |cow: u32, step: f64, low: f64, high: f64| low + (high - low) * (f64::from(cow) * step).fract();
    let herd: Vec<Cow> = (0..cows)
        .map(|cow| Cow {
            rate_kg_h: at(cow, 0.618_033_988, 0.7, 2.2),
            kappa_per_h: 0.038,
            handling_min: at(cow, 0.414_213_562, 1.8, 4.0),
            flow_kg_min: at(cow, 0.732_050_808, 1.4, 3.6),
            low_h: at(cow, 0.236_067_977, 4.0, 9.0),
            high_h: 14.0,
        })
        .collect();
    let minutes = 0.5 * (least_minutes(&herd) + at_worth(&herd, WORTH_KG, 0.0).minutes);
    let mut taken_ms = Vec::new();
    for _ in 0..RUNS {
        let begun = Instant::now();
        let found = best(&herd, WORTH_KG, minutes).map_err(|trouble| anyhow!("no intervals: {trouble:?}"))?;
        taken_ms.push(begun.elapsed().as_secs_f64() * 1000.0);
        if 1e-6 * minutes < (found.minutes - minutes).abs() {
            return Err(anyhow!("the choice fills {} minutes of {minutes}", found.minutes));
        }
    }
    taken_ms.sort_by(f64::total_cmp);
    let ms = taken_ms[RUNS / 2];
    Ok(line(
        format!("best intervals of {cows} cows, the choice alone"),
        format!("{ms:.1} ms (median of {RUNS}) by the clock, one processor"),
        "≤ 100 ms",
        ms <= 100.0,
    ))
}

/// The command on a farm: its records are read and each cow's habits learned before anything is chosen.
fn command(program: &Path) -> anyhow::Result<Line> {
    let size = herd::Size { cows: 2000, boxes: 36, days: 60 };
    let farm = herd::fresh("choices")?;
    herd::import(program, &farm, &herd::files(&herd::logs(&size)?)?)?;
    herd::round(program, &farm, None)?;
    let farm = word(&farm);
    let took =
        measure::median(|_| measure::run(program, &["--farm", &farm, "--now", herd::NOW, "intervals"]), 3)?;
    Ok(told(
        format!("`intervals`, whole process, records read and habits learned, {}", size.words()),
        took.words(),
    ))
}

/// Thirty herd sizes of 60 to 176 cows at two boxes, 20 replicates of 60 days each, on stated defaults.
fn plan(program: &Path) -> anyhow::Result<Line> {
    let farm = word(&herd::fresh("plan")?);
    let words =
        ["--farm", &farm, "plan", "--stated", "--boxes", "2", "--cows", "60-176/4", "--replicates", "20"];
    let took = measure::median(|_| measure::run(program, &words), 3)?;
    Ok(line(
        "capacity plan: 30 herd sizes × 20 replicates × 60 days",
        format!("{}; whole process, median of 3", took.words()),
        "≤ 5 s on two processors",
        took.clock_s <= 5.0,
    ))
}
