//! Pens set to be queues whose answers are known: Erlang's C, Pollaczek and Khinchine's wait, finitely many cows.
//!
//! The rows of `cases/queues` were computed in 40 digits. Asked of each: within three standard errors of our replicates,
//! and within 1 %, at an error small enough (a third of a per cent, or as many visits as the time allows) for that to say
//! something.

#![allow(clippy::panic, clippy::unwrap_used, reason = "helpers of tests")]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use cowpath_core::traffic::{Counted, Days, Figure, Law, Pen, Room, Spread, Tables, run};

fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/cases/queues").join(name);
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
    let heads: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    reader
        .records()
        .map(|row| heads.iter().cloned().zip(row.unwrap().iter().map(str::to_owned)).collect())
        .collect()
}

fn number(row: &BTreeMap<String, String>, key: &str) -> f64 {
    let word = &row[key];
    let parse = |word: &str| word.parse::<f64>().unwrap_or_else(|_| panic!("{key}: `{word}` is no figure"));
    word.split_once('/').map_or_else(|| parse(word), |(above, below)| parse(above) / parse(below))
}

/// What it is called, what is known, and what is counted.
type Known = (&'static str, f64, fn(&Counted) -> f64);

/// Visits of a replicate.
const REPLICATE: f64 = 400_000.0;
/// Replicates at least and at most.
const REPLICATES: (u32, u32) = (20, 80);
/// Rows whose answers come slowly: many boxes, or nearly all time used. They take minutes and are asked for by name.
const SLOW: (f64, f64) = (10.0, 0.84);
/// Replicates at most of those.
const REPLICATES_SLOW: u32 = 600;

/// Runs a pen until every figure is sure to a third of a per cent, and holds each against what is known.
fn hold(what: &str, pen: &Pen, visits_per_min: f64, most: u32, known: &[Known]) -> Vec<String> {
    let days = Days {
        warm_up: 0.05 * REPLICATE / visits_per_min / 1440.0,
        counted: REPLICATE / visits_per_min / 1440.0,
    };
    let (tables, mut room, stop) = (Tables::of(pen), Room::default(), AtomicBool::new(false));
    let mut spreads = vec![Spread::default(); known.len()];
    for replicate in 0..most {
        let counted = run(pen, &tables, days, (1, replicate), &mut room, &stop).unwrap();
        assert_eq!(counted.short, 0, "{what}: more cows are needed");
        for (spread, (_, _, of)) in spreads.iter_mut().zip(known) {
            spread.add(of(counted));
        }
        let sure = |(spread, (_, value, _)): (&Spread, &Known)| spread.error() < value.abs() / 300.0;
        if REPLICATES.0 <= replicate + 1 && spreads.iter().zip(known).all(sure) {
            break;
        }
    }
    let mut faults = Vec::new();
    for (spread, (name, value, _)) in spreads.iter().zip(known) {
        let (mean, error) = (spread.mean().mean, spread.error());
        let off = mean - value;
        println!(
            "{what}: {name} {mean:.6} ± {error:.6}, known {value:.6}; off {:+.2} errors, {:+.3} %, {} replicates",
            off / error,
            100.0 * off / value,
            spread.count()
        );
        if 3.0 * error < off.abs() || 0.01 * value.abs() < off.abs() || 0.01 * value.abs() < 3.0 * error {
            faults.push(format!("{what}: {name} {mean} ± {error}, known {value}"));
        }
    }
    faults
}

fn wait(counted: &Counted) -> f64 {
    counted.figure(Figure::Wait)
}

fn waited(counted: &Counted) -> f64 {
    counted.waited as f64 / counted.visits as f64
}

/// By Little's law: minutes waited in the days, over the days.
fn in_queue(counted: &Counted) -> f64 {
    counted.figure(Figure::Waiting) * counted.cows / 1440.0
}

fn occupied(counted: &Counted) -> f64 {
    counted.figure(Figure::Occupied)
}

fn per_min(counted: &Counted) -> f64 {
    counted.milkings as f64 / counted.days / 1440.0
}

/// Visits at a constant rate, whoever makes them.
fn open(boxes: usize, per_min: f64, law: Law) -> Pen {
    let mut pen = Pen::plain(4000, boxes, 1.0, law);
    pen.coming.together_per_min = Some(per_min);
    pen
}

fn none(faults: Vec<String>) {
    assert!(faults.is_empty(), "{} missed:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn erlangs_c() {
    none(erlang(false, REPLICATES.1));
}

#[test]
#[ignore = "minutes; cargo test --release --test queues -- --ignored"]
fn erlangs_c_of_many_boxes() {
    none(erlang(true, REPLICATES_SLOW));
}

fn erlang(slow: bool, most: u32) -> Vec<String> {
    let is_slow = |row: &BTreeMap<String, String>| {
        SLOW.0 <= number(row, "servers") || SLOW.1 <= number(row, "utilisation")
    };
    rows("erlang.csv")
        .iter()
        .filter(|row| is_slow(row) == slow)
        .flat_map(|row| {
            let (boxes, load) = (number(row, "servers"), number(row, "offered_erlang"));
            let known: [Known; 4] = [
                ("chance of waiting", number(row, "erlang_c"), waited),
                ("wait", 7.0 * number(row, "mean_wait_in_mean_services"), wait),
                ("in queue", number(row, "mean_in_queue"), in_queue),
                ("occupied", number(row, "utilisation"), occupied),
            ];
            let pen = open(boxes as usize, load / 7.0, Law::Erlang(7.0, 1));
            hold(&format!("C({boxes}, {load:.3})"), &pen, load / 7.0, most, &known)
        })
        .collect()
}

#[test]
fn pollaczek_and_khinchine() {
    let faults = rows("pk.csv")
        .iter()
        .flat_map(|row| {
            let (mean, cv2) = (number(row, "service_mean_min"), number(row, "service_cv2"));
            let law = match cv2 {
                0.0 => Law::Fixed(mean),
                cv2 if cv2 <= 1.0 => Law::Erlang(mean, (1.0 / cv2).round() as u32),
                // Two exponentials of balanced means have this cv².
                cv2 => {
                    let chance = 0.5 * (1.0 + ((cv2 - 1.0) / (cv2 + 1.0)).sqrt());
                    Law::Either(0.5 * mean / chance, 0.5 * mean / (1.0 - chance), chance)
                }
            };
            let known: [Known; 3] = [
                ("wait", number(row, "mean_wait_min"), wait),
                ("in queue", number(row, "mean_in_queue"), in_queue),
                ("occupied", number(row, "utilisation"), occupied),
            ];
            let per_min = number(row, "arrivals_per_min");
            hold(&row["case"], &open(1, per_min, law), per_min, REPLICATES.1, &known)
        })
        .collect();
    none(faults);
}

#[test]
fn finitely_many_cows() {
    let faults = rows("finite_source.csv")
        .iter()
        .flat_map(|row| {
            let mean = number(row, "service_mean_min");
            let parts = row["service"].strip_prefix("erlang-").map_or(1, |parts| parts.parse().unwrap());
            let known: [Known; 4] = [
                ("wait", number(row, "mean_wait_min"), wait),
                ("in queue", number(row, "mean_in_queue"), in_queue),
                ("occupied", number(row, "utilisation_per_box"), occupied),
                ("milkings a minute", number(row, "milkings_per_min"), per_min),
            ];
            let (cows, boxes) = (number(row, "cows") as usize, number(row, "boxes") as usize);
            let pen = Pen::plain(cows, boxes, number(row, "away_mean_min"), Law::Erlang(mean, parts));
            hold(
                &format!("{} {}", row["case"], row["service"]),
                &pen,
                number(row, "milkings_per_min"),
                REPLICATES.1,
                &known,
            )
        })
        .collect();
    none(faults);
}
