//! Files read with a column map: the same rows as a plain table of the same content, and each fault named in the file's own
//! words.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::sync::Arc;

use common::{Kept, read, reading, try_read};
use cowpath_core::tables::Cell;
use cowpath_import::{ColumnMap, Reading, fits, read_bytes};

const MAP: &str = r#"version = 1
name = "Herd export"
table = "visits"
separator = ";"
decimal = ","
thousands = "."
order = "day-month-year"
columns = ["Kuh", "Datum", "Beginn", "Ende", "Menge", "Leitwert VL/HL/VR/HR", "Abschlag", "Ergebnis", "Gewicht", "Notiz"]

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
unit = "g"

[[column]]
from = "Leitwert VL/HL/VR/HR"
split = "/"
to = ["lf_ms_cm", "lr_ms_cm", "rf_ms_cm", "rr_ms_cm"]

[[column]]
from = "Abschlag"
to = "lf_kicked"
words = { ja = "1", nein = "0", "-" = "" }

[[column]]
from = "Ergebnis"
to = "outcome"
words = { fertig = "milked", halb = "incomplete" }

[[column]]
from = "Gewicht"
to = "weight_kg"
unit = "lb"
"#;

const FILE: &str = "Melkungen\n\nKuh;Datum;Beginn;Ende;Menge;Leitwert VL/HL/VR/HR;Abschlag;Ergebnis;Gewicht;Notiz\n\
    214;02.03.2026;05:30;05:37:30;9.800;5,2/5,3/5,1/5,4;ja;fertig;1.400,5;\"a;b\"\n\
    215;2.3.26;23:58;0:04;11.250,5;5,2//5,1/5,4;-;Halb;;\n";

fn map(text: &str) -> ColumnMap {
    ColumnMap::from_toml(text).unwrap_or_else(|fault| panic!("{fault}: {}", fault.next))
}

fn with(text: &str) -> Reading {
    Reading { map: Some(Arc::new(map(text))), ..reading() }
}

fn mapped(file: &str) -> Kept {
    try_read(file.as_bytes(), &with(MAP)).unwrap().0
}

/// One row of the file with one cell replaced.
fn said_of(at: usize, cell: &str) -> Vec<String> {
    let row = "214;02.03.2026;05:30;05:37:30;9.800;5,2/5,3/5,1/5,4;ja;fertig;1.400,5;";
    let mut cells: Vec<&str> = row.split(';').collect();
    cells[at] = cell;
    let kept = mapped(&format!("{}{}\n", &FILE[..FILE.find("214").unwrap()], cells.join(";")));
    assert_eq!(kept.rows.len() + kept.issues.len(), 1);
    if let Some(issue) = kept.issues.first() {
        assert_eq!(issue.raw.as_deref(), Some(cells.join(";").as_str()), "the row's own text is kept");
    }
    kept.said()
}

#[test]
fn a_foreign_table_gives_the_rows_of_the_plain_one() {
    let plain = read(
        "animal,box,started_at,ended_at,milk_kg,lf_ms_cm,lr_ms_cm,rf_ms_cm,rr_ms_cm,lf_kicked,outcome,weight_lb\n\
         214,1,2026-03-02 05:30,2026-03-02 05:37:30,9.8,5.2,5.3,5.1,5.4,1,milked,1400.5\n\
         215,1,2026-03-02 23:58,2026-03-03 00:04,11.2505,5.2,,5.1,5.4,,incomplete,\n",
    );
    let foreign = mapped(FILE);
    assert!(foreign.issues.is_empty(), "{:?}", foreign.said());
    let cells = |kept: &Kept| kept.rows.iter().map(|(_, cells)| cells.clone()).collect::<Vec<_>>();
    assert_eq!(cells(&foreign), cells(&plain));
    assert_eq!(foreign.lines(), [4, 5], "lines are the file's own");
}

#[test]
fn faults_name_the_files_own_column_and_cell() {
    assert_eq!(said_of(0, "214"), Vec::<String>::new());
    assert_eq!(
        said_of(4, "9.8"),
        [
            "line 4, Menge \"9.8\": is not a figure of the form that the map names → look at `decimal` and `thousands` in the map, or mend it in the file; then read the file again"
        ]
    );
    assert_eq!(
        said_of(4, "99.000"),
        [
            "line 4, Menge \"99.000\": outside 0 to 60 kg (0 to 60000 as the file writes it) → mend it in the file and read the file again"
        ]
    );
    assert!(
        said_of(5, "5,2/5,3/5,1")[0].contains("holds 3 values between \"/\", not 4"),
        "{:?}",
        said_of(5, "5,2/5,3/5,1")
    );
    assert!(said_of(6, "vielleicht")[0].contains("add this word to the `words`"));
    assert!(said_of(1, "31.02.2026")[0].contains("there is no such day"));
    assert!(said_of(1, "2/30/2026")[0].contains("Datum \"2/30/2026\": is not a time"));
    assert!(said_of(9, "a;b")[0].contains("text that holds a semicolon must stand in quotation marks"));
}

#[test]
fn a_map_whose_columns_are_gone_reads_nothing() {
    let file = FILE.replace("Menge", "Milch").replace(";Gewicht", ";Masse");
    let why = try_read(file.as_bytes(), &with(MAP)).err().unwrap();
    assert!(
        why.to_string().contains("reads columns that the file does not have: \"Menge\", \"Gewicht\""),
        "{why}"
    );
    assert!(why.remedy().contains("cowpath map FILE"));
}

#[test]
fn a_column_the_map_does_not_know_is_said_and_read_without() {
    let kept = mapped(
        &FILE
            .replace(";Notiz", ";Notiz;Farbe")
            .replace("\"a;b\"", "\"a;b\";rot")
            .replace("Halb;;", "Halb;;;"),
    );
    assert_eq!(kept.rows.len(), 2, "{:?}", kept.said());
    assert!(kept.said()[0].contains("Farbe: the map does not know this column"));
}

#[test]
fn separators_encodings_and_lengths_of_time() {
    let text = "version = 1\ntable = \"visits\"\nseparator = \"tab\"\nencoding = \"windows-1252\"\norder = \"month-day-year\"\n\
        [[column]]\nfrom = \"Nº\"\nto = \"animal\"\n[[column]]\nfrom = \"Box\"\nto = \"box\"\n\
        [[column]]\nfrom = \"In\"\nto = \"started_at\"\n[[column]]\nfrom = \"Stay\"\nto = \"ended_at\"\nafter = \"started_at\"\nunit = \"min:s\"\n";
    let file = b"N\xBA\tBox\tIn\tStay\n12\t1\t3/8/2026 1:55 AM\t6:32\n13\t1\t3/8/2026 1:05 pm\t75:00\n14\t1\t3/8/2026 1:05 pm\tlong\n";
    let (kept, _) = try_read(file, &with(text)).unwrap();
    assert_eq!(kept.time(0, "started_at"), "2026-03-08T06:55:00Z");
    // Over the hour that the clock skips, a length of time stays what it is.
    assert_eq!(kept.time(0, "ended_at"), "2026-03-08T07:01:32Z");
    assert_eq!(kept.time(1, "ended_at"), "2026-03-08T18:20:00Z");
    assert!(
        kept.said()[0].contains("Stay \"long\": is not a length of time from 0 to 24 hours"),
        "{:?}",
        kept.said()
    );
}

#[test]
fn wall_times_of_a_map_with_a_zone_of_its_own() {
    let text = "version = 1\ntable = \"movement\"\nzone = \"Europe/Berlin\"\n[[column]]\nfrom = \"cow\"\nto = \"animal\"\n\
        [[column]]\nfrom = \"t\"\nto = \"from\"\n[[column]]\nvalue = \"120\"\nto = \"minutes\"\n";
    let (kept, _) = try_read(b"cow,t\n1,2026-03-02 05:30\n1,2026-03-02T05:30Z\n", &with(text)).unwrap();
    assert_eq!(kept.time(0, "from"), "2026-03-02T04:30:00Z");
    assert_eq!(kept.time(1, "from"), "2026-03-02T05:30:00Z");
}

#[test]
fn counts_since_a_zero_and_days_alone() {
    let text = |order: &str| {
        format!(
            "version = 1\ntable = \"events\"\norder = \"{order}\"\n[[column]]\nfrom = \"c\"\nto = \"animal\"\n\
             [[column]]\nfrom = \"t\"\nto = \"at\"\nclock = \"12:00\"\n[[column]]\nvalue = \"heat\"\nto = \"kind\"\n"
        )
    };
    let at = |order: &str, cell: &str| {
        let file = format!("c,t\n1,{cell}\n");
        try_read(file.as_bytes(), &with(&text(order))).unwrap().0.time(0, "at")
    };
    // 2026-03-02 is day 46083 of a spreadsheet.
    assert_eq!(at("spreadsheet-days", "46083.5"), "2026-03-02T17:00:00Z");
    assert_eq!(at("unix-seconds", "1772470800"), "2026-03-02T17:00:00Z");
    assert_eq!(at("day-month-year", "2. März 2026"), "2026-03-02T17:00:00Z");
    assert_eq!(at("day-month-year", "02/Mar/2026 06:00"), "2026-03-02T11:00:00Z");
}

#[test]
fn a_map_is_written_and_read_again_the_same() {
    let own = map(MAP);
    let again = map(&own.to_toml(&std::collections::BTreeMap::from([(0, "sure: because".to_owned())])));
    assert_eq!(own.takes, again.takes);
    assert_eq!(own.essence(), again.essence());
    assert_eq!(own.columns, again.columns);
    assert_ne!(own.essence(), map(&MAP.replace("unit = \"g\"", "unit = \"lb\"")).essence());
    assert_eq!(own.essence(), map(&MAP.replace("Herd export", "Other")).essence(), "a name decides nothing");
}

#[test]
fn faults_of_a_map_name_the_line() {
    let said = |from: &str, to: &str| {
        let fault = ColumnMap::from_toml(&MAP.replacen(from, to, 1)).expect_err("it is wrong");
        format!("{fault} → {}", fault.next)
    };
    let line = |needle: &str| MAP.lines().position(|line| line.contains(needle)).unwrap() + 1;
    assert!(said("to = \"animal\"", "to = \"animals\"").starts_with(&format!(
        "line {} of the map: `animals` is not a column of `visits` → write `animal`",
        line("to = \"animal\"")
    )));
    assert!(
        said("unit = \"g\"", "unit = \"L\"")
            .contains("figures of this column cannot come in `L` → write `kg`, `lb` or `g`")
    );
    assert!(
        said("order = \"day", "order = \"dog").starts_with(&format!("line {} of the map", line("order =")))
    );
    assert!(
        said("value = \"1\"\nto = \"box\"", "value = \"1\"\nto = \"animal\"")
            .contains("`animal` is filled twice")
    );
    assert!(said("from = \"Menge\"", "from = \"Milch\"").contains("`Milch` is not among the `columns`"));
    assert!(said("split = \"/\"\n", "").contains("`split`"));
    assert!(
        said("next_day_of = \"started_at\"", "next_day_of = \"ended_at\"").contains("another time of ours")
    );
    assert!(said("version = 1", "version = 9").contains("version 9"));
    assert!(said("version = 1\n", "").contains("does not begin with the version"));
    assert!(said("decimal = \",\"", "decimal = \",").starts_with("line 5 of the map"));
    assert!(said("table = \"visits\"", "tabel = \"visits\"").contains("line 3 of the map"));
    assert!(
        said("[[column]]\nvalue = \"1\"\nto = \"box\"\n", "")
            .contains("no row of `visits` can do without `box`")
    );
}

#[test]
fn a_saved_map_fits_the_header_it_was_made_for_only() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.csv");
    let fit = |file: &str| {
        std::fs::write(&path, file).unwrap();
        fits(&path, &map(MAP), &reading()).unwrap()
    };
    assert!(fit(FILE));
    assert!(!fit(&FILE.replace("Notiz", "Note")));
    assert!(!fit("animal,box,started_at,ended_at\n"));
    assert!(!fit(""));
}

#[test]
fn a_plain_table_is_not_touched_by_maps() {
    let mut kept = Kept::default();
    read_bytes(b"animal,from,minutes\n1,2026-03-02 05:30,120\n", &reading(), &mut kept).unwrap();
    assert_eq!(kept.rows[0].1[2], Cell::Number(120.0));
}
