//! Do the commands keep their contract: help, exit codes, formats, the form of JSON, units and times?
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{process::Command, sync::LazyLock};

use common::{HEADER, Place, answer, csv_rows, keys};
use serde_json::Value;

const COMMANDS: &str = "demo import map round expected cow bring-in boxes intervals plan found record missed learned costs export check backup restore \
                        quarantine settings serve validate completions manual";

/// A herd with some months behind it, read once for all tests; none of them changes it.
static HERD: LazyLock<Place> = LazyLock::new(|| Place::demo(60, 1, 60));

/// A round of [`HERD`] with a call on a cow: its time and its JSON.
static CALLING: LazyLock<(String, Value)> = LazyLock::new(|| {
    (0..30)
        .map(|day| {
            let at = format!("2026-02-{:02}T05:30", 28 - day % 28);
            let round = HERD.json(["round", "--at", &at]);
            (at, round)
        })
        .find(|(_, round)| round["calls"].as_array().unwrap().iter().any(|call| call["subject"] == "cow"))
        .expect("no call on a cow in a month of 60 cows")
});

fn bare<const N: usize>(words: [&str; N]) -> common::Answer {
    answer(Command::new(env!("CARGO_BIN_EXE_cowpath")).args(words))
}

#[test]
fn every_command_shows_an_example() {
    let all = bare(["--help"]).done();
    for command in COMMANDS.split(' ') {
        all.says(&[&format!("\n  {command} ")]);
        for flag in ["--help", "-h"] {
            let help = bare([command, flag]).done();
            assert!(help.err.is_empty(), "{help:?}");
            help.says(&["Usage:", "--farm"]);
        }
        bare([command, "--help"]).says(&[&format!("Example: cowpath {command}")]);
    }
    bare(["--version"]).done();
}

#[test]
fn wrong_words_are_the_users() {
    let empty = Place::new();
    let wrong: [&[&str]; 20] = [
        &[],
        &["milk"],
        &["round", "--loud"],
        &["round", "--format", "xml"],
        &["import"],
        &["cow"],
        &["backup"],
        &["restore"],
        &["demo", "--cows", "many"],
        &["demo", "--cows", "1"],
        &["settings", "--units", "stone"],
        &["settings", "--zone", "Mars/Olympus"],
        &["import", "x.csv", "--zone", "Mars/Olympus"],
        &["--now", "yesterday", "round"],
        &["expected", "--from"],
        &["cow", "214", "--from", "soon"],
        &["serve", "--listen", "nowhere"],
        &["serve", "--inbox", "nowhere at all"],
        &["quarantine", "mend", "first", "milk_kg=1"],
        &["quarantine", "mend", "1"],
    ];
    for words in wrong {
        let said = empty.run(words).refused();
        assert!(!said.err.is_empty(), "{words:?}: {said:?}");
        assert!(said.out.is_empty(), "{words:?}: {said:?}");
    }
    for words in [["round", "--at", "nonsense"], ["expected", "--to", "31.3."], ["cow", "214", "--at"]] {
        HERD.run(words).refused();
    }
    HERD.run(["cow", "nobody"]).refused().says(&["nobody", "Do: "]);
    HERD.run(["round", "--at", "2026-02-30"]).refused().says(&["2026-02-30", "Do: "]);
}

#[test]
fn times_and_spans_that_cannot_be() {
    // New York, zone database: 02:30 of 8 March 2026 never was; 01:30 of 2 November 2025 came twice.
    HERD.run(["round", "--at", "2026-03-08T02:30"]).refused().says(&["never was", "Do: "]);
    let twice = HERD.run(["round", "--at", "2025-11-02T01:30"]).refused();
    twice.says(&["came twice", "2025-11-02T01:30:00-04:00 or 2025-11-02T01:30:00-05:00"]);
    HERD.run(["round", "--at", "2025-11-02T01:30-05:00"]).done();
    // The ends of the calendar, where one step further is none.
    for at in
        ["-009999-01-02T01:59:59Z", "0000-01-01", "9999-12-30T21:59", "9999-12-30T22:00:00Z", "9999-12-31"]
    {
        for words in [["round", "x"], ["cow", "x"], ["expected", "x"]] {
            let at = if words[0] == "expected" { format!("--to={at}") } else { format!("--at={at}") };
            let words: Vec<&str> =
                if words[0] == "cow" { vec!["cow", "101", &at] } else { vec![words[0], &at] };
            let said = HERD.run(words).refused();
            said.says(&["Do: "]);
            assert!(["is not a time", "is of no year"].iter().any(|why| said.err.contains(why)), "{said:?}");
        }
    }
    for words in [
        ["expected", "--from=2026-03-01", "--to=2026-02-01"],
        ["cow", "--from=2026-03-01", "--to=2026-02-01"],
    ] {
        let name = (words[0] == "cow").then_some("101");
        HERD.run(words.into_iter().chain(name)).refused().says(&["ends before it begins", "Do: "]);
    }
    HERD.run(["expected", "--animal", "nobody"]).refused().says(&["no cow `nobody`", "Do: "]);
    // Before the first row and after the last there is an answer, if a poor one.
    for at in ["2010-01-01", "2199-12-31"] {
        HERD.run(["round", "--at", at]).done();
    }
}

#[test]
fn a_demo_again_is_the_same_and_another_makes_room() {
    let place = Place::demo(6, 1, 4);
    let before = place.standing();
    let again = place.run(["demo", "--no-serve", "--cows", "6", "--boxes", "1", "--days", "4"]).done();
    again.says(&["visits.csv: visits,", "nothing is new"]);
    assert!(place.standing() == before);
    place.run(["demo", "--no-serve", "--cows", "7", "--boxes", "1", "--days", "3"]).done();
    assert_eq!(place.standing()[2].1.len(), 7, "{:?}", place.standing()[2]);
    // A farm of one's own is never taken for a demo's.
    let own = Place::new();
    own.run(["settings", "--name", "Own"]).done();
    own.run(["demo", "--no-serve"]).refused().says(&["not a demo's", "Do: "]);
    own.whole();
}

#[test]
fn a_farm_that_is_not_there() {
    let empty = Place::new();
    for words in
        [&["round"] as &[&str], &["expected"], &["cow", "214"], &["check"], &["backup", "x"], &["settings"]]
    {
        empty.run(words).refused().says(&["there is no farm", "Do: ", "cowpath import"]);
        assert!(!empty.farm().exists(), "{words:?} made a farm");
    }
}

#[test]
fn an_empty_farm_answers() {
    let place = Place::new();
    place.run(["settings", "--zone", "Europe/Amsterdam", "--name", "Reed End"]).done();
    for format in ["text", "json", "csv"] {
        for words in [&["round"] as &[&str], &["expected"], &["check"], &["settings"]] {
            place.run(words.iter().chain(&["--format", format])).done();
        }
    }
    let round = place.json(["round"]);
    assert_eq!(round["farm"], "Reed End");
    assert_eq!(round["at"], "2026-03-03T13:00:00+01:00");
    assert_eq!(round["quiet"]["cows"], 0);
    assert_eq!(place.json(["expected"]), Value::Array(Vec::new()));
}

#[test]
fn every_list_comes_in_three_forms() {
    // A farm of its own: rows that are read while another test asks would change that one's answer.
    let herd = Place::demo(60, 1, 60);
    let log = herd.logs().join("recordings.csv");
    let lists: [&[&str]; 6] = [
        &["round"],
        &["expected", "--from", "2026-02-27"],
        &["cow", "1"],
        &["check"],
        &["settings"],
        &["import", log.to_str().unwrap()],
    ];
    let cow = herd.json(["expected", "--from", "2026-02-27"])[0]["animal"].as_str().unwrap().to_owned();
    for words in lists {
        let mut words = words.to_vec();
        if words[0] == "cow" {
            words[1] = &cow;
        }
        let form = |format| herd.run(words.iter().chain(&["--format", format])).done().out;
        assert_eq!(form("text"), herd.run(&words).out, "{words:?}");
        serde_json::from_str::<Value>(&form("json")).unwrap();
        let (header, rows) = csv_rows(&form("csv"));
        assert!(header.iter().all(|word| !word.trim().is_empty()), "{words:?}: {header:?}");
        let may_be_none = matches!(words[0], "round" | "check");
        assert!(may_be_none || !rows.is_empty(), "{words:?}");
    }
}

#[test]
fn import_answers_in_the_form_of_the_contract() {
    let place = Place::new();
    place.run(["settings", "--zone", "America/Chicago"]).done();
    let row = |box_name: &str, milk: &str| {
        format!("214,{box_name},2026-03-02T05:02:10-06:00,2026-03-02T05:09:31-06:00,milked,{milk}\n")
    };
    let first = place.file("first.csv", format!("{HEADER}{}{}", row("1", "9.8"), row("2", "-3")));
    let taken = place.json(["import", first.to_str().unwrap()]);
    assert_eq!(keys(&taken), ["files", "issues"]);
    assert_eq!(
        taken["files"],
        serde_json::json!([{
            "file": first, "table": "visits", "read": 2, "new": 1, "same": 0, "replaced": 0, "quarantined": 1
        }])
    );
    let issue = &taken["issues"][0];
    assert_eq!(keys(issue), ["column", "do", "file", "line", "reason", "value"]);
    assert_eq!(issue["line"], 3);
    assert_eq!((&issue["column"], &issue["value"]), (&"milk_kg".into(), &"-3".into()));
    assert_eq!(issue["file"], first.to_str().unwrap());
    let second = place.file("second.csv", format!("{HEADER}{}", row("1", "9.9")));
    let again = place.json(["import", first.to_str().unwrap(), second.to_str().unwrap()]);
    let sums = |file: usize| {
        ["read", "new", "same", "replaced", "quarantined"].map(|name| &again["files"][file][name])
    };
    assert_eq!(sums(0), [2, 0, 1, 0, 1]);
    assert_eq!(sums(1), [1, 0, 0, 1, 0]);
    place.whole();
}

#[test]
fn a_round_has_the_form_of_the_contract() {
    let (_, round) = &*CALLING;
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let maybe = |value: &Value| value.is_string() || value.is_null();
    assert!(!text(&round["farm"]).is_empty() && !text(&round["model"]).is_empty());
    in_the_farms_zone(&text(&round["at"]));
    let mut reasons = 0;
    for call in round["calls"].as_array().unwrap() {
        for name in ["id", "sentence", "do"] {
            assert!(!text(&call[name]).is_empty(), "{call:#}");
        }
        assert!(["cow", "box", "herd"].contains(&text(&call["subject"]).as_str()));
        assert!(cowpath_core::causes::Cause::from_word(&text(&call["cause"])).is_some(), "{call:#}");
        assert!(["now", "today", "watch"].contains(&text(&call["urgency"]).as_str()));
        assert_eq!(call["animal"].is_string(), call["subject"] == "cow");
        for name in ["animal", "box", "quarter"] {
            assert!(call.as_object().unwrap().contains_key(name) && maybe(&call[name]), "{call:#}");
        }
        assert!((0.0..=1.0).contains(&call["probability"].as_f64().unwrap()));
        in_the_farms_zone(&text(&call["since"]));
        assert!(text(&call["since"]) <= text(&round["at"]));
        for other in call["others"].as_array().unwrap() {
            assert_eq!(keys(other), ["cause", "probability"]);
            assert!((0.0..=1.0).contains(&other["probability"].as_f64().unwrap()));
        }
        for reason in call["reasons"].as_array().unwrap() {
            reasons += 1;
            assert!(reason.as_object().unwrap().contains_key("quarter") && maybe(&reason["quarter"]));
            let signal = cowpath_core::say::reason::signal_from_word(&text(&reason["signal"])).unwrap();
            assert_eq!(text(&reason["unit"]), cowpath_core::say::number::metric_unit(signal));
            for name in ["observed", "expected", "weight"] {
                assert!(reason[name].is_number(), "{reason}");
            }
        }
    }
    assert!(0 < reasons);
    assert!(round["quiet"]["cows"].is_u64());
    for not in round["quiet"]["not_judged"].as_array().unwrap() {
        assert_eq!(keys(not), ["animal", "why"]);
        assert!(!text(&not["animal"]).is_empty() && !text(&not["why"]).is_empty());
    }
}

/// RFC 3339, with the offset the simulated farm's zone has in winter.
fn in_the_farms_zone(words: &str) {
    words.parse::<jiff::Timestamp>().unwrap();
    assert!(words.ends_with("-05:00"), "{words}");
}

#[test]
fn the_same_round_in_all_forms() {
    let (at, round) = &*CALLING;
    let (header, rows) = csv_rows(&HERD.run(["round", "--at", at, "--format", "csv"]).done().out);
    let calls = round["calls"].as_array().unwrap();
    assert_eq!(rows.len(), calls.len());
    let column = |name: &str| header.iter().position(|word| word == name).unwrap();
    let text = HERD.run(["round", "--at", at]).done().out;
    for (row, call) in rows.iter().zip(calls) {
        for name in ["id", "urgency", "cause", "since", "sentence", "do"] {
            assert_eq!(row[column(name)], call[name].as_str().unwrap());
        }
        assert!(text.contains(call["sentence"].as_str().unwrap()), "{text}");
        assert!(text.contains(call["do"].as_str().unwrap()), "{text}");
    }
    assert!(text.contains(round["summary"].as_str().unwrap()));
    assert_eq!(*round, HERD.json(["round", "--at", at]), "the same question, another answer");
}

#[test]
fn milkings_beside_what_was_expected() {
    let span = ["--from", "2026-02-20", "--to", "2026-02-22"];
    let rows = HERD.json(["expected"].into_iter().chain(span));
    let rows = rows.as_array().unwrap();
    assert!(100 < rows.len(), "{} milkings of 60 cows in two days", rows.len());
    for row in rows {
        assert_eq!(
            keys(row),
            [
                "animal",
                "baseline_kg",
                "expected_kg",
                "high95_kg",
                "low95_kg",
                "observed_kg",
                "scored",
                "started_at"
            ]
        );
        let figure = |name: &str| row[name].as_f64().unwrap();
        assert!(figure("low95_kg") <= figure("expected_kg") && figure("expected_kg") <= figure("high95_kg"));
        let started = row["started_at"].as_str().unwrap();
        in_the_farms_zone(started);
        assert!(("2026-02-20".."2026-02-22").contains(&&started[..10]), "{started}");
    }
    let animal = rows[0]["animal"].as_str().unwrap();
    let hers = HERD.json(["expected", "--animal", animal].into_iter().chain(span));
    let of_all: Vec<&Value> = rows.iter().filter(|row| row["animal"] == animal).collect();
    assert_eq!(hers.as_array().unwrap().iter().collect::<Vec<_>>(), of_all);
}

#[test]
fn pounds_in_words_and_tables_kilograms_for_programs() {
    let metric = Place::demo(12, 1, 8);
    let span = ["expected", "--from", "2026-02-28"];
    let before = (metric.json(span), metric.json(["round"]));
    let animal = before.0[0]["animal"].as_str().unwrap();
    let cow = metric.json(["cow", animal]);
    let csv = |place: &Place| csv_rows(&place.run(span.iter().chain(&["--format", "csv"])).done().out);
    let (header, kilograms) = csv(&metric);
    assert_eq!(
        header.join(","),
        "animal,started_at,observed_kg,expected_kg,low95_kg,high95_kg,baseline_kg,scored"
    );
    metric.run(["settings", "--units", "us"]).done().says(&["us"]);
    let us = metric;
    let (header, pounds) = csv(&us);
    assert_eq!(
        header.join(","),
        "animal,started_at,observed_lb,expected_lb,low95_lb,high95_lb,baseline_lb,scored"
    );
    assert_eq!(kilograms.len(), pounds.len());
    for (kg, lb) in kilograms.iter().zip(&pounds) {
        for place in (2..7).filter(|place| !kg[*place].is_empty()) {
            let (kg, lb): (f64, f64) = (kg[place].parse().unwrap(), lb[place].parse().unwrap());
            // 1 lb = 0.45359237 kg by definition; both columns are rounded to a thousandth.
            assert!((lb * 0.453_592_37 - kg).abs() < 0.001, "{kg} kg, {lb} lb");
        }
    }
    assert_eq!(us.json(span), before.0, "JSON is always metric");
    let after = us.json(["round"]);
    assert_eq!(after["quiet"], before.1["quiet"]);
    let cow_us = us.json(["cow", animal]);
    for part in ["lanes", "row_head", "rows"] {
        assert_eq!(cow_us[part], cow[part], "JSON is always metric: {part}");
    }
    let (head, _) = csv_rows(&us.run(["cow", animal, "--format", "csv"]).done().out);
    assert!(head.iter().any(|word| word.contains("lb")), "{head:?}");
    assert!(!head.iter().any(|word| word.contains("kg")), "{head:?}");
    assert!(us.run(["expected"]).done().out.lines().next().unwrap().contains("[lb]"));
}

#[test]
fn every_time_of_a_cow_is_told_in_the_farms_zone() {
    let animal = HERD.json(["expected", "--from", "2026-02-27"])[0]["animal"].as_str().unwrap().to_owned();
    let cow = HERD.json(["cow", &animal]);
    fn times(json: &Value, found: &mut Vec<String>) {
        match json {
            Value::String(words) if words.parse::<jiff::Timestamp>().is_ok() => found.push(words.clone()),
            Value::Array(all) => all.iter().for_each(|one| times(one, found)),
            Value::Object(all) => all.values().for_each(|one| times(one, found)),
            _ => {}
        }
    }
    let mut found = Vec::new();
    times(&cow, &mut found);
    assert!(20 < found.len(), "{found:?}");
    found.iter().for_each(|words| in_the_farms_zone(words));
}

#[test]
fn a_reader_that_stops_is_no_error() {
    use std::io::{BufRead, BufReader};
    let mut child = HERD
        .command(["expected"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
    let ended = child.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(0), "{}", String::from_utf8_lossy(&ended.stderr));
}
