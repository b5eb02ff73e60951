//! Box minutes of few days, of days without rows, and beside the ledger: what is told as sure, and from what.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
#[path = "common/logs.rs"]
mod logs;

use std::collections::BTreeMap;

use common::{Place, csv_rows};
use jiff::{SignedDuration, Timestamp};
use logs::{Log, herd};
use serde_json::{Value, json};

fn farm(logs: &[Log]) -> Place {
    let place = Place::new();
    place.run(["settings", "--zone", "America/New_York", "--name", "Reed End"]).done();
    let files: Vec<_> =
        logs.iter().map(|log| place.file(&format!("{}.csv", log.table), log.text())).collect();
    place.import(files).done();
    place
}

/// Minutes a day of milkings over the last two weeks, of the cows that were milked on the first day of them and are there
/// still: by their curves at the intervals they have, and in the log.
fn now(told: &Value, visits: &str) -> [f64; 2] {
    let cows = told["cows"].as_array().unwrap();
    let of = |cow: &Value| (cow["animal"].as_str().unwrap().to_owned(), cow["now_minutes"].as_f64().unwrap());
    let by_cow: BTreeMap<String, f64> = cows.iter().map(of).collect();
    let (all, stated) = (by_cow.values().sum::<f64>(), told["minutes"]["now_by_cow"].as_f64().unwrap());
    assert!((all - stated).abs() < 1e-6 * stated, "{all} {stated}");
    let used = told["minutes"]["used_now"].as_f64().unwrap();
    assert!((all / used - 1.0).abs() < 0.03, "{all} of {used} minutes");
    let at: Timestamp = told["at"].as_str().unwrap().parse().unwrap();
    let from = at - SignedDuration::from_hours(14 * 24);
    let (header, rows) = csv_rows(visits);
    let place = |name: &str| header.iter().position(|own| own == name).unwrap();
    let (animal, outcome, started, ended) =
        (place("animal"), place("outcome"), place("started_at"), place("ended_at"));
    let mut observed: BTreeMap<&str, (Timestamp, f64)> = BTreeMap::new();
    for row in rows.iter().filter(|row| ["milked", "incomplete"].contains(&row[outcome].as_str())) {
        let [began, over] = [started, ended].map(|place| row[place].parse::<Timestamp>().unwrap());
        if from <= began && over <= at {
            let own = observed.entry(&row[animal]).or_insert((began, 0.0));
            *own = (own.0.min(began), own.1 + over.duration_since(began).as_secs_f64() / 60.0 / 14.0);
        }
    }
    let stayed = observed.iter().filter(|(_, (first, _))| *first < from + SignedDuration::from_hours(24));
    let both = stayed.filter_map(|(animal, (_, minutes))| Some((by_cow.get(*animal)?, minutes)));
    both.fold([0.0, 0.0], |sums, (hers, log)| [sums[0] + hers, sums[1] + log])
}

#[test]
fn three_days_of_visits_are_three_days_though_other_rows_reach_back_further() {
    let place = Place::demo(40, 1, 20);
    let visits = std::fs::read_to_string(place.logs().join("visits.csv")).unwrap();
    let states = std::fs::read_to_string(place.logs().join("box-states.csv")).unwrap();
    let column = visits.lines().next().unwrap().split(',').position(|name| name == "started_at").unwrap();
    let short: Vec<&str> = visits
        .lines()
        .enumerate()
        .filter(|(line, row)| *line == 0 || "2026-02-27T00" < row.split(',').nth(column).unwrap())
        .map(|(_, row)| row)
        .collect();
    let few = Place::new();
    few.run(["settings", "--zone", "America/New_York"]).done();
    // States of the boxes of weeks in which no visit was read: no day of idle boxes.
    few.import([few.file("visits.csv", short.join("\n") + "\n"), few.file("box-states.csv", states)]).done();
    let (whole, told) = (place.json(["intervals"]), few.json(["intervals"]));
    let days = told["minutes"]["days"].as_f64().unwrap();
    assert!((2.5..4.0).contains(&days), "{days}");
    let used = |told: &Value| told["minutes"]["used_now"].as_f64().unwrap();
    assert!((used(&told) / used(&whole) - 1.0).abs() < 0.1, "{} beside {}", used(&told), used(&whole));
    assert!(whole["minutes"]["words"].as_str().unwrap().ends_with("From the last 14 days."));
    assert!(told["minutes"]["words"].as_str().unwrap().contains("of the last 14 that have visits"));
    // What it is worth is not told as sure.
    assert_eq!(whole["change"]["enough_days"], json!(true));
    assert_eq!(told["change"]["enough_days"], json!(false));
    let text = few.run(["intervals"]).done();
    text.says(&["days of box logs lie behind this, less than a week", "but not sure: only"]);
    assert!(!text.out.contains("certainty"), "{}", text.out);

    // The ledger leaves out the days before, and says which.
    let told = few.json(["boxes"]);
    let days = told["days"].as_array().unwrap();
    let unseen: Vec<&str> =
        days.iter().filter(|day| day["seen"] == false).map(|day| day["date"].as_str().unwrap()).collect();
    assert!(3 <= unseen.len() && unseen.iter().all(|date| *date < "2026-02-27"), "{unseen:?}");
    let idle: f64 = days
        .iter()
        .filter(|day| day["seen"] == true)
        .map(|day| day["seconds"]["idle"].as_f64().unwrap())
        .sum::<f64>()
        / (864.0 * (days.len() - unseen.len()) as f64);
    let said = format!("{idle:.0}\u{a0}% of their time was idle");
    assert!(told["summary"].as_str().unwrap().contains(&said), "{said}: {}", told["summary"]);
    few.run(["boxes"])
        .done()
        .says(&["Without a visit in any box, and in no sum", "nothing is known of this day"]);
}

#[test]
fn minutes_of_now_agree_with_the_ledger() {
    for (cows, boxes) in [(60, 1), (70, 2)] {
        let place = Place::demo(cows, boxes, 30);
        let visits = std::fs::read_to_string(place.logs().join("visits.csv")).unwrap();
        let [by_cow, observed] = now(&place.json(["intervals"]), &visits);
        assert!((by_cow / observed - 1.0).abs() < 0.01, "{cows} cows: {by_cow} of {observed} minutes");
    }
}

#[test]
fn a_meter_that_reads_amiss_changes_no_minutes() {
    let mut logs = herd(60, 2, 30, false);
    for log in logs.iter_mut().filter(|log| log.table == "visits") {
        let place = |column: &str| log.header.iter().position(|own| own == column).unwrap();
        let kilos = ["milk_kg", "lf_kg", "rf_kg", "lr_kg", "rr_kg"].map(place);
        let (at_box, started) = (place("box"), place("started_at"));
        for row in log.rows.iter_mut().filter(|row| row[at_box] == "1" && *"2026-02-16" < *row[started]) {
            for kilo in kilos {
                if let Ok(kg) = row[kilo].parse::<f64>() {
                    row[kilo] = format!("{:.2}", 0.8 * kg);
                }
            }
        }
    }
    let visits = logs.iter().find(|log| log.table == "visits").unwrap().text();
    let place = farm(&logs);
    let told = place.json(["intervals"]);
    // Every page of milk says which meter is in doubt, and by how much.
    let said = "Box 1: the milk meter looks";
    for words in
        [&["boxes"][..], &["intervals"], &["plan", "--cows", "40", "--replicates", "2", "--days", "5"]]
    {
        place.run(words).done().says(&[said, "too low"]);
    }
    let before = place.json(["boxes", "--to", "2026-02-10"]);
    assert!(!before["notes"].to_string().contains(said), "not of days before: {}", before["notes"]);
    let [by_cow, observed] = now(&told, &String::from_utf8(visits).unwrap());
    assert!((by_cow / observed - 1.0).abs() < 0.01, "{by_cow} of {observed} minutes");
}
