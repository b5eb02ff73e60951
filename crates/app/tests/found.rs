//! What a person found: taken through the program, joined to the round, asked after, counted.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::process::Command;

use common::{Answer, Place, answer};
use serde_json::Value;

/// A herd's logs, and a time at which its round sends somebody at once for an udder.
fn urgent() -> (Place, jiff::Timestamp) {
    let place = Place::demo(60, 1, 60);
    for day in 0..30 {
        let at: jiff::Timestamp = format!("2026-02-{:02}T11:30:00Z", 28 - day).parse().unwrap();
        let round = place.json(["round", "--at", &at.to_string()]);
        if round["calls"].as_array().unwrap().iter().any(is_urgent) {
            return (place, at);
        }
    }
    panic!("no urgent call in a month of 60 cows");
}

fn is_urgent(call: &Value) -> bool {
    call["urgency"] == "now" && call["cause"] == "udder"
}

/// Reads what the logs of a herd hold until a time into another farm, as its day goes on.
fn grow(herd: &Place, farm: &Place, until: jiff::Timestamp) {
    if !farm.farm().exists() {
        farm.run(["settings", "--zone", "America/Toronto"]);
    }
    for table in ["animals", "events", "visits"] {
        let log = std::fs::read_to_string(herd.logs().join(format!("{table}.csv"))).unwrap();
        let header: Vec<&str> = log.lines().next().unwrap().split(',').collect();
        let column = match table {
            "visits" => Some("ended_at"),
            "events" => Some("at"),
            _ => None,
        };
        let place = column.map(|name| header.iter().position(|own| *own == name).unwrap());
        let known = |line: &&str| match place {
            Some(place) => line.split(',').nth(place).unwrap().parse::<jiff::Timestamp>().unwrap() <= until,
            None => true,
        };
        let rows: Vec<&str> = log.lines().skip(1).filter(known).collect();
        let text = format!("{}\n{}\n", header.join(","), rows.join("\n"));
        farm.import([farm.file(&format!("{table}.csv"), text)]).done();
    }
}

fn later(at: jiff::Timestamp, hours: i64) -> String {
    (at + jiff::SignedDuration::from_hours(hours)).to_string()
}

/// `cowpath found`, said at a time.
fn found(place: &Place, now: &str, words: &[&str]) -> Answer {
    let farm = place.farm();
    let mut command = Command::new(env!("CARGO_BIN_EXE_cowpath"));
    answer(command.arg("--farm").arg(farm).args(["--now", now, "found"]).args(words))
}

fn call<'a>(round: &'a Value, id: &Value) -> Option<&'a Value> {
    round["calls"].as_array().unwrap().iter().find(|call| call["id"] == *id)
}

#[test]
fn an_urgent_call_is_asked_after_until_it_is_answered() {
    let (herd, at) = urgent();
    let place = Place::new();
    grow(&herd, &place, at);
    let first = place.json(["round"])["calls"]
        .as_array()
        .unwrap()
        .iter()
        .find(|call| is_urgent(call))
        .unwrap()
        .clone();
    let id = first["id"].as_str().unwrap();
    let round_at = |hours: i64| place.json(["round", "--at", &later(at, hours)]);

    // Nobody answered: the next round asks, whether the call still stands in it or not.
    grow(&herd, &place, at + jiff::SignedDuration::from_hours(11));
    let next = place.json(["round"]);
    let asked = match call(&next, &first["id"]) {
        Some(call) => call["asked"].clone(),
        None => {
            next["open"].as_array().unwrap().iter().find(|open| open["id"] == id).unwrap()["asked"].clone()
        }
    };
    assert!(asked.as_str().unwrap().starts_with("First called "), "{asked}");

    // Answers are checked.
    let say = |words: &[&str]| found(&place, &later(at, 1), words);
    say(&["nobody", "nothing"]).refused().says(&["no round ever showed a call `nobody`"]);
    say(&[id, "perhaps"]).refused().says(&["`perhaps` is no outcome"]);
    say(&[id, "other-cause"]).refused().says(&["which other cause"]);
    say(&[id, "other-cause", "--cause", "udder"]).refused().says(&["is what was called"]);
    say(&[id, "other-cause", "--cause", "ghosts"]).refused().says(&["`ghosts` is no cause"]);
    say(&[id, "confirmed", "--cause", "heat"]).refused().says(&["say `other-cause`"]);
    say(&[id, "other-quarter"]).refused().says(&["which other quarter"]);
    let quarter = first["quarter"].as_str().unwrap();
    say(&[id, "other-quarter", "--quarter", quarter]).refused().says(&["is the quarter that was called"]);
    say(&[id, "confirmed", "--note", &"long ".repeat(200)]).refused().says(&["letters are too many"]);

    // Looked at, to be looked at again: asked after at the next round, and it does not count as an answer.
    say(&[id, "look-again"]).done().says(&["to be looked at again"]);
    let next = place.json(["round"]);
    let waits = match call(&next, &first["id"]) {
        Some(call) => call["found"]["words"].clone(),
        None => {
            next["open"].as_array().unwrap().iter().find(|open| open["id"] == id).unwrap()["asked"].clone()
        }
    };
    assert!(waits.as_str().unwrap().contains("to be looked at again"), "{waits}");
    let record = place.json(["record"]);
    assert!(record["causes"].as_array().unwrap().iter().all(|row| row["answered"] == 0), "{record:#}");

    // Answered: off the walk, with its words; earlier rounds do not know it.
    say(&[id, "confirmed", "--sign", "clots", "--by", "Ann"]).done().says(&["by Ann", "clots"]);
    let next = round_at(2);
    let answered = call(&next, &first["id"]).expect("still in the round two hours later");
    assert_eq!(answered["found"]["outcome"], "confirmed");
    let place_of =
        next["calls"].as_array().unwrap().iter().position(|call| call["id"] == first["id"]).unwrap();
    assert_eq!(next["looked_at"], serde_json::json!([place_of]));
    let walked = next["places"]
        .as_array()
        .unwrap()
        .iter()
        .any(|place| place["calls"].as_array().unwrap().iter().any(|call| *call == place_of));
    assert!(!walked, "{next:#}");
    assert_eq!(call(&round_at(0), &first["id"]).unwrap()["found"], Value::Null, "not known yet then");
    place.run(["round", "--at", &later(at, 2)]).done().says(&["Looked at", "by Ann"]);

    // It counts once, with its interval; her page tells it.
    let record = place.json(["record"]);
    let udder =
        record["causes"].as_array().unwrap().iter().find(|row| row["cause"] == "udder").unwrap().clone();
    assert_eq!((&udder["answered"], &udder["right"]), (&1.into(), &1.into()));
    assert!((udder["low"].as_f64().unwrap() - 0.025).abs() < 1e-9, "{udder:#}");
    let animal = first["animal"].as_str().unwrap();
    let cow = place.json(["cow", animal, "--at", &later(at, 24 * 14)]);
    let told = cow["calls"].as_array().unwrap().iter().map(|call| call["found"]["words"].clone());
    let past = cow["past"].as_array().unwrap().iter().map(|call| call["found"].clone());
    assert!(
        told.chain(past).any(|words| words.as_str().is_some_and(|words| words.contains("clots"))),
        "{cow:#}"
    );

    // Taken back, it stays on record as taken back.
    let number = record["answers"][0]["id"].to_string();
    place.run(["found", "--undo", &number]).done();
    place.run(["found", "--undo", &number]).refused().says(&["no answer"]);
    let record = place.json(["record"]);
    assert_eq!(record["answers"][0]["taken_back"], true);
    assert!(record["causes"].as_array().unwrap().iter().all(|row| row["answered"] == 0), "{record:#}");
    place.whole();
}

#[test]
fn the_same_logs_give_the_same_calls_whoever_answered() {
    let (place, at) = urgent();
    let before = place.json(["round", "--at", &at.to_string()]);
    let first = before["calls"].as_array().unwrap().iter().find(|call| is_urgent(call)).unwrap().clone();
    assert!(
        before["open"].as_array().unwrap().is_empty(),
        "a round of the past asks after nobody: {before:#}"
    );
    found(&place, &later(at, -1), &[first["id"].as_str().unwrap(), "nothing"]).done();
    let mut after = place.json(["round", "--at", &at.to_string()]);
    let told = after["calls"].as_array_mut().unwrap();
    for call in told.iter_mut() {
        call["found"] = Value::Null;
    }
    assert_eq!(after["calls"], before["calls"]);
}
