//! The herds that are measured on: simulated once, kept in a temporary folder, and farms made of them.

use std::{
    fs::{self, File},
    io::{BufRead, BufReader, BufWriter, Write},
    path::{Path, PathBuf},
};

use anyhow::Context as _;
use cowpath_herdsim::Scenario;

use super::{measure, room, word};

/// How large a herd, and how long its logs.
pub struct Size {
    /// Cows.
    pub cows: u32,
    /// Boxes.
    pub boxes: u32,
    /// Days.
    pub days: u32,
}

/// 180 cows × 3 years.
pub const SMALL: Size = Size { cows: 180, boxes: 3, days: 1095 };
/// 385 cows × 3 years: about 1.6 million visits.
pub const MIDDLE: Size = Size { cows: 385, boxes: 7, days: 1095 };
/// 2,000 cows × 1 year.
pub const LARGE: Size = Size { cows: 2000, boxes: 36, days: 365 };

const SEED: u64 = 11;
/// What counts as now: the herds' last rows are of that morning.
pub const NOW: &str = "2026-03-03T00:00:00Z";
/// What a day's rows are: those from the herds' last morning but one.
pub const LAST_DAY_FROM: &str = "2026-03-01T05:20";
/// The herds' zone.
const ZONE: &str = "America/New_York";

impl Size {
    /// As words.
    pub fn words(&self) -> String {
        format!("{} cows × {} days", self.cows, self.days)
    }

    fn name(&self) -> String {
        format!("{}x{}", self.cows, self.days)
    }
}

/// The folder of a herd's logs; made if it is not there yet.
pub fn logs(size: &Size) -> anyhow::Result<PathBuf> {
    let folder = room().join(size.name());
    let (logs, made) = (folder.join("logs"), folder.join("made"));
    if !made.exists() {
        eprintln!("  simulating {} …", size.words());
        fs::create_dir_all(&logs)?;
        let scenario = Scenario::demo(size.cows, size.boxes, size.days, SEED);
        cowpath_herdsim::write(&scenario, &logs, None)?;
        fs::write(&made, "")?;
    }
    Ok(logs)
}

/// The logs with the last day's rows apart: (all before, the last day).
pub fn logs_by_day(size: &Size) -> anyhow::Result<(PathBuf, PathBuf)> {
    let whole = logs(size)?;
    let folder = room().join(size.name());
    let (before, day, made) = (folder.join("before"), folder.join("day"), folder.join("split"));
    if !made.exists() {
        fs::create_dir_all(&before)?;
        fs::create_dir_all(&day)?;
        for entry in fs::read_dir(&whole)? {
            let path = entry?.path();
            let Some(name) = path.file_name() else { continue };
            split(&path, &before.join(name), &day.join(name))?;
        }
        fs::write(&made, "")?;
    }
    Ok((before, day))
}

/// Columns that say when a row is of.
const TIMES: [&str; 6] = ["started_at", "from", "at", "delivered_at", "collected_at", "on"];

fn split(whole: &Path, before: &Path, day: &Path) -> anyhow::Result<()> {
    let mut lines = BufReader::with_capacity(1 << 18, File::open(whole)?).lines();
    let header = lines.next().context("a log without a header")??;
    let time = TIMES.iter().find_map(|time| header.split(',').position(|word| word == *time));
    let Some(time) = time else {
        fs::copy(whole, before)?;
        return Ok(());
    };
    let mut early = BufWriter::new(File::create(before)?);
    let mut late = BufWriter::new(File::create(day)?);
    writeln!(early, "{header}")?;
    writeln!(late, "{header}")?;
    for line in lines {
        let line = line?;
        // All times of the herds are written in one form, so that their text is in order.
        let is_late = line.split(',').nth(time).is_some_and(|at| LAST_DAY_FROM <= at);
        writeln!(if is_late { &mut late } else { &mut early }, "{line}")?;
    }
    early.flush()?;
    late.flush()?;
    Ok(())
}

/// The files of a folder of logs.
pub fn files(logs: &Path) -> anyhow::Result<Vec<String>> {
    let mut files: Vec<String> = fs::read_dir(logs)?.flatten().map(|entry| word(&entry.path())).collect();
    files.sort();
    Ok(files)
}

/// An empty folder of that name.
pub fn fresh(name: &str) -> anyhow::Result<PathBuf> {
    let folder = room().join(name);
    if folder.exists() {
        fs::remove_dir_all(&folder)?;
    }
    fs::create_dir_all(&folder)?;
    Ok(folder)
}

/// Reads files into the farm of a folder.
pub fn import(program: &Path, farm: &Path, files: &[String]) -> anyhow::Result<measure::Took> {
    let farm = word(farm);
    let mut words = vec!["--farm", &farm, "--now", NOW, "import", "--zone", ZONE];
    words.extend(files.iter().map(String::as_str));
    measure::run(program, &words)
}

/// Makes the round of a farm, at a time or at its newest row.
pub fn round(program: &Path, farm: &Path, at: Option<&str>) -> anyhow::Result<measure::Took> {
    let farm = word(farm);
    let mut words = vec!["--farm", &farm, "--now", NOW, "round"];
    if let Some(at) = at {
        words.extend(["--at", at]);
    }
    measure::run(program, &words)
}

/// Rows of a file, without its header.
pub fn rows(file: &Path) -> anyhow::Result<u64> {
    let mut reader = BufReader::with_capacity(1 << 18, File::open(file)?);
    let mut rows = 0;
    loop {
        let block = reader.fill_buf()?;
        if block.is_empty() {
            break;
        }
        rows += block.iter().filter(|byte| **byte == b'\n').count() as u64;
        let length = block.len();
        reader.consume(length);
    }
    Ok(rows.saturating_sub(1))
}
