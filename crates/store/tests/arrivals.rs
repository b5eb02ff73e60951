//! Files that came and rows that are mended, as the file keeps them.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{declared, farm, minute, visit};
use cowpath_store::{Farm, Refusal, Source, Unread, Way};

const HEADER: &str = "animal,box,started_at,ended_at,outcome,milk_kg";

fn source(file: &str, content: u8) -> Source {
    Source {
        file: file.into(),
        content: [content; 32],
        table: declared("visits"),
        zone: "UTC".into(),
        map: String::new(),
        now: minute(i64::from(content)),
        columns: Vec::new(),
    }
}

fn refusal(line: u64, raw: &str) -> Refusal {
    Refusal {
        line,
        column: "milk_kg".into(),
        value: "-3".into(),
        reason: "outside 0 to 60 kg".into(),
        remedy: "mend it".into(),
        raw: raw.into(),
    }
}

/// Reads a file of one good row and some refused ones, by a way.
fn read(farm: &mut Farm, content: u8, way: Way, refused: &[(u64, &str)]) -> i64 {
    let mut batch = farm.begin(&source("visits.csv", content)).unwrap();
    batch.came(way, 900, HEADER).unwrap();
    batch.row(2, &visit("214", "1", 0, 7, 11.0)).unwrap();
    for (line, raw) in refused {
        batch.refuse(&refusal(*line, raw)).unwrap();
    }
    batch.finish().unwrap().batch
}

#[test]
fn what_came_is_listed_newest_first_and_known_by_its_content() {
    let (_folder, mut farm) = farm();
    assert!(farm.arrivals(0, 50).unwrap().is_empty());
    read(&mut farm, 1, Way::Inbox, &[(3, "a")]);
    let unread = Unread {
        way: Way::Page,
        file: "odd.csv".into(),
        content: Some([2; 32]),
        bytes: 7,
        at: minute(2),
        trouble: "the file is empty".into(),
        remedy: "export it again".into(),
    };
    farm.note_unread(&unread).unwrap();
    let all = farm.arrivals(0, 50).unwrap();
    assert_eq!(farm.arrival_count().unwrap(), 2);
    assert_eq!(
        (all[0].way, all[0].read.is_none(), all[0].trouble.as_str()),
        (Way::Page, true, "the file is empty")
    );
    let (_, table, sums) = all[1].read.clone().unwrap();
    assert_eq!(
        (all[1].way, table.as_str(), sums.read, sums.new, sums.quarantined),
        (Way::Inbox, "visits", 2, 1, 1)
    );
    assert_eq!(farm.arrivals(1, 50).unwrap(), all[1..]);
    for (content, known) in [(1, true), (2, true), (3, false)] {
        assert_eq!(farm.has_come(&[content; 32]).unwrap(), known, "{content}");
    }
}

#[test]
fn a_batch_that_is_dropped_leaves_no_word_of_itself() {
    let (_folder, mut farm) = farm();
    let mut batch = farm.begin(&source("visits.csv", 1)).unwrap();
    batch.came(Way::Inbox, 900, HEADER).unwrap();
    drop(batch);
    assert!(farm.arrivals(0, 50).unwrap().is_empty());
    assert!(!farm.has_come(&[1; 32]).unwrap());
}

#[test]
fn a_batch_without_a_way_came_by_command() {
    let (_folder, mut farm) = farm();
    farm.begin(&source("old.csv", 1)).unwrap().finish().unwrap();
    let all = farm.arrivals(0, 50).unwrap();
    assert_eq!((all.len(), all[0].way), (1, Way::Command));
}

#[test]
fn an_entry_comes_with_the_header_of_the_file_that_has_it() {
    let (_folder, mut farm) = farm();
    read(&mut farm, 1, Way::Command, &[(3, "a"), (4, "b")]);
    let entries = farm.entries(0, 50).unwrap();
    assert_eq!(entries.iter().map(|one| one.raw.as_str()).collect::<Vec<_>>(), ["a", "b"]);
    let first = &entries[0];
    assert_eq!(
        (first.header.as_str(), first.line, first.zone.as_str(), first.mended),
        (HEADER, 3, "UTC", false)
    );
    assert_eq!(farm.entries(first.entry, 50).unwrap(), entries[1..]);
    assert_eq!(farm.entry(first.entry).unwrap().as_ref(), Some(first));
    assert_eq!(farm.entry(99).unwrap(), None);
}

#[test]
fn what_was_mended_stays_mended_when_the_faulty_file_is_read_again() {
    let (_folder, mut farm) = farm();
    read(&mut farm, 1, Way::Command, &[(3, "a"), (4, "b")]);
    let entry = farm.entries(0, 1).unwrap()[0].entry;
    // Dropped: nothing is mended.
    let mut batch = farm.begin(&source("visits.csv, line 3, mended", 5)).unwrap();
    assert!(batch.mends(entry).unwrap());
    drop(batch);
    assert_eq!(farm.quarantine_counts().unwrap().0, 2);
    let mut batch = farm.begin(&source("visits.csv, line 3, mended", 5)).unwrap();
    batch.came(Way::Mended, 60, HEADER).unwrap();
    batch.row(3, &visit("215", "1", 20, 7, 11.0)).unwrap();
    assert!(batch.mends(entry).unwrap());
    assert!(!batch.mends(entry).unwrap(), "only once");
    batch.finish().unwrap();
    read(&mut farm, 1, Way::Command, &[(3, "a"), (4, "b")]);
    assert!(farm.entry(entry).unwrap().unwrap().mended);
    assert_eq!(farm.quarantine_counts().unwrap().0, 1);
    assert!(farm.check().unwrap().is_empty(), "{:?}", farm.check().unwrap());
}
