//! Can a name in a log steer a spreadsheet, a terminal, a browser or a path?
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{HEADER, Place, csv_rows};

const NAMES: [&str; 12] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "=HYPERLINK(\"http://x.example\",\"y\")",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "../../etc/passwd",
    "..\\..\\boot.ini",
    "C:\\cows\\214",
    "%2e%2e%2f",
    "214'; --",
    "Ærø 🐄",
];

fn herd() -> Place {
    let place = Place::new();
    place.run(["settings", "--zone", "UTC", "--name", "<b>=cmd()</b>"]).done();
    let mut log = csv::Writer::from_writer(Vec::new());
    log.write_record(HEADER.trim().split(',')).unwrap();
    for (cow, name) in NAMES.iter().enumerate() {
        for day in 1..=2 {
            for hour in [4, 12, 20] {
                let at = |minute: usize| format!("2026-03-0{day}T{hour:02}:{:02}:00Z", minute + cow * 4);
                log.write_record([*name, name, &at(0), &at(3), "milked", "9.8"]).unwrap();
            }
        }
    }
    let file = place.file("=names <b>.csv", log.into_inner().unwrap());
    let taken = place.json(["import", file.to_str().unwrap()]);
    assert_eq!(taken["files"][0]["new"], NAMES.len() * 6, "{taken:#}");
    place.whole();
    place
}

#[test]
fn names_stay_names() {
    let place = herd();
    let rows = place.json(["expected"]);
    let mut named: Vec<&str> =
        rows.as_array().unwrap().iter().map(|row| row["animal"].as_str().unwrap()).collect();
    named.sort_unstable();
    named.dedup();
    let mut names = NAMES.to_vec();
    names.sort_unstable();
    assert_eq!(named, names, "JSON holds each name as the log wrote it");
    for name in NAMES {
        // A name that begins with a dash comes after `--`, as on any command line.
        let cow = place.run(["cow", "--format", "json", "--", name]).done();
        assert!(cow.out.contains(&serde_json::to_string(name).unwrap()), "{name}");
        place.run(["cow", "--", name]).done();
    }
    for words in
        [&["round"] as &[&str], &["expected"], &["cow", "../../etc/passwd"], &["settings"], &["check"]]
    {
        let (_, rows) = csv_rows(&place.run(words.iter().chain(&["--format", "csv"])).done().out);
        for cell in rows.iter().flatten() {
            let formula = cell.starts_with(['=', '+', '@', '\t', '\r'])
                || (cell.starts_with('-') && cell.parse::<f64>().is_err());
            assert!(!formula, "{words:?}: a spreadsheet takes `{cell}` for a formula");
        }
    }
    // Nothing was made or read outside the farm's own folder.
    let mut made: Vec<_> =
        std::fs::read_dir(place.dir.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    made.sort();
    assert_eq!(made, ["=names <b>.csv", "farm"]);
}

#[test]
fn control_characters_do_not_reach_the_terminal() {
    let place = Place::new();
    let log = format!("{HEADER}\"\u{1b}[31m214\",2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,milked,9.8\n");
    let file = place.file("\u{1b}]0;x\u{7}.csv", log);
    let said = place.import([file]).done();
    assert!(!said.words().contains(['\u{1b}', '\u{7}']), "{said:?}");
    said.says(&["control characters"]);
    place.whole();
    let said = place.import([place.dir.path().join("\u{1b}[2Jnone.csv")]).refused();
    assert!(!said.words().contains('\u{1b}'), "{said:?}");
}
