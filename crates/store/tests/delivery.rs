//! Files of several tables: documents that are changed, taken back, read in any order; and whole or none.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::farm;
use cowpath_core::tables::{Cell, Table, table};
use cowpath_store::{Disposition, Farm, Meal, Origin, Refusal, Sent, Source};
use jiff::Timestamp;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn source(content: u8) -> Source {
    Source {
        file: format!("{content}.json"),
        content: [content; 32],
        table: table("visits").unwrap(),
        zone: "UTC".into(),
        map: "ade".into(),
        now: at("2026-04-01T00:00:00Z"),
        columns: Vec::new(),
    }
}

/// All columns of a table but those of feed.
fn columns(table: &'static Table) -> Vec<usize> {
    (0..table.columns.len()).filter(|place| !table.columns[*place].name.starts_with("feed_")).collect()
}

fn visit(animal: &str, start: &str, end: &str, milk_kg: f64) -> (&'static Table, Vec<Cell>) {
    let table = table("visits").unwrap();
    let mut row = vec![Cell::Missing; table.columns.len()];
    row[0] = Cell::Text(animal.into());
    row[1] = Cell::Text("1".into());
    row[2] = Cell::Time(at(start));
    row[3] = Cell::Time(at(end));
    row[table.index("milk_kg").unwrap()] = Cell::Number(milk_kg);
    (table, row)
}

fn event(animal: &str, time: &str, kind: &str, quarter: &str) -> (&'static Table, Vec<Cell>) {
    let table = table("events").unwrap();
    let mut row = vec![Cell::Missing; table.columns.len()];
    row[0] = Cell::Text(animal.into());
    row[1] = Cell::Time(at(time));
    row[2] = Cell::Text(kind.into());
    row[3] = Cell::Text(quarter.into());
    (table, row)
}

fn origin(id: &str, modified: &str) -> Origin {
    Origin { source: "a.b".into(), id: id.into(), modified: Some(at(modified)), deleted: false }
}

type Rows = Vec<(&'static Table, Vec<Cell>)>;

/// One file with these documents.
fn read(farm: &mut Farm, content: u8, documents: &[(Option<Origin>, Rows)]) -> Vec<Disposition> {
    let mut all = Vec::new();
    let mut delivery = farm.deliver(&source(content), columns).unwrap();
    for (line, (origin, rows)) in (1..).zip(documents) {
        let sent = Sent { line, origin: origin.as_ref(), table: table("events").unwrap(), rows };
        all.extend(delivery.take(&sent).unwrap());
    }
    for one in delivery.finish().unwrap() {
        let sums = one.finished.sums;
        assert_eq!(sums.read, sums.new + sums.same + sums.replaced + sums.quarantined, "{}", one.table.name);
    }
    assert!(farm.check().unwrap().iter().all(|fault| !fault.kind.is_broken()), "{:?}", farm.check().unwrap());
    all
}

fn milk(farm: &Farm) -> Vec<f64> {
    let table = table("visits").unwrap();
    let place = table.index("milk_kg").unwrap();
    farm.rows(table, None, None).unwrap().iter().map(|row| row[place].number().unwrap()).collect()
}

const START: &str = "2026-03-02T04:00:00Z";
const END: &str = "2026-03-02T04:07:00Z";

#[test]
fn several_tables_are_one_file_and_twice_is_once() {
    let (_folder, mut farm) = farm();
    let rows = vec![visit("5", START, END, 9.0), event("5", START, "calved", "")];
    let all = [(Some(origin("1", END)), rows), (None, vec![event("6", START, "heat", "")])];
    assert_eq!(read(&mut farm, 1, &all), vec![Disposition::New; 3]);
    assert_eq!(read(&mut farm, 1, &all), vec![Disposition::Same; 3]);
    assert_eq!(farm.numbers().unwrap(), ["5", "6"], "two batches name a new cow once");
    assert_eq!(farm.batches().unwrap().len(), 4);
}

#[test]
fn dropped_it_leaves_nothing() {
    let (_folder, mut farm) = farm();
    let mut delivery = farm.deliver(&source(1), columns).unwrap();
    let rows = [visit("5", START, END, 9.0), event("5", START, "calved", "")];
    delivery.take(&Sent { line: 1, origin: None, table: rows[0].0, rows: &rows }).unwrap();
    drop(delivery);
    assert!(farm.batches().unwrap().is_empty() && farm.numbers().unwrap().is_empty());
    read(&mut farm, 1, &[(None, rows.to_vec())]);
    assert_eq!(milk(&farm), [9.0]);
}

#[test]
fn the_later_version_stands_whichever_is_read_first() {
    let early = (Some(origin("1", "2026-03-02T05:00:00Z")), vec![visit("5", START, END, 9.0)]);
    let late = (Some(origin("1", "2026-03-02T06:00:00Z")), vec![visit("5", START, END, 8.0)]);
    for order in [[&early, &late], [&late, &early]] {
        let (_folder, mut farm) = farm();
        for (content, document) in (1..).zip(order) {
            read(&mut farm, content, std::slice::from_ref(document));
        }
        assert_eq!(milk(&farm), [8.0]);
    }
}

#[test]
fn a_version_with_another_start_moves_the_row() {
    let (_folder, mut farm) = farm();
    read(&mut farm, 1, &[(Some(origin("1", "2026-03-02T05:00:00Z")), vec![visit("5", START, END, 9.0)])]);
    let moved = visit("5", "2026-03-02T04:01:00Z", END, 9.0);
    read(&mut farm, 2, &[(Some(origin("1", "2026-03-02T06:00:00Z")), vec![moved])]);
    assert_eq!(milk(&farm), [9.0]);
    assert_eq!(farm.history(0, 9).unwrap().len(), 1, "the old one stays in the history");
}

#[test]
fn rows_that_a_document_no_longer_holds_go() {
    let (_folder, mut farm) = farm();
    let two = vec![event("5", START, "treated", "LF"), event("5", START, "treated", "RF")];
    read(&mut farm, 1, &[(Some(origin("1", "2026-03-02T05:00:00Z")), two.clone())]);
    read(&mut farm, 2, &[(Some(origin("1", "2026-03-02T06:00:00Z")), two[1..].to_vec())]);
    let events = farm.event_rows().unwrap();
    assert_eq!(events.len(), 1);
    assert_eq!(events[0].quarter.map(|quarter| quarter.code()), Some("RF"));
}

#[test]
fn a_deletion_takes_back_and_is_not_undone_by_an_older_version() {
    let (_folder, mut farm) = farm();
    let first = [(Some(origin("1", "2026-03-02T05:00:00Z")), vec![visit("5", START, END, 9.0)])];
    let gone = Origin { deleted: true, ..origin("1", "2026-03-02T06:00:00Z") };
    read(&mut farm, 1, &first);
    assert_eq!(read(&mut farm, 2, &[(Some(gone.clone()), Vec::new())]), [Disposition::Replaced]);
    assert!(milk(&farm).is_empty());
    assert_eq!(farm.history(0, 9).unwrap().len(), 1);
    assert_eq!(read(&mut farm, 1, &first), [Disposition::Same], "an older version changes nothing");
    assert_eq!(read(&mut farm, 2, &[(Some(gone), Vec::new())]), [Disposition::Same]);
    assert!(milk(&farm).is_empty());
    let back = [(Some(origin("1", "2026-03-02T07:00:00Z")), vec![visit("5", START, END, 7.0)])];
    read(&mut farm, 3, &back);
    assert_eq!(milk(&farm), [7.0], "a later version brings it back");
}

#[test]
fn what_gave_way_stands_when_the_other_is_taken_back() {
    let (_folder, mut farm) = farm();
    let first = (Some(origin("1", "2026-03-02T05:00:00Z")), vec![visit("5", START, END, 9.0)]);
    let second = (None, vec![visit("5", "2026-03-02T04:03:00Z", "2026-03-02T04:09:00Z", 4.0)]);
    read(&mut farm, 1, &[first, second]);
    assert_eq!(milk(&farm), [9.0]);
    let gone = Origin { deleted: true, ..origin("1", "2026-03-02T06:00:00Z") };
    read(&mut farm, 2, &[(Some(gone), Vec::new())]);
    assert_eq!(milk(&farm), [4.0]);
}

fn meal(start: &str, end: &str, eaten_kg: f64) -> Meal {
    Meal {
        animal: "5".into(),
        started_at: at(start),
        ended_at: at(end),
        place: "feeder".into(),
        offered_kg: None,
        eaten_kg: Some(eaten_kg),
        raw: "{}".into(),
    }
}

fn feed(farm: &mut Farm, content: u8, meals: &[(Option<Origin>, Meal)]) -> (u64, Vec<Refusal>) {
    let mut delivery = farm.deliver(&source(content), columns).unwrap();
    for (line, (origin, meal)) in (1..).zip(meals) {
        delivery.meal(line, origin.as_ref(), meal).unwrap();
    }
    let one = delivery.finish().unwrap().remove(0);
    let sums = one.finished.sums;
    assert_eq!(sums.read, meals.len() as u64);
    assert_eq!(sums.read, sums.new + sums.same + sums.replaced + sums.quarantined);
    assert!(farm.check().unwrap().iter().all(|fault| !fault.kind.is_broken()), "{:?}", farm.check().unwrap());
    (sums.same, one.refused)
}

fn eaten(farm: &Farm) -> Vec<Option<f64>> {
    let table = table("visits").unwrap();
    let place = table.index("feed_eaten_kg").unwrap();
    farm.rows(table, None, None).unwrap().iter().map(|row| row[place].number()).collect()
}

#[test]
fn feed_of_one_visit_adds_up_once() {
    let (_folder, mut farm) = farm();
    let visits = [(Some(origin("v", END)), vec![visit("5", START, END, 9.0)])];
    read(&mut farm, 1, &visits);
    let meals = [
        (Some(origin("m1", END)), meal(START, "2026-03-02T04:02:00Z", 1.0)),
        (Some(origin("m2", END)), meal("2026-03-02T04:02:00Z", END, 0.5)),
    ];
    feed(&mut farm, 2, &meals);
    assert_eq!(eaten(&farm), [Some(1.5)]);
    assert_eq!(feed(&mut farm, 2, &meals).0, 2, "twice is once");
    assert_eq!(read(&mut farm, 1, &visits), [Disposition::Same], "the visit's own file says nothing of feed");
    assert_eq!(eaten(&farm), [Some(1.5)]);
    let gone = Origin { deleted: true, ..origin("m2", "2026-03-02T06:00:00Z") };
    feed(&mut farm, 3, &[(Some(gone), meal("2026-03-02T04:02:00Z", END, 0.5))]);
    assert_eq!(eaten(&farm), [Some(1.0)]);
    let older = origin("m1", "2026-03-02T01:00:00Z");
    feed(&mut farm, 4, &[(Some(older), meal(START, END, 7.0))]);
    assert_eq!(eaten(&farm), [Some(1.0)], "an older version changes nothing");
}

#[test]
fn feed_without_a_visit_waits_in_quarantine() {
    let (_folder, mut farm) = farm();
    let meals = [(Some(origin("m1", END)), meal(START, END, 1.0))];
    let (_, refused) = feed(&mut farm, 2, &meals);
    assert!(refused[0].reason.contains("`feeder` is no box on record"), "{refused:?}");
    assert_eq!(farm.quarantine_counts().unwrap().0, 1);
    read(&mut farm, 1, &[(None, vec![visit("5", START, END, 9.0)])]);
    assert!(feed(&mut farm, 2, &meals).1.is_empty());
    assert_eq!(eaten(&farm), [Some(1.0)]);
    assert_eq!(farm.quarantine_counts().unwrap().0, 0, "read again it is mended");
}

#[test]
fn feed_in_a_box_outside_a_milking_is_a_visit_for_feed() {
    let (_folder, mut farm) = farm();
    read(&mut farm, 1, &[(None, vec![visit("5", START, END, 9.0)])]);
    let apart = Meal { place: "1".into(), ..meal("2026-03-02T09:00:00Z", "2026-03-02T09:04:00Z", 0.8) };
    feed(&mut farm, 2, &[(None, apart.clone())]);
    assert_eq!(eaten(&farm), [None, Some(0.8)]);
    feed(&mut farm, 2, &[(None, apart)]);
    assert_eq!(eaten(&farm), [None, Some(0.8)]);
}

#[test]
fn what_a_format_cannot_say_stands_by_the_batch() {
    let (_folder, mut farm) = farm();
    let mut delivery = farm.deliver(&source(1), columns).unwrap();
    let rows = [visit("5", START, END, 9.0)];
    delivery.take(&Sent { line: 1, origin: None, table: rows[0].0, rows: &rows }).unwrap();
    delivery.cannot_say(rows[0].0, "tank entry");
    delivery.finish().unwrap();
    assert_eq!(farm.batches().unwrap()[0].cannot_say, "tank entry");
    assert_eq!(farm.visits_cannot_say().unwrap(), ["tank", "entry"]);
    let boxes = |farm: &Farm| farm.boxes_cannot_say(at(START), at(END)).unwrap();
    assert!(boxes(&farm)["1"].contains("tank"));
    assert!(
        farm.boxes_cannot_say(at("2026-03-09T00:00:00Z"), at("2026-03-12T00:00:00Z")).unwrap().is_empty()
    );
    read(&mut farm, 2, &[(None, vec![visit("6", START, END, 9.0)])]);
    assert!(boxes(&farm)["1"].is_empty(), "another source of the same box can say it");
    assert!(farm.visits_cannot_say().unwrap().is_empty(), "another source can say it");
}

#[test]
fn documents_are_known_again_whatever_the_order_of_their_names() {
    let (_folder, mut farm) = farm();
    let later = "2026-03-02T05:00:00Z";
    let own = |id: &str, start: &str, end: &str, kg: f64| {
        (Some(origin(id, later)), vec![visit("5", start, end, kg)])
    };
    let new = own("b", "2026-03-02T08:00:00Z", "2026-03-02T08:07:00Z", 8.0);
    let all = [
        own("m", START, END, 9.0),
        new.clone(),
        own("m", "2026-03-02T06:00:00Z", "2026-03-02T06:07:00Z", 7.0),
    ];
    read(&mut farm, 1, &all);
    assert_eq!(milk(&farm), [7.0, 8.0], "a document that moves takes its row along");
    // Read in another file, beyond and below the greatest name on record.
    let all = [own("a", "2026-03-02T10:00:00Z", "2026-03-02T10:07:00Z", 6.0), new, own("z", START, END, 5.0)];
    assert_eq!(read(&mut farm, 2, &all), [Disposition::New, Disposition::Same, Disposition::New]);
    assert_eq!(milk(&farm), [5.0, 7.0, 8.0, 6.0]);
}

#[test]
fn rows_of_a_cow_move_to_her_herd_number_once_it_is_known() {
    for named in [None, Some(origin("1", END))] {
        let (_folder, mut farm) = farm();
        read(&mut farm, 1, &[(named.clone(), vec![visit("999000000000214", START, END, 9.0)])]);
        for again in [Disposition::New, Disposition::Same] {
            let rows = [visit("214", START, END, 9.0)];
            let mut delivery = farm.deliver(&source(2), columns).unwrap();
            let sent = Sent { line: 1, origin: named.as_ref(), table: rows[0].0, rows: &rows };
            let took = delivery.take_of(&sent, Some("999000000000214")).unwrap();
            delivery.finish().unwrap();
            assert_eq!(took, [again]);
            let visits = farm.rows(table("visits").unwrap(), None, None).unwrap();
            assert_eq!(visits.iter().map(|row| row[0].text().unwrap()).collect::<Vec<_>>(), ["214"]);
        }
    }
}
