//! Whom to bring in, asked of the program: nothing looks ahead, a cow without rows is looked for, marks stay.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
#[path = "common/logs.rs"]
mod logs;
#[path = "common/served.rs"]
mod served;

use std::sync::LazyLock;

use common::{Place, csv_rows};
use logs::{Log, herd};
use serde_json::Value;
use served::Served;

const AT: &str = "2026-02-24T16:00:00-05:00";

static LOGS: LazyLock<Vec<Log>> = LazyLock::new(|| herd(40, 1, 50, false));

fn farm_of(logs: &[Log]) -> Place {
    let place = Place::new();
    place.run(["settings", "--zone", "America/New_York"]).done();
    let files: Vec<_> =
        logs.iter().map(|log| place.file(&format!("{}.csv", log.table), log.text())).collect();
    place.import(files).done();
    place
}

fn known_by(at: &str) -> Vec<Log> {
    LOGS.iter().map(|log| log.known_by(at.parse().unwrap())).collect()
}

fn list<'a>(answer: &'a Value, key: &str) -> &'a [Value] {
    answer[key].as_array().unwrap()
}

fn asked(place: &Place, at: &str) -> Value {
    place.json(["bring-in", "--at", at])
}

#[test]
fn nothing_looks_ahead_and_memories_change_nothing() {
    let (whole, cut) = (farm_of(&LOGS), farm_of(&known_by(AT)));
    let one = asked(&whole, AT);
    assert_eq!(one, asked(&whole, AT), "asked again, with the fit kept");
    assert_eq!(one, asked(&cut, AT), "of rows known by then only");
    assert!(one["model"].as_str().unwrap().starts_with("fitted to"), "{}", one["model"]);
    // A row that comes late and is dated before the turn of the week throws the fit away.
    let late = Place::new();
    late.run(["settings", "--zone", "America/New_York"]).done();
    let (early, rest): (Vec<Log>, Vec<Log>) = LOGS
        .iter()
        .map(|log| {
            let half = log.rows.len() / 2;
            let part = |rows: &[Vec<String>]| Log { rows: rows.to_vec(), ..log.clone() };
            (part(&log.rows[half..]), part(&log.rows[..half]))
        })
        .unzip();
    for (turn, logs) in [early, rest].iter().enumerate() {
        let files: Vec<_> =
            logs.iter().map(|log| late.file(&format!("{}-{turn}.csv", log.table), log.text())).collect();
        late.import(files).done();
        asked(&late, AT);
    }
    assert_eq!(one, asked(&late, AT), "whatever the order in which files were read");
}

#[test]
fn everybody_in_milk_is_on_one_of_the_lists() {
    let place = farm_of(&known_by(AT));
    let answer = asked(&place, AT);
    let named = |key: &str| list(&answer, key).iter().map(|own| own["animal"].as_str().unwrap().to_owned());
    let mut all: Vec<String> = named("bring").chain(named("missing")).chain(named("rest")).collect();
    let count = all.len();
    all.sort();
    all.dedup();
    assert_eq!(count, all.len(), "nobody twice");
    assert!(25 < count, "{count} of 40 in milk");
    for own in list(&answer, "bring").iter().chain(list(&answer, "rest")) {
        let chances = ["alone_2h", "alone_4h", "alone_8h"].map(|key| own[key].as_f64().unwrap());
        assert!(chances.is_sorted() && (0.0..=1.0).contains(&chances[2]), "{own}");
    }
    for own in list(&answer, "bring") {
        assert!(own["limit_h"].as_f64().unwrap() <= own["hours"].as_f64().unwrap(), "{own}");
        assert!(own["alone_2h"].as_f64().unwrap() < 0.5, "{own}");
    }
    let table = place.run(["bring-in", "--at", AT, "--format", "csv"]).done();
    let (header, rows) = csv_rows(&table.out);
    assert!(header.contains(&"expected_kg".to_owned()));
    assert_eq!(rows.len(), count);
    let text = place.run(["bring-in", "--at", AT]).done();
    text.says(&["Bring in, Tuesday 24 February, 16:00"]);
    // Lower limits bring more in.
    let before = list(&answer, "bring").len();
    place.run(["settings", "--limits", "first=4/4/4 later=4/4/4 unlikely=95"]).done();
    assert!(before < list(&asked(&place, AT), "bring").len());
    place.run(["settings", "--limits", "first=1/2/3"]).refused().says(&["hours must lie between 4 and 24"]);
}

#[test]
fn a_cow_without_a_row_for_longer_than_her_habit_is_looked_for() {
    let mut logs = known_by(AT);
    let answer = asked(&farm_of(&logs), AT);
    let lost = list(&answer, "rest")[3]["animal"].as_str().unwrap().to_owned();
    let since: jiff::Timestamp =
        AT.parse::<jiff::Timestamp>().unwrap() - jiff::SignedDuration::from_hours(30);
    let visits = logs.iter_mut().find(|log| log.table == "visits").unwrap();
    let place = |column: &str| visits.header.iter().position(|own| own == column).unwrap();
    let (animal, ended) = (place("animal"), place("ended_at"));
    visits.rows.retain(|row| row[animal] != lost || row[ended].parse::<jiff::Timestamp>().unwrap() < since);
    let answer = asked(&farm_of(&logs), AT);
    let own = list(&answer, "missing").iter().find(|own| own["animal"] == *lost).expect("she is looked for");
    let sentence = own["sentence"].as_str().unwrap();
    assert!(sentence.starts_with(&format!("{lost}: no row in any box since")), "{sentence}");
    assert!(sentence.contains("as a rule she is milked every"), "{sentence}");
    assert!(list(&answer, "bring").iter().all(|own| own["animal"] != *lost));
}

#[test]
fn marks_stay_until_she_is_milked_and_can_be_taken_back() {
    let place = farm_of(&known_by(AT));
    place.run(["settings", "--limits", "first=4/4/4 later=4/4/4 unlikely=95"]).done();
    let served = Served::start(&place, None);
    let before = served.json("/api/bring-in");
    let cow = &list(&before, "bring")[0];
    let (animal, since) = (cow["animal"].as_str().unwrap(), cow["since"].as_str().unwrap());
    let mark = format!(r#"{{"animal":"{animal}","since":"{since}","by":"Ann","sent_as":"m1"}}"#);
    let (status, told) = served.ask("POST /api/bring-in/done", mark.as_bytes());
    assert_eq!(status, 201, "{told}");
    let id = serde_json::from_str::<Value>(&told).unwrap()["id"].as_i64().unwrap();
    // Sent twice, and by somebody else on the same walk: one mark.
    for again in [mark.clone(), mark.replace("m1", "m2")] {
        let (_, told) = served.ask("POST /api/bring-in/done", again.as_bytes());
        assert_eq!(serde_json::from_str::<Value>(&told).unwrap()["id"], id);
    }
    let done = |answer: &Value| {
        list(answer, "bring").iter().find(|own| own["animal"] == animal).unwrap()["done"].clone()
    };
    assert_eq!(done(&served.json("/api/bring-in"))["id"], id);
    assert!(done(&served.json("/api/bring-in"))["words"].as_str().unwrap().contains("by Ann"));
    // The command sees it too.
    assert_eq!(done(&place.json(["bring-in"]))["id"], id);
    assert_eq!(served.ask(&format!("POST /api/bring-in/{id}/undo"), b"").0, 204);
    assert_eq!(served.ask(&format!("POST /api/bring-in/{id}/undo"), b"").0, 400);
    assert!(done(&served.json("/api/bring-in")).is_null());
    let (status, why) = served.ask("POST /api/bring-in/done", br#"{"animal":"nobody"}"#);
    assert_eq!(status, 400, "{why}");
    place.whole();
}

#[test]
fn a_farm_without_rows_says_what_to_do() {
    let place = Place::new();
    place.run(["settings", "--name", "New"]).done();
    place.run(["bring-in"]).refused().says(&["cowpath import"]);
}
