//! What did a run of a program take: by the clock, of the processor, and of memory at its peak?

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::{
    collections::BTreeMap,
    fs,
    path::Path,
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use anyhow::{Context as _, bail};

/// What one run took. Zero where the system does not tell (it is asked by way of `/proc`).
#[derive(Debug, Clone, Copy, Default)]
pub struct Took {
    /// By the clock, s.
    pub clock_s: f64,
    /// Processor time of all threads, user and system, s.
    pub processor_s: f64,
    /// Processor time of the busiest thread, s.
    pub busiest_s: f64,
    /// Most memory resident at once, MB.
    pub peak_mb: f64,
}

impl Took {
    /// As words for a table.
    pub fn words(&self) -> String {
        format!(
            "{:.2} s by the clock, {:.2} s of processor, {:.2} s of it the busiest thread",
            self.clock_s, self.processor_s, self.busiest_s
        )
    }
}

/// How often a running program is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(2);

/// Runs a program to its end; its output goes nowhere.
///
/// # Errors
/// When it cannot be started or does not end well.
pub fn run(program: &Path, words: &[&str]) -> anyhow::Result<Took> {
    let before_s = children_s();
    let began = Instant::now();
    let mut child = Command::new(program)
        .args(words)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .with_context(|| format!("{} could not be started", program.display()))?;
    let mut threads: BTreeMap<String, f64> = BTreeMap::new();
    let mut took = Took::default();
    let ended = loop {
        look(&child, &mut threads, &mut took);
        if let Some(ended) = child.try_wait()? {
            break ended;
        }
        thread::sleep(LOOK_EVERY);
    };
    took.clock_s = began.elapsed().as_secs_f64();
    took.processor_s = children_s() - before_s;
    took.busiest_s = threads.values().copied().fold(0.0, f64::max);
    if !ended.success() {
        bail!("{} {} ended with {ended}", program.display(), words.join(" "));
    }
    Ok(took)
}

/// Of several runs each figure's median.
pub fn median(mut runs: impl FnMut(usize) -> anyhow::Result<Took>, times: usize) -> anyhow::Result<Took> {
    let all = (0..times).map(&mut runs).collect::<anyhow::Result<Vec<Took>>>()?;
    let of = |get: fn(&Took) -> f64| {
        let mut own: Vec<f64> = all.iter().map(get).collect();
        own.sort_by(f64::total_cmp);
        own.get(own.len() / 2).copied().unwrap_or(0.0)
    };
    Ok(Took {
        clock_s: of(|took| took.clock_s),
        processor_s: of(|took| took.processor_s),
        busiest_s: of(|took| took.busiest_s),
        peak_mb: of(|took| took.peak_mb),
    })
}

fn look(child: &Child, threads: &mut BTreeMap<String, f64>, took: &mut Took) {
    let own = format!("/proc/{}", child.id());
    if let Ok(status) = fs::read_to_string(format!("{own}/status"))
        && let Some(line) = status.lines().find(|line| line.starts_with("VmHWM"))
        && let Some(kb) = line.split_whitespace().nth(1).and_then(|kb| kb.parse::<f64>().ok())
    {
        took.peak_mb = took.peak_mb.max(kb / 1024.0);
    }
    let Ok(tasks) = fs::read_dir(format!("{own}/task")) else { return };
    for task in tasks.flatten() {
        let told = fs::read_to_string(task.path().join("schedstat")).unwrap_or_default();
        if let Some(ns) = told.split_whitespace().next().and_then(|ns| ns.parse::<f64>().ok()) {
            let own = threads.entry(task.file_name().to_string_lossy().into_owned()).or_default();
            *own = own.max(ns * 1e-9);
        }
    }
}

/// Processor time of all programs started by this one that have ended, s; in hundredths.
fn children_s() -> f64 {
    ticks_s("/proc/self/stat", 13) + ticks_s("/proc/self/stat", 14)
}

/// Processor time a running program has used so far, s.
pub fn running_s(child: &Child) -> f64 {
    let stat = format!("/proc/{}/stat", child.id());
    ticks_s(&stat, 11) + ticks_s(&stat, 12)
}

fn ticks_s(stat: &str, place: usize) -> f64 {
    let told = fs::read_to_string(stat).unwrap_or_default();
    let ticks =
        told.rsplit(')').next().and_then(|rest| rest.split_whitespace().nth(place)?.parse::<f64>().ok());
    ticks.unwrap_or(0.0) / 100.0
}

/// Numbers that each thread of the yardstick puts in order.
pub const YARDSTICK_OF: usize = 2_000_000;

/// How long two threads take to put so many numbers each in order, by the clock, s: the same work whatever the program does, so that
/// what is measured beside it tells the program's pace from the machine's.
pub fn yardstick_s() -> f64 {
    let work = |seed: u64| {
        // A linear congruence: the same numbers on any machine.
        let next = |number: &u64| {
            Some(number.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407))
        };
        let mut numbers: Vec<u64> =
            std::iter::successors(Some(seed), next).take(YARDSTICK_OF).map(|number| number >> 16).collect();
        numbers.sort_unstable();
        std::hint::black_box(numbers);
    };
    let began = Instant::now();
    thread::scope(|scope| {
        scope.spawn(|| work(1));
        work(2);
    });
    began.elapsed().as_secs_f64()
}

/// The machine in one line: how many processors, and how busy they were.
pub fn machine() -> String {
    let processors = thread::available_parallelism().map_or(1, usize::from);
    let load = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let waiting = load.split_whitespace().nth(1).unwrap_or("?").to_owned();
    format!(
        "{processors} processors; over the last five minutes, this run's included, {waiting} threads wanted one at a time."
    )
}
