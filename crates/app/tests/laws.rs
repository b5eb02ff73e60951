//! What holds of every farm: order and splits of rows change nothing, nothing looks ahead, memories change nothing.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
#[path = "common/logs.rs"]
mod logs;

use common::Place;
use logs::{Log, Shuffle, herd, read_logs};
use serde_json::Value;

/// Times a round is asked for: before the parameters were first fitted, on a turn of the week, and later.
const TIMES: [&str; 4] = [
    "2026-02-08T05:30:00-05:00",
    "2026-02-16T00:00:00Z",
    "2026-02-23T16:00:00-05:00",
    "2026-03-02T05:20:00-05:00",
];

/// A farm in the herd's zone.
fn farm() -> Place {
    let place = Place::new();
    place.run(["settings", "--zone", "America/New_York", "--name", "Sumac Hollow"]).done();
    place
}

/// A farm that has read these logs, a file a table.
fn farm_of(logs: &[Log]) -> Place {
    let place = farm();
    let files: Vec<_> =
        logs.iter().map(|log| place.file(&format!("{}.csv", log.table), log.text())).collect();
    place.import(files).done();
    place.whole();
    place
}

/// All that the program says of a farm, for comparing.
fn said(place: &Place) -> Vec<(String, String)> {
    let mut said = vec![("expected".to_owned(), place.run(["expected", "--format", "csv"]).done().out)];
    for at in TIMES {
        said.push((format!("round {at}"), place.run(["round", "--at", at, "--format", "json"]).done().out));
    }
    said.push(("round".into(), place.run(["round", "--format", "json"]).done().out));
    for animal in animals(place).iter().step_by(5) {
        let words = ["cow", animal, "--at", TIMES[3], "--from", "2026-02-01", "--format", "json"];
        said.push((format!("cow {animal}"), place.run(words).done().out));
    }
    said
}

fn animals(place: &Place) -> Vec<String> {
    place.store().numbers().unwrap()
}

fn same(one: &[(String, String)], other: &[(String, String)]) {
    assert_eq!(one.len(), other.len());
    for ((what, one), (_, other)) in one.iter().zip(other) {
        if one != other {
            let (line, (a, b)) = one
                .lines()
                .zip(other.lines())
                .enumerate()
                .find(|(_, (a, b))| a != b)
                .unwrap_or((0, ("", "")));
            panic!("{what} differs in line {}:\n  {a}\n  {b}", line + 1);
        }
    }
}

#[test]
fn order_and_splits_of_rows_change_nothing() {
    // Some cows seem to be in two boxes at once, in chains, and some rows cannot be used.
    let mut logs = herd(20, 1, 30, true);
    logs.iter_mut().filter(|log| log.table == "visits").for_each(Log::haunt);
    let whole = farm_of(&logs);
    let (quarantined, aside) = whole.store().quarantine_counts().unwrap();
    assert!(20 < quarantined && 50 < aside, "{quarantined} rows in quarantine, {aside} visits set aside");
    let (rows, words) = (whole.standing(), said(&whole));
    assert!(10_000 < rows.iter().map(|(_, rows)| rows.len()).sum::<usize>());
    for seed in [1, 2] {
        let mut shuffle = Shuffle(seed);
        let place = farm();
        let mut files = Vec::new();
        for log in &logs {
            let mut lines = log.rows.clone();
            shuffle.order(&mut lines);
            let parts = 1 + shuffle.below(5);
            for part in 0..parts {
                let (from, to) = (lines.len() * part / parts, lines.len() * (part + 1) / parts);
                let text = Log { rows: lines[from..to].to_vec(), ..log.clone() }.text();
                files.push(place.file(&format!("{}-{part}.csv", log.table), text));
            }
        }
        shuffle.order(&mut files);
        // Read in several runs, with a round between that leaves its memories.
        for (run, some) in files.chunks(7).enumerate() {
            place.import(some).done();
            if run % 2 == 0 {
                place.run(["round"]).done();
            }
        }
        place.whole();
        for ((table, one), (_, other)) in rows.iter().zip(place.standing()) {
            assert!(*one == other, "{table} differs for seed {seed}: {} and {} rows", one.len(), other.len());
        }
        assert_eq!(place.store().quarantine_counts().unwrap(), (quarantined, aside), "seed {seed}");
        same(&words, &said(&place));
    }
    println!("{quarantined} rows in quarantine, {aside} visits set aside");
}

#[test]
fn twice_read_is_once_read() {
    let place = Place::demo(20, 1, 30);
    let before = (place.standing(), said(&place));
    let files = read_logs(&place.logs());
    let again = place.import(files.iter().map(|log| place.logs().join(format!("{}.csv", log.table)))).done();
    for log in files.iter().filter(|log| !log.rows.is_empty()) {
        let line = again.out.lines().find(|line| line.contains(&format!("{}.csv", log.table))).unwrap();
        assert!(line.contains("nothing is new"), "{line}");
    }
    // The same rows in files of another content are read row by row.
    for log in &files {
        let mut turned = log.clone();
        turned.rows.reverse();
        let file = place.file(&format!("{}-turned.csv", log.table), turned.text());
        let taken = &place.json(["import", file.to_str().unwrap()])["files"][0];
        assert_eq!(taken["same"], taken["read"], "{}: {taken}", log.table);
        assert_eq!(taken["read"], log.rows.len(), "{}", log.table);
    }
    place.whole();
    assert!(before.0 == place.standing());
    same(&before.1, &said(&place));
}

#[test]
fn nothing_looks_ahead() {
    let logs = herd(20, 1, 30, false);
    let whole = farm_of(&logs);
    // One time lies within a milking: she stands in the box, and nobody knows yet what she gives.
    let (in_the_box, amid) =
        logs.iter().find(|log| log.table == "visits").unwrap().amid_a_milking("2026-02-25");
    for at in TIMES.into_iter().chain([amid.as_str()]) {
        let known: Vec<Log> = logs.iter().map(|log| log.known_by(at.parse().unwrap())).collect();
        let cut = farm_of(&known);
        let to = ["expected", "--format", "csv", "--to", at];
        let expected = |place: &Place| ("expected".to_owned(), place.run(to).done().out);
        let round = |place: &Place| {
            ("round".to_owned(), place.run(["round", "--at", at, "--format", "json"]).done().out)
        };
        let cow = |place: &Place, animal: &str| {
            (format!("cow {animal}"), place.run(["cow", animal, "--at", at, "--format", "json"]).done().out)
        };
        // Later rows are there, and memories and parameters of later times with them.
        whole.run(["round"]).done();
        let mut pairs = vec![(expected(&whole), expected(&cut)), (round(&whole), round(&cut))];
        let asked = animals(&cut);
        let asked = asked.iter().step_by(4).chain([&in_the_box]);
        pairs.extend(asked.map(|animal| (cow(&whole, animal), cow(&cut, animal))));
        let (one, other): (Vec<_>, Vec<_>) = pairs.into_iter().unzip();
        same(&one, &other);
    }
}

#[test]
fn memories_change_nothing() {
    let logs = herd(20, 1, 30, false);
    // One farm is asked once; the other at every step, while its logs come in by weeks, out of order at the end.
    let fresh = farm_of(&logs);
    let grown = farm();
    for (week, until) in TIMES.iter().enumerate() {
        let files: Vec<_> = logs
            .iter()
            .map(|log| {
                grown.file(&format!("{}-{week}.csv", log.table), log.known_by(until.parse().unwrap()).text())
            })
            .collect();
        // The first week comes last: memories of the later ones must not outlive it.
        if week != 0 {
            let later = files.iter().map(|file| {
                let log =
                    logs.iter().find(|log| file.ends_with(format!("{}-{week}.csv", log.table))).unwrap();
                grown.file(
                    &format!("{}-{week}.csv", log.table),
                    log.known_by(until.parse().unwrap()).without(TIMES[0]).text(),
                )
            });
            grown.import(later.collect::<Vec<_>>()).done();
            grown.run(["round"]).done();
            grown.run(["round", "--at", until]).done();
            grown.run(["expected", "--from", "2026-02-20"]).done();
        }
    }
    let whole: Vec<_> =
        logs.iter().map(|log| grown.file(&format!("{}.csv", log.table), log.text())).collect();
    grown.import(whole).done();
    grown.whole();
    assert!(fresh.standing() == grown.standing());
    same(&said(&fresh), &said(&grown));
    // And a farm whose memories were thrown away answers as one that has them.
    grown.store().forget_checkpoints().unwrap();
    let round =
        |place: &Place| vec![("round".to_owned(), place.run(["round", "--format", "json"]).done().out)];
    same(&round(&fresh), &round(&grown));
}

/// Signals that the reasons of all rounds of the last ten days rest on, with what was observed.
fn reasons(place: &Place) -> Vec<(String, f64)> {
    let mut found = Vec::new();
    for day in [20, 22, 24, 26, 28] {
        let round = place.json(["round", "--at", &format!("2026-02-{day}T05:30:00-05:00")]);
        for call in round["calls"].as_array().unwrap() {
            found.extend(call["reasons"].as_array().unwrap().iter().map(|reason: &Value| {
                (reason["signal"].as_str().unwrap().to_owned(), reason["observed"].as_f64().unwrap())
            }));
        }
    }
    found
}

#[test]
fn what_was_not_measured_is_never_zero() {
    let logs = herd(60, 1, 35, false);
    let all = reasons(&farm_of(&logs));
    let has = |reasons: &[(String, f64)], signal: &str| reasons.iter().any(|(own, _)| own == signal);
    println!("{} reasons with every sensor", all.len());
    assert!(has(&all, "milk") && has(&all, "conductivity") && has(&all, "quarter-milk"), "{all:?}");
    let quarters = ["lf_", "rf_", "lr_", "rr_"];
    type Drop<'a> = (&'a str, &'a dyn Fn(&str) -> bool, &'a [&'a str]);
    let drops: [Drop<'_>; 4] = [
        ("conductivity", &|column| column.ends_with("_ms_cm"), &["conductivity"]),
        ("kicks", &|column| column.ends_with("_kicked"), &["kick", "kicks", "kicked"]),
        (
            "quarters",
            &|column| quarters.iter().any(|quarter| column.starts_with(quarter)),
            &["conductivity", "quarter-milk", "kick", "kicks", "kicked"],
        ),
        (
            "milk",
            &|column| column == "milk_kg" || column.ends_with("f_kg") || column.ends_with("r_kg"),
            &["milk", "quarter-milk"],
        ),
    ];
    for (what, drop, signals) in drops {
        let less: Vec<Log> = logs
            .iter()
            .map(|log| if log.table == "visits" { log.without_columns(drop) } else { log.clone() })
            .collect();
        let place = farm_of(&less);
        let found = reasons(&place);
        println!("{} reasons without {what}", found.len());
        for signal in signals {
            assert!(!has(&found, signal), "without {what}, a call rests on {signal}");
        }
        if what == "milk" {
            for row in place.json(["expected"]).as_array().unwrap() {
                assert!(row["observed_kg"].is_null(), "{row}");
            }
            let text = place.run(["round"]).done().out;
            assert!(!text.contains(" 0 kg") && !text.contains(" 0.0 kg"), "{text}");
        }
    }
    // An empty cell here and there: "not measured" among measured ones.
    let holes: Vec<Log> = logs
        .iter()
        .map(|log| {
            if log.table == "visits" {
                log.with_holes(3, &|column| column.ends_with("_ms_cm"))
            } else {
                log.clone()
            }
        })
        .collect();
    let found = reasons(&farm_of(&holes));
    assert!(found.iter().all(|(signal, observed)| signal != "conductivity" || 1.0 < *observed), "{found:?}");
}
