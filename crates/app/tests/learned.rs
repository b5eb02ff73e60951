//! What it costs and what was learned, through the program: costs change the list, answers and missed cases change rates,
//! nothing of it looks ahead, and all of it can be taken back.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::sync::LazyLock;

use common::{Place, csv_rows};
use serde_json::Value;

/// A farm that is read once; tests that change it take a copy.
static HERD: LazyLock<Place> = LazyLock::new(|| Place::demo(60, 1, 60));

/// A copy of the farm.
fn farm() -> Place {
    let place = Place::new();
    let backup = HERD.dir.path().join(format!("{:p}.backup", &raw const place));
    HERD.run(["backup".as_ref(), backup.as_os_str()]).done();
    place.run(["restore".as_ref(), backup.as_os_str()]).done();
    place
}

fn ids(round: &Value) -> Vec<String> {
    round["calls"].as_array().unwrap().iter().map(|call| call["id"].as_str().unwrap().to_owned()).collect()
}

/// Says what was found, at a time.
fn at(place: &Place, now: &str, words: &[&str]) -> common::Answer {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_cowpath"));
    common::answer(command.arg("--farm").arg(place.farm()).args(["--now", now]).args(words))
}

#[test]
fn costs_change_the_list_as_was_shown_before_and_can_be_taken_back() {
    let place = farm();
    let before = place.json(["round"]);
    assert!(2 <= ids(&before).len(), "{before:#}");
    assert!(!before["model"].as_str().unwrap().contains("costs"));

    // Tried: shown, and nothing kept.
    let tried = place.json(["costs", "limits", "--most-calls", "1", "--try"]);
    assert_eq!(place.json(["round"]), before, "nothing was kept");
    let told = |what: &str| -> Vec<String> {
        tried[what].as_array().unwrap().iter().map(|call| call["id"].as_str().unwrap().to_owned()).collect()
    };
    assert!(!told("goes").is_empty());

    // Kept: the list is as it was shown.
    place.run(["costs", "limits", "--most-calls", "1"]).done().says(&["version 1"]);
    let after = place.json(["round"]);
    assert_eq!(ids(&after).iter().filter(|id| told("goes").contains(id)).count(), 0);
    assert_eq!(ids(&after).len(), told("stays").len() + told("moves").len() + told("comes").len());
    assert!(after["model"].as_str().unwrap().ends_with("; costs of the farm's own, version 1"));

    // Kept again, nothing new; reset, the stated ones again.
    place.run(["costs", "limits", "--most-calls", "1"]).done().says(&["version 1"]);
    place.run(["costs", "--reset"]).done().says(&["The stated ones again"]);
    assert_eq!(place.json(["round"]), before);
    place.whole();
}

#[test]
fn a_look_that_costs_more_than_a_case_calls_nobody() {
    let place = farm();
    let before = place.json(["round"]);
    for cause in ["udder", "heat", "metabolic", "gut", "feet", "fever", "unclear", "herd-milk", "herd-intake"]
    {
        place.run(["costs", "set", cause, "--look", "900000", "--glance", "900000"]).done();
    }
    let after = place.json(["round"]);
    assert!(!ids(&before).is_empty());
    let left: Vec<&Value> =
        after["calls"].as_array().unwrap().iter().filter(|call| call["subject"] != "box").collect();
    assert!(left.is_empty(), "{left:#?}");
    // Dearer cases lose no call: what was worth a look is worth more of it.
    place.run(["costs", "--reset"]).done();
    for cause in ["udder", "heat", "metabolic", "gut", "feet", "fever", "unclear"] {
        place.run(["costs", "set", cause, "--case", "5000", "--year", "2026"]).done();
    }
    place.run(["costs", "limits", "--most-calls", "1000"]).done();
    let dear = place.json(["round"]);
    assert!(ids(&before).iter().all(|id| ids(&dear).contains(id)), "{dear:#}");
}

#[test]
fn the_table_tells_its_sources_and_years_and_never_mixes_moneys_silently() {
    let place = farm();
    let csv = place.run(["costs", "--format", "csv"]).done();
    let (header, rows) = csv_rows(&csv.out);
    assert_eq!(header[..2], ["cause", "case"]);
    assert_eq!(rows.len(), 14);
    let column = |name: &str| header.iter().position(|own| own == name).unwrap();
    for row in &rows {
        assert!(!row[column("source")].is_empty() && row[column("year")].len() == 4, "{row:?}");
    }
    place.run(["costs"]).done().says(&["Nothing is converted", "Rollin et al."]);
    // Half a row of another currency is refused; a whole one is said to be another.
    let set = |words: &[&str]| place.run(["costs", "set"].iter().chain(words));
    set(&["udder", "--currency", "EUR", "--case", "400"]).refused().says(&["mix two currencies"]);
    set(&["udder", "--currency", "EUR", "--case", "400", "--look", "6", "--glance", "3"])
        .done()
        .says(&["These costs are in EUR and USD"]);
    let costs = place.json(["costs"]);
    let udder = &costs["causes"][0];
    assert_eq!((&udder["currency"], &udder["year"]), (&"EUR".into(), &2026.into()), "{udder:#}");
    set(&["udder", "--saved", "1.5"]).refused().says(&["a share, 0 to 1"]);
    set(&["ghosts", "--case", "5"]).refused().says(&["is no cause"]);
    set(&["udder", "--stated"]).done();
    assert_eq!(place.json(["costs"])["words"], serde_json::json!({}));
    assert_eq!(place.json(["costs"])["causes"][0]["year"], 2015);
}

#[test]
fn a_case_that_no_call_named_counts_as_missed_until_it_is_taken_back() {
    let place = farm();
    let round = place.json(["round"]);
    let called: Vec<&str> =
        round["calls"].as_array().unwrap().iter().filter_map(|call| call["animal"].as_str()).collect();
    let cow = (101..160)
        .map(|number| number.to_string())
        .find(|cow| !called.contains(&cow.as_str()) && place.run(["cow", cow]).code == 0)
        .unwrap();
    let miss = |words: &[&str]| place.run(["missed"].iter().chain(words));
    miss(&["nobody", "udder"]).refused().says(&["no cow `nobody`"]);
    miss(&[&cow, "milk-meter"]).refused();
    miss(&[&cow, "feet", "--quarter", "LR"]).refused().says(&["has no quarter"]);
    miss(&[&cow, "udder", "--at", "2027-01-01T04:00"]).refused().says(&["later than now"]);
    let done = miss(&[&cow, "udder", "--quarter", "lr", "--at", "2026-03-02T04:00", "--by", "Ann"]).done();
    done.says(&["no call named it", "told by Ann", "left rear"]);
    miss(&[&cow, "udder"]).refused().says(&["told already, as case 1"]);

    let record = place.json(["record"]);
    let udder = record["causes"].as_array().unwrap().iter().find(|row| row["cause"] == "udder").unwrap();
    assert_eq!((&udder["missed"], &udder["caught"]), (&1.into(), &0.0.into()));
    // 0 of 1: the upper end of the exact interval is 1 − 0.025.
    assert!((udder["caught_high"].as_f64().unwrap() - 0.975).abs() < 1e-9);
    assert_eq!(record["missed"][0]["animal"], cow.as_str());
    place.run(["record"]).done().says(&["never called"]);
    place.run(["missed", "--undo", "1"]).done();
    place.run(["missed", "--undo", "1"]).refused().says(&["no case 1"]);
    let record = place.json(["record"]);
    assert_eq!(record["missed"], serde_json::json!([]));
    assert!(record["causes"].as_array().unwrap().iter().all(|row| row["missed"] == 0));
    // A call that did name her case is to be answered, not told as missed.
    let of_cow = round["calls"].as_array().unwrap().iter().find(|call| call["animal"].is_string()).unwrap();
    miss(&[of_cow["animal"].as_str().unwrap(), of_cow["cause"].as_str().unwrap()])
        .refused()
        .says(&["a call did name it", "cowpath found"]);
    place.whole();
}

#[test]
fn what_is_learned_is_told_with_its_reason_counts_from_the_next_day_and_is_taken_back() {
    let place = farm();
    let before = place.json(["round"]);
    let same_day = "2026-03-01T23:00:00-05:00";
    let that_day = place.json(["round", "--at", same_day]);
    // Four cases of feet that no call named, told on the first of March; the newest row is of the second.
    let told_at = "2026-03-01T15:00:00Z";
    let cows = (101..200).map(|number| number.to_string());
    let told = cows.filter(|cow| at(&place, told_at, &["missed", cow, "feet"]).code == 0).take(4).count();
    assert_eq!(told, 4);
    let learned = place.json(["learned"]);
    let feet = learned["causes"].as_array().unwrap().iter().find(|row| row["cause"] == "feet").unwrap();
    // Each weighs half a case beside the ten that the stated rate is worth: no more than 1.2.
    let factor = feet["factor"].as_f64().unwrap();
    assert!(1.0 < factor && factor <= 1.2, "{feet:#}");
    let step = &learned["steps"][0];
    let words = step["words"].as_str().unwrap();
    assert!(words.contains("4 cases were never called") && words.starts_with("Since "), "{words}");
    assert!(step["since"].as_str().unwrap().starts_with("2026-03-02T00:00:00"), "{step:#}");
    place.run(["record"]).done().says(&["4 cases were never called"]);
    let after = place.json(["round"]);
    assert!(after["model"].as_str().unwrap().contains("learned feet 1."), "{}", after["model"]);

    // A round of the day it was told, or of one before, knows nothing of it.
    assert_eq!(place.json(["round", "--at", same_day]), that_day);
    assert_eq!(place.json(["learned", "--at", "2026-03-01T12:00:00Z"])["causes"], serde_json::json!([]));

    // Taken back, and counted again.
    let back = at(&place, "2026-03-03T13:00:00Z", &["learned", "--take-back", "feet", "--by", "Ann"]).done();
    back.says(&["learned --undo 1", "taken back by Ann"]);
    assert_eq!(place.json(["round"])["calls"], before["calls"]);
    assert_eq!(place.json(["round"])["model"], before["model"]);
    place.run(["learned", "--take-back", "ghosts"]).refused();
    place.run(["learned", "--undo", "7"]).refused();
    place.run(["learned", "--undo", "1"]).done();
    assert_eq!(place.json(["round"]), after);
    place.whole();
}

#[test]
fn wrong_calls_lower_a_rate_and_right_ones_do_not_and_the_record_keeps_both() {
    let place = farm();
    let round = place.json(["round"]);
    let call = round["calls"].as_array().unwrap().iter().find(|call| call["subject"] == "cow").unwrap();
    let (id, cause) = (call["id"].as_str().unwrap(), call["cause"].as_str().unwrap());
    let factor = || -> f64 {
        let learned = place.json(["learned"]);
        let rows = learned["causes"].as_array().unwrap();
        rows.iter().find(|row| row["cause"] == cause).map_or(1.0, |row| row["factor"].as_f64().unwrap())
    };
    place.run(["found", id, "nothing"]).done();
    let wrong = factor();
    assert!(wrong <= 1.0);
    place.run(["found", id, "confirmed"]).done();
    assert!(1.0 <= factor(), "only the last answer of a call counts");
    let record = place.json(["record"]);
    assert_eq!(record["answers"].as_array().unwrap().len(), 2);
    let row = record["causes"].as_array().unwrap().iter().find(|row| row["cause"] == cause).unwrap();
    assert_eq!((&row["answered"], &row["right"]), (&1.into(), &1.into()));
}

#[test]
fn a_diagnosis_of_the_log_that_no_walked_round_named_is_counted_and_teaches_once_a_person_says_so() {
    let log = |table: &str| std::fs::read_to_string(HERD.logs().join(format!("{table}.csv"))).unwrap();
    let (header, events) = csv_rows(&log("events"));
    let place_of = |name: &str| header.iter().position(|own| own == name).unwrap();
    let (animal, at_column, kind, detail) =
        (place_of("animal"), place_of("at"), place_of("kind"), place_of("detail"));
    let of_words = [
        ("lame", "feet"),
        ("ketosis", "metabolic"),
        ("mastitis", "udder"),
        ("off feed", "gut"),
        ("displaced", "gut"),
    ];
    let cases: Vec<(&Vec<String>, &str)> = events
        .iter()
        .filter(|row| row[kind] == "diagnosed")
        .filter_map(|row| Some((row, of_words.iter().find(|(word, _)| row[detail].starts_with(word))?.1)))
        .collect();
    let (mut missed, mut called) = (0, 0);
    for (row, cause) in cases {
        let time: jiff::Timestamp = row[at_column].parse().unwrap();
        let before = time - jiff::SignedDuration::from_hours(20);
        // The farm as it stood the day before, with its round; then the rest of the log.
        let place = Place::new();
        place.run(["settings", "--zone", "America/Toronto"]).done();
        for (table, column) in [("animals", None), ("visits", Some("ended_at")), ("events", Some("at"))] {
            let (header, rows) = csv_rows(&log(table));
            let column = column.map(|name: &str| header.iter().position(|own| own == name).unwrap());
            let known = rows.iter().filter(|row| match column {
                Some(column) => row[column].parse::<jiff::Timestamp>().unwrap() <= before,
                None => true,
            });
            let lines: Vec<String> = known.map(|row| row.join(",")).collect();
            let text = format!("{}\n{}\n", header.join(","), lines.join("\n"));
            place.import([place.file(&format!("{table}.csv"), text)]).done();
        }
        let round = place.json(["round"]);
        if round["calls"].as_array().unwrap().is_empty() {
            continue;
        }
        let named = round["calls"]
            .as_array()
            .unwrap()
            .iter()
            .any(|call| call["animal"] == row[animal].as_str() && call["cause"] == cause);
        place.import(["visits", "events"].map(|table| HERD.logs().join(format!("{table}.csv")))).done();
        let of_log = |record: &Value| {
            record["missed"].as_array().unwrap().iter().any(|case| {
                case["animal"] == row[animal].as_str() && case["cause"] == cause && case["id"] == Value::Null
            })
        };
        let record = place.json(["record"]);
        // Whether the call that named it was on a walk, the round at hand tells.
        let too_late = jiff::Timestamp::from_second(1_772_400_000).unwrap() < time;
        assert_eq!(of_log(&record), !named && !too_late, "{row:?}: {record:#}");
        assert_eq!(record["learned"]["causes"], serde_json::json!([]), "the log alone teaches nothing");
        if of_log(&record) {
            missed += 1;
            place.run(["missed", &row[animal], cause, "--at", &row[at_column]]).done();
            let record = place.json(["record"]);
            assert!(!of_log(&record), "told once: {record:#}");
            assert_eq!(record["learned"]["causes"][0]["cause"], cause);
        } else {
            called += 1;
        }
    }
    assert!(0 < missed, "{missed} missed, {called} not");
}
