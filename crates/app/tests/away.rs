//! A cow without a visit for longer than her habit is a call; records that cannot all be true are listed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::fmt::Write as _;

use common::Place;

const AT: &str = "2026-01-20T12:00:00Z";

/// Thirty cows that come about every six hours for nineteen days; those in `gone` not in the last 27 hours.
fn visits(gone: &[u32]) -> String {
    let mut log = String::from("animal,box,started_at,ended_at,outcome,milk_kg\n");
    for cow in 0..30_u32 {
        for hour in (0..19 * 24 + 12).step_by(6) {
            let hour = hour + cow / 8;
            if gone.contains(&cow) && 19 * 24 + 12 < hour + 27 || 19 * 24 + 11 < hour {
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
