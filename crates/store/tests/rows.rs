//! Rows of every table go in and come out as they were; changed ones are replaced and kept in the history.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::ops::ControlFlow;

use common::{assert_whole, begin, declared, farm, minute, read, row, source, standing, visit};
use cowpath_core::{
    herd::{BoxKey, Quarter},
    tables::{Cell, Kind, Outcome, TABLES, Table},
};
use cowpath_store::{Disposition, Farm};
use jiff::Timestamp;
use proptest::prelude::*;

/// Any cell a column may hold.
fn cell(table: &'static Table, column: usize, draw: u64) -> Cell {
    let declared = table.columns[column];
    if !declared.required && draw.is_multiple_of(3) {
        return Cell::Missing;
    }
    match declared.kind {
        Kind::Text => Cell::Text(["a", "ä b", "=1+1", "<b>", "../x", "0012"][draw as usize % 6].into()),
        Kind::OfficialId => Cell::Text(format!("{:015}", draw % 1_000_000)),
        Kind::Time => Cell::Time(minute((draw % 50) as i64 * 400 + column as i64)),
        Kind::Date => Cell::Date(begin().to_zoned_datetime(jiff::tz::TimeZone::UTC).date()),
        Kind::Number { low, high, .. } => Cell::Number(low + (high - low) * (draw % 1000) as f64 / 1000.0),
        Kind::Flag => Cell::Flag(draw % 2 == 1),
        Kind::Words(words) => Cell::Text(words[draw as usize % words.len()].into()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn rows_of_every_table_come_back_as_they_went_in(
        place in 0_usize..10,
        draws in prop::collection::vec(prop::collection::vec(any::<u64>(), 45), 1..12),
    ) {
        let table = TABLES[place];
        let rows: Vec<Vec<Cell>> = draws
            .iter()
            .map(|draws| (0..table.columns.len()).map(|column| cell(table, column, draws[column])).collect())
            .filter(|row: &Vec<Cell>| (table.agrees)(row).is_ok())
            .collect();
        let (_folder, mut farm) = farm();
        let sums = read(&mut farm, table.name, &rows).sums;
        prop_assert_eq!(sums.read, sums.new + sums.same + sums.replaced + sums.quarantined);
        let mut last: Vec<&Vec<Cell>> = Vec::new();
        let keys: Vec<usize> = table.key.iter().map(|name| table.index(name).unwrap()).collect();
        for row in &rows {
            last.retain(|other| keys.iter().any(|column| other[*column] != row[*column]));
            last.push(row);
        }
        let stand = standing(&farm, table.name);
        prop_assert_eq!(stand.len() as u64 + farm.quarantine_counts().unwrap().1, last.len() as u64);
        for row in stand {
            prop_assert!(last.contains(&&row), "{row:?} is none of {last:?}");
        }
        assert_whole(&farm);
    }
}

#[test]
fn a_changed_row_replaces_and_the_old_one_stays_in_the_history() {
    let (_folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("214", "2", 0, 7, 9.8), visit("30", "1", 3, 7, 5.0)]);
    let changed = visit("214", "2", 0, 7, 10.4);
    let sums = read(&mut farm, "visits", &[changed.clone(), visit("30", "1", 3, 7, 5.0)]).sums;
    assert_eq!((sums.new, sums.same, sums.replaced, sums.quarantined), (0, 1, 1, 0));
    assert_eq!(standing(&farm, "visits")[0], changed);
    let key = Farm::key_of(declared("visits"), &changed);
    let key: Vec<&str> = key.iter().map(String::as_str).collect();
    let before = farm.history_of(declared("visits"), &key).unwrap();
    assert_eq!(before.len(), 1);
    assert!(before[0].cells.contains("\"milk_kg\":9.8"), "{}", before[0].cells);
    assert_eq!((before[0].batch, before[0].replaced_by, before[0].line), (1, 2, 2));
    assert_whole(&farm);
}

#[test]
fn a_file_without_a_column_says_nothing_of_it() {
    let (_folder, mut farm) = farm();
    let full = visit("214", "2", 0, 7, 9.8);
    read(&mut farm, "visits", std::slice::from_ref(&full));
    let mut few = full.clone();
    few[6] = Cell::Missing;
    few[44] = Cell::Text("tank".into());
    let narrow = cowpath_store::Source { columns: vec![0, 1, 2, 3, 5, 44], ..source("visits", "b.csv", 2) };
    let mut batch = farm.begin(&narrow).unwrap();
    assert_eq!(batch.row(2, &few).unwrap(), Disposition::Replaced);
    batch.finish().unwrap();
    let stands = standing(&farm, "visits").remove(0);
    assert_eq!((&stands[6], &stands[44]), (&Cell::Number(9.8), &Cell::Text("tank".into())));
    // The same narrow file again, and the first file again, which lacks nothing and says the destination is unknown.
    let mut batch = farm.begin(&narrow).unwrap();
    assert_eq!(batch.row(2, &few).unwrap(), Disposition::Same);
    batch.finish().unwrap();
    assert_eq!(read(&mut farm, "visits", &[full]).sums.replaced, 1);
    assert_eq!(standing(&farm, "visits")[0][44], Cell::Missing);
    assert_whole(&farm);
}

#[test]
fn a_column_that_was_not_announced_ends_the_batch() {
    let (_folder, mut farm) = farm();
    let narrow = cowpath_store::Source { columns: vec![0, 1, 2, 3], ..source("visits", "b.csv", 2) };
    let mut batch = farm.begin(&narrow).unwrap();
    assert!(batch.row(2, &visit("1", "1", 0, 7, 9.0)).is_err());
    assert!(batch.row(3, &row("visits", &[])).is_err());
    assert!(batch.finish().is_err());
    assert!(farm.batches().unwrap().is_empty());
}

#[test]
fn rows_without_what_they_need_go_to_quarantine() {
    let (_folder, mut farm) = farm();
    let mut backwards = visit("1", "1", 10, -5, 9.0);
    let mut batch = farm.begin(&source("visits", "a.csv", 1)).unwrap();
    assert!(
        matches!(batch.row(2, &backwards).unwrap(), Disposition::Refused(refusal) if refusal.column == "ended_at")
    );
    backwards[0] = Cell::Missing;
    assert!(
        matches!(batch.row(3, &backwards).unwrap(), Disposition::Refused(refusal) if refusal.column == "animal")
    );
    let mut endless = visit("1", "1", 10, 5, 9.0);
    endless[6] = Cell::Number(f64::NAN);
    assert!(
        matches!(batch.row(4, &endless).unwrap(), Disposition::Refused(refusal) if refusal.column == "milk_kg")
    );
    let sums = batch.finish().unwrap().sums;
    assert_eq!((sums.read, sums.quarantined), (3, 3));
    assert_whole(&farm);
}

#[test]
fn visits_come_in_order_of_time_number_and_box_whatever_was_read_first() {
    let (_folder, mut farm) = farm();
    let mut full = visit("9", "b", 0, 7, 9.8);
    full[4] = Cell::Time(minute(1));
    full[9] = Cell::Number(2.5);
    full[29] = Cell::Flag(true);
    full[25] = Cell::Number(5.2);
    full[15] = Cell::Number(1.1);
    full[44] = Cell::Text("held".into());
    let rows = [visit("10", "a", 30, 5, 1.0), full, visit("10", "a", 0, 5, 2.0), visit("2", "c", 0, 5, 3.0)];
    read(&mut farm, "visits", &rows);
    let (numbers, boxes) = (farm.numbers().unwrap(), farm.boxes().unwrap());
    assert_eq!((numbers.join(" "), boxes.join(" ")), ("10 2 9".into(), "a b c".into()));
    let mut seen = Vec::new();
    let mut nine = None;
    farm.visits(begin()..minute(31), &mut |cow, visit| {
        seen.push((numbers[cow as usize].clone(), visit.milk_kg));
        if visit.milk_kg == Some(9.8) {
            nine = Some(*visit);
        }
        ControlFlow::Continue(())
    })
    .unwrap();
    let order: Vec<(&str, Option<f64>)> = seen.iter().map(|(cow, kg)| (cow.as_str(), *kg)).collect();
    assert_eq!(order, [("10", Some(2.0)), ("2", Some(3.0)), ("9", Some(9.8)), ("10", Some(1.0))]);
    let nine = nine.unwrap();
    assert_eq!((nine.at_box, nine.started_at, nine.ended_at), (BoxKey(1), begin(), minute(7)));
    assert_eq!((nine.outcome, nine.attached_at), (Some(Outcome::Milked), Some(minute(1))));
    let left_rear = nine.quarters[Quarter::LeftRear as usize];
    assert_eq!((left_rear.milk_kg, left_rear.ms_cm, left_rear.kicked), (Some(2.5), Some(5.2), Some(true)));
    assert_eq!(nine.quarters[0].flow_kg_min, Some(1.1));
    assert_eq!((nine.weight_kg, nine.destination.map(|to| to.word())), (None, Some("held")));
    let mut milkings = Vec::new();
    farm.milkings(Timestamp::MIN..Timestamp::MAX, &mut |_, visit| {
        milkings.push(*visit);
        if milkings.len() == 3 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })
    .unwrap();
    assert_eq!(milkings.len(), 3);
    assert_eq!(milkings[2].quarters[2], left_rear);
    assert_eq!((milkings[2].quarters[0].flow_kg_min, milkings[2].destination), (None, None));
    assert_eq!(farm.visits_of("10", begin()..minute(30)).unwrap().len(), 1);
    assert_eq!(farm.visits_of("10", begin()..minute(31)).unwrap().len(), 2);
    assert!(farm.visits_of("none", begin()..minute(31)).unwrap().is_empty());
    assert_eq!(
        (farm.first_row_at().unwrap(), farm.last_row_at().unwrap()),
        (Some(begin()), Some(minute(35)))
    );
}

#[test]
fn the_herd_list_and_events_come_back() {
    let (_folder, mut farm) = farm();
    let cow = [("animal", "214"), ("parity", "3"), ("calved_on", "2026-01-05"), ("pen", "2"), ("breed", "x")];
    read(&mut farm, "animals", &[row("animals", &cow), row("animals", &[("animal", "9")])]);
    let note = [("animal", "214"), ("at", "2026-03-02T05:00:00Z"), ("kind", "treated"), ("quarter", "LR")];
    read(&mut farm, "events", &[row("events", &note), row("events", &note[..3])]);
    let animals = farm.animal_rows().unwrap();
    assert_eq!(
        (animals[0].parity, animals[0].pen.as_deref(), animals[1].calved_on),
        (Some(3), Some("2"), None)
    );
    let events = farm.event_rows().unwrap();
    assert_eq!((events.len(), events[0].quarter, events[1].quarter), (2, None, Some(Quarter::LeftRear)));
    assert_eq!(farm.numbers().unwrap(), ["214", "9"]);
    assert_eq!(farm.rows(declared("events"), None, Some("9")).unwrap().len(), 0);
    assert_whole(&farm);
}

#[test]
fn milkings_are_counted_by_their_end() {
    let (_folder, mut farm) = farm();
    // Outcome, milk of the udder, milk of how many quarters; whether it says something of milk.
    let kinds = [
        (Some(Outcome::Milked), None, 0, true),
        (Some(Outcome::Incomplete), Some(3.0), 4, true),
        (Some(Outcome::Failed), None, 0, true),
        (Some(Outcome::TurnedAway), Some(3.0), 4, false),
        (Some(Outcome::Fed), None, 0, false),
        (None, Some(9.0), 0, true),
        (None, None, 4, true),
        (None, None, 3, false),
    ];
    let mut rows = Vec::new();
    for (hour, (outcome, milk_kg, quarters, _)) in (0..).zip(kinds) {
        let mut row = visit("9", "a", 60 * hour, 7, 0.0);
        row[5] = outcome.map_or(Cell::Missing, |outcome| Cell::Text(outcome.word().into()));
        row[6] = milk_kg.map_or(Cell::Missing, Cell::Number);
        row[7..7 + quarters].fill(Cell::Number(2.0));
        rows.push(row);
    }
    // She was in another box at that time: it does not stand.
    rows.push(visit("9", "b", 3, 7, 9.8));
    read(&mut farm, "visits", &rows);
    for after in -1..8 {
        for by in after..8 {
            // A visit that ends on the later time is counted, one that ends on the earlier is not.
            let counted = farm
                .milkings_ended(minute(60 * after + 7), minute(60 * by + 7))
                .expect("a count of milkings");
            let known =
                (0..).zip(kinds).filter(|(hour, kind)| after < *hour && *hour <= by && kind.3).count();
            assert_eq!(counted, known as u64, "after {after} h, by {by} h");
        }
    }
    assert_eq!(farm.milkings_ended(Timestamp::MIN, Timestamp::MAX).expect("a count of milkings"), 5);
}
