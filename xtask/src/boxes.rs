//! How often is a fault of a box named on the box, and do its cows' calls rise meanwhile? Simulated herds against their truth.
//!
//! Counting: a fault is named in time when a round not later than 24 h after it began (a drift of a meter, probe or
//! dispenser: after it reached 6 %, of a usual 5 mS/cm for a probe) shows its box and its cause, and its cup where it has
//! one. A box call is false when no round of its identity falls within a true fault of that box and cause, from a day
//! before its begin to three days after its end. A standstill of under an hour is not counted.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use anyhow::Context as _;
use cowpath_herdsim::Scenario;
use jiff::{SignedDuration, Timestamp, ToSpan};
use serde_json::Value;

use crate::herds::{asked, program};

const KNOWN_DAYS: i64 = 40;
const TABLES: [&str; 5] = ["animals", "events", "visits", "box-states", "pickups"];

struct Fault {
    at_box: String,
    kind: String,
    quarter: String,
    /// From when it is asked for.
    counts_from: Timestamp,
    from: Timestamp,
    to: Timestamp,
    words: String,
}

struct Shown {
    at: Timestamp,
    id: String,
    at_box: String,
    cause: String,
    quarter: String,
    sentence: String,
}

#[derive(Default)]
struct Sums {
    box_days: f64,
    /// By kind: faults, named in time, on the right cup too, named ever.
    faults: BTreeMap<String, [u32; 4]>,
    /// By cause: calls, false calls.
    calls: BTreeMap<String, [u32; 2]>,
    /// Identities of the calls of one named fault.
    identities: [u32; 2],
    /// Cow calls shown `now` or `today`, and rounds, while a fault holds and else.
    cow_calls: [[f64; 2]; 2],
}

/// Runs herds of these seeds and gives the text of the figures; `boxes` a farm.
pub fn run(seeds: &[u64], cows: u32, boxes: u32, days: u32) -> anyhow::Result<String> {
    let program = program()?;
    let mut sums = Sums::default();
    for seed in seeds {
        let scenario = Scenario::demo(cows, boxes, days, *seed);
        let dir = std::env::temp_dir().join(format!("cowpath-boxes-{seed}-{}", std::process::id()));
        let done = herd(&program, &scenario, &dir, &mut sums);
        let _ = std::fs::remove_dir_all(&dir);
        done.with_context(|| format!("herd of seed {seed}"))?;
    }
    Ok(text(&sums, seeds, cows, boxes, days))
}

fn herd(program: &Path, scenario: &Scenario, dir: &Path, sums: &mut Sums) -> anyhow::Result<()> {
    let (logs, truth, farm) = (dir.join("logs"), dir.join("truth"), dir.join("farm"));
    cowpath_herdsim::write(scenario, &logs, Some(&truth))?;
    let zone = scenario.zone.iana_name().unwrap_or("UTC");
    asked(program, &farm, &["settings", "--zone", zone])?;
    let files: Vec<String> =
        TABLES.iter().map(|table| logs.join(format!("{table}.csv")).display().to_string()).collect();
    let mut words = vec!["import"];
    words.extend(files.iter().map(String::as_str));
    asked(program, &farm, &words)?;
    let faults = faults(&truth.join("box-faults.csv"))?;
    let mut shown: Vec<Shown> = Vec::new();
    let first = scenario.last_day.checked_sub((i64::from(scenario.days) - KNOWN_DAYS).days())?;
    let (mut day, mut starts, mut ends) = (first, None, Timestamp::MIN);
    while day <= scenario.last_day {
        for (hour, minute) in [(5, 30), (16, 0)] {
            if day == scenario.last_day && hour == 16 {
                continue;
            }
            let at = day.at(hour, minute, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp();
            let words = ["round", "--format", "json", "--at", &at.to_string()];
            let round: Value = serde_json::from_slice(&asked(program, &farm, &words)?)?;
            let calls = round["calls"].as_array().map(Vec::as_slice).unwrap_or_default();
            let holds = faults.iter().any(|fault| fault.from <= at && at < fault.to);
            let urgent = calls.iter().filter(|call| {
                call["subject"] == "cow" && call["urgency"] != "watch" && call["cause"] != "heat"
            });
            let own = &mut sums.cow_calls[usize::from(holds)];
            own[0] += urgent.count() as f64;
            own[1] += 1.0;
            shown.extend(calls.iter().filter(|call| call["subject"] == "box").map(|call| {
                let word = |name: &str| call[name].as_str().unwrap_or_default().to_owned();
                Shown {
                    at,
                    id: word("id"),
                    at_box: word("box"),
                    cause: word("cause"),
                    quarter: word("quarter"),
                    sentence: format!("{} {}", word("sentence"), word("why")),
                }
            }));
            starts = starts.or(Some(at));
            ends = at;
        }
        day = day.tomorrow()?;
    }
    let starts = starts.context("no round")?;
    sums.box_days += f64::from(scenario.boxes) * ends.duration_since(starts).as_secs_f64() / 86_400.0;
    tally(&faults, &shown, starts, ends, sums);
    Ok(())
}

fn faults(path: &Path) -> anyhow::Result<Vec<Fault>> {
    let mut reader = csv::Reader::from_path(path)?;
    let header = reader.headers()?.clone();
    let mut faults = Vec::new();
    for row in reader.records() {
        let row = row?;
        let cell = |name: &str| {
            header.iter().position(|own| own == name).and_then(|place| row.get(place)).unwrap_or_default()
        };
        let (from, to): (Timestamp, Timestamp) = (cell("from").parse()?, cell("to").parse()?);
        let full: Timestamp = cell("full_at").parse().unwrap_or(from);
        let size: f64 = cell("size").parse().unwrap_or(0.0);
        let reaches = match cell("kind") {
            "milk-meter" => 0.06 / size.abs(),
            "conductivity-probe" => 0.06 * 5.0 / size.abs(),
            "feed-dispenser" => 0.06 / (1.0 - size),
            _ => 0.0,
        };
        let grows_s = full.duration_since(from).as_secs_f64() * reaches.min(1.0);
        let counts_from = from.checked_add(SignedDuration::from_secs(grows_s as i64))?;
        faults.push(Fault {
            at_box: cell("box").to_owned(),
            kind: cell("kind").to_owned(),
            quarter: cell("quarter").to_owned(),
            counts_from,
            from,
            to,
            words: row.iter().collect::<Vec<_>>().join(" "),
        });
    }
    Ok(faults)
}

fn tally(faults: &[Fault], shown: &[Shown], starts: Timestamp, ends: Timestamp, sums: &mut Sums) {
    let after =
        |at: Timestamp, hours: i64| at.saturating_add(SignedDuration::from_hours(hours)).unwrap_or(at);
    for fault in faults {
        let short = fault.to.duration_since(fault.from) < SignedDuration::from_hours(1);
        if fault.counts_from < starts
            || ends < after(fault.counts_from, 24)
            || fault.to <= fault.counts_from
            || short
        {
            continue;
        }
        let named: Vec<&Shown> = shown
            .iter()
            .filter(|call| call.at_box == fault.at_box && call.cause == fault.kind)
            .filter(|call| fault.from <= call.at && call.at <= after(fault.to, 24))
            .collect();
        let until = after(fault.counts_from, 24);
        let in_time = named.iter().any(|call| call.at <= until);
        let right_cup = named.iter().any(|call| call.at <= until && call.quarter == fault.quarter);
        let own = sums.faults.entry(fault.kind.clone()).or_default();
        own[0] += 1;
        own[1] += u32::from(in_time);
        own[2] += u32::from(right_cup);
        own[3] += u32::from(!named.is_empty());
        if !named.is_empty() {
            sums.identities[0] += 1;
            sums.identities[1] += named.iter().map(|call| &call.id).collect::<BTreeSet<_>>().len() as u32;
        }
        if !right_cup {
            let first = named.first().map(|call| format!("first {}", call.at)).unwrap_or("never".into());
            eprintln!("late or missed: {} (asked from {}): {first}", fault.words, fault.counts_from);
        }
    }
    let mut by_id: BTreeMap<&str, Vec<&Shown>> = BTreeMap::new();
    for call in shown {
        by_id.entry(&call.id).or_default().push(call);
    }
    for calls in by_id.values() {
        let own = sums.calls.entry(calls[0].cause.clone()).or_default();
        own[0] += 1;
        let right = faults.iter().any(|fault| {
            calls.iter().any(|call| {
                call.at_box == fault.at_box
                    && call.cause == fault.kind
                    && after(fault.from, -24) <= call.at
                    && call.at <= after(fault.to, 72)
            })
        });
        if !right {
            own[1] += 1;
            eprintln!("false: {} rounds from {}: {}", calls.len(), calls[0].at, calls[0].sentence);
        }
    }
}

fn text(sums: &Sums, seeds: &[u64], cows: u32, boxes: u32, days: u32) -> String {
    let mut text = format!(
        "Herds of {cows} cows, {boxes} boxes, {days} days, seeds {seeds:?}; {:.0} box-days judged.\n\n",
        sums.box_days
    );
    text += "| fault of a box | faults | named on the box in 24 h | … on the right cup | 95 % interval | named at all |\n|---|---|---|---|---|---|\n";
    let mut all = [0; 4];
    let line = |kind: &str, own: &[u32; 4]| {
        let share = cowpath_core::right::share(own[2], own[0]);
        format!(
            "| {kind} | {} | {} | {} | {:.0} to {:.0} % | {} |\n",
            own[0],
            own[1],
            own[2],
            100.0 * share.low,
            100.0 * share.high,
            own[3]
        )
    };
    for (kind, own) in &sums.faults {
        text += &line(kind, own);
        all.iter_mut().zip(own).for_each(|(all, own)| *all += own);
    }
    text += &line("all", &all);
    text += "\n| call on a box | calls | of them false | a 100 box-days |\n|---|---|---|---|\n";
    for (cause, [calls, wrong]) in &sums.calls {
        text +=
            &format!("| {cause} | {calls} | {wrong} | {:.2} |\n", 100.0 * f64::from(*wrong) / sums.box_days);
    }
    let rate = |own: [f64; 2]| own[0] / own[1].max(1.0);
    text += &format!(
        "\nIdentities of the calls of a named fault: {:.2}. Cow calls (illness, `now` or `today`) a round: {:.2} while a box fault holds ({:.0} rounds), {:.2} else ({:.0} rounds).\n",
        f64::from(sums.identities[1]) / f64::from(sums.identities[0].max(1)),
        rate(sums.cow_calls[1]),
        sums.cow_calls[1][1],
        rate(sums.cow_calls[0]),
        sums.cow_calls[0][1],
    );
    text
}
