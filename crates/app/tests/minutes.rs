//! Box minutes from the command line: days add up, odd days and broken logs are told, nothing looks ahead.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
#[path = "common/logs.rs"]
mod logs;

use common::{HEADER, Place, csv_rows};
use logs::{Log, herd};
use serde_json::{Value, json};

/// The uses of the contract, and no other.
const USES: [&str; 12] = [
    "handling",
    "milk-flow",
    "last-quarter",
    "incomplete",
    "turned-away",
    "fed-only",
    "failed",
    "cleaning",
    "service",
    "fault",
    "off",
    "idle",
];

fn farm() -> Place {
    let place = Place::new();
    place.run(["settings", "--zone", "America/New_York", "--name", "Reed End"]).done();
    place
}

fn farm_of(logs: &[Log]) -> Place {
    let place = farm();
    let files: Vec<_> =
        logs.iter().map(|log| place.file(&format!("{}.csv", log.table), log.text())).collect();
    place.import(files).done();
    place
}

fn sum(seconds: &Value) -> i64 {
    USES.iter().map(|of| seconds[of].as_i64().unwrap()).sum()
}

fn boxes(place: &Place, from: &str, to: &str) -> Value {
    place.json(["boxes", "--from", from, "--to", to])
}

#[test]
fn days_of_a_herd_add_up_and_agree_with_a_second_count() {
    let place = Place::demo(40, 2, 12);
    let told = boxes(&place, "2026-02-22", "2026-02-28");
    let days = told["days"].as_array().unwrap();
    assert_eq!(days.len(), 14);
    // Counted anew from the log itself, which has neither overlaps nor visits across midnight left out.
    let text = std::fs::read_to_string(place.logs().join("visits.csv")).unwrap();
    let (header, rows) = csv_rows(&text);
    let at = |row: &[String], name: &str| row[header.iter().position(|own| own == name).unwrap()].clone();
    let instant = |row: &[String], name: &str| at(row, name).parse::<jiff::Timestamp>().unwrap();
    for day in days {
        assert_eq!(day["seconds"].as_object().unwrap().len(), USES.len());
        assert_eq!(sum(&day["seconds"]), day["day_s"].as_i64().unwrap());
        let hours = day["hours"].as_array().unwrap();
        assert_eq!(hours.len(), 24);
        assert!(hours.iter().all(|hour| sum(&hour["seconds"]) == 3600));
        let begins: jiff::Timestamp = hours[0]["from"].as_str().unwrap().parse().unwrap();
        let ends = begins + jiff::SignedDuration::from_hours(24);
        let of = |outcomes: &[&str]| -> f64 {
            rows.iter()
                .filter(|row| {
                    at(row, "box") == day["box"].as_str().unwrap()
                        && outcomes.contains(&at(row, "outcome").as_str())
                })
                .map(|row| {
                    let (from, to) =
                        (instant(row, "started_at").max(begins), instant(row, "ended_at").min(ends));
                    (to.as_millisecond() - from.as_millisecond()).max(0) as f64 / 1000.0
                })
                .sum()
        };
        let told = |uses: &[&str]| uses.iter().map(|of| day["seconds"][of].as_f64().unwrap()).sum::<f64>();
        for (uses, outcomes) in [
            (&["handling", "milk-flow", "last-quarter"][..], &["milked"][..]),
            (&["incomplete"], &["incomplete"]),
            (&["turned-away"], &["turned-away"]),
            (&["fed-only"], &["fed"]),
            (&["failed"], &["failed"]),
        ] {
            assert!((told(uses) - of(outcomes)).abs() < uses.len() as f64, "{uses:?} of {day}");
        }
    }
    let (header, rows) = csv_rows(&place.run(["boxes", "--format", "csv"]).done().out);
    assert_eq!((header.len(), rows.len()), (17, 14));
    place.run(["boxes"]).done().says(&["Of 1,440 minutes", "Dearest", "more than the middle cow takes"]);
    let habits = told["habits"].as_array().unwrap();
    assert!(
        habits.len() <= 10
            && habits.windows(2).all(|two| two[1]["minutes_day"].as_f64() <= two[0]["minutes_day"].as_f64())
    );
}

/// Twenty days of one box: `milkings` of a day, each of six minutes, at even distances.
fn days_of(milkings: impl Fn(usize) -> usize) -> Place {
    let mut rows = String::from(HEADER);
    let begin: jiff::Timestamp = "2026-02-05T05:00:00Z".parse().unwrap();
    for day in 0..20 {
        let count = milkings(day);
        for place in 0..count {
            let after = (day * 86_400 + place * 86_400 / count) as i64;
            let from = begin + jiff::SignedDuration::from_secs(after);
            let to = from + jiff::SignedDuration::from_mins(6);
            rows.push_str(&format!("{},1,{from},{to},milked,9\n", place % 20));
        }
    }
    let place = farm();
    place.import([place.file("visits.csv", rows)]).done();
    place
}

#[test]
fn what_rises_or_falls_is_told_where_it_is_more_than_noise() {
    // Two milkings more a day, give or take one: the boxes' idle time falls by some 12 minutes a day.
    let rising = boxes(&days_of(|day| 80 + 2 * day + [0, 1, 0, 2, 1][day % 5]), "2026-02-19", "2026-02-24");
    let of = |told: &Value, what: &str| {
        told["trends"].as_array().unwrap().iter().find(|own| own["what"] == what).unwrap().clone()
    };
    let idle = of(&rising, "idle");
    assert_eq!((&idle["sure"], &idle["days"]), (&json!(true), &json!(14)),);
    let change = idle["change"].as_f64().unwrap();
    assert!((change + 13.0 * 12.0).abs() < 12.0, "{idle}");
    assert!(idle["low"].as_f64().unwrap() < change && change < idle["high"].as_f64().unwrap());
    let words = rising["trend"].as_str().unwrap();
    assert!(words.starts_with("Over the 14 days to 2026-02-24: idle time falls from "), "{words}");
    assert!(words.contains("more than days differ by themselves"), "{words}");

    let steady = boxes(&days_of(|day| 100 + [0, 3, 1, 4, 2][day % 5]), "2026-02-19", "2026-02-24");
    assert!(
        steady["trends"].as_array().unwrap().iter().all(|own| own["sure"] == false),
        "{}",
        steady["trends"]
    );
    assert!(steady["trend"].as_str().unwrap().contains("nothing rises or falls"), "{}", steady["trend"]);

    // The first day of a log may be a part of one, and six whole days are too few.
    let few = boxes(&days_of(|day| if day < 7 { 100 + day } else { 0 }), "2026-02-05", "2026-02-11");
    assert_eq!((&few["trends"], &few["trend"]), (&json!([]), &json!("")));
}

#[test]
fn days_of_changed_clocks_have_their_true_length() {
    let place = farm();
    // New York, zone database: forward on 9 March 2025, back on 2 November 2025.
    let rows = format!(
        "{HEADER}7,1,2025-03-08T23:58:00-05:00,2025-03-09T00:04:00-05:00,milked,9\n\
         7,1,2025-03-09T12:00:00-04:00,2025-03-09T12:06:00-04:00,milked,9\n\
         7,1,2025-11-02T01:30:00-04:00,2025-11-02T01:36:00-04:00,milked,9\n\
         7,1,2025-11-02T01:30:00-05:00,2025-11-02T01:36:00-05:00,milked,9\n"
    );
    place.import([place.file("visits.csv", rows)]).done();
    for (date, day_s, hours, in_it) in
        [("2025-03-08", 86_400, 24, 120), ("2025-03-09", 82_800, 23, 600), ("2025-11-02", 90_000, 25, 720)]
    {
        let day = &boxes(&place, date, date)["days"][0];
        assert_eq!(day["day_s"], day_s, "{date}");
        assert_eq!(sum(&day["seconds"]), day_s);
        assert_eq!(day["hours"].as_array().unwrap().len(), hours);
        assert_eq!(day_s - day["seconds"]["idle"].as_i64().unwrap(), in_it, "{date}");
    }
    // No quarter's seconds are logged: what could not be split is told.
    let day = &boxes(&place, "2025-11-02", "2025-11-02")["days"][0];
    assert_eq!((&day["seconds"]["milk-flow"], &day["unsplit_s"]), (&json!(720), &json!(720)));
}

#[test]
fn broken_logs_are_told_and_still_add_up() {
    let place = farm();
    let visits = "animal,box,started_at,ended_at,attached_at,outcome,milk_kg,lf_s,rf_s,lr_s,rr_s\n\
         7,1,2026-02-02T05:00:00-05:00,2026-02-02T05:10:00-05:00,2026-02-02T05:01:30-05:00,milked,9,240,200,300,420\n\
         8,1,2026-02-02T05:08:00-05:00,2026-02-02T05:12:00-05:00,,turned-away,,,,,\n\
         9,1,2026-02-02T06:00:00-05:00,2026-02-02T06:02:00-05:00,,milked,9,900,900,900,3000\n\
         9,1,2026-02-02T07:00:00-05:00,2026-02-02T07:02:00-05:00,,,,,,,\n";
    let states = "box,from,to,state\n1,2026-02-02T05:11:00-05:00,2026-02-02T05:31:00-05:00,fault\n\
         1,2026-02-01T23:00:00-05:00,2026-02-02T01:00:00-05:00,off\n";
    place.import([place.file("visits.csv", visits), place.file("states.csv", states)]).done();
    let told = boxes(&place, "2026-02-02", "2026-02-02");
    let day = &told["days"][0];
    let seconds = &day["seconds"];
    assert_eq!(sum(seconds), 86_400);
    // 90 s preparing, 300 s until the second-longest, 120 s more, 90 s leaving; three minutes handling of the last visit.
    assert_eq!(day["handling"], json!({"preparing": 90, "leaving": 90, "not_split": 120}));
    assert_eq!((&seconds["last-quarter"], &seconds["milk-flow"]), (&json!(120), &json!(300 + 120)));
    assert_eq!(
        (&seconds["turned-away"], &seconds["fault"], &seconds["off"]),
        (&json!(120), &json!(19 * 60), &json!(3600))
    );
    let shared: Vec<&str> =
        day["shared"].as_array().unwrap().iter().map(|own| own["words"].as_str().unwrap()).collect();
    assert_eq!(shared, ["7 05:00–05:10 and 8 05:08–05:12", "8 05:08–05:12 and fault 05:11–05:31"]);
    assert_eq!(day["gaps"].as_array().unwrap().len(), 2, "{day}");
    place
        .run(["boxes", "--to", "2026-02-02"])
        .done()
        .says(&["Claimed twice: 7 05:00–05:10", "No row from 07:02"]);
}

#[test]
fn no_rows_no_boxes_no_cows() {
    let place = farm();
    for format in ["text", "json", "csv"] {
        for command in ["boxes", "intervals"] {
            place.run([command, "--format", format]).done();
        }
    }
    assert_eq!(place.json(["boxes"])["days"], json!([]));
    assert_eq!(place.json(["intervals"])["worth_per_minute"], Value::Null);
    // A herd list and nothing else: cows, and no box.
    let animals = "animal,calved_on,parity\n7,2026-02-20,2\n8,2026-02-20,1\n";
    place.import([place.file("animals.csv", animals)]).done();
    let told = place.json(["intervals"]);
    assert_eq!((&told["cows"], &told["minutes"]["boxes"]), (&json!([]), &json!(0)));
    place.run(["intervals"]).done().says(&["o cow is known to be in milk"]);
    // One cow with milkings, one without any, one with two.
    let mut rows = HEADER.to_owned();
    for hour in (0..40).step_by(8) {
        rows += &format!(
            "7,1,2026-02-{:02}T{:02}:00:00-05:00,2026-02-{0:02}T{1:02}:07:00-05:00,milked,11\n",
            24 + hour / 24,
            hour % 24
        );
    }
    rows += "9,1,2026-02-25T06:30:00-05:00,2026-02-25T06:36:00-05:00,milked,8\n9,1,2026-02-25T14:30:00-05:00,2026-02-25T14:36:00-05:00,milked,8\n";
    place.import([place.file("visits.csv", rows)]).done();
    let told = place.json(["intervals"]);
    assert_eq!(told["cows"].as_array().unwrap().len(), 1);
    let left: Vec<&str> =
        told["left_out"].as_array().unwrap().iter().map(|own| own["animal"].as_str().unwrap()).collect();
    assert_eq!(left, ["8", "9"]);
    place.run(["intervals"]).done().says(&["8 is left out: no milking", "9 is left out: fewer than three"]);
}

#[test]
fn words_that_cannot_be() {
    let place = Place::demo(20, 1, 12);
    place.run(["boxes", "--from", "soon"]).refused().says(&["is not a day", "Do: "]);
    place
        .run(["boxes", "--from", "2026-02-28", "--to", "2026-02-01"])
        .refused()
        .says(&["ends before it begins"]);
    place
        .run(["boxes", "--from", "2020-01-01", "--to", "2026-02-01"])
        .refused()
        .says(&["more than 400 days"]);
    place.run(["intervals", "--box-minutes", "-3"]).refused().says(&["-3 cannot be a number of box minutes"]);
    place.run(["intervals", "--box-minutes", "0"]).refused().says(&["cannot be a number of box minutes"]);
    for (words, says) in [
        ("first=9/7/9 first-longest=8/14/14", "longer than the longest"),
        ("later=5/7/15", "between 2 and 14 hours"),
        ("milk=0.05", "milk must be worth more"),
        ("price=3", "names none of the terms"),
    ] {
        place.run(["intervals", "--try", words]).refused().says(&[says]);
        place.run(["settings", "--terms", words]).refused().says(&[says]);
    }
    assert_eq!(place.json(["intervals"])["terms"]["milk_kg"], 0.45, "nothing was kept");
    place.run(["settings", "--terms", "milk=0.5"]).done();
    assert_eq!(place.json(["intervals"])["terms"]["milk_kg"], 0.5);
}

#[test]
fn fewer_minutes_are_worth_more_until_a_limit_gives_way() {
    let place = Place::demo(60, 1, 20);
    let whole = place.json(["intervals"]);
    let least = whole["minutes"]["least"].as_f64().unwrap();
    let mut worth = 0.0;
    for share in [1.25, 1.1, 1.0001] {
        let minutes = (share * least).to_string();
        let told = place.json(["intervals", "--box-minutes", &minutes]);
        let used: f64 =
            told["cows"].as_array().unwrap().iter().map(|cow| cow["minutes"].as_f64().unwrap()).sum();
        assert!(used <= share * least * (1.0 + 1e-9), "{used} of {minutes}");
        let now = told["worth_per_minute"].as_f64().unwrap();
        assert!(worth <= now, "{worth} then {now} at {share}");
        worth = now;
        for cow in told["cows"].as_array().unwrap() {
            let (low, high) = (cow["limits_h"][0].as_f64().unwrap(), cow["limits_h"][1].as_f64().unwrap());
            let hours = cow["interval_h"].as_f64().unwrap();
            assert!(low <= hours && hours <= high && high <= 14.0, "{cow}");
            assert!(cow["low90_h"].as_f64().unwrap() <= hours && hours <= cow["high90_h"].as_f64().unwrap());
        }
        assert!(told["closed_form_gap"].as_f64().unwrap() < 1e-9);
    }
    assert!(0.0 < worth);
    let none = place.json(["intervals", "--box-minutes", &(0.9 * least).to_string()]);
    assert_eq!(none["worth_per_minute"], Value::Null);
    assert!(
        none["infeasible"].as_str().unwrap().contains("longest interval gives way"),
        "{}",
        none["infeasible"]
    );
    let none = place.json(["intervals", "--box-minutes", "50"]);
    assert!(
        none["infeasible"].as_str().unwrap().contains("number of cows gives way"),
        "{}",
        none["infeasible"]
    );
    // A reserve so large that the herd does not fit beside it gives way before any cow's limit does.
    let told = place.json(["intervals", "--try", "idle=60"]);
    assert!(told["infeasible"].as_str().unwrap().contains("idle reserve gives way first"), "{told}");
    // Settings are told all the same, for the minutes that milkings take now or must.
    let used = told["minutes"]["used_then"].as_f64().unwrap();
    assert!(told["minutes"]["for_milking"].as_f64().unwrap() < used && used <= 1440.0, "{used}");
    assert!(told["groups"].as_array().unwrap().iter().any(|group| group["interval_h"].is_number()));
}

#[test]
fn nothing_of_it_looks_ahead() {
    let logs = herd(20, 1, 30, false);
    let whole = farm_of(&logs);
    for at in ["2026-02-16T05:00:00Z", "2026-02-25T09:13:00-05:00"] {
        let known: Vec<Log> = logs.iter().map(|log| log.known_by(at.parse().unwrap())).collect();
        let cut = farm_of(&known);
        let told = |place: &Place| {
            let mut told = place.json(["intervals", "--at", at]);
            // Whether the day is named as the newest one hangs on what came later, and nothing else does.
            told["at_words"] = Value::Null;
            told
        };
        let (one, other) = (told(&whole), told(&cut));
        assert!(!one["cows"].as_array().unwrap().is_empty());
        assert_eq!(one, other, "{at}");
    }
}

#[test]
fn pounds_are_pounds_but_json_is_metric() {
    let place = Place::demo(20, 1, 12);
    let metric = (place.json(["boxes"]), place.json(["intervals"]));
    place.run(["settings", "--units", "us"]).done();
    assert_eq!(metric, (place.json(["boxes"]), place.json(["intervals"])));
    let (header, rows) = csv_rows(&place.run(["intervals", "--format", "csv"]).done().out);
    let milk: f64 = rows[0][header.iter().position(|own| own == "milk_lb").unwrap()].parse().unwrap();
    let kg = metric.1["cows"][0]["milk_kg"].as_f64().unwrap();
    assert!((milk * 0.453_592_37 - kg).abs() < 0.05, "{milk} lb, {kg} kg");
    place.run(["boxes"]).done().says(&["lb at", "lb a minute in use"]);
}
