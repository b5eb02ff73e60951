//! States of the models die with the rows they rest on; a file read before is known; a check finds what is broken.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{assert_whole, begin, farm, minute, read, row, source, visit};
use cowpath_store::{FaultKind, Settings};
use rusqlite::Connection;

#[test]
fn a_state_is_thrown_away_when_a_row_dated_by_then_changes() {
    let (_folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let keep = |farm: &mut cowpath_store::Farm| {
        for minutes in [60, 120, 180] {
            farm.save_checkpoint(minute(minutes), "milk 1", &[minutes as u8]).unwrap();
        }
    };
    let left = |farm: &cowpath_store::Farm| farm.checkpoints("milk 1").unwrap().len();
    keep(&mut farm);
    assert_eq!(farm.checkpoint_before(minute(150), "milk 1").unwrap(), Some((minute(120), vec![120])));
    assert_eq!(farm.checkpoint_before(minute(59), "milk 1").unwrap(), None);
    assert_eq!(farm.checkpoint_before(minute(150), "milk 2").unwrap(), None);
    // The same row again changes nothing; one that ended at 125 was not known at 120.
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    assert_eq!(left(&farm), 3);
    read(&mut farm, "visits", &[visit("2", "1", 115, 10, 9.0)]);
    assert_eq!(left(&farm), 2);
    keep(&mut farm);
    // A changed row; a visit that sets another aside; one that frees it.
    read(&mut farm, "visits", &[visit("2", "1", 115, 10, 9.5)]);
    assert_eq!(left(&farm), 2);
    keep(&mut farm);
    let sums = read(&mut farm, "visits", &[visit("2", "2", 110, 10, 9.5)]).sums;
    assert_eq!((sums.new, sums.displaced, left(&farm)), (1, 1, 1));
    keep(&mut farm);
    let sums = read(&mut farm, "visits", &[visit("2", "2", 110, 5, 9.5)]).sums;
    assert_eq!((sums.replaced, sums.freed, left(&farm)), (1, 1, 1));
    keep(&mut farm);
    read(
        &mut farm,
        "events",
        &[row("events", &[("animal", "1"), ("at", "2026-03-01T02:30:00Z"), ("kind", "heat")])],
    );
    assert_eq!(left(&farm), 2);
    read(&mut farm, "feeds", &[row("feeds", &[("feed", "hay"), ("dm_pct", "86")])]);
    assert_eq!(left(&farm), 2);
    // A cow without a calving may concern any time.
    read(&mut farm, "animals", &[row("animals", &[("animal", "1"), ("parity", "0")])]);
    assert_eq!(left(&farm), 0);
    keep(&mut farm);
    farm.thin_checkpoints("milk 1", &[minute(60)]).unwrap();
    assert_eq!(farm.checkpoints("milk 1").unwrap(), [minute(60)]);
    farm.save_settings(&Settings { zone: "America/Toronto".into(), ..Settings::fresh() }).unwrap();
    assert_eq!(left(&farm), 0);
    assert_whole(&farm);
}

#[test]
fn rounds_stay_as_they_were_given() {
    let (_folder, mut farm) = farm();
    for (minutes, json) in [(0, "{}"), (60, "{\"a\":1}"), (60, "{\"a\":2}")] {
        farm.keep_round(minute(minutes), "m", json).unwrap();
    }
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let rounds = farm.rounds(minute(90), 10).unwrap();
    assert_eq!(rounds.iter().map(|round| round.json.as_str()).collect::<Vec<_>>(), ["{\"a\":2}", "{}"]);
    assert_eq!(farm.rounds(minute(59), 10).unwrap().len(), 1);
}

#[test]
fn a_file_read_whole_is_known_until_its_table_changes() {
    let (_folder, mut farm) = farm();
    let rows = [visit("1", "1", 0, 5, 9.0), visit("2", "1", 10, 5, 9.0)];
    let known = source("visits", "a.csv", 1);
    assert_eq!(farm.already_read(&known).unwrap(), None);
    read(&mut farm, "visits", &rows);
    let sums = farm.already_read(&known).unwrap().expect("it was read");
    assert_eq!(sums, read(&mut farm, "visits", &rows).sums);
    farm.note_already_read(&known, &sums).unwrap();
    let other_zone = cowpath_store::Source { zone: "Europe/Rome".into(), ..known.clone() };
    assert_eq!(farm.already_read(&other_zone).unwrap(), None);
    assert_eq!(farm.already_read(&source("visits", "a.csv", 2)).unwrap(), None);
    // More rows do not matter; a changed one does.
    let mut batch = farm.begin(&source("visits", "b.csv", 2)).unwrap();
    batch.row(2, &visit("3", "1", 20, 5, 9.0)).unwrap();
    batch.finish().unwrap();
    assert!(farm.already_read(&known).unwrap().is_some());
    let mut batch = farm.begin(&source("visits", "c.csv", 3)).unwrap();
    batch.row(2, &visit("1", "1", 0, 5, 8.0)).unwrap();
    batch.finish().unwrap();
    assert_eq!(farm.already_read(&known).unwrap(), None);
    assert_eq!(read(&mut farm, "visits", &rows).sums.replaced, 1);
    assert_whole(&farm);
}

#[test]
fn a_file_whose_own_rows_replace_one_another_is_read_again() {
    let (_folder, mut farm) = farm();
    let rows = [visit("1", "1", 0, 5, 9.0), visit("1", "1", 0, 5, 8.0)];
    let first = read(&mut farm, "visits", &rows).sums;
    assert_eq!((first.new, first.replaced), (1, 1));
    assert_eq!(farm.already_read(&source("visits", "a.csv", 1)).unwrap(), None);
    assert_eq!(read(&mut farm, "visits", &rows).sums.replaced, 2);
    assert_whole(&farm);
}

#[test]
fn a_check_finds_what_is_broken_and_names_what_is_odd() {
    let (_folder, mut farm) = farm();
    let mut odd = visit("1", "1", 0, 8, 10.0);
    odd[7] = cowpath_core::tables::Cell::Number(11.5);
    read(&mut farm, "visits", &[odd, visit("2", "1", 7, 5, 9.0), visit("3", "1", 30, 5, 9.0)]);
    let found: Vec<FaultKind> = farm.check().unwrap().into_iter().map(|fault| fault.kind).collect();
    assert_eq!(found, [FaultKind::Quarters, FaultKind::SharedBox]);
    assert_whole(&farm);
    let file = Connection::open(farm.file()).unwrap();
    for (break_it, expected) in [
        ("UPDATE batch SET rows_read = rows_read + 1", FaultKind::Sums),
        ("DELETE FROM visits WHERE animal = 3", FaultKind::Rows),
        ("UPDATE visits SET box = 77 WHERE animal = 2", FaultKind::Reference),
        ("UPDATE batch SET rows_refused = 1", FaultKind::Sums),
    ] {
        let (_folder, mut farm) = self::farm();
        read(
            &mut farm,
            "visits",
            &[visit("1", "1", 0, 5, 9.0), visit("2", "1", 7, 5, 9.0), visit("3", "1", 30, 5, 9.0)],
        );
        let file = Connection::open(farm.file()).unwrap();
        file.pragma_update(None, "foreign_keys", false).unwrap();
        file.execute_batch(break_it).unwrap();
        let found = farm.check();
        match found {
            Ok(faults) => {
                assert!(faults.iter().any(|fault| fault.kind == expected), "{break_it}: {faults:?}")
            }
            // A visit in a box without a name cannot be read at all.
            Err(error) => assert_eq!(expected, FaultKind::Reference, "{break_it}: {error:?}"),
        }
    }
    file.execute_batch("UPDATE visits SET ended_at = ended_at + 7200000, animal = 3 WHERE animal = 1")
        .unwrap();
    assert!(farm.check().unwrap().iter().any(|fault| fault.kind == FaultKind::TwoPlaces));
    let _ = begin();
}
