//! How often are the calls right? Simulated herds, read by the program itself, round after round, against their truth.
//!
//! Each herd's logs are written, read by `cowpath import`, and a round is asked for at 05:30 and 16:00 of every day after
//! the herd has been known for 40 days, with `--at`, so that nothing later is known. Calls are held against the truth
//! that the simulator wrote beside the logs and that the program never reads.
//!
//! Counting: a call counts once, from its first to its last round. A case is called in time when a round not later than
//! 24 h after its first sign names the cow and the cause. A call is false when it is shown as `now` or `today` and the cow
//! has no true case of any kind from 3 days before it to 3 days after.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context as _, bail};
use cowpath_herdsim::Scenario;
use jiff::{SignedDuration, Timestamp, ToSpan};
use serde_json::Value;

use crate::seven_days::{self, Beside};

/// Days a herd is known before it is judged.
const KNOWN_DAYS: i64 = 40;
const MARGIN: SignedDuration = SignedDuration::from_hours(72);
const TABLES: [&str; 5] = ["animals", "events", "visits", "box-states", "pickups"];

struct Case {
    animal: String,
    kind: String,
    quarter: String,
    first_sign: Timestamp,
    ended: Timestamp,
    clinical: bool,
}

/// One call at one round.
struct Shown {
    at: Timestamp,
    id: String,
    animal: String,
    cause: String,
    quarter: String,
    probability: f64,
    urgent: bool,
}

#[derive(Default)]
struct Sums {
    cow_days: f64,
    clinical: u32,
    called_24h: u32,
    right_quarter_24h: u32,
    called_48h: u32,
    urgent_24h: u32,
    calls: u32,
    false_calls: u32,
    /// The same with calls that were never more than `watch`.
    false_with_watch: u32,
    /// Clinical cases that were called at all, and the identities their udder calls had.
    cases_called: u32,
    identities: u32,
    /// Called cases one of whose identities had been shown more than a day before the first sign.
    standing: u32,
    udder_calls: u32,
    false_udder_calls: u32,
    calls_on_sick: BTreeMap<String, u32>,
    /// By tenth of stated probability of `udder`: sum stated, held, number.
    bins: [(f64, f64, f64); 10],
    calls_a_round: f64,
    forecast: Beside,
    rounds: f64,
}

/// How the figures were counted, where a reader could take them for more than they are.
const COUNTING: &str = "\nThe rows \"right quarter\", \"any quarter\" and \"within 48 h\" take a call of any urgency: hold the false calls \
    with `watch` beside them. Each identity of a call counts as one false call, and one case can have several.\n";

/// Runs herds of these seeds and gives the text of the figures.
pub fn run(seeds: &[u64], cows: u32, days: u32) -> anyhow::Result<String> {
    let program = program()?;
    let mut sums = Sums::default();
    for seed in seeds {
        let scenario = Scenario::demo(cows, 2, days, *seed);
        let dir = std::env::temp_dir().join(format!("cowpath-herd-{seed}-{}", std::process::id()));
        let done = herd(&program, &scenario, &dir, &mut sums);
        let _ = std::fs::remove_dir_all(&dir);
        done.with_context(|| format!("herd of seed {seed}"))?;
        eprintln!("seed {seed}: {}", line(&sums));
    }
    Ok(text(&sums, seeds, cows, days))
}

/// The program under test: `COWPATH` names it, else it is built.
pub fn program() -> anyhow::Result<PathBuf> {
    if let Some(named) = std::env::var_os("COWPATH") {
        return Ok(named.into());
    }
    let built = Command::new(env!("CARGO")).args(["build", "--release", "--package", "cowpath"]).status()?;
    if !built.success() {
        bail!("the program could not be built");
    }
    Ok(crate::root().join("target/release/cowpath"))
}

/// What the program prints; an error where it does not exit with 0.
pub fn asked(program: &Path, farm: &Path, words: &[&str]) -> anyhow::Result<Vec<u8>> {
    let out = Command::new(program).arg("--farm").arg(farm).args(words).output()?;
    if !out.status.success() {
        bail!("`cowpath {}`: {}", words.join(" "), String::from_utf8_lossy(&out.stderr));
    }
    Ok(out.stdout)
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
    let cases = cases(&truth.join("cases.csv"))?;
    let mut shown: Vec<Shown> = Vec::new();
    let first = scenario.last_day.checked_sub((i64::from(scenario.days) - KNOWN_DAYS).days())?;
    let mut day = first;
    let mut ends = Timestamp::MIN;
    while day <= scenario.last_day {
        for (hour, minute) in [(5, 30), (16, 0)] {
            if day == scenario.last_day && hour == 16 {
                continue;
            }
            let at = day.at(hour, minute, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp();
            let round: Value = serde_json::from_slice(&asked(
                program,
                &farm,
                &["round", "--format", "json", "--at", &at.to_string()],
            )?)?;
            let calls = round["calls"].as_array().map(Vec::as_slice).unwrap_or_default();
            sums.rounds += 1.0;
            sums.calls_a_round += calls.len() as f64;
            let quiet = round["quiet"]["cows"].as_f64().unwrap_or(0.0);
            let called: BTreeSet<&str> = calls.iter().filter_map(|call| call["animal"].as_str()).collect();
            sums.cow_days += 0.5 * (quiet + called.len() as f64);
            shown.extend(calls.iter().filter(|call| call["subject"] == "cow").map(|call| of_json(call, at)));
            ends = at;
        }
        day = day.checked_add(1.day())?;
    }
    let starts = first.at(5, 30, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp();
    tally(&cases, &shown, starts, ends, sums);
    seven_days::compare(&asked(program, &farm, &["expected", "--format", "csv"])?, starts, &mut sums.forecast)
}

fn of_json(call: &Value, at: Timestamp) -> Shown {
    let word = |key: &str| call[key].as_str().unwrap_or_default().to_owned();
    Shown {
        at,
        id: word("id"),
        animal: word("animal"),
        cause: word("cause"),
        quarter: word("quarter"),
        probability: call["probability"].as_f64().unwrap_or(0.0),
        urgent: matches!(call["urgency"].as_str(), Some("now" | "today")),
    }
}

fn cases(path: &Path) -> anyhow::Result<Vec<Case>> {
    let mut reader = csv::Reader::from_path(path)?;
    let header = reader.headers()?.clone();
    let place =
        |name: &str| header.iter().position(|own| own == name).with_context(|| format!("no column {name}"));
    let (animal, kind, quarter) = (place("animal")?, place("kind")?, place("quarter")?);
    let (first_sign, ended, clinical) = (place("first_sign_at")?, place("ended_at")?, place("clinical")?);
    let mut cases = Vec::new();
    for row in reader.records() {
        let row = row?;
        let Ok(first_sign) = row[first_sign].parse::<Timestamp>() else { continue };
        cases.push(Case {
            animal: row[animal].to_owned(),
            kind: row[kind].to_owned(),
            quarter: row[quarter].to_owned(),
            first_sign,
            ended: row[ended].parse().unwrap_or(Timestamp::MAX),
            clinical: matches!(&row[clinical], "1" | "true"),
        });
    }
    Ok(cases)
}

fn tally(cases: &[Case], shown: &[Shown], starts: Timestamp, ends: Timestamp, sums: &mut Sums) {
    let after =
        |at: Timestamp, hours: i64| at.saturating_add(SignedDuration::from_hours(hours)).unwrap_or(at);
    for case in cases.iter().filter(|case| case.kind == "udder" && case.clinical) {
        if case.first_sign < starts || ends < after(case.first_sign, 48) {
            continue;
        }
        sums.clinical += 1;
        let named = |hours: i64| {
            shown.iter().filter(move |call| {
                call.animal == case.animal
                    && call.cause == "udder"
                    && case.first_sign <= call.at
                    && call.at <= after(case.first_sign, hours)
            })
        };
        sums.called_24h += u32::from(named(24).next().is_some());
        sums.urgent_24h += u32::from(named(24).any(|call| call.urgent));
        sums.right_quarter_24h += u32::from(named(24).any(|call| call.quarter == case.quarter));
        sums.called_48h += u32::from(named(48).next().is_some());
        let identities: BTreeSet<&str> = shown
            .iter()
            .filter(|call| call.animal == case.animal && call.cause == "udder")
            .filter(|call| case.first_sign <= call.at && call.at <= case.ended)
            .map(|call| call.id.as_str())
            .collect();
        sums.cases_called += u32::from(!identities.is_empty());
        sums.identities += identities.len() as u32;
        let day_before = after(case.first_sign, -24);
        let stood = |call: &Shown| call.at < day_before && identities.contains(call.id.as_str());
        sums.standing += u32::from(shown.iter().any(stood));
    }
    let near = |case: &Case, at: Timestamp| {
        let from = case.first_sign.saturating_sub(MARGIN).unwrap_or(Timestamp::MIN);
        let to = case.ended.saturating_add(MARGIN).unwrap_or(Timestamp::MAX);
        from <= at && at <= to
    };
    let mut by_id: BTreeMap<&str, Vec<&Shown>> = BTreeMap::new();
    for call in shown {
        by_id.entry(&call.id).or_default().push(call);
        if call.cause == "udder" {
            let holds = cases.iter().any(|case| {
                case.kind == "udder"
                    && case.animal == call.animal
                    && case.first_sign <= call.at
                    && call.at <= case.ended
            });
            let bin = &mut sums.bins[((call.probability * 10.0) as usize).min(9)];
            *bin = (bin.0 + call.probability, bin.1 + f64::from(u8::from(holds)), bin.2 + 1.0);
        }
    }
    for rounds in by_id.values() {
        let sick = |call: &&Shown| {
            cases.iter().any(|case| case.animal == call.animal && case.kind != "heat" && near(case, call.at))
        };
        sums.false_with_watch += u32::from(!rounds.iter().copied().any(|call| sick(&call)));
    }
    for rounds in by_id.values().filter(|rounds| rounds.iter().any(|call| call.urgent)) {
        let hers: Vec<&Case> = cases
            .iter()
            .filter(|case| {
                case.animal == rounds[0].animal
                    && case.kind != "heat"
                    && rounds.iter().any(|call| near(case, call.at))
            })
            .collect();
        let udder = rounds[0].cause == "udder";
        sums.calls += 1;
        sums.udder_calls += u32::from(udder);
        sums.false_calls += u32::from(hers.is_empty());
        sums.false_udder_calls += u32::from(udder && !hers.iter().any(|case| case.kind == "udder"));
        let kinds: BTreeSet<&str> = hers.iter().map(|case| case.kind.as_str()).collect();
        let on = if kinds.is_empty() {
            "no case".to_owned()
        } else {
            kinds.into_iter().collect::<Vec<_>>().join("+")
        };
        *sums.calls_on_sick.entry(format!("{} call, {on}", rounds[0].cause)).or_default() += 1;
    }
}

fn share(part: u32, whole: u32) -> String {
    if whole == 0 { "none".into() } else { format!("{:.0} %", 100.0 * f64::from(part) / f64::from(whole)) }
}

/// Exact 95 % interval in per cent.
fn interval(part: u32, whole: u32) -> String {
    let share = cowpath_core::right::share(part, whole);
    format!("{:.0} to {:.0} %", 100.0 * share.low, 100.0 * share.high)
}

fn calibration_error(sums: &Sums) -> f64 {
    let all: f64 = sums.bins.iter().map(|bin| bin.2).sum();
    sums.bins.iter().filter(|bin| 0.0 < bin.2).map(|bin| (bin.0 - bin.1).abs()).sum::<f64>() / all.max(1.0)
}

fn line(sums: &Sums) -> String {
    format!(
        "{} clinical, right quarter in 24 h {}, false calls {:.2} a 100 cow-days, calibration error {:.3}",
        sums.clinical,
        share(sums.right_quarter_24h, sums.clinical),
        100.0 * f64::from(sums.false_calls) / sums.cow_days,
        calibration_error(sums)
    )
}

fn text(sums: &Sums, seeds: &[u64], cows: u32, days: u32) -> String {
    let mut text = format!(
        "Herds of {cows} cows, 2 boxes, {days} days, seeds {seeds:?}; {:.0} cow-days judged, {:.1} calls a round.\n\n",
        sums.cow_days,
        sums.calls_a_round / sums.rounds.max(1.0)
    );
    text += "| what | figure | 95 % interval | aim |\n|---|---|---|---|\n";
    for (what, part, aim) in [
        (
            "clinical udder cases called within 24 h of first signs, right quarter",
            sums.right_quarter_24h,
            "90 %",
        ),
        ("… any quarter", sums.called_24h, ""),
        ("… as `now` or `today`", sums.urgent_24h, ""),
        ("… within 48 h", sums.called_48h, ""),
    ] {
        let (share, interval) = (share(part, sums.clinical), interval(part, sums.clinical));
        text += &format!("| {what} | {part} of {} = {share} | {interval} | {aim} |\n", sums.clinical);
    }
    let false_rate = 100.0 * f64::from(sums.false_calls) / sums.cow_days;
    text += &format!(
        "| false cow calls for 100 cow-days | {} = {false_rate:.2} | | at most 1.0 |\n",
        sums.false_calls
    );
    text += &format!(
        "| … counting calls that are `watch` too | {} = {:.2} | | |\n| identities of the udder calls of one clinical case | {:.2} | | 1 |\n| cases called under an identity shown more than a day before the first sign | {} of {} | | 0 |\n",
        sums.false_with_watch,
        100.0 * f64::from(sums.false_with_watch) / sums.cow_days,
        f64::from(sums.identities) / f64::from(sums.cases_called.max(1)),
        sums.standing,
        sums.cases_called,
    );
    text += &format!(
        "| udder calls on a cow without an udder case | {} of {} | | |\n| stated probabilities of udder: calibration error | {:.3} | | at most 0.05 |\n\n",
        sums.false_udder_calls,
        sums.udder_calls,
        calibration_error(sums)
    );
    text += "| probability stated | times | mean stated | held |\n|---|---|---|---|\n";
    for (index, bin) in sums.bins.iter().enumerate().filter(|(_, bin)| 0.0 < bin.2) {
        text += &format!(
            "| {}0 to {}0 % | {:.0} | {:.2} | {:.2} |\n",
            index,
            index + 1,
            bin.2,
            bin.0 / bin.2,
            bin.1 / bin.2
        );
    }
    let forecast = &sums.forecast;
    text += &format!(
        "\nMilk: {} milkings, mean absolute error {:.3} of that of her seven days' mean rate times the interval (aim at most 0.85); \
         the 95 % interval covers {:.1} %.\n",
        forecast.rows,
        forecast.model_kg / forecast.plain_kg,
        100.0 * forecast.covered as f64 / forecast.rows.max(1) as f64
    );
    text += COUNTING;
    text += "\n| calls shown as now or today, by what the cow truly had | number |\n|---|---|\n";
    for (what, number) in &sums.calls_on_sick {
        text += &format!("| {what} | {number} |\n");
    }
    text
}
