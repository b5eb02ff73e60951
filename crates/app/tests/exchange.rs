//! The open exchange standard at the program's doors: files in, twice, in any order; calls out.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::path::PathBuf;

use common::Place;
use serde_json::{Value, json};

fn example(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../import/tests/ade").join(name)
}

const ALL: [&str; 10] = [
    "01-milking-visits-page.json",
    "02-milking-visits.ndjson",
    "03-feed-and-weights.json",
    "04-heat.json",
    "05-reproduction.json",
    "06-test-days-page.json",
    "07-health.json",
    "08-movements.json",
    "09-attention-page.json",
    "10-feed-recommendations-page.json",
];

fn import(place: &Place, files: &[PathBuf]) -> Value {
    let mut words =
        vec!["import".to_owned(), "--zone".into(), "UTC".into(), "--format".into(), "json".into()];
    words.extend(files.iter().map(|file| file.display().to_string()));
    let answer = place.run(words).done();
    serde_json::from_str(&answer.out).unwrap()
}

#[test]
fn the_examples_come_in_once_and_add_up() {
    let place = Place::new();
    let files: Vec<PathBuf> = ALL.iter().map(|name| example(name)).collect();
    for round in 0..2 {
        let taken = import(&place, &files);
        for file in taken["files"].as_array().unwrap() {
            let count = |name: &str| file[name].as_u64().unwrap();
            assert_eq!(
                count("read"),
                count("new") + count("same") + count("replaced") + count("quarantined"),
                "{file}"
            );
            assert_eq!(file["form"], "ade");
            if round == 1 {
                assert_eq!(count("read"), count("same"), "{file}");
            }
        }
        assert_eq!(taken["files"][2]["table"], "events,visits");
        assert_eq!(taken["files"][8]["table"], Value::Null);
        assert!(taken["issues"].to_string().contains("AttentionEvent"));
    }
    place.run(["check"]).done();
}

#[test]
fn the_invalid_ones_go_to_quarantine_and_the_rest_is_read() {
    let place = Place::new();
    let read = |name: &str| std::fs::read_to_string(example(name)).unwrap();
    let bad = [
        "invalid/1-turned-away-no-weight.json",
        "invalid/2-quarter-FL.json",
        "invalid/3-characteristic-number.json",
        "invalid/4-local-time-and-pounds.json",
    ];
    let good: Value = serde_json::from_str(&read("01-milking-visits-page.json")).unwrap();
    let mut all: Vec<Value> = bad.iter().map(|name| serde_json::from_str(&read(name)).unwrap()).collect();
    all.push(good["member"][0].clone());
    let taken = import(&place, &[place.file("mixed.json", json!(all).to_string())]);
    assert_eq!(taken["files"][0]["new"], 1);
    assert_eq!(taken["files"][0]["quarantined"], 4);
    let properties: Vec<&str> = taken["issues"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|issue| !issue["line"].is_null())
        .map(|issue| issue["column"].as_str().unwrap())
        .collect();
    assert_eq!(
        properties,
        ["milkingMilkWeight", "icarQuarterId", "milkCharacteristics.FAT", "milkingStartingDateTime"]
    );
    place.run(["check"]).done();
    let text = place.run(["import", &example(bad[1]).display().to_string()]).done();
    text.says(&["resource 1: icarQuarterId \"FL\": is none of LF, RF, LR, RR"]);
}

#[test]
fn the_order_of_files_changes_no_cow_and_no_feed() {
    let (one, other) = (Place::new(), Place::new());
    let files: Vec<PathBuf> =
        ["01-milking-visits-page.json", "03-feed-and-weights.json"].map(example).to_vec();
    import(&one, &files);
    let back: Vec<PathBuf> = files.iter().rev().cloned().collect();
    let taken = import(&other, &back);
    assert_eq!(taken["files"][0]["quarantined"], 2, "feed before its visits waits");
    let taken = import(&other, &back);
    assert_eq!(taken["files"][0]["quarantined"], 0);
    let cow = |place: &Place| place.json(["cow", "999000000000214"]);
    assert_eq!(cow(&one), cow(&other));
}

#[test]
fn json_of_something_else_is_said_and_leaves_nothing() {
    let place = Place::new();
    for (name, text, why) in [
        ("other.json", r#"{"cows":[1,2]}"#, "nothing in it is a resource of the exchange standard"),
        ("broken.json", r#"[{"resourceType":"icarWeightEventResource"} oops]"#, "it is not JSON: on line 1"),
    ] {
        let answer = place.run(["import", &place.file(name, text).display().to_string()]);
        assert_eq!(answer.code, 1);
        answer.says(&[why]);
    }
}

#[test]
fn calls_go_out_whole_and_an_empty_farm_tells_of_none() {
    let place = Place::demo(60, 1, 60);
    let file = place.dir.path().join("calls.json");
    let words = ["export", "attention", &file.display().to_string()];
    place.run(words).done().says(&["written to"]);
    let page: Value = serde_json::from_str(&std::fs::read_to_string(&file).unwrap()).unwrap();
    let round = place.json(["round"]);
    let of_cows = round["calls"].as_array().unwrap().iter().filter(|call| call["subject"] == "cow").count();
    assert_eq!(page["member"].as_array().unwrap().len(), of_cows);
    assert_eq!(page["view"]["totalItems"], of_cows);
    let out = place.run(["export", "attention", "-", "--source", "com.example.farm"]).done();
    let again: Value = serde_json::from_str(&out.out).unwrap();
    for event in again["member"].as_array().unwrap() {
        assert_eq!(event["meta"]["source"], "com.example.farm");
    }
    let heats = place.run(["export", "heats", "-"]).done();
    let heats: Value = serde_json::from_str(&heats.out).unwrap();
    assert_eq!(heats["member"], json!([]));
    let folder = place.dir.path().display().to_string();
    assert_eq!(place.run(["export", "heats", &folder]).code, 1, "a folder is no file");
    assert_eq!(place.run(["export", "heats", "-", "--source", "a b"]).code, 1);
    let nowhere = place.dir.path().join("none/calls.json").display().to_string();
    assert_eq!(place.run(["export", "heats", &nowhere]).code, 1);
    let left: Vec<_> =
        std::fs::read_dir(place.dir.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(left.iter().all(|name| !name.to_string_lossy().ends_with(".part")), "{left:?}");
}

/// A visit of a cow under her official number, with a name at its source or without.
fn visit(number: u32, named: bool) -> Value {
    let mut visit = json!({
        "resourceType": "icarMilkingVisitEventResource",
        "animal": {"scheme": "std.iso.11785", "id": "999000000000214"},
        "milkingStartingDateTime": format!("2026-03-0{number}T04:00:00Z"),
        "milkingVisitDuration": {"unitCode": "SEC", "value": 400},
        "milkingMilkWeight": {"unitCode": "KGM", "value": 9.5},
        "milkingBoxNumber": "1"
    });
    if named {
        visit["meta"] =
            json!({"source": "a.b", "sourceId": number.to_string(), "modified": "2026-03-05T00:00:00Z"});
    }
    visit
}

#[test]
fn a_herd_list_that_comes_later_makes_no_second_cow() {
    for named in [true, false] {
        let place = Place::new();
        let visits = place.file("visits.json", json!([visit(1, named), visit(2, named)]).to_string());
        let list = place.file("animals.csv", "animal,official_id,parity\n214,999000000000214,2\n");
        import(&place, &[visits.clone(), list]);
        let notes = |place: &Place| place.json(["round"])["notes"].to_string();
        assert!(notes(&place).contains("999000000000214 may be cow 214"), "{}", notes(&place));
        assert!(notes(&place).contains("Turned-away and feed-only visits"), "{}", notes(&place));
        for new in [2, 0] {
            let taken = import(&place, std::slice::from_ref(&visits));
            assert_eq!(taken["files"][0]["new"], new);
            assert!(!notes(&place).contains("may be cow"), "{}", notes(&place));
            let standing = place.standing();
            let (_, rows) = standing.iter().find(|(name, _)| *name == "visits").unwrap();
            assert_eq!(rows.iter().map(|row| row[0].text().unwrap()).collect::<Vec<_>>(), ["214", "214"]);
        }
        // What comes from now on comes under the herd number at once.
        import(&place, &[place.file("more.json", json!([visit(3, named)]).to_string())]);
        assert!(!notes(&place).contains("may be cow"), "{}", notes(&place));
        place.run(["check"]).done();
    }
}

#[test]
fn the_farm_names_itself_to_other_programs_once() {
    let place = Place::demo(60, 1, 60);
    // A morning with calls of cows.
    let calls = |at: &String| place.json(["round", "--at", at.as_str()])["calls"].clone();
    let at = (1..=28)
        .rev()
        .map(|day| format!("2026-02-{day:02}T05:30"))
        .find(|at| calls(at).as_array().unwrap().iter().any(|call| call["subject"] == "cow"))
        .unwrap();
    let source = |words: &[&str]| -> String {
        let page: Value = serde_json::from_str(&place.run(words).done().out).unwrap();
        page["member"][0]["meta"]["source"].as_str().unwrap().to_owned()
    };
    let export = ["export", "attention", "-", "--at", at.as_str()];
    assert_eq!(source(&export), "local.cowpath");
    place.run(["settings", "--exchange-name", "com.example.ash"]).done().says(&["com.example.ash"]);
    assert_eq!(source(&export), "com.example.ash");
    assert_eq!(source(&[&export[..], &["--source", "org.example"]].concat()), "org.example");
    assert_eq!(place.run(["settings", "--exchange-name", "two words"]).code, 1);
    assert_eq!(source(&export), "com.example.ash");
}
