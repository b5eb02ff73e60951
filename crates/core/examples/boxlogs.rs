//! Forecasts on box logs, where intervals are known: against the cow's mean rate of her last seven days times the interval.
//!
//! `cargo run --release -p cowpath-core --example boxlogs -- FOLDER…` (each with visits.csv, animals.csv, events.csv as
//! the simulator writes them; its truth, if it lies beside in `../truth/cases.csv`, is only counted against).
//! Parameters are fitted to whole stretches of some cows in the first thirty days; figures are of the days after.

use std::collections::{BTreeMap, VecDeque};
use std::path::Path;

use cowpath_core::expect::{Herd, Parameters, SampleMilking, Scored, Signal, fit};
use cowpath_core::herd::{AnimalRow, BoxKey, EventRow, LifeKey, Quarter, lives};
use cowpath_core::tables::{Outcome, QuarterVisit, Visit};
use cowpath_core::time::{hour_of_day, hours_between};
use jiff::{Timestamp, tz::TimeZone};

type Trouble = Box<dyn std::error::Error>;
type Row = BTreeMap<String, String>;
/// A box's effect on milk, and its cups'.
type Effects = (Option<(f64, f64)>, Option<([f64; 4], [f64; 4])>);
/// When, in an episode or not, z of each quarter's share and conductivity.
type Look = (Timestamp, bool, [f64; 4], [f64; 4]);

fn main() -> Result<(), Trouble> {
    for folder in std::env::args().skip(1) {
        println!("\n{folder}");
        one(Path::new(&folder))?;
    }
    Ok(())
}

fn one(folder: &Path) -> Result<(), Trouble> {
    let zone = TimeZone::get("America/New_York")?;
    let animals: Vec<AnimalRow> = rows(folder, "animals")?
        .into_iter()
        .map(|row| AnimalRow {
            animal: row["animal"].clone(),
            parity: row["parity"].parse().ok(),
            calved_on: row["calved_on"].parse().ok(),
            ..Default::default()
        })
        .collect();
    let events: Vec<EventRow> = rows(folder, "events")?
        .into_iter()
        .filter_map(|row| {
            Some(EventRow {
                animal: row["animal"].clone(),
                at: row["at"].parse().ok()?,
                kind: row["kind"].clone(),
                quarter: None,
                detail: None,
                value: row["value"].parse().ok(),
                until: None,
                note: None,
            })
        })
        .collect();
    let visit_rows = rows(folder, "visits")?;
    let mut numbers: Vec<String> = visit_rows.iter().map(|row| row["animal"].clone()).collect();
    numbers.sort();
    numbers.dedup();
    let lives = lives(&numbers, &animals, &events, &zone);
    let mut boxes: Vec<String> = visit_rows.iter().map(|row| row["box"].clone()).collect();
    boxes.sort();
    boxes.dedup();
    let mut sample = Vec::new();
    for row in &visit_rows {
        let (Ok(started_at), Ok(ended_at)) = (row["started_at"].parse(), row["ended_at"].parse()) else {
            continue;
        };
        let Some(life) = lives.iter().rfind(|life| life.animal == row["animal"] && life.present(ended_at))
        else {
            continue;
        };
        let at_box = BoxKey(boxes.iter().position(|own| *own == row["box"]).unwrap_or(0) as u16);
        let visit = visit(row, life.key, at_box, started_at, ended_at);
        sample.push(SampleMilking {
            visit,
            stage: life.stage(ended_at),
            hour_of_day: hour_of_day(ended_at, &zone),
        });
    }
    sample.sort_by_key(|row| (row.visit.ended_at, row.visit.life));
    let start = sample.first().ok_or("no visits")?.visit.ended_at;
    let day = |at: Timestamp| hours_between(start, at) / 24.0;
    let first: Vec<SampleMilking> = sample
        .iter()
        .filter(|row| day(row.visit.ended_at) < 30.0 && row.visit.life.0.is_multiple_of(2))
        .copied()
        .take(6_000)
        .collect();
    let fitted = fit(&first, &Parameters::prior());
    for (name, value, low, high, unit) in &fitted.intervals {
        println!("  {name}: {value:.4} ({low:.4} to {high:.4}) {unit}");
    }
    let p = &fitted.parameters;
    println!(
        "  share {:.3} conductivity {:.3} level {:.3} interval {:.3} cow {:.3}",
        p.share.noise_sd,
        p.conductivity.noise_sd,
        p.conductivity_level.noise_sd,
        p.interval.noise_sd,
        p.cow_sd
    );

    let mut herd = Herd::new(fitted.parameters.clone());
    let mut scored = Scored::empty();
    let mut week: BTreeMap<LifeKey, VecDeque<(Timestamp, f64, f64)>> = BTreeMap::new();
    let mut last: BTreeMap<LifeKey, Timestamp> = BTreeMap::new();
    let mut sums = [0.0; 8];
    let mut size: BTreeMap<(Signal, bool), [f64; 6]> = BTreeMap::new();
    let mut since: BTreeMap<LifeKey, Timestamp> = BTreeMap::new();
    let mut episodes = 0.0;
    let mut unsettled = 0.0;
    let mut judged = 0.0;
    let mut history: BTreeMap<LifeKey, Vec<Look>> = BTreeMap::new();
    let mut course: Vec<(Timestamp, Vec<Effects>)> = Vec::new();
    for row in &sample {
        let visit = &row.visit;
        if course.last().is_none_or(|last| 1.0 <= hours_between(last.0, visit.ended_at)) {
            let now = (0..boxes.len() as u16).map(BoxKey);
            course.push((
                visit.ended_at,
                now.map(|key| (herd.box_effect(key), herd.cup_effects(key))).collect(),
            ));
        }
        if !herd.take_into(visit, &row.stage, row.hour_of_day, &mut scored) {
            continue;
        }
        let late = 30.0 < day(visit.ended_at);
        let held = herd.unsettled_since(visit.life);
        if late {
            judged += 1.0;
            unsettled += f64::from(u8::from(held.is_some()));
        }
        if let Some(held) = held
            && since.insert(visit.life, held) != Some(held)
            && late
        {
            episodes += 1.0;
        }
        let (mut share, mut salt) = ([0.0; 4], [0.0; 4]);
        for own in &scored.departures {
            if let Some(quarter) = own.quarter {
                match own.signal {
                    Signal::QuarterMilk => share[quarter as usize] = own.z,
                    Signal::Conductivity => salt[quarter as usize] = own.z,
                    _ => {}
                }
            }
            if late {
                let far = |limit: f64| if limit < own.z.abs() { 1.0 } else { 0.0 };
                let sums = size.entry((own.signal, own.quarter.is_some())).or_default();
                for (sum, add) in
                    sums.iter_mut().zip([1.0, own.z, own.z * own.z, far(2.0), far(3.0), own.noise_sd])
                {
                    *sum += add;
                }
            }
        }
        history.entry(visit.life).or_default().push((visit.ended_at, held.is_some(), share, salt));
        let interval_h = last.get(&visit.life).map(|last| hours_between(*last, visit.ended_at));
        let window = week.entry(visit.life).or_default();
        while window.front().is_some_and(|own| 168.0 < hours_between(own.0, visit.ended_at)) {
            window.pop_front();
        }
        if let (Some(kg), Some(interval_h), true) = (visit.milk_kg, interval_h, scored.scored) {
            let (milk, hours) = window.iter().fold((0.0, 0.0), |sum, own| (sum.0 + own.1, sum.1 + own.2));
            if late && 7 <= window.len() {
                let (own, mean) = (kg - scored.expected_kg, kg - milk / hours * interval_h);
                let within = if (scored.low95_kg..=scored.high95_kg).contains(&kg) { 1.0 } else { 0.0 };
                for (sum, add) in sums.iter_mut().zip([
                    1.0,
                    own.abs(),
                    mean.abs(),
                    own * own,
                    mean * mean,
                    own,
                    within,
                    scored.high95_kg - scored.low95_kg,
                ]) {
                    *sum += add;
                }
            }
            window.push_back((visit.ended_at, kg, interval_h));
        }
        if visit.outcome != Some(Outcome::Failed) {
            last.insert(visit.life, visit.ended_at);
        }
    }
    let n = sums[0];
    println!(
        "  {n} rows: MAE {:.4} kg, ratio {:.4}; RMSE {:.4}, ratio {:.4}; bias {:.4}; 95 % covers {:.2} %, width {:.3} kg",
        sums[1] / n,
        sums[1] / sums[2],
        (sums[3] / n).sqrt(),
        (sums[3] / sums[4]).sqrt(),
        sums[5] / n,
        100.0 * sums[6] / n,
        sums[7] / n
    );
    for ((signal, quarter), sums) in &size {
        let n = sums[0];
        println!(
            "  {signal:?}{}: {n} mean z {:.3}, mean z² {:.3}, |z| > 2 {:.2} %, > 3 {:.2} %, noise {:.3}",
            if *quarter { " (quarter)" } else { "" },
            sums[1] / n,
            sums[2] / n,
            100.0 * sums[3] / n,
            100.0 * sums[4] / n,
            sums[5] / n
        );
    }
    println!(
        "  episodes begun a hundred milkings {:.3}, milkings in one {:.2} %",
        100.0 * episodes / judged,
        100.0 * unsettled / judged
    );
    let settled: usize = lives.iter().map(|life| herd.settled(life.key).len()).sum();
    println!("  {settled} levels settled");
    for (key, name) in boxes.iter().enumerate() {
        println!(
            "  box {}: {:?} {:?}",
            name,
            herd.box_effect(BoxKey(key as u16)),
            herd.cup_effects(BoxKey(key as u16))
        );
    }
    let faults = folder.join("../truth/box-faults.csv");
    if faults.exists() {
        for row in read(&faults)? {
            let (Ok(from), Ok(full)) =
                (row["from"].parse::<Timestamp>(), row["full_at"].parse::<Timestamp>())
            else {
                continue;
            };
            let Some(key) = boxes.iter().position(|own| *own == row["box"]) else { continue };
            let quarter = Quarter::from_code(&row["quarter"]);
            if day(from) < 15.0 || !matches!(row["kind"].as_str(), "milk-meter" | "conductivity-probe") {
                continue;
            }
            let moved = |at: Timestamp, hours: f64| -> Option<f64> {
                let near = course.iter().rfind(|own| hours_between(own.0, at) >= -hours)?;
                let own = &near.1[key];
                match quarter {
                    Some(quarter) => own.1.map(|own| own.1[quarter as usize]),
                    None => own.0.map(|own| own.0),
                }
            };
            let before = moved(from, 0.0).unwrap_or(0.0);
            let after: Vec<String> = [6.0, 12.0, 24.0, 48.0, 96.0]
                .iter()
                .map(|hours| format!("{:+.3} after {hours} h", moved(full, *hours).unwrap_or(0.0) - before))
                .collect();
            println!(
                "  {} box {} {} {} {}: {}",
                row["kind"],
                row["box"],
                row["quarter"],
                row["form"],
                row["size"],
                after.join(", ")
            );
        }
    }
    let cases = folder.join("../truth/cases.csv");
    if cases.exists() {
        let (mut count, mut held, mut share_z, mut salt_z) = (0.0, 0.0, 0.0, 0.0);
        for row in read(&cases)? {
            let (Ok(first), Some(quarter)) =
                (row["first_sign_at"].parse::<Timestamp>(), Quarter::from_code(&row["quarter"]))
            else {
                continue;
            };
            if row["kind"] != "udder" || row["clinical"] != "1" || day(first) < 30.0 {
                continue;
            }
            let Some(life) = lives.iter().rfind(|life| life.animal == row["animal"] && life.present(first))
            else {
                continue;
            };
            let near: Vec<_> = history
                .get(&life.key)
                .into_iter()
                .flatten()
                .filter(|own| (0.0..24.0).contains(&hours_between(first, own.0)))
                .collect();
            if near.is_empty() {
                continue;
            }
            count += 1.0;
            held += f64::from(u8::from(near.iter().any(|own| own.1)));
            share_z += near.iter().map(|own| own.2[quarter as usize]).fold(0.0, f64::min);
            salt_z += near.iter().map(|own| own.3[quarter as usize]).fold(0.0, f64::max);
        }
        println!(
            "  {count} clinical udder cases: episode within 24 h {:.1} %, mean least share z {:.2}, mean greatest conductivity z {:.2}",
            100.0 * held / count,
            share_z / count,
            salt_z / count
        );
    }
    Ok(())
}

fn visit(row: &Row, life: LifeKey, at_box: BoxKey, started_at: Timestamp, ended_at: Timestamp) -> Visit {
    let number = |name: &str| row.get(name).and_then(|text| text.parse::<f64>().ok());
    let quarter = |code: &str| QuarterVisit {
        milk_kg: number(&format!("{code}_kg")),
        ms_cm: number(&format!("{code}_ms_cm")),
        kicked: number(&format!("{code}_kicked")).map(|flag| flag != 0.0),
        ..Default::default()
    };
    Visit {
        outcome: row.get("outcome").and_then(|word| Outcome::from_word(word)),
        milk_kg: number("milk_kg"),
        quarters: ["lf", "rf", "lr", "rr"].map(quarter),
        ..Visit::stay(life, at_box, started_at, ended_at)
    }
}

fn rows(folder: &Path, name: &str) -> Result<Vec<Row>, Trouble> {
    read(&folder.join(format!("{name}.csv")))
}

fn read(path: &Path) -> Result<Vec<Row>, Trouble> {
    Ok(csv::Reader::from_path(path)?.deserialize().collect::<Result<_, _>>()?)
}
