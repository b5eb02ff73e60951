//! A cow without a visit for longer than her habit is a call; records that cannot all be true are listed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::fmt::Write as _;

use common::Place;

const AT: &str = "2026-01-20T12:00:00Z";

/// Thirty cows that come about every six hours for nineteen days; those in `gone` not in the last 27 hours.
fn visits(gone: &[u32]) -> String {
    visits_but(gone, 27)
}

/// The same, those in `gone` not in the last so many hours.
fn visits_but(gone: &[u32], away_h: u32) -> String {
    let mut log = String::from("animal,box,started_at,ended_at,outcome,milk_kg\n");
    for cow in 0..30_u32 {
        for hour in (0..19 * 24 + 12).step_by(6) {
            let hour = hour + cow / 8;
            if gone.contains(&cow) && 19 * 24 + 12 < hour + away_h || 19 * 24 + 11 < hour {
                continue;
            }
            let (day, hour, minute) = (hour / 24 + 1, hour % 24, 7 * (cow % 8));
            writeln!(
                log,
                "{cow},1,2026-01-{day:02}T{hour:02}:{minute:02}:00Z,2026-01-{day:02}T{hour:02}:{:02}:00Z,milked,9.5",
                minute + 6
            )
            .unwrap();
        }
    }
    log
}

fn away(gone: &[u32]) -> Vec<String> {
    let place = Place::new();
    place.run(["settings", "--zone", "UTC"]).done();
    let log = place.file("visits.csv", visits(gone));
    place.import([&log]).done();
    let round = place.json(["round", "--at", AT]);
    let calls = round["calls"].as_array().unwrap().iter();
    let away = calls.filter(|call| call["sentence"].as_str().unwrap().contains("no visit to a box since"));
    away.map(|call| {
        assert_eq!((&call["cause"], &call["subject"]), (&"unclear".into(), &"cow".into()));
        assert!(call["do"].as_str().unwrap().starts_with("Look for her"), "{call}");
        call["animal"].as_str().unwrap().to_owned()
    })
    .collect()
}

#[test]
fn a_cow_without_a_visit_for_longer_than_her_habit_is_a_call() {
    assert_eq!(away(&[]), Vec::<String>::new());
    assert_eq!(away(&[11]), ["11"]);
}

/// Of a farm whose cow 11 has been away for so many hours: her call's name, and whether Bring in looks for her.
fn of_one(away_h: u32, events: &str) -> (Option<String>, bool) {
    let place = Place::new();
    place.run(["settings", "--zone", "UTC"]).done();
    let log = place.file("visits.csv", visits_but(&[11], away_h));
    place.import([&log]).done();
    if !events.is_empty() {
        let events = place.file("events.csv", events);
        place.import([&events]).done();
    }
    let round = place.json(["round", "--at", AT]);
    let mut calls = round["calls"].as_array().unwrap().iter();
    let hers = calls.find(|call| call["animal"] == "11").map(|call| call["id"].as_str().unwrap().to_owned());
    let list = place.json(["bring-in", "--at", AT]);
    let missing = list["missing"].as_array().unwrap().iter().any(|one| one["animal"] == "11");
    (hers, missing)
}

#[test]
fn her_call_comes_when_her_habit_has_it_rare_and_stays_under_its_name() {
    // Milked every six hours: a night is nothing; by eighteen hours both lists have her.
    assert_eq!(of_one(6, ""), (None, false));
    let (at_night, looked_for) = of_one(18, "");
    assert!(at_night.is_some() && looked_for, "{at_night:?}");
    // Three days, and three weeks would be gone: she is still a call, named by her last visit.
    for away_h in [73, 200, 300] {
        let (call, looked_for) = of_one(away_h, "");
        assert!(call.is_some_and(|id| id.starts_with("11~unclear~")) && looked_for, "{away_h}");
    }
    assert_eq!(of_one(73, "").0.as_deref(), Some("11~unclear~20260117T0727Z"));
    assert_eq!(of_one(74, "").0.as_deref(), Some("11~unclear~20260117T0727Z"), "the last row names it");
    // Her records end it.
    assert_eq!(of_one(73, "animal,at,kind\n11,2026-01-18T08:00:00Z,dried-off\n"), (None, false));
}

#[test]
fn a_cow_in_milk_without_any_milking_is_listed() {
    let place = Place::new();
    place.run(["settings", "--zone", "UTC"]).done();
    let log = place.file("visits.csv", visits(&[]));
    let events = place.file(
        "events.csv",
        "animal,at,kind\n77,2025-11-13T06:00:00Z,calved\n78,2023-11-13T06:00:00Z,calved\n",
    );
    place.import([&log, &events]).done();
    let round = place.json(["round", "--at", AT]);
    let listed = round["quiet"]["not_judged"].to_string();
    assert!(listed.contains("calved 13 November 2025, and no log has a milking of hers since"), "{listed}");
    assert!(!listed.contains("\"78\""), "over a year in milk she may be gone: {listed}");
    let list = place.json(["bring-in", "--at", AT]);
    assert_eq!(list["missing"][0]["animal"], "77", "{list}");
}

#[test]
fn where_many_are_away_no_cow_is_blamed() {
    assert_eq!(away(&[3, 5, 7, 11, 13, 17, 19, 23]), Vec::<String>::new());
}

#[test]
fn records_that_cannot_all_be_true_are_listed() {
    let place = Place::new();
    place.run(["settings", "--zone", "UTC"]).done();
    let log = place.file("visits.csv", visits(&[]));
    let events = place.file(
        "events.csv",
        "animal,at,kind\n4,2025-12-20T06:00:00Z,calved\n4,2026-01-08T06:00:00Z,calved\n\
         6,2025-12-01T08:00:00Z,inseminated\n6,2026-01-03T06:00:00Z,calved\n\
         8,2025-03-28T08:00:00Z,inseminated\n8,2026-01-03T06:00:00Z,calved\n",
    );
    place.import([&log, &events]).done();
    let notes = place.json(["round", "--at", AT])["notes"].to_string();
    assert!(notes.contains("4 is recorded to have calved 20 December 2025 and 8 January"), "{notes}");
    assert!(notes.contains("6 is recorded as inseminated"), "{notes}");
    assert!(!notes.contains("8 is recorded"), "a calf carried 281 days is right: {notes}");
}
