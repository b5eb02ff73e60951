//! How long does it take to know what was expected of every milking: three years from nothing, and a day more?

use std::{
    fs,
    path::{Path, PathBuf},
};

use anyhow::Context as _;
use cowpath_store::Farm;

use super::{
    Line, herd, line,
    measure::{self, Took},
    told, word,
};

/// Medians of three lay between 2.9 and 3.6 s on one machine within minutes: fewer runs say what luck they had.
const RUNS: usize = 15;

/// A round on a farm whose memories were forgotten: every visit is read and scored again. And one at the time by which a
/// tenth of them had come.
pub fn from_scratch(program: &Path) -> anyhow::Result<Vec<Line>> {
    let logs = herd::logs(&herd::MIDDLE)?;
    let farm = herd::fresh("scoring")?;
    let tables = ["visits.csv", "animals.csv", "events.csv"].map(|file| word(&logs.join(file)));
    herd::import(program, &farm, &tables)?;
    let rows = herd::rows(&logs.join("visits.csv"))?;
    let tenth_at = tenth(&logs.join("visits.csv"), rows / 10)?;
    let mut clocks = Vec::new();
    let whole = measure::median(
        |_| {
            let took = forgotten(program, &farm, None)?;
            clocks.push(took.clock_s);
            Ok(took)
        },
        RUNS,
    )?;
    clocks.sort_by(f64::total_cmp);
    let tenth = measure::median(|_| forgotten(program, &farm, Some(&tenth_at)), 3)?;
    let bound_s = whole.busiest_s.max(0.5 * whole.processor_s);
    let times = whole.processor_s / tenth.processor_s;
    Ok(vec![
        line(
            format!("{rows} visits scored from scratch, with the round"),
            format!(
                "{}; median of {RUNS}, {:.2} to {:.2} s by the clock; on two idle processors at least {bound_s:.2} s",
                whole.words(),
                clocks[0],
                clocks[RUNS - 1]
            ),
            "≤ 3 s on two processors",
            whole.clock_s <= 3.0,
        ),
        line(
            format!("ten times the rows: {rows} beside {}", rows / 10),
            format!(
                "{:.1} × the time by the clock ({:.2} s), {times:.1} × of processor",
                whole.clock_s / tenth.clock_s,
                tenth.clock_s
            ),
            "≤ 11 ×",
            whole.clock_s / tenth.clock_s <= 11.0,
        ),
    ])
}

fn forgotten(program: &Path, farm: &Path, at: Option<&str>) -> anyhow::Result<Took> {
    Farm::open(farm)?.forget_checkpoints()?;
    herd::round(program, farm, at)
}

/// When the visit of that number began.
fn tenth(visits: &Path, number: u64) -> anyhow::Result<String> {
    use std::io::BufRead as _;
    let file = std::io::BufReader::new(fs::File::open(visits)?);
    let row = file.lines().nth(number as usize).context("fewer visits than asked for")??;
    row.split(',').nth(2).map(str::to_owned).context("a visit without a beginning")
}

/// A farm that has made the round of all days but the last, and the logs of that day.
pub fn known(program: &Path, size: &herd::Size) -> anyhow::Result<(PathBuf, PathBuf)> {
    let (before, day) = herd::logs_by_day(size)?;
    let base = herd::fresh("day-base")?;
    herd::import(program, &base, &herd::files(&before)?)?;
    herd::round(program, &base, None)?;
    Ok((base, day))
}

/// A day's rows into a farm of three years, and its round.
pub fn day(program: &Path) -> anyhow::Result<Vec<Line>> {
    let (base, day) = known(program, &herd::SMALL)?;
    let all = herd::files(&day)?;
    let visits = vec![word(&day.join("visits.csv"))];
    let mut lines = Vec::new();
    for (what, files) in [("all tables", &all), ("visits alone", &visits)] {
        let (mut imports, mut rounds) = (Vec::new(), Vec::new());
        let both = measure::median(
            |_| {
                let farm = herd::fresh("day")?;
                let file = farm.join(cowpath_store::FILE_NAME);
                fs::copy(base.join(cowpath_store::FILE_NAME), &file)?;
                // Else the copy's own bytes would be written out when the program seals what it wrote.
                fs::File::open(&file)?.sync_all()?;
                let (import, round) =
                    (herd::import(program, &farm, files)?, herd::round(program, &farm, None)?);
                imports.push(import.clock_s);
                rounds.push(round.clock_s);
                Ok(Took {
                    clock_s: import.clock_s + round.clock_s,
                    processor_s: import.processor_s + round.processor_s,
                    busiest_s: import.busiest_s + round.busiest_s,
                    peak_mb: import.peak_mb.max(round.peak_mb),
                })
            },
            7,
        )?;
        imports.sort_by(f64::total_cmp);
        rounds.sort_by(f64::total_cmp);
        let ms = |s: f64| format!("{:.0} ms", 1000.0 * s);
        lines.push(line(
            format!("a day's rows into {} and the round, two processes, {what}", herd::SMALL.words()),
            format!(
                "{} by the clock (import {}, round {}), {} of processor",
                ms(both.clock_s),
                ms(imports[3]),
                ms(rounds[3]),
                ms(both.processor_s)
            ),
            "≤ 300 ms",
            both.clock_s <= 0.3,
        ));
    }
    // The file as it stands on the disk.
    let bytes = fs::metadata(base.join(cowpath_store::FILE_NAME))?.len();
    lines.push(told(format!("the farm's file, {}", herd::SMALL.words()), format!("{} MB", bytes >> 20)));
    Ok(lines)
}
