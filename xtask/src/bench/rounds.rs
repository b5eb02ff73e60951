//! How long does a round take: of a large herd, from nothing, of past days, and by cows?

use std::{
    fs,
    path::{Path, PathBuf},
};

use cowpath_store::Farm;

use super::{
    Line,
    herd::{self, Size},
    line,
    measure::{self, Took},
    scoring, told,
};

/// 180 cows × 1 year.
const YEAR: Size = Size { cows: 180, boxes: 3, days: 365 };
/// 120 cows × 1 year.
const PAST: Size = Size { cows: 120, boxes: 2, days: 365 };
/// Past days, each asked for once and before anything was asked for near it.
const PAST_AT: [&str; 3] = ["2025-12-20T05:30-05:00", "2025-09-10T05:30-04:00", "2025-05-01T05:30-04:00"];
/// Runs of what is repeated.
const RUNS: usize = 5;

/// 2,000 cows: a day's rows are in, the state of the days before was kept; the round of that morning. A yardstick between its runs
/// tells how fast the machine was meanwhile.
pub fn large(program: &Path) -> anyhow::Result<Vec<Line>> {
    let farm = this_morning(program, &herd::LARGE)?;
    let mut yardsticks = vec![measure::yardstick_s()];
    let took = measure::median(
        |_| {
            let took = herd::round(program, &farm, None)?;
            yardsticks.push(measure::yardstick_s());
            Ok(took)
        },
        RUNS,
    )?;
    yardsticks.sort_by(f64::total_cmp);
    let yardstick_s = yardsticks[yardsticks.len() / 2];
    let yardstick = told(
        format!("beside it, two threads that put {} numbers each in order", measure::YARDSTICK_OF),
        format!(
            "{yardstick_s:.3} s by the clock, median of {} between its runs: the round is {:.1} of them",
            yardsticks.len(),
            took.clock_s / yardstick_s
        ),
    );
    let round = line(
        format!("round from the day's state, {}", herd::LARGE.words()),
        format!("{}; whole process, median of {RUNS}; {:.0} MB at its peak", took.words(), took.peak_mb),
        "≤ 1 s on two processors",
        took.clock_s <= 1.0,
    );
    Ok(vec![round, yardstick])
}

/// A year from nothing: logs of all kinds are read, no memory is kept.
pub fn year(program: &Path) -> anyhow::Result<Vec<Line>> {
    let farm = herd::fresh("year")?;
    herd::import(program, &farm, &herd::files(&herd::logs(&YEAR)?)?)?;
    let took = measure::median(
        |_| {
            Farm::open(&farm)?.forget_checkpoints()?;
            herd::round(program, &farm, None)
        },
        RUNS,
    )?;
    Ok(vec![line(
        format!("round from scratch, {}", YEAR.words()),
        format!("{}; median of {RUNS}; {:.0} MB at its peak", took.words(), took.peak_mb),
        "≤ 10 s on two processors",
        took.clock_s <= 10.0,
    )])
}

/// Rounds of past days, on a farm whose newest round was made.
pub fn past(program: &Path) -> anyhow::Result<Vec<Line>> {
    let farm = herd::fresh("past")?;
    herd::import(program, &farm, &herd::files(&herd::logs(&PAST)?)?)?;
    herd::round(program, &farm, None)?;
    let mut lines = Vec::new();
    for at in PAST_AT {
        let took = herd::round(program, &farm, Some(at))?;
        lines.push(line(
            format!("`round --at {at}`, {}", PAST.words()),
            format!("{}; asked for the first time", took.words()),
            "≤ 1 s",
            took.clock_s <= 1.0,
        ));
    }
    Ok(lines)
}

/// Herds of twice the cows each, two months of logs: time and memory of the round from scratch, and of the morning's.
pub fn by_cows(program: &Path) -> anyhow::Result<Vec<Line>> {
    let mut lines = Vec::new();
    let mut smaller: Option<(Took, Took, u32)> = None;
    for (cows, boxes) in [(250, 5), (500, 9), (1000, 18), (2000, 36)] {
        let size = Size { cows, boxes, days: 60 };
        let morning = morning(program, &size)?;
        let farm = scoring::known(program, &size)?.0;
        let scratch = measure::median(
            |_| {
                Farm::open(&farm)?.forget_checkpoints()?;
                herd::round(program, &farm, None)
            },
            3,
        )?;
        for (what, took, before) in [
            ("the morning's round", &morning, smaller.as_ref().map(|(morning, _, cows)| (morning, cows))),
            ("round from scratch", &scratch, smaller.as_ref().map(|(_, scratch, cows)| (scratch, cows))),
        ] {
            let beside = before.map_or_else(String::new, |(before, cows)| {
                format!(
                    "; {:.1} × the time and {:.1} × the memory of {cows} cows",
                    took.clock_s / before.clock_s,
                    took.peak_mb / before.peak_mb
                )
            });
            lines.push(told(
                format!("{what}, {}", size.words()),
                format!("{}, {:.0} MB at its peak{beside}", took.words(), took.peak_mb),
            ));
        }
        smaller = Some((morning, scratch, cows));
    }
    Ok(lines)
}

/// The round of a morning.
fn morning(program: &Path, size: &Size) -> anyhow::Result<Took> {
    let farm = this_morning(program, size)?;
    measure::median(|_| herd::round(program, &farm, None), RUNS)
}

/// A farm whose day's rows were read in after the round before was made, and nothing else.
fn this_morning(program: &Path, size: &Size) -> anyhow::Result<PathBuf> {
    let (base, day) = scoring::known(program, size)?;
    let farm = herd::fresh("morning")?;
    // The base is not needed again as it is; a farm of a year is a large file to copy.
    fs::rename(base.join(cowpath_store::FILE_NAME), farm.join(cowpath_store::FILE_NAME))?;
    herd::import(program, &farm, &herd::files(&day)?)?;
    Ok(farm)
}
