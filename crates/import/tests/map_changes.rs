//! A map changed by choices: what is chosen changes, everything else stays, and what cannot be is said.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::collections::BTreeMap;

use cowpath_import::{Chosen, ColumnMap, DayOrder, Measure};

const MAP: &str = r#"
version = 1
table = "visits"
separator = ";"
decimal = ","
thousands = "."
order = "day-month-year"
columns = ["Kuh", "Datum", "Beginn", "Ende", "Menge", "VL", "Ergebnis", "Leitwert"]

[[column]]
from = "Kuh"
to = "animal"

[[column]]
value = "1"
to = "box"

[[column]]
from = ["Datum", "Beginn"]
to = "started_at"

[[column]]
from = ["Datum", "Ende"]
to = "ended_at"
next_day_of = "started_at"

[[column]]
from = "Menge"
to = "milk_kg"
unit = "lb"

[[column]]
from = "Ergebnis"
to = "outcome"
words = { "ja" = "milked" }

[[column]]
from = "Leitwert"
split = "/"
to = ["lf_ms_cm", "rf_ms_cm", "lr_ms_cm", "rr_ms_cm"]
"#;

fn map() -> ColumnMap {
    ColumnMap::from_toml(MAP).unwrap()
}

fn columns(choices: &[(&str, &str)]) -> Chosen {
    let place = |name: &str| (!name.is_empty()).then(|| map().table.index(name).unwrap());
    Chosen {
        columns: choices.iter().map(|(word, to)| ((*word).to_owned(), place(to))).collect(),
        ..Chosen::default()
    }
}

fn take<'a>(map: &'a ColumnMap, name: &str) -> Option<&'a cowpath_import::Take> {
    let target = map.table.index(name).unwrap();
    map.takes.iter().find(|take| take.to.contains(&target))
}

#[test]
fn without_a_choice_nothing_changes() {
    let own = map();
    assert_eq!(own.changed(&Chosen::default()).unwrap().essence(), own.essence());
    // What is chosen as it is already is no choice either: unit and words stay.
    let same = own.changed(&columns(&[("Menge", "milk_kg"), ("ergebnis", "outcome"), ("Kuh", "animal")]));
    assert_eq!(same.unwrap().essence(), own.essence());
}

#[test]
fn another_target_is_read_in_our_own_unit_and_the_rest_stays() {
    let changed = map().changed(&columns(&[("Menge", "lf_kg"), ("VL", "milk_kg")])).unwrap();
    assert_eq!(take(&changed, "lf_kg").unwrap().from, ["Menge"]);
    assert_eq!(take(&changed, "lf_kg").unwrap().unit, None);
    assert_eq!(take(&changed, "milk_kg").unwrap().from, ["VL"]);
    assert_eq!(take(&changed, "milk_kg").unwrap().unit, None);
    assert_eq!(take(&changed, "outcome").unwrap().words["ja"], "milked");
    assert_eq!(take(&map(), "milk_kg").unwrap().unit, Some(Measure::Pounds));
    changed.check().unwrap();
}

#[test]
fn a_column_not_used_leaves_its_entry_and_what_is_lacking_is_told() {
    let own = map();
    let changed = own.changed(&columns(&[("Leitwert", ""), ("Kuh", "")])).unwrap();
    assert!(take(&changed, "lf_ms_cm").is_none() && take(&changed, "rr_ms_cm").is_none());
    assert_eq!(changed.lacks(), ["animal"]);
    assert!(changed.check().unwrap_err().what.contains("`animal`"));
    // The text of a map that lacks something can be read back to go on with, and is no map to read files with.
    let text = changed.to_toml(&BTreeMap::new());
    assert_eq!(ColumnMap::unfinished_from_toml(&text).unwrap().essence(), changed.essence());
    assert!(ColumnMap::from_toml(&text).is_err());
}

#[test]
fn two_columns_become_a_day_and_its_time_in_the_order_of_the_file() {
    let apart = map().changed(&columns(&[("Datum", "")])).unwrap();
    assert_eq!(take(&apart, "started_at").unwrap().from, ["Beginn"]);
    let place = apart.table.index("started_at").unwrap();
    let again = Chosen { columns: vec![("Datum".into(), Some(place))], ..Chosen::default() };
    let again = apart.changed(&again).unwrap();
    assert_eq!(take(&again, "started_at").unwrap().from, ["Datum", "Beginn"]);
    let place = again.table.index("ended_at").unwrap();
    // Chosen for one time, it is taken from the other.
    let moved = again.changed(&Chosen { columns: vec![("Datum".into(), Some(place))], ..Chosen::default() });
    let moved = moved.unwrap();
    assert_eq!(take(&moved, "ended_at").unwrap().from, ["Datum", "Ende"]);
    assert_eq!(take(&moved, "started_at").unwrap().from, ["Beginn"]);
}

#[test]
fn two_columns_of_one_meaning_are_not_taken() {
    let fault = map().changed(&columns(&[("VL", "milk_kg")])).unwrap_err();
    assert_eq!(fault.what, "both \"Menge\" and \"VL\" would become `milk_kg`");
    assert!(fault.next.contains("not used"), "{fault:?}");
    let given_up = map().changed(&columns(&[("VL", "milk_kg"), ("Menge", "")])).unwrap();
    assert_eq!(take(&given_up, "milk_kg").unwrap().from, ["VL"]);
}

#[test]
fn a_column_takes_the_place_of_what_stood_in_every_row_and_back() {
    let place = map().table.index("box").unwrap();
    let of_file = map().changed(&columns(&[("VL", "box")])).unwrap();
    assert_eq!(
        (&take(&of_file, "box").unwrap().value, take(&of_file, "box").unwrap().from.len()),
        (&None, 1)
    );
    let value = |value: &str| Chosen { values: BTreeMap::from([(place, value.into())]), ..Chosen::default() };
    // A column of the file is not overwritten by a field that was left as it stood.
    assert_eq!(of_file.changed(&value("7")).unwrap().essence(), of_file.essence());
    assert_eq!(take(&map().changed(&value(" 7 ")).unwrap(), "box").unwrap().value.as_deref(), Some("7"));
    assert_eq!(map().changed(&value("")).unwrap().lacks(), ["box"]);
}

#[test]
fn decimal_sign_and_order_of_days() {
    let chosen = Chosen { decimal: Some(b'.'), order: Some(DayOrder::MonthDayYear), ..Chosen::default() };
    let changed = map().changed(&chosen).unwrap();
    assert_eq!(
        (changed.decimal, changed.thousands, changed.order),
        (b'.', Some(b','), DayOrder::MonthDayYear)
    );
    ColumnMap::from_toml(&changed.to_toml(&BTreeMap::new())).unwrap();
}
