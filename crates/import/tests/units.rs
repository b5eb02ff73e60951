//! Imperial columns become metric exactly; a cell that is empty stays unmeasured.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{read, said};
use cowpath_core::tables::{Cell, Column, Conversion, Kind, TABLES, Unit};

/// Definitions. Pound: international yard and pound agreement, 1959 (published). Fahrenheit: freezing and boiling point
/// of water, 32 and 212 °F, and the crossing at −40 (published); 98.6 °F = 37 °C and 104 °F = 40 °C follow.
const POUNDS: [(&str, f64); 4] = [("1", 0.45359237), ("100", 45.359237), ("22.5", 10.205828325), ("0", 0.0)];
const FAHRENHEIT: [(&str, f64); 4] = [("98.6", 37.0), ("104", 40.0), ("77", 25.0), ("113", 45.0)];

#[test]
fn pounds_and_fahrenheit_of_a_visit() {
    let header = "animal,box,started_at,ended_at,milk_lb,milk_f,lf_flow_lb_min,feed_eaten_lb";
    let time = "2026-03-02T05:30:00Z,2026-03-02T05:37:00Z";
    for (written, kilograms) in POUNDS {
        let kept =
            read(&format!("{header}\n1,1,{time},{written},104,1,{written}\n").replace(",100\n", ",\n"));
        assert_eq!(kept.said(), Vec::<String>::new());
        let milk = kept.cell(0, "milk_kg").number().unwrap();
        assert!((milk - kilograms).abs() <= f64::EPSILON * kilograms, "{written} lb read as {milk} kg");
        assert_eq!(kept.cell(0, "lf_flow_kg_min"), &Cell::Number(0.45359237));
    }
    for (written, celsius) in FAHRENHEIT {
        let kept = read(&format!("{header}\n1,1,{time},20,{written},1,\n"));
        let read_as = kept.cell(0, "milk_c").number().unwrap();
        assert!((read_as - celsius).abs() < 1e-12, "{written} °F read as {read_as} °C");
        assert_eq!(kept.cell(0, "feed_eaten_kg"), &Cell::Missing);
    }
    // Exact where the definition is: no rounding at the fixed points.
    assert_eq!(Conversion::Fahrenheit.apply(212.0), 100.0);
    assert_eq!(Conversion::Fahrenheit.apply(32.0), 0.0);
    assert_eq!(Conversion::Fahrenheit.apply(-40.0), -40.0);
    assert_eq!(Conversion::Pounds.apply(1.0), 0.45359237);
}

#[test]
fn the_range_of_an_imperial_column_is_said_in_both_units() {
    let kept = read("animal,on,milk_lb\n1,2026-03-02,300\n2,2026-03-02,264.5\n");
    assert_eq!(kept.rows.len(), 1);
    assert_eq!(
        said(&kept.issues[0]),
        "line 2, milk_lb \"300\": outside 0 to 120 kg (0.0 to 264.6 lb) → mend it in the file and read the file again"
    );
}

#[test]
fn litres_from_the_tank() {
    let kept = read("collected_at,milk_l\n2026-03-02T05:30:00Z,1000\n");
    assert_eq!(kept.cell(0, "milk_kg"), &Cell::Number(1030.0));
}

/// A value every column takes.
fn some_value(column: &Column) -> String {
    match column.kind {
        Kind::Text => "x".to_owned(),
        Kind::OfficialId => "840003123456789".to_owned(),
        Kind::Time => "2026-03-02T05:30:00Z".to_owned(),
        Kind::Date => "2026-03-02".to_owned(),
        Kind::Number { low, .. } if column.name == "minutes" => low.to_string(),
        Kind::Number { unit: Unit::Own, .. } => "1".to_owned(),
        Kind::Number { low, .. } => low.to_string(),
        Kind::Flag => "0".to_owned(),
        Kind::Words(words) => words[0].to_owned(),
    }
}

#[test]
fn what_is_not_measured_is_missing_in_every_column_of_every_table() {
    for table in TABLES {
        let names: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
        let full: Vec<String> = table.columns.iter().map(some_value).collect();
        let bare: Vec<String> = table
            .columns
            .iter()
            .map(|column| if column.required { some_value(column) } else { " ".to_owned() })
            .collect();
        // Full, bare, full, bare: what one row measured must not stay in the next.
        let text =
            [names.join(","), full.join(","), bare.join(","), full.join(","), bare.join(",")].join("\n");
        let kept = read(&text);
        assert_eq!(kept.said(), Vec::<String>::new(), "{}", table.name);
        assert_eq!(kept.rows.len(), 4);
        for (row, (_, cells)) in kept.rows.iter().enumerate() {
            for (column, cell) in table.columns.iter().zip(cells) {
                let measured = column.required || row % 2 == 0;
                assert_eq!(cell.is_missing(), !measured, "{} of `{}`", column.name, table.name);
            }
        }
        // A column the file does not have is as missing as an empty cell.
        let needed: Vec<usize> = (0..names.len())
            .filter(|&at| table.columns[at].required || table.tells.contains(&names[at]))
            .collect();
        let pick = |of: &[String]| needed.iter().map(|&at| of[at].as_str()).collect::<Vec<_>>().join(",");
        let own: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        let fewer = read(&format!("{}\n{}\n", pick(&own), pick(&bare)));
        assert_eq!(fewer.rows[0].1, kept.rows[1].1, "{}", table.name);
    }
}

#[test]
fn a_required_cell_that_is_empty_refuses_the_row() {
    for table in TABLES {
        let names: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
        for (at, column) in table.columns.iter().enumerate().filter(|(_, column)| column.required) {
            let mut cells: Vec<String> = table.columns.iter().map(some_value).collect();
            cells[at].clear();
            let kept = read(&format!("{}\n{}\n", names.join(","), cells.join(",")));
            assert_eq!(kept.rows.len(), 0);
            assert_eq!(
                said(&kept.issues[0]),
                format!(
                    "line 2, {}: empty, and no row can do without it → fill it in and read the file again",
                    column.name
                )
            );
        }
    }
}
