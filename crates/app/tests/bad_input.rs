//! What does the program say to files no log should be? Every case of bad input, through the program itself.
//!
//! Each time: exit code 0 or 1, no panic, a message that names file, line, column and value and says what to do, every
//! readable row kept, and a farm that `check` finds whole.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{fmt::Write as _, io::Write as _, path::Path};

use common::{Answer, HEADER, Place, gzip};
use serde_json::Value;

const GOOD: &str = "214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,milked,9.8\n";
const AFTER: &str = "215,2,2026-03-02T06:30:00Z,2026-03-02T06:37:00Z,milked,11.2\n";

/// Reads one file into a new farm in Chicago's time and checks what must hold of every bad input.
fn read(name: &str, bytes: impl AsRef<[u8]>) -> (Place, Value) {
    let place = Place::new();
    place.run(["settings", "--zone", "America/Chicago"]).done();
    let file = place.file(name, bytes);
    let taken = read_again(&place, &file);
    (place, taken)
}

fn read_again(place: &Place, file: &Path) -> Value {
    let answer = place.run(["import", file.to_str().unwrap(), "--format", "json"]);
    let taken: Value = serde_json::from_str(&answer.out).unwrap();
    let counts = &taken["files"][0];
    let count = |name: &str| counts[name].as_u64().unwrap();
    assert_eq!(
        count("read"),
        count("new") + count("same") + count("replaced") + count("quarantined"),
        "{taken:#}"
    );
    assert_eq!(answer.code, i32::from(counts["trouble"].is_string()), "{taken:#}");
    for issue in taken["issues"].as_array().unwrap() {
        assert_eq!(issue["file"], file.to_str().unwrap());
        for told in ["reason", "do"] {
            assert!(!issue[told].as_str().unwrap().is_empty(), "{issue:#}");
        }
    }
    place.whole();
    place.run(["round"]).done();
    place.run(["round", "--format", "csv"]).done();
    taken
}

/// Nothing of the file could be read: exit code 1, and why.
fn unread(name: &str, bytes: impl AsRef<[u8]>, why: &[&str]) -> Place {
    let (place, taken) = read(name, bytes);
    let file = &taken["files"][0];
    let told = format!(
        "{} / {}",
        file["trouble"].as_str().expect("the file was read"),
        file["do"].as_str().unwrap()
    );
    for word in why {
        assert!(told.contains(word), "`{word}` is missing in {told}");
    }
    assert_eq!(file["read"], 0);
    let text = place.import([place.dir.path().join(name)]).refused();
    text.says(&[name, "not read", "Do: "]);
    assert!(place.standing().iter().all(|(_, rows)| rows.is_empty()), "part of an unreadable file was kept");
    place
}

/// One row was refused and all others were kept; gives its issue.
fn one_refused(bytes: impl AsRef<[u8]>, kept: u64, line: u64) -> Value {
    let (place, taken) = read("log.csv", bytes);
    assert_eq!(taken["files"][0]["quarantined"], 1, "{taken:#}");
    assert_eq!(taken["files"][0]["new"], kept, "{taken:#}");
    let issue = taken["issues"].as_array().unwrap().last().unwrap().clone();
    assert_eq!(issue["line"], line, "{taken:#}");
    assert_eq!(place.standing()[0].1.len() as u64, kept);
    let text = place.import([place.dir.path().join("log.csv")]).done();
    text.says(&["log.csv", &format!("line {line}"), "Do: "]);
    issue
}

fn told(issue: &Value, column: &str, value: &str, reason: &str) {
    assert_eq!(issue["column"], column, "{issue:#}");
    assert_eq!(issue["value"], value, "{issue:#}");
    assert!(issue["reason"].as_str().unwrap().contains(reason), "{issue:#}");
}

#[test]
fn empty_and_headers_alone() {
    unread("empty.csv", "", &["empty"]);
    unread("blank.csv", "\n\n  \n", &["empty"]);
    let (_, taken) = read("header.csv", HEADER);
    assert_eq!(taken["files"][0]["table"], "visits");
    assert_eq!(taken["files"][0]["read"], 0);
}

#[test]
fn marks_and_encodings() {
    let text = format!("{HEADER}{GOOD}{}", AFTER.replace("215", "Märta"));
    let mut forms =
        vec![[b"\xEF\xBB\xBF", text.as_bytes()].concat(), text.replace('\n', "\r\n").into_bytes()];
    for little in [true, false] {
        let units = std::iter::once('\u{feff}').chain(text.chars()).map(|letter| letter as u16);
        forms.push(
            units.flat_map(|unit| if little { unit.to_le_bytes() } else { unit.to_be_bytes() }).collect(),
        );
    }
    forms.push(gzip(text.as_bytes()));
    forms.push(zstd::encode_all(text.as_bytes(), 3).unwrap());
    let plain = read("log.csv", &text).0.standing();
    for (form, bytes) in forms.into_iter().enumerate() {
        let (place, taken) = read("log.csv", bytes);
        assert_eq!(
            (&taken["files"][0]["new"], &taken["issues"]),
            (&2.into(), &Value::Array(vec![])),
            "form {form}"
        );
        assert_eq!(place.standing(), plain, "form {form}");
    }
    let latin = [
        HEADER.as_bytes(),
        GOOD.as_bytes(),
        b"M\xE4rta,2,2026-03-02T06:30:00Z,2026-03-02T06:37:00Z,milked,9\n",
    ];
    let issue = one_refused(latin.concat(), 1, 3);
    assert!(issue["reason"].as_str().unwrap().contains("UTF-8"));
}

#[test]
fn nul_bytes_and_other_peoples_files() {
    told(
        &one_refused(format!("{HEADER}{GOOD}{}{AFTER}", GOOD.replace("9.8", "9\0.8")), 2, 3),
        "milk_kg",
        "9␀.8",
        "NUL",
    );
    unread("zeros.csv", vec![0; 5000], &["NUL", "export it again"]);
    unread("sheet.csv", b"PK\x03\x04 and so on", &["spreadsheet", "save the sheet as CSV"]);
    unread(
        "noise.csv",
        (0_u32..9000).map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8).collect::<Vec<_>>(),
        &[],
    );
}

#[test]
fn a_line_of_ten_megabytes() {
    let long = "9".repeat(10 << 20);
    let issue = one_refused(format!("{HEADER}{GOOD}214,2,{long}\n{AFTER}"), 2, 3);
    assert!(issue["reason"].as_str().unwrap().contains("bytes"));
    unread("header.csv", &long, &["first line"]);
}

#[test]
fn headers_that_do_not_fit() {
    unread(
        "twice.csv",
        format!("{},milk_kg\n{},1\n", HEADER.trim(), GOOD.trim()),
        &["milk_kg", "take one of the two"],
    );
    unread("both.csv", format!("{},milk_lb\n{},1\n", HEADER.trim(), GOOD.trim()), &["milk_lb", "milk_kg"]);
    let lacks = format!("{HEADER}{GOOD}").replace("ended_at", "out");
    unread("lacks.csv", lacks, &["ended_at", "visits"]);
    unread("other.csv", "a,b,c\n1,2,3\n", &["first line", "docs/tables.md"]);
    let semicolons = format!("{HEADER}{GOOD}").replace(',', ";").replace("9.8", "9,8");
    unread("semicolons.csv", semicolons, &["semicolons", "visits"]);
    unread("tabs.csv", format!("{HEADER}{GOOD}").replace(',', "\t"), &["tab", "visits"]);
    let (place, taken) = read("more.csv", format!("{},mood\n{},good\n", HEADER.trim(), GOOD.trim()));
    assert_eq!(taken["files"][0]["new"], 1);
    assert_eq!(taken["issues"][0]["column"], "mood");
    place.run(["check"]).done();
}

#[test]
fn figures_that_are_none() {
    for (value, reason) in [
        ("\"9,8\"", "decimal comma"),
        ("NaN", "not a figure"),
        ("inf", "finite"),
        ("-inf", "finite"),
        ("1e999", "finite"),
        ("-3", "outside 0 to 60 kg"),
        ("97.2", "outside 0 to 60 kg"),
        ("much", "not a figure"),
    ] {
        let issue = one_refused(format!("{HEADER}{}{GOOD}{AFTER}", GOOD.replace("9.8", value)), 2, 2);
        told(&issue, "milk_kg", value.trim_matches('"'), reason);
    }
    // Commas without quotation marks make a cell too many.
    let issue = one_refused(format!("{HEADER}{}{GOOD}", GOOD.replace("9.8", "9,8")), 1, 2);
    assert!(issue["do"].as_str().unwrap().contains("decimal signs"));
}

#[test]
fn wall_times_that_do_not_exist_or_exist_twice() {
    // In Chicago 2026-03-08 02:30 does not exist and 2025-11-02 01:30 exists twice (IANA zone database); the first is of
    // the future here, so another spring is used: 2025-03-09.
    let at = |start: &str, end: &str| format!("214,2,{start},{end},milked,9.8\n");
    let none = at("2025-03-09T02:30:00", "2025-03-09T02:37:00");
    told(
        &one_refused(format!("{HEADER}{GOOD}{none}"), 1, 3),
        "started_at",
        "2025-03-09T02:30:00",
        "never was",
    );
    let twice = at("2025-11-02T01:30:00", "2025-11-02T01:37:00");
    told(
        &one_refused(format!("{HEADER}{GOOD}{twice}"), 1, 3),
        "started_at",
        "2025-11-02T01:30:00",
        "came twice",
    );
    let with_offset = at("2025-11-02T01:30:00-06:00", "2025-11-02T01:37:00-06:00");
    assert_eq!(read("offset.csv", format!("{HEADER}{with_offset}")).1["files"][0]["new"], 1);
}

#[test]
fn future_times_and_times_the_wrong_way_round() {
    let future = GOOD.replace("2026-03-02", "2026-03-04");
    told(
        &one_refused(format!("{HEADER}{GOOD}{future}"), 1, 3),
        "started_at",
        "2026-03-04T05:30:00Z",
        "future",
    );
    let back = GOOD.replace("05:37", "05:29");
    told(
        &one_refused(format!("{HEADER}{AFTER}{back}"), 1, 3),
        "ended_at",
        "2026-03-02T05:29:00Z",
        "before she went in",
    );
}

#[test]
fn cut_short_and_swollen() {
    let mut log = HEADER.to_owned();
    for row in 0..20_000 {
        let minute = row * 11 % 60;
        let hour = row / 6 % 24;
        writeln!(
            log,
            "{},{},2026-01-{:02}T{hour:02}:{minute:02}:00Z,2026-01-{:02}T{hour:02}:{minute:02}:30Z,milked,{}.{}",
            row % 997,
            row % 3,
            row / 720 + 1,
            row / 720 + 1,
            row * 7919 % 20,
            row * 104_729 % 10
        )
        .unwrap();
    }
    let (gz, zst) = (gzip(log.as_bytes()), zstd::encode_all(log.as_bytes(), 3).unwrap());
    for (name, packed) in [("log.csv.gz", &gz), ("log.csv.zst", &zst)] {
        for part in [packed.len() / 2, packed.len() - 3, 12] {
            unread(name, &packed[..part], &["cut short", "nothing of it was kept"]);
        }
        let mut damaged = packed.clone();
        let middle = damaged.len() / 2;
        for byte in &mut damaged[middle..middle + 40] {
            *byte ^= 0x55;
        }
        unread(name, &damaged, &["nothing of it was kept"]);
    }
    // What a file holds is told by its content and not by its name.
    assert!(read("log.csv", &gz).1["files"][0]["new"].as_u64().unwrap() > 0);
}

/// Three gigabytes of one row again and again, in a file of some megabytes or less.
#[test]
fn a_small_file_that_unpacks_to_gigabytes() {
    let block = format!("{HEADER}{}", GOOD.repeat(170_000));
    let row_blocks = GOOD.repeat(170_000);
    let members = 300;
    let mut zst = zstd::encode_all(block.as_bytes(), 3).unwrap();
    let more_zst = zstd::encode_all(row_blocks.as_bytes(), 3).unwrap();
    for _ in 0..members {
        zst.extend_from_slice(&more_zst);
    }
    assert!(3_000_000_000 < members * row_blocks.len());
    // gzip packs rows some 230 times and is read; zstd packs them thousands of times, as no log is packed.
    unread("swells.csv.zst", &zst, &["unpack", "nothing of it was kept"]);
    let mut blank = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    blank.write_all(&vec![b'\n'; 100 << 20]).unwrap();
    let blank = [gzip(format!("{HEADER}{GOOD}").as_bytes()), blank.finish().unwrap().repeat(30)].concat();
    unread("blank.csv.gz", &blank, &["unpack", "nothing of it was kept"]);
    if cfg!(target_os = "linux") {
        let place = Place::new();
        assert_eq!(within(&place, &place.file("swells.csv.zst", &zst)).code, 1);
        // One line of 400 MB of spaces: refused as a row, and not held.
        let spaces = gzip(&vec![b' '; 100 << 20]);
        let line = [gzip(format!("{HEADER}{GOOD}").as_bytes()), spaces.repeat(4), gzip(b"\n")].concat();
        let said = within(&place, &place.file("line.csv.gz", line)).done();
        said.says(&["1 new", "1 quarantined", "line 3"]);
        place.whole();
    }
}

/// Runs an import that is given 300 MB of data and no more.
fn within(place: &Place, file: &Path) -> Answer {
    let mut command = std::process::Command::new("sh");
    command.args(["-c", "ulimit -d 307200; exec \"$@\"", "sh"]);
    let program = place.command(["import", file.to_str().unwrap()]);
    command.arg(program.get_program()).args(program.get_args());
    common::answer(&mut command)
}

#[test]
fn a_file_that_ends_in_the_middle_of_a_row() {
    let issue = one_refused(format!("{HEADER}{GOOD}215,2,2026-03-02T06:3"), 1, 3);
    assert!(issue["reason"].as_str().unwrap().contains("ends in the middle"));
    // Without its last line end, but whole.
    assert_eq!(read("log.csv", format!("{HEADER}{GOOD}{}", AFTER.trim_end())).1["files"][0]["new"], 2);
}

#[test]
fn a_cow_cannot_be_in_two_places() {
    let early = "214,1,2026-03-02T05:25:00Z,2026-03-02T05:31:00Z,milked,8.0\n";
    // Another box at the same time, and the same box overlapping: of two the one with the earlier start stays.
    for first in [early.to_owned(), early.replace("214,1", "214,2")] {
        for rows in [format!("{first}{GOOD}"), format!("{GOOD}{first}")] {
            let line = if rows.starts_with(&first) { 3 } else { 2 };
            let issue = one_refused(format!("{HEADER}{rows}"), 1, line);
            // 05:30 in Greenwich, as the farm's clock in Chicago shows it.
            told(&issue, "started_at", "2026-03-01T23:30:00-06:00", "by a visit that began earlier");
        }
    }
    // What was set aside stands when what it overlapped is mended.
    let place = Place::new();
    let both = place.file("both.csv", format!("{HEADER}{early}{GOOD}"));
    read_again(&place, &both);
    let mended = place.file("mended.csv", format!("{HEADER}{}", early.replace("05:31", "05:29")));
    assert_eq!(read_again(&place, &mended)["files"][0]["replaced"], 1);
    assert_eq!(place.standing()[0].1.len(), 2);
    assert_eq!(read_again(&place, &both)["files"][0]["replaced"], 1);
    assert_eq!(place.standing()[0].1.len(), 1);
}

#[test]
fn one_bad_file_among_good_ones() {
    let place = Place::new();
    let first = place.file("1.csv", format!("{HEADER}{GOOD}"));
    let bad = place.file("2.csv", "nothing,of,ours\n");
    let last = place.file("3.csv", format!("{HEADER}{AFTER}"));
    let missing = place.dir.path().join("none.csv");
    place.import([first, bad, missing, last]).refused().says(&[
        "2.csv: not read",
        "none.csv: not read",
        "3.csv: visits",
    ]);
    assert_eq!(place.standing()[0].1.len(), 2);
    place.whole();
}
