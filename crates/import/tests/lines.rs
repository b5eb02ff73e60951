//! Lines that are no proper rows: cut, too long, badly quoted, of the wrong length, blank, damaged.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{GOOD, HEADER, read, reading, said_of, try_read};
use cowpath_core::tables::Cell;
use cowpath_import::{IssueKind, Reading};

#[test]
fn one_row_with_several_faults_is_one_issue() {
    let kept = read(&format!("{HEADER}214,2,yesterday,2026-03-02T05:37:00Z,-3,5.2,38.5,x,0,milked\n"));
    assert_eq!(kept.issues.len(), 1);
    assert_eq!(kept.issues[0].column.as_deref(), Some("started_at"));
    assert_eq!(kept.issues[0].reason, "is not a time; nor can `milk_kg` and `scc_k` of this row be used");
}

#[test]
fn rows_of_too_few_or_too_many_cells() {
    let kept = read(&format!(
        "{HEADER}{GOOD}214,2,2026-03-02T05:30:00Z\n214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,9,8,5.2,38.5,120,0,milked\n{GOOD}"
    ));
    assert_eq!(kept.lines(), [2, 5]);
    assert_eq!(
        kept.said(),
        [
            "line 3: the row has 3 cells, the header 10 → mend it in the file and read the file again",
            "line 4: the row has 11 cells, the header 10 → figures must have points as decimal signs, and text that holds a comma must stand in quotation marks; mend it in the file and read the file again",
        ]
    );
}

#[test]
fn a_file_that_ends_in_the_middle_of_a_row() {
    let kept = read(&format!("{HEADER}{GOOD}214,2,2026-03-02T05:3"));
    assert_eq!(kept.lines(), [2]);
    assert_eq!(
        kept.said(),
        [
            "line 3: the file ends in the middle of this row, in cell 3 of 10 → the rows before it were read; export or copy the file again, whole, and read it again"
        ]
    );
    assert_eq!(kept.issues[0].raw.as_deref(), Some("214,2,2026-03-02T05:3"));
}

#[test]
fn blank_lines_and_padding_are_no_rows() {
    let kept = read(
        &format!("\n{HEADER}\r\n{}{GOOD}  \n,,,,,,,,,\n,,\n{},,\n", GOOD.trim_end(), GOOD.trim_end())
            .replace("milked214", "milked\r\n214"),
    );
    assert_eq!(kept.lines(), [4, 5, 9]);
    assert_eq!(kept.said(), Vec::<String>::new());
}

#[test]
fn nul_bytes_within_a_row() {
    assert_eq!(
        said_of("milk_kg", "9\0.8"),
        "line 3, milk_kg \"9␀.8\": holds NUL bytes: the file was damaged → export it again and read it again"
    );
    assert!(said_of("box", "\0\0").contains("holds NUL bytes"));
}

#[test]
fn a_name_that_is_not_utf8() {
    let mut bytes = format!("{HEADER}{GOOD}").into_bytes();
    bytes.extend_from_slice(
        b"M\xE4rta,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,9.8,5.2,38.5,120,0,milked\n",
    );
    let kept = try_read(&bytes, &reading()).unwrap().0;
    assert_eq!(
        kept.said(),
        ["line 3, animal \"Märta\": is not UTF-8 → save the file as UTF-8 and read it again"]
    );
    assert!(kept.issues[0].raw.as_deref().unwrap().starts_with("Märta,2,"));
}

#[test]
fn a_line_of_ten_megabytes() {
    let long = "9".repeat(10 << 20);
    let kept = read(&format!("{HEADER}{GOOD}{long}\n{GOOD}214,2,{long},x\n{GOOD}{long}"));
    assert_eq!(kept.lines(), [2, 4, 6]);
    assert_eq!(kept.issues.iter().map(|issue| issue.line).collect::<Vec<_>>(), [Some(3), Some(5), Some(7)]);
    assert_eq!(
        kept.said()[0],
        "line 3: the line has 10485760 bytes, more than the 1048576 that a row may have → look at this line in the file: it may have lost its line ends, or the file was damaged; only its beginning is kept"
    );
    assert!(kept.issues.iter().all(|issue| issue.raw.as_ref().unwrap().len() < 300));
    assert!(kept.issues[0].raw.as_ref().unwrap().ends_with("9… (shortened: the line has 10485760 bytes)"));
}

#[test]
fn a_quotation_mark_that_is_never_closed() {
    let bad = GOOD.replacen("214", "\"214", 1);
    for after in [1, 3, 500] {
        let kept = read(&format!("{HEADER}{GOOD}{bad}{}", GOOD.repeat(after)));
        assert_eq!(kept.rows.len(), 1 + after);
        assert_eq!(
            kept.said(),
            [
                "line 3: its quotation marks are not in order: one is opened and not closed, or closed within a cell → close it, or write a quotation mark that belongs to the text twice, within quotation marks; then read the file again"
            ]
        );
        assert_eq!(kept.issues[0].raw.as_deref(), Some(bad.trim_end()));
    }
    // Two slips do not pair up and swallow the rows between them.
    let kept = read(&format!("{HEADER}{bad}{GOOD}{GOOD}{bad}{GOOD}"));
    assert_eq!(kept.lines(), [3, 4, 6]);
    // Nor do two that close: the lines between would make a record of too many cells.
    let closing = GOOD.replacen("milked", "milked\"", 1);
    let kept = read(&format!("{HEADER}{bad}{GOOD}{closing}{GOOD}"));
    assert_eq!(kept.lines(), [3, 5]);
    // With a small limit the mark may not reach over it either.
    let small = Reading { longest_line: 300, ..reading() };
    let kept = try_read(format!("{HEADER}{bad}{}", GOOD.repeat(9)).as_bytes(), &small).unwrap().0;
    assert_eq!(kept.rows.len(), 9);
}

#[test]
fn text_of_several_lines() {
    let kept = read(
        "animal,at,kind,note\r\n214,2026-03-02T05:30:00Z,heat,\"bulling, \"\"all\"\" night\r\nseen by two\"\r\n215,2026-03-02T05:30:00Z,heat,\"\" \r\n",
    );
    assert_eq!(kept.lines(), [2, 4]);
    assert_eq!(kept.cell(0, "note").text(), Some("bulling, \"all\" night\r\nseen by two"));
    assert_eq!(kept.cell(1, "note"), &Cell::Missing);
}

#[test]
fn columns_not_used_are_said_and_do_no_harm() {
    let kept =
        read("animal,from,minutes,Colour of collar,,activity\n214,2026-03-02T05:30:00Z,120,red,\0,55\n");
    assert_eq!(kept.cell(0, "activity"), &Cell::Number(55.0));
    assert!(kept.issues.iter().all(|issue| issue.kind == IssueKind::ColumnNotUsed));
    let todo = "nothing, if you can do without it; else give it the name of a column in `docs/tables.md`";
    assert_eq!(
        kept.said(),
        [
            format!("line 1, Colour of collar: not a column of `movement` → {todo}"),
            format!("line 1: column 5 has no name → {todo}")
        ]
    );
}

#[test]
fn a_column_that_looks_like_one_of_ours_is_asked_about() {
    let meant = |word: &str| {
        let kept = read(&format!("animal,box,started_at,ended_at,{word}\n"));
        kept.issues[0].remedy.clone()
    };
    let if_it_is = |names: &str| format!("if it is {names}, give it that name and read the file again");
    assert_eq!(meant("Milk (kg)"), if_it_is("`milk_kg`"));
    assert_eq!(meant("weight"), if_it_is("`weight_kg` or `weight_lb`"));
    assert_eq!(meant("protien_pct"), if_it_is("`protein_pct`"));
    assert_eq!(meant("LF-ms-cm"), if_it_is("`lf_ms_cm`"));
    let nothing = "nothing, if you can do without it; else give it the name of a column in `docs/tables.md`";
    for word in ["colour", "x", "lf", "(?)", "temperament"] {
        assert_eq!(meant(word), nothing, "{word}");
    }
}
