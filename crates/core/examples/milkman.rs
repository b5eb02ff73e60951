//! Forecasts of real milkings: the open AM/PM set against the cow's mean of her last seven days at the same time.
//!
//! `cargo run --release -p cowpath-core --example milkman -- ../shared/datasets [--half fit|test] [--sample N]`
//! Herd parameters are fitted to cows of even rank among the sorted numbers and to nothing else; the figures are of the
//! cows of odd rank (`--half fit` shows the others, on which everything was tried). Times of day and dates in these files are invented
//! (see the data set's own notes), so neither κ nor a herd effect found here is real.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use cowpath_core::expect::{Herd, Parameters, SampleMilking, Scored, fit};
use cowpath_core::herd::{AnimalRow, BoxKey, EventRow, Life, LifeKey, lives};
use cowpath_core::tables::{Outcome, Visit};
use cowpath_core::time::hour_of_day;
use jiff::{Timestamp, tz::TimeZone};

type Trouble = Box<dyn std::error::Error>;

fn main() -> Result<(), Trouble> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let folder = arguments.first().map_or("../shared/datasets", String::as_str);
    let option =
        |name: &str| arguments.iter().position(|own| own == name).and_then(|at| arguments.get(at + 1));
    let wanted_fit = option("--half").is_some_and(|half| half == "fit");
    let sample_size: usize = option("--sample").map_or(Ok(8_000), |n| n.parse())?;
    let folder = Path::new(folder);
    if !folder.join("milkman_visits.csv.zst").exists() {
        println!("skipped: no data sets in {}", folder.display());
        return Ok(());
    }
    let data = Data::read(folder)?;
    let in_fit = |life: LifeKey| data.rank[&data.lives[life.0 as usize].animal].is_multiple_of(2);

    // The sample: whole lactations of cows of the fit half, every so-many-th cow, until it is full.
    let fit_rows: Vec<usize> = (0..data.visits.len()).filter(|&k| in_fit(data.visits[k].life)).collect();
    let every = (fit_rows.len() / sample_size).max(1);
    let fit_cows: Vec<LifeKey> = {
        let cows: BTreeSet<LifeKey> = fit_rows.iter().map(|&k| data.visits[k].life).collect();
        cows.into_iter().step_by(every).collect()
    };
    let sample: Vec<SampleMilking> = fit_rows
        .iter()
        .filter(|&&k| fit_cows.contains(&data.visits[k].life))
        .map(|&k| SampleMilking { visit: data.visits[k], stage: data.stage(k), hour_of_day: data.hour(k) })
        .collect();
    let began = std::time::Instant::now();
    let fitted = fit(&sample, &Parameters::prior());
    println!(
        "fitted to {} milkings in {:.0} ms, log posterior +{:.1}",
        fitted.milkings,
        began.elapsed().as_secs_f64() * 1e3,
        fitted.log_posterior_gain
    );
    for (name, value, low, high, unit) in &fitted.intervals {
        println!("  {name}: {value:.4} ({low:.4} to {high:.4}) {unit}");
    }
    println!("  {:?} cow sd {:.3}", fitted.parameters.curves, fitted.parameters.cow_sd);

    let mut parameters = serde_json::to_value(&fitted.parameters)?;
    for pair in arguments.windows(2).filter(|pair| pair[0] == "--set") {
        let (name, value) = pair[1].split_once('=').ok_or("--set NAME=VALUE")?;
        *parameters.pointer_mut(name).ok_or("no such parameter")? = serde_json::from_str(value)?;
    }
    let parameters: Parameters = serde_json::from_value(parameters)?;
    let mut herd = Herd::new(parameters);
    let mut scored = Scored::empty();
    let mut forecasts = vec![None; data.visits.len()];
    let began = std::time::Instant::now();
    for (k, visit) in data.visits.iter().enumerate() {
        let half = in_fit(visit.life);
        // Each half is a herd of its own, so that nothing of one half teaches the other.
        if half == wanted_fit && herd.take_into(visit, &data.stage(k), data.hour(k), &mut scored) {
            forecasts[k] = Some((scored.expected_kg, scored.low95_kg, scored.high95_kg, scored.scored));
        }
    }
    println!(
        "{:.2} µs a milking with reading of its stage",
        began.elapsed().as_secs_f64() * 1e6 / forecasts.iter().flatten().count() as f64
    );
    data.report(&forecasts, if wanted_fit { "fit" } else { "test" })
}

struct Data {
    lives: Vec<Life>,
    visits: Vec<Visit>,
    rank: BTreeMap<String, usize>,
    /// Of each visit: days from calving, 1 morning or 2 evening, mean of the last 7 days at the same time, if it is compared on.
    compared: Vec<Option<(i64, f64)>>,
}

impl Data {
    fn read(folder: &Path) -> Result<Data, Trouble> {
        let animals: Vec<AnimalRow> = rows(folder, "milkman_animals")?
            .iter()
            .map(|row| -> Result<AnimalRow, Trouble> {
                Ok(AnimalRow {
                    animal: row["animal"].clone(),
                    breed: Some(row["breed"].clone()),
                    parity: Some(row["parity"].parse()?),
                    calved_on: Some(row["calved_on"].parse()?),
                    ..Default::default()
                })
            })
            .collect::<Result<_, _>>()?;
        let events: Vec<EventRow> = rows(folder, "milkman_events")?
            .iter()
            .map(|row| -> Result<EventRow, Trouble> {
                Ok(EventRow {
                    animal: row["animal"].clone(),
                    at: row["at"].parse()?,
                    kind: row["kind"].clone(),
                    quarter: None,
                    detail: None,
                    value: None,
                    until: None,
                    note: Some(row["note"].clone()),
                })
            })
            .collect::<Result<_, _>>()?;
        let numbers: Vec<String> = animals.iter().map(|row| row.animal.clone()).collect();
        let lives = lives(&numbers, &animals, &events, &TimeZone::UTC);
        let key: BTreeMap<&str, LifeKey> =
            lives.iter().map(|life| (life.animal.as_str(), life.key)).collect();
        let mut visits = Vec::new();
        for row in rows(folder, "milkman_visits")? {
            let life = key[row["animal"].as_str()];
            visits.push(visit(
                life,
                row["started_at"].parse()?,
                row["ended_at"].parse()?,
                row["milk_kg"].parse()?,
            ));
        }
        visits.sort_by_key(|visit| (visit.ended_at, visit.life));
        // Which lactation of the source a visit is of, and which rows are compared on.
        let mut lactations: BTreeMap<(String, String), String> = BTreeMap::new();
        let mut milk: BTreeMap<(String, i64, i64), f64> = BTreeMap::new();
        let mut numbers: BTreeSet<i64> = BTreeSet::new();
        for row in rows(folder, "milkman")? {
            numbers.insert(row["cowno"].parse()?);
            lactations.insert((row["cowno"].clone(), row["lactno"].clone()), row["cowlact"].clone());
            if let Ok(kg) = row["my"].parse() {
                milk.insert((row["cowlact"].clone(), row["dfc"].parse()?, row["ampm"].parse()?), kg);
            }
        }
        let rank = numbers.iter().enumerate().map(|(rank, number)| (number.to_string(), rank)).collect();
        let mut wanted: BTreeSet<(String, i64, i64)> = BTreeSet::new();
        for row in rows(folder, "scored_rows")? {
            wanted.insert((row["cowlact"].clone(), row["dfc"].parse()?, row["ampm"].parse()?));
        }
        let parity_of: BTreeMap<(&str, Timestamp), String> = events
            .iter()
            .map(|event| {
                let note = event.note.as_deref().unwrap_or("");
                ((event.animal.as_str(), event.at), note.chars().filter(char::is_ascii_digit).collect())
            })
            .collect();
        let mut compared = Vec::new();
        for visit in &visits {
            let life = &lives[visit.life.0 as usize];
            let calved = life.stage(visit.ended_at).calved_at.ok_or("a milking before any calving")?;
            let lactation =
                &lactations[&(life.animal.clone(), parity_of[&(life.animal.as_str(), calved)].clone())];
            let hours = cowpath_core::time::hours_between(calved, visit.started_at);
            let (day, time) = ((hours / 24.0).floor() as i64, if hours % 24.0 < 12.0 { 1 } else { 2 });
            compared.push(wanted.contains(&(lactation.clone(), day, time)).then(|| {
                let week: Vec<f64> = (day - 7..day)
                    .filter_map(|own| milk.get(&(lactation.clone(), own, time)).copied())
                    .collect();
                (day, week.iter().sum::<f64>() / week.len() as f64)
            }));
        }
        println!(
            "{} milkings, {} of {} compared rows found",
            visits.len(),
            compared.iter().flatten().count(),
            wanted.len()
        );
        Ok(Data { lives, visits, rank, compared })
    }

    fn stage(&self, k: usize) -> cowpath_core::herd::Stage {
        self.lives[self.visits[k].life.0 as usize].stage(self.visits[k].ended_at)
    }

    fn hour(&self, k: usize) -> f64 {
        hour_of_day(self.visits[k].ended_at, &TimeZone::UTC)
    }

    #[allow(clippy::type_complexity)]
    fn report(&self, forecasts: &[Option<(f64, f64, f64, bool)>], half: &str) -> Result<(), Trouble> {
        println!("\n{half} half       rows     MAE  ratio    RMSE  ratio    bias  cover%  width");
        for (name, from, to) in [
            ("all", 0, 400),
            ("8-14", 8, 14),
            ("15-30", 15, 30),
            ("31-60", 31, 60),
            ("61-120", 61, 120),
            ("121-200", 121, 200),
            ("201-305", 201, 305),
        ] {
            let mut sums = [0.0; 8];
            for (k, forecast) in forecasts.iter().enumerate() {
                let (Some((day, mean)), Some((expected, low, high, scored))) = (self.compared[k], *forecast)
                else {
                    continue;
                };
                if !(from..=to).contains(&day) {
                    continue;
                }
                if !scored {
                    return Err(format!("visit {k} is compared on and was not judged").into());
                }
                let kg = self.visits[k].milk_kg.ok_or("a milking without milk")?;
                let (own, week) = (kg - expected, kg - mean);
                let within = if (low..=high).contains(&kg) { 1.0 } else { 0.0 };
                for (sum, add) in sums.iter_mut().zip([
                    1.0,
                    own.abs(),
                    week.abs(),
                    own * own,
                    week * week,
                    own,
                    within,
                    high - low,
                ]) {
                    *sum += add;
                }
            }
            let n = sums[0];
            println!(
                "{name:>9} {n:>11} {:>7.4} {:>6.4} {:>7.4} {:>6.4} {:>7.4} {:>7.2} {:>6.3}",
                sums[1] / n,
                sums[1] / sums[2],
                (sums[3] / n).sqrt(),
                (sums[3] / sums[4]).sqrt(),
                sums[5] / n,
                100.0 * sums[6] / n,
                sums[7] / n
            );
        }
        Ok(())
    }
}

fn visit(life: LifeKey, started_at: Timestamp, ended_at: Timestamp, milk_kg: f64) -> Visit {
    // One stall a cow, as the file says.
    let stay = Visit::stay(life, BoxKey(life.0 as u16), started_at, ended_at);
    Visit { outcome: Some(Outcome::Milked), milk_kg: Some(milk_kg), ..stay }
}

fn rows(folder: &Path, name: &str) -> Result<Vec<BTreeMap<String, String>>, Trouble> {
    let file = std::fs::File::open(folder.join(format!("{name}.csv.zst")))?;
    let mut reader = csv::Reader::from_reader(zstd::Decoder::new(file)?);
    Ok(reader.deserialize().collect::<Result<_, _>>()?)
}
