//! What holds of every file: no bytes make it panic, sums agree, column order is free, figures are the nearest double.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
mod tries;

use common::{read, reading, try_read};
use cowpath_core::tables::Cell;
use cowpath_import::{Reading, as_table};
use proptest::prelude::*;

const COLUMNS: [&str; 9] = [
    "animal",
    "box",
    "started_at",
    "ended_at",
    "milk_kg",
    "lf_kicked",
    "outcome",
    "milk_c",
    "colour, \"of\" her",
];

/// The columns as a file writes them.
fn header() -> String {
    as_table(&COLUMNS.map(str::to_owned), []).trim_end().to_owned()
}

/// Cells good and bad, plain, quoted and broken.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => prop::sample::select(vec![
            "214", "1", "0", "9.8", "-3", "milked", "2026-03-02T05:30:00Z", "2026-03-02 05:37:00", "",
            "2026-11-01 01:30:00", "2026-11-01 01:10:00", "2026-11-01T01:45:00-04:00", "2026-03-08 02:30", "38.5",
        ]).prop_map(str::to_owned),
        1 => "[0-9.eE+-]{0,6}",
        1 => "\"[a-z,\n\"]{0,5}\"?",
        1 => "[ -~]{0,6}",
    ]
}

fn table_text() -> impl Strategy<Value = String> {
    let row = prop::collection::vec(cell(), 7..11).prop_map(|cells| cells.join(","));
    (prop::collection::vec(row, 0..30), prop::sample::select(vec!["\n", "\r\n"]), any::<bool>()).prop_map(
        |(rows, end, closed)| {
            let mut text = header() + end + &rows.join(end);
            if closed {
                text += end;
            }
            text
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: tries::tries(1000), ..ProptestConfig::default() })]

    /// `try_read` asserts that rows read are rows delivered and rows refused.
    #[test]
    fn any_table_reads_or_refuses_each_row(text in table_text()) {
        let (kept, counts) = try_read(text.as_bytes(), &reading()).unwrap();
        let lines = text.lines().count() as u64;
        prop_assert!(counts.rows_read < lines.max(2));
        // Each line is delivered or refused at most once, and in the file.
        let refused = kept.issues.iter().filter(|issue| issue.raw.is_some()).filter_map(|issue| issue.line);
        let mut seen: Vec<u64> = kept.lines().into_iter().chain(refused).collect();
        seen.sort_unstable();
        prop_assert!(seen.windows(2).all(|pair| pair[0] < pair[1]));
        prop_assert!(seen.iter().all(|&line| 1 < line && line <= lines));
    }

    #[test]
    fn any_bytes_do_not_panic(
        start in prop::sample::select(vec![
            b"".as_slice(), b"animal,from,minutes\n", b"\xFF\xFE", b"\xFE\xFF", b"\x1F\x8B\x08\0\0\0\0\0\0\0",
            b"\x28\xB5\x2F\xFD", b"\xEF\xBB\xBF", b"animal,parity,official_id,born_on\n\"",
        ]),
        bytes in prop::collection::vec(prop_oneof![any::<u8>(), prop::sample::select(b"\n\r,\"0 -:T".to_vec())], 0..400),
    ) {
        let file = [start, &bytes].concat();
        let _ = try_read(&file, &reading());
        let _ = try_read(&file, &Reading { longest_line: 1, most_unpacked_bytes: 10, ..reading() });
    }

    #[test]
    fn any_order_of_columns_reads_the_same(
        (order, rows) in (
            Just((0..COLUMNS.len()).collect::<Vec<_>>()).prop_shuffle(),
            prop::collection::vec(prop::collection::vec(
                prop::sample::select(vec!["214", "1", "0", "9.8", "-3", "milked", "2026-03-02T05:30:00Z",
                    "2026-03-02 05:37:00", "", "2026-11-01 01:30:00", "2026-11-01 01:10:00"]),
                COLUMNS.len()), 1..30),
        )
    ) {
        let written = |order: &[usize]| {
            let line = |cells: &[&str]| order.iter().map(|&at| cells[at]).collect::<Vec<_>>().join(",") + "\n";
            let words = COLUMNS.map(|word| if word.contains(',') { format!("\"{}\"", word.replace('"', "\"\"")) } else { word.to_owned() });
            line(&words.each_ref().map(String::as_str)) + &rows.iter().map(|row| line(row)).collect::<String>()
        };
        let straight = read(&written(&(0..COLUMNS.len()).collect::<Vec<_>>()));
        let shuffled = read(&written(&order));
        prop_assert_eq!(straight.rows, shuffled.rows);
        let lines = |kept: &[cowpath_import::Issue]| kept.iter().map(|issue| issue.line).collect::<Vec<_>>();
        prop_assert_eq!(lines(&straight.issues), lines(&shuffled.issues));
    }

    /// Against the standard library's own reading, which is correctly rounded.
    #[test]
    fn figures_are_the_nearest_double(written in prop_oneof![
        "-?[0-9]{0,9}\\.?[0-9]{0,9}", "[0-9]{1,4}\\.[0-9]{1,3}", "-?[0-9]{14,18}", "0\\.0{0,14}[0-9]{1,4}", "[0-9.]{1,2}e-?[0-9]",
    ]) {
        let kept = read(&format!("animal,at,kind,value\n1,2026-03-02T05:30:00Z,weighed,{written}\n"));
        let expected = written.parse::<f64>().ok().filter(|value| value.abs() <= 1e9);
        match expected {
            Some(expected) => prop_assert_eq!(kept.cell(0, "value"), &Cell::Number(expected)),
            None if written.is_empty() => prop_assert_eq!(kept.cell(0, "value"), &Cell::Missing),
            None => prop_assert_eq!(kept.issues.len(), 1),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: tries::tries(100), ..ProptestConfig::default() })]

    /// A refused row, mended or not, can be read again from its header and its text.
    #[test]
    fn a_refused_row_reads_again_from_its_text(text in table_text()) {
        let kept = read(&text);
        for issue in kept.issues.iter().filter(|issue| issue.raw.is_some()) {
            let again = read(&as_table(&kept.header, issue.raw.as_deref()));
            prop_assert_eq!(again.rows.len() + again.issues.iter().filter(|own| own.raw.is_some()).count(), 1);
        }
    }
}
