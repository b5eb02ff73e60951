//! `docs/tables.md`, from the declarations in `cowpath_core::tables`.

use std::fmt::Write as _;

use cowpath_core::tables::{Column, Kind, TABLES, Table, Unit};

/// The whole page.
pub fn page() -> String {
    let mut text = String::from(OPENING);
    for table in TABLES {
        write_table(&mut text, table);
    }
    text
}

const OPENING: &str = "# Tables

Written by `cargo xtask tables` from `crates/core/src/tables`; change them there.

Plain tables with a header line, comma-separated, plain or as `.gz` or `.zst`. A file is known by its header, not by its
name: it is the table whose *told by* columns all stand in it. Columns may come in any order, and a column that is not
needed may be left out. An empty cell means *not measured*; it is never read as zero. A column in kg, kg/min or °C may
come in lb, lb/min or °F under the name given beside it. A row is the same row when its *key* is the same: the later one
then replaces the earlier. A figure outside its range puts the row in quarantine; nothing of it is lost.

Times are RFC 3339 with an offset (`2026-03-02T05:30:00-05:00`) or wall time of the farm's zone. Days are `2026-03-02`.
Flags are `1` or `0`.
";

fn write_table(text: &mut String, table: &Table) {
    let _ = write!(
        text,
        "\n## {}\n\nA row is {}. Told by: {}. Key: {}.\n\n",
        table.name,
        table.row_is,
        names(table.tells),
        names(table.key)
    );
    text.push_str(
        "| column | needed | unit or form | range | also as | meaning |\n|---|---|---|---|---|---|\n",
    );
    for column in table.columns {
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} | {} | {} |",
            column.name,
            if column.required { "yes" } else { "" },
            form(column),
            range(column),
            also(table, column),
            column.means
        );
    }
}

fn names(columns: &[&str]) -> String {
    columns.iter().map(|column| format!("`{column}`")).collect::<Vec<_>>().join(", ")
}

fn form(column: &Column) -> String {
    match column.kind {
        Kind::Text => "text".into(),
        Kind::OfficialId => "15 digits (ISO 11784)".into(),
        Kind::Time => "time".into(),
        Kind::Date => "day".into(),
        Kind::Flag => "1 or 0".into(),
        Kind::Words(words) => names(words),
        Kind::Number { unit, .. } => match unit {
            Unit::Kilograms => "kg",
            Unit::KilogramsPerMinute => "kg/min",
            Unit::Celsius => "°C",
            Unit::Seconds => "s",
            Unit::Minutes => "min",
            Unit::MilliSiemensPerCm => "mS/cm",
            Unit::PartsPerMillion => "ppm",
            Unit::Percent => "%",
            Unit::ThousandPerMl => "thousand/mL",
            Unit::Centimetres => "cm",
            Unit::McalPerKg => "Mcal/kg dry matter",
            Unit::MoneyPerTonne => "the farm's money a tonne",
            Unit::Own => "count or the sensor's own unit",
        }
        .into(),
    }
}

fn range(column: &Column) -> String {
    match column.kind {
        Kind::Number { low, high, .. } => format!("{low} to {high}"),
        _ => String::new(),
    }
}

fn also(table: &Table, column: &Column) -> String {
    let mut spellings: Vec<String> = column.imperial_name().into_iter().collect();
    let litres = table.spelling("milk_l").and_then(|(place, _)| table.columns.get(place));
    if litres.is_some_and(|own| own.name == column.name) {
        spellings.push("milk_l".into());
    }
    spellings.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}
