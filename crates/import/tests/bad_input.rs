//! Rows that cannot be used: each is refused with line, column, value, reason and what to do, and the rest is read.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Kept, read, reading, try_read};
use cowpath_core::tables::Cell;
use cowpath_import::{IssueKind, Reading};

const HEADER: &str = "animal,box,started_at,ended_at,milk_kg,lf_ms_cm,milk_c,scc_k,lf_kicked,outcome\n";
const GOOD: &str = "214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,9.8,5.2,38.5,120,0,milked\n";

/// A visit with one cell replaced, between two good rows: the good ones must come through.
fn with(column: &str, value: &str) -> Kept {
    let at = HEADER.trim().split(',').position(|word| word == column).unwrap();
    let mut cells: Vec<&str> = GOOD.trim().split(',').collect();
    cells[at] = value;
    let kept = read(&format!("{HEADER}{GOOD}{}\n{GOOD}", cells.join(",")));
    assert_eq!(kept.lines(), [2, 4]);
    assert_eq!(kept.issues.len(), 1);
    assert_eq!(kept.issues[0].kind, IssueKind::RowRefused);
    assert_eq!(kept.issues[0].raw.as_deref(), Some(cells.join(",").as_str()));
    kept
}

fn said_of(column: &str, value: &str) -> String {
    with(column, value).said().remove(0)
}

#[test]
fn figures_that_are_none() {
    assert_eq!(
        said_of("milk_kg", "\"9,8\""),
        "line 3, milk_kg \"9,8\": has a decimal comma → export it again with points as decimal signs (9.8), or use a \
         column map that says the file has commas"
    );
    for written in ["inf", "-inf", "+Infinity", "1e999"] {
        assert_eq!(
            said_of("milk_kg", written),
            format!(
                "line 3, milk_kg \"{written}\": is not a finite figure → leave the cell empty if it was not measured, \
                 or mend it on the Records page"
            )
        );
    }
    for written in ["NaN", "n/a", "NULL", "-", "#N/A"] {
        assert_eq!(
            said_of("milk_kg", written),
            format!(
                "line 3, milk_kg \"{written}\": is not a figure → leave the cell empty if it was not measured, or mend \
                 it on the Records page"
            )
        );
    }
    assert_eq!(
        said_of("milk_kg", "9.8 kg"),
        "line 3, milk_kg \"9.8 kg\": has words beside the figure → write the figure alone; its unit stands in the \
         column's name; or mend it on the Records page"
    );
    assert_eq!(
        said_of("scc_k", "\"1,234.5\""),
        "line 3, scc_k \"1,234.5\": is not a figure → write it without separators of thousands and with a point as \
         decimal sign"
    );
    for written in ["9.8.1", "--3", "0x10", ".", "9 8"] {
        assert!(said_of("milk_kg", written).contains("is not a figure"), "{written}");
    }
}

#[test]
fn figures_outside_what_can_be() {
    assert_eq!(
        said_of("milk_kg", "-3"),
        "line 3, milk_kg \"-3\": outside 0 to 60 kg → mend it on the Records page"
    );
    assert_eq!(
        said_of("milk_kg", "97.2"),
        "line 3, milk_kg \"97.2\": outside 0 to 60 kg → mend it on the Records page, or if your figures are pounds \
         name the column milk_lb and read the file again"
    );
    assert_eq!(
        said_of("milk_kg", "980"),
        "line 3, milk_kg \"980\": outside 0 to 60 kg → mend it on the Records page, or if your figures are grams \
         divide the column milk_kg by 1000 and read the file again"
    );
    assert_eq!(
        said_of("milk_c", "101.3"),
        "line 3, milk_c \"101.3\": outside 20 to 45 °C → mend it on the Records page, or if your figures are degrees \
         Fahrenheit name the column milk_f and read the file again"
    );
    assert_eq!(
        said_of("lf_ms_cm", "5200"),
        "line 3, lf_ms_cm \"5200\": outside 2 to 15 mS/cm → mend it on the Records page, or if your figures are \
         µS/cm divide the column lf_ms_cm by 1000 and read the file again"
    );
    assert_eq!(
        said_of("lf_ms_cm", "1.99"),
        "line 3, lf_ms_cm \"1.99\": outside 2 to 15 mS/cm → mend it on the Records page"
    );
    assert_eq!(
        said_of("scc_k", "210000"),
        "line 3, scc_k \"210000\": outside 0 to 99999 thousand/mL → mend it on the Records page, or if your figures \
         are counts a mL divide the column scc_k by 1000 and read the file again"
    );
}

#[test]
fn the_ends_of_a_range_belong_to_it() {
    let kept = read(&format!(
        "{HEADER}1,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,60,2,20,0,0,\n\
         1,2,2026-03-02T06:30:00Z,2026-03-02T06:37:00Z,0,15,45,99999,1,\n"
    ));
    assert!(kept.issues.is_empty());
    assert_eq!(kept.cell(0, "milk_kg"), &Cell::Number(60.0));
    assert_eq!(kept.cell(1, "milk_kg"), &Cell::Number(0.0));
}

#[test]
fn words_flags_and_names() {
    assert_eq!(
        said_of("outcome", "done"),
        "line 3, outcome \"done\": is none of `milked`, `incomplete`, `failed`, `turned-away` or `fed` → mend it on \
         the Records page, or use a column map that says which of these words it means"
    );
    assert_eq!(
        said_of("lf_kicked", "2"),
        "line 3, lf_kicked \"2\": is neither 1 nor 0 → write 1 for yes, 0 for no, or mend it on the Records page"
    );
    assert_eq!(
        said_of("animal", ""),
        "line 3, animal: empty, and no row can do without it → fill it in: mend it on the Records page"
    );
    assert_eq!(
        said_of("animal", "21\u{7}4"),
        "line 3, animal \"21␇4\": holds control characters → take them out, or mend it on the Records page"
    );
    let two_lines = read("animal,parity\n\"21\n4\",2\n215,2\n");
    assert_eq!(
        two_lines.said(),
        ["line 2, animal \"21␊4\": holds control characters → take them out, or mend it on the Records page"]
    );
    assert_eq!(two_lines.lines(), [4]);
    let names = read("animal,parity\n840003123456789,2\n");
    assert_eq!(names.cell(0, "animal").text(), Some("840003123456789"));
}

#[test]
fn an_official_number_has_fifteen_digits() {
    let kept = read(
        "animal,parity,official_id\n1,1,840003123456789\n2,1,8.40003E+14\n3,1,84000312345678\n4,1,US0003123456789\n",
    );
    assert_eq!(kept.lines(), [2]);
    assert_eq!(kept.cell(0, "official_id").text(), Some("840003123456789"));
    assert_eq!(
        kept.said(),
        [
            "line 3, official_id \"8.40003E+14\": is not 15 digits → the spreadsheet has rounded it: export it again \
             with this column as text",
            "line 4, official_id \"84000312345678\": is not 15 digits → write the official number without spaces or \
             letters (ISO 11784), or mend it on the Records page",
            "line 5, official_id \"US0003123456789\": is not 15 digits → write the official number without spaces or \
             letters (ISO 11784), or mend it on the Records page",
        ]
    );
}

#[test]
fn times_that_cannot_be() {
    let not_a_time = "write it as 2026-03-02T05:30:00-05:00, or without the offset in the farm's zone; other forms can \
                      be read with a column map";
    for written in
        ["02.03.2026 05:30", "3/2/2026 5:30 AM", "1772433000", "2026-03-02T5:30", "2026-03-02T05:30:00 EST"]
    {
        assert_eq!(
            said_of("started_at", written),
            format!("line 3, started_at \"{written}\": is not a time → {not_a_time}")
        );
    }
    assert_eq!(
        said_of("started_at", "2026-03-02"),
        "line 3, started_at \"2026-03-02\": has a day but no time → write the time too, as 2026-03-02T05:30: mend it \
         on the Records page"
    );
    for (written, part) in [
        ("2026-02-29T05:30:00Z", "day"),
        ("2026-13-02T05:30:00Z", "month"),
        ("2026-03-02T24:00:00Z", "hour"),
        ("2026-03-02T05:60:00Z", "minute"),
        ("2026-03-02T05:30:61Z", "second"),
        ("2026-03-02T05:30:00+25:00", "offset"),
    ] {
        assert_eq!(
            said_of("started_at", written),
            format!(
                "line 3, started_at \"{written}\": is no time: there is no such {part} → mend it on the Records page"
            )
        );
    }
    assert_eq!(
        said_of("ended_at", "2026-11-25T12:00:01Z"),
        "line 3, ended_at \"2026-11-25T12:00:01Z\": is in the future → look whether the clock of box or computer is \
         wrong; the row can be taken in once that time has come, or be mended"
    );
}

#[test]
fn times_of_one_row_must_agree() {
    assert_eq!(
        said_of("ended_at", "2026-03-02T05:29:59Z"),
        "line 3, ended_at \"2026-03-02T05:29:59Z\": she went out before she went in → look whether the two times are \
         swapped, or whether the box's clock was set back during the visit"
    );
}

#[test]
fn milk_is_held_into_the_future() {
    let kept = read(
        "animal,at,kind,until\n214,2026-11-25T06:00:00Z,treated,2026-11-29T06:00:00Z\n\
         214,2026-11-26T06:00:00Z,treated,2026-11-29T06:00:00Z\n",
    );
    assert_eq!(kept.lines(), [2]);
    assert!(kept.said()[0].starts_with("line 3, at \"2026-11-26T06:00:00Z\": is in the future"));
}

#[test]
fn days() {
    let kept = read(
        "animal,on,milk_kg\n1,2026-03-02,30\n2,2026-03-02T00:00:00,30\n3,2026-03-02T03:00:00Z,30\n4,02.03.2026,30\n\
         5,2026-02-30,30\n",
    );
    let day = |row| kept.cell(row, "on").clone();
    let march = |day| Cell::Date(jiff::civil::date(2026, 3, day));
    // 03:00 in UTC is still the evening before in New York.
    assert_eq!([day(0), day(1), day(2)], [march(2), march(2), march(1)]);
    assert_eq!(
        kept.said(),
        [
            "line 5, on \"02.03.2026\": is not a day → write it as 2026-03-02 (year, month, day); other forms can be \
             read with a column map",
            "line 6, on \"2026-02-30\": is no day: there is no such day → mend it on the Records page",
        ]
    );
}

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
            "line 3: the row has 3 cells, the header 10 → mend it on the Records page",
            "line 4: the row has 11 cells, the header 10 → figures must have points as decimal signs, and text that \
             holds a comma must stand in quotation marks; mend it on the Records page",
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
            "line 3: the file ends in the middle of this row, in cell 3 of 10 → the rows before it were read; export or \
          copy the file again, whole, and read it again"
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
        "line 3, milk_kg \"9␀.8\": holds NUL bytes: the file was damaged → export it again, or mend it on the Records \
         page"
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
        "line 3: the line has 10485760 bytes, more than the 1048576 that a row may have → look at this line in the \
         file: it may have lost its line ends, or the file was damaged; only its beginning is kept"
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
                "line 3: its quotation marks are not in order: one is opened and not closed, or closed within a cell → \
              close it, or write a quotation mark that belongs to the text twice, within quotation marks; mend it on \
              the Records page"
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
        "animal,at,kind,note\r\n214,2026-03-02T05:30:00Z,heat,\"bulling, \"\"all\"\" night\r\nseen by two\"\r\n\
         215,2026-03-02T05:30:00Z,heat,\"\" \r\n",
    );
    assert_eq!(kept.lines(), [2, 4]);
    assert_eq!(kept.cell(0, "note").text(), Some("bulling, \"all\" night\r\nseen by two"));
    assert_eq!(kept.cell(1, "note"), &Cell::Missing);
}

#[test]
fn names_are_data_whatever_they_hold() {
    let names = [
        "<script>alert(1)</script>",
        "=HYPERLINK(1)",
        "@SUM(A1)",
        "../../etc/passwd",
        "C:\\cows\\214",
        "O'Hara; DROP",
        "{{7*7}}",
        "Märta 🐄",
        "0214",
        "5\" tag",
    ];
    for name in names {
        let kept = read(&format!("animal,from,minutes\n{name},2026-03-02T05:30:00Z,120\n"));
        assert_eq!(kept.said(), Vec::<String>::new());
        assert_eq!(kept.cell(0, "animal").text(), Some(name));
    }
}

#[test]
fn a_long_value_is_shown_short_and_kept_whole() {
    let long = "x".repeat(5000);
    let kept = with("milk_kg", &long);
    let value = kept.issues[0].value.as_deref().unwrap();
    assert_eq!(value.chars().count(), 80);
    assert!(value.ends_with("x…"));
}

#[test]
fn columns_not_used_are_said_and_do_no_harm() {
    let kept =
        read("animal,from,minutes,Colour of collar,,activity\n214,2026-03-02T05:30:00Z,120,red,\0,55\n");
    assert_eq!(kept.cell(0, "activity"), &Cell::Number(55.0));
    assert!(kept.issues.iter().all(|issue| issue.kind == IssueKind::ColumnNotUsed));
    let todo = "nothing, if you can do without it; else rename it, or say in a column map what it is";
    assert_eq!(
        kept.said(),
        [
            format!("line 1, Colour of collar: not a column of `movement` → {todo}"),
            format!("line 1: column 5 has no name → {todo}")
        ]
    );
}
