//! Who comes by herself? Simulated herds, asked twice a day by `cowpath bring-in --at`, against what their logs and the
//! truth beside them say of the hours after.
//!
//! Each herd is made twice of one seed: as farms do it, with people who bring in long-overdue cows four times a day; and
//! with nobody who brings any, so that the logs alone tell who comes by herself. The program is asked at 05:30 and 16:00
//! of every day after the herd has been known for 30 days, and knows nothing later.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use anyhow::Context as _;
use cowpath_herdsim::Scenario;
use jiff::{SignedDuration, Timestamp, ToSpan};
use serde_json::Value;

use crate::program::{asked, program};

const KNOWN_DAYS: i64 = 30;
const TABLES: [&str; 4] = ["animals", "events", "visits", "box-states"];
const HOURS: [i64; 3] = [2, 4, 8];

/// From when until when.
type Span = (Timestamp, Timestamp);

/// Chances of one horizon held against what came: (stated, came).
#[derive(Default)]
struct Pairs(Vec<(f64, bool)>);

impl Pairs {
    fn base(&self) -> f64 {
        self.0.iter().filter(|(_, came)| *came).count() as f64 / self.0.len().max(1) as f64
    }

    /// Brier score, and that of stating the share that came to everybody.
    fn brier(&self) -> (f64, f64) {
        let n = self.0.len().max(1) as f64;
        let score = self.0.iter().map(|(p, came)| (p - f64::from(*came)).powi(2)).sum::<f64>() / n;
        (score, self.base() * (1.0 - self.base()))
    }

    /// By fifth of the stated chance: stated, came, number.
    fn fifths(&self) -> [(f64, f64, usize); 5] {
        let mut out = [(0.0, 0.0, 0); 5];
        for (p, came) in &self.0 {
            let bin = &mut out[((p * 5.0) as usize).min(4)];
            *bin = (bin.0 + p, bin.1 + f64::from(*came), bin.2 + 1);
        }
        out.map(|(p, came, n)| (p / n.max(1) as f64, came / n.max(1) as f64, n))
    }

    /// Mean gap of stated and came over the fifths, by their number.
    fn gap(&self) -> f64 {
        let n = self.0.len().max(1) as f64;
        self.fifths().iter().map(|(p, came, count)| (p - came).abs() * *count as f64 / n).sum()
    }
}

/// What a way of choosing gave: chosen, came by herself within 2, 4 and 8 h, hours until she came (at most 24).
#[derive(Default)]
struct Choice {
    chosen: f64,
    came: [f64; 3],
    hours: f64,
    late: f64,
}

#[derive(Default)]
struct Sums {
    milked: [Pairs; 3],
    alone: [Pairs; 3],
    censored: [usize; 3],
    unfetched: [Pairs; 3],
    rule: Choice,
    own: Choice,
    days: f64,
    listed: f64,
}

/// Runs herds of these seeds and gives the text of the figures.
pub fn run(seeds: &[u64], cows: u32, days: u32) -> anyhow::Result<String> {
    let program = program()?;
    let mut sums = Sums::default();
    for seed in seeds {
        for fetched in [true, false] {
            let scenario = Scenario { fetched, ..Scenario::demo(cows, 2, days, *seed) };
            let dir = std::env::temp_dir().join(format!("cowpath-bring-{seed}-{}", std::process::id()));
            let done = herd(&program, &scenario, &dir, &mut sums);
            let _ = std::fs::remove_dir_all(&dir);
            done.with_context(|| format!("herd of seed {seed}"))?;
        }
        eprintln!("{}", text(&sums, &[*seed], cows, days));
    }
    Ok(text(&sums, seeds, cows, days))
}

fn herd(program: &Path, scenario: &Scenario, dir: &Path, sums: &mut Sums) -> anyhow::Result<()> {
    let (logs, truth, farm) = (dir.join("logs"), dir.join("truth"), dir.join("farm"));
    cowpath_herdsim::write(scenario, &logs, Some(&truth))?;
    asked(program, &farm, &["settings", "--zone", scenario.zone.iana_name().unwrap_or("UTC")])?;
    let files: Vec<String> =
        TABLES.iter().map(|table| logs.join(format!("{table}.csv")).display().to_string()).collect();
    let mut words = vec!["import"];
    words.extend(files.iter().map(String::as_str));
    asked(program, &farm, &words)?;
    let milkings = times(&logs.join("visits.csv"), ["started_at", "ended_at"], &|outcome| {
        matches!(outcome, Some("milked" | "incomplete"))
    })?;
    let brought = times(&truth.join("brought.csv"), ["at", "at"], &|_| true)?;
    let end = milkings.values().flatten().map(|(_, until)| *until).max().unwrap_or(Timestamp::MIN);
    let mut day = scenario.last_day.checked_sub((i64::from(scenario.days) - KNOWN_DAYS).days())?;
    while day < scenario.last_day {
        for (hour, minute) in [(5, 30), (16, 0)] {
            let at = day.at(hour, minute, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp();
            if end < at.saturating_add(SignedDuration::from_hours(24))? {
                continue;
            }
            let words = ["bring-in", "--format", "json", "--at", &at.to_string()];
            let list: Value = serde_json::from_slice(&asked(program, &farm, &words)?)?;
            let all = |key: &str| list[key].as_array().cloned().unwrap_or_default();
            let bring = all("bring");
            let cows: Vec<Value> = bring.iter().cloned().chain(all("rest")).collect();
            if scenario.fetched {
                sums.days += 0.5;
                sums.listed += bring.len() as f64;
            }
            take(&cows, at, scenario.fetched, &milkings, &brought, sums);
        }
        day = day.checked_add(1.day())?;
    }
    Ok(())
}

fn take(
    cows: &[Value],
    at: Timestamp,
    fetched: bool,
    milkings: &BTreeMap<String, Vec<Span>>,
    brought: &BTreeMap<String, Vec<Span>>,
    sums: &mut Sums,
) {
    // Herd number, hours, need, hours until the next milking.
    let mut herd: Vec<(f64, f64, f64)> = Vec::new();
    for cow in cows {
        let animal = cow["animal"].as_str().unwrap_or_default();
        let figure = |key: &str| cow[key].as_f64().unwrap_or(0.0);
        let after = |all: &BTreeMap<String, Vec<Span>>| {
            let (from, _) = all.get(animal)?.iter().find(|(_, until)| at < *until)?;
            // She stands in the box already where she went in before.
            Some((from.duration_since(at).as_secs_f64() / 3600.0).max(0.0))
        };
        let milked = after(milkings).unwrap_or(f64::INFINITY);
        let fetch = after(brought).unwrap_or(f64::INFINITY);
        for (place, hours) in HOURS.into_iter().enumerate() {
            let within = milked <= hours as f64;
            let alone = figure(&format!("alone_{hours}h"));
            if !fetched {
                sums.unfetched[place].0.push((alone, within));
                continue;
            }
            sums.milked[place].0.push((figure(&format!("milked_{hours}h")), within));
            if fetch < milked && fetch <= hours as f64 {
                sums.censored[place] += 1;
            } else {
                sums.alone[place].0.push((alone, within));
            }
        }
        let need = figure("hours") / figure("limit_h").max(1.0) * (1.0 - figure("alone_2h"));
        herd.push((figure("hours"), need, milked));
    }
    if fetched {
        return;
    }
    let rule: Vec<_> = herd.iter().filter(|cow| 12.0 < cow.0).copied().collect();
    herd.sort_by(|one, other| other.1.total_cmp(&one.1));
    choose(&rule, &mut sums.rule);
    choose(&herd[..rule.len()], &mut sums.own);
}

fn choose(chosen: &[(f64, f64, f64)], sums: &mut Choice) {
    for (hours, _, milked) in chosen {
        sums.chosen += 1.0;
        for (place, within) in HOURS.into_iter().enumerate() {
            sums.came[place] += f64::from(*milked <= within as f64);
        }
        sums.hours += milked.min(24.0);
        sums.late += f64::from(16.0 < hours + milked);
    }
}

/// Times of a table's rows by animal, in order.
fn times(
    path: &Path,
    columns: [&str; 2],
    counts: &dyn Fn(Option<&str>) -> bool,
) -> anyhow::Result<BTreeMap<String, Vec<Span>>> {
    let mut reader = csv::Reader::from_path(path)?;
    let header = reader.headers()?.clone();
    let place = |name: &str| header.iter().position(|own| own == name);
    let animal = place("animal").context("no animal")?;
    let [from, until] = columns.map(place);
    let (from, until) = (from.context("no time")?, until.context("no time")?);
    let outcome = place("outcome");
    let mut all: BTreeMap<String, Vec<Span>> = BTreeMap::new();
    for row in reader.records() {
        let row = row?;
        if counts(outcome.and_then(|place| row.get(place))) {
            all.entry(row[animal].to_owned()).or_default().push((row[from].parse()?, row[until].parse()?));
        }
    }
    all.values_mut().for_each(|own| own.sort());
    Ok(all)
}

fn text(sums: &Sums, seeds: &[u64], cows: u32, days: u32) -> String {
    let seeds: Vec<String> = seeds.iter().map(u64::to_string).collect();
    let mut text = format!(
        "Herds of {cows} cows, 2 boxes, {days} days, seeds {}; asked at 05:30 and 16:00 from day {KNOWN_DAYS} on. \
         \"Gap\": mean of |stated − came| over fifths of the stated chance.\n\n\
         | chance that she | within | cow-times | came | Brier | of stating the share | gap |\n|---|---|---|---|---|---|---|\n",
        seeds.join(", ")
    );
    let rows: [(&str, &[Pairs; 3]); 3] = [
        ("is milked, in herds that fetch (logs)", &sums.milked),
        ("comes by herself, in herds that fetch (truth; those brought before are left out)", &sums.alone),
        ("comes by herself, in herds where nobody fetches (logs)", &sums.unfetched),
    ];
    for (what, pairs) in rows {
        for (hours, own) in HOURS.iter().zip(pairs) {
            let (brier, base) = own.brier();
            let _ = writeln!(
                text,
                "| {what} | {hours} h | {} | {:.1} % | {brier:.4} | {base:.4} | {:.3} |",
                own.0.len(),
                100.0 * own.base(),
                own.gap()
            );
        }
    }
    text.push_str("\nCalibration, stated → came (cow-times), by fifths of the stated chance:\n\n");
    for (what, pairs) in rows {
        for (hours, own) in HOURS.iter().zip(pairs) {
            let bins: Vec<String> = own
                .fifths()
                .iter()
                .map(|(p, came, n)| format!("{:.0} → {:.0} % ({n})", 100.0 * p, 100.0 * came))
                .collect();
            let _ = writeln!(text, "- {what}, {hours} h: {}", bins.join(", "));
        }
    }
    text.push_str(
        "\nThe same number fetched, in herds where nobody is (so that it is seen who would have come):\n\n\
         | way | chosen | came alone within 2 h | 4 h | 8 h | hours until she came, 24 at most | went beyond 16 h |\n|---|---|---|---|---|---|---|\n",
    );
    for (way, own) in [("over 12 hours", &sums.rule), ("Bring in", &sums.own)] {
        let share = |value: f64| 100.0 * value / own.chosen.max(1.0);
        let _ = writeln!(
            text,
            "| {way} | {} | {:.1} % | {:.1} % | {:.1} % | {:.2} | {:.1} % |",
            own.chosen,
            share(own.came[0]),
            share(own.came[1]),
            share(own.came[2]),
            own.hours / own.chosen.max(1.0),
            share(own.late)
        );
    }
    let _ = writeln!(
        text,
        "\nIn herds that fetch the list held {:.1} cows at a time on average.",
        sums.listed / (2.0 * sums.days).max(1.0)
    );
    text
}
