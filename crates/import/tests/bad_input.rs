//! Rows that cannot be used: each is refused with line, column, value, reason and what to do, and the rest is read.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{HEADER, read, said_of, with};
use cowpath_core::tables::Cell;

#[test]
fn figures_that_are_none() {
    assert_eq!(
        said_of("milk_kg", "\"9,8\""),
        "line 3, milk_kg \"9,8\": has a decimal comma → export the file again with points as decimal signs (9.8), and read it again"
    );
    for written in ["inf", "-inf", "+Infinity", "1e999"] {
        assert_eq!(
            said_of("milk_kg", written),
            format!(
                "line 3, milk_kg \"{written}\": is not a finite figure → leave the cell empty if it was not measured, and read the file again"
            )
        );
    }
    for written in ["NaN", "n/a", "NULL", "-", "#N/A"] {
        assert_eq!(
            said_of("milk_kg", written),
            format!(
                "line 3, milk_kg \"{written}\": is not a figure → leave the cell empty if it was not measured, and read the file again"
            )
        );
    }
    assert_eq!(
        said_of("milk_kg", "9.8 kg"),
        "line 3, milk_kg \"9.8 kg\": has words beside the figure → write the figure alone, as its unit stands in the column's name, and read the file again"
    );
    assert_eq!(
        said_of("scc_k", "\"1,234.5\""),
        "line 3, scc_k \"1,234.5\": is not a figure → write it without separators of thousands and with a point as decimal sign, and read the file again"
    );
    for written in ["9.8.1", "--3", "0x10", ".", "9 8"] {
        assert!(said_of("milk_kg", written).contains("is not a figure"), "{written}");
    }
}

#[test]
fn figures_outside_what_can_be() {
    assert_eq!(
        said_of("milk_kg", "-3"),
        "line 3, milk_kg \"-3\": outside 0 to 60 kg → mend it in the file and read the file again"
    );
    assert_eq!(
        said_of("milk_kg", "97.2"),
        "line 3, milk_kg \"97.2\": outside 0 to 60 kg → mend it in the file and read the file again, or if your figures are pounds name the column milk_lb"
    );
    assert_eq!(
        said_of("milk_kg", "980"),
        "line 3, milk_kg \"980\": outside 0 to 60 kg → mend it in the file and read the file again, or if your figures are grams divide the whole column milk_kg by 1000"
    );
    assert_eq!(
        said_of("milk_c", "101.3"),
        "line 3, milk_c \"101.3\": outside 20 to 45 °C → mend it in the file and read the file again, or if your figures are degrees Fahrenheit name the column milk_f"
    );
    assert_eq!(
        said_of("lf_ms_cm", "5200"),
        "line 3, lf_ms_cm \"5200\": outside 2 to 15 mS/cm → mend it in the file and read the file again, or if your figures are µS/cm divide the whole column lf_ms_cm by 1000"
    );
    assert_eq!(
        said_of("lf_ms_cm", "1.99"),
        "line 3, lf_ms_cm \"1.99\": outside 2 to 15 mS/cm → mend it in the file and read the file again"
    );
    assert_eq!(
        said_of("scc_k", "210000"),
        "line 3, scc_k \"210000\": outside 0 to 99999 thousand/mL → mend it in the file and read the file again, or if your figures are counts a mL divide the whole column scc_k by 1000"
    );
}

#[test]
fn the_ends_of_a_range_belong_to_it() {
    let kept = read(&format!(
        "{HEADER}1,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,60,2,20,0,0,\n1,2,2026-03-02T06:30:00Z,2026-03-02T06:37:00Z,0,15,45,99999,1,\n"
    ));
    assert!(kept.issues.is_empty());
    assert_eq!(kept.cell(0, "milk_kg"), &Cell::Number(60.0));
    assert_eq!(kept.cell(1, "milk_kg"), &Cell::Number(0.0));
}

#[test]
fn words_flags_and_names() {
    assert_eq!(
        said_of("outcome", "done"),
        "line 3, outcome \"done\": is none of `milked`, `incomplete`, `failed`, `turned-away` or `fed` → write the one that it means, and read the file again"
    );
    assert_eq!(
        said_of("lf_kicked", "2"),
        "line 3, lf_kicked \"2\": is neither 1 nor 0 → write 1 for yes and 0 for no, and read the file again"
    );
    assert_eq!(
        said_of("animal", ""),
        "line 3, animal: empty, and no row can do without it → fill it in and read the file again"
    );
    assert_eq!(
        said_of("animal", "21\u{7}4"),
        "line 3, animal \"21␇4\": holds control characters → take them out and read the file again"
    );
    let two_lines = read("animal,parity\n\"21\n4\",2\n215,2\n");
    assert_eq!(
        two_lines.said(),
        ["line 2, animal \"21␊4\": holds control characters → take them out and read the file again"]
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
            "line 3, official_id \"8.40003E+14\": is not 15 digits → a spreadsheet has rounded it: export the file again with this column as text",
            "line 4, official_id \"84000312345678\": is not 15 digits → write the official number without spaces or letters (ISO 11784), and read the file again",
            "line 5, official_id \"US0003123456789\": is not 15 digits → write the official number without spaces or letters (ISO 11784), and read the file again",
        ]
    );
}

#[test]
fn times_that_cannot_be() {
    let not_a_time = "write it as 2026-03-02T05:30:00-05:00, or without the offset in the farm's zone, and read the file again";
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
        "line 3, started_at \"2026-03-02\": has a day but no time → write the time too, as 2026-03-02T05:30, and read the file again"
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
                "line 3, started_at \"{written}\": is no time: there is no such {part} → mend it in the file and read the file again"
            )
        );
    }
    assert_eq!(
        said_of("ended_at", "2026-11-25T12:00:01Z"),
        "line 3, ended_at \"2026-11-25T12:00:01Z\": is in the future → look whether the clock of the box or of this computer is wrong; once that time has come the file can be read again"
    );
}

#[test]
fn clocks_that_were_not_set() {
    for (column, written) in [("started_at", "1970-01-01T00:00:10Z"), ("ended_at", "1899-12-30 00:00:00")] {
        assert_eq!(
            said_of(column, written),
            format!(
                "line 3, {column} \"{written}\": is in 1970 or before: a clock was not set, or a spreadsheet turned an empty cell into a day → write the true time, or leave the cell empty where it may be, and read the file again"
            )
        );
    }
    let kept = read("animal,parity,born_on\n1,1,1899-12-31\n2,1,1971-01-01\n");
    assert_eq!(kept.lines(), [3]);
}

#[test]
fn blanks_around_a_name_do_not_make_another_cow() {
    let kept = read("animal,parity,breed\n\u{a0}214\u{2009} ,1,\u{a0}\n\u{a0},1,x\n");
    assert_eq!(kept.cell(0, "animal").text(), Some("214"));
    assert!(kept.cell(0, "breed").is_missing());
    assert_eq!(
        kept.said(),
        [
            "line 3, animal \"\u{a0}\": empty, and no row can do without it → fill it in and read the file again"
        ]
    );
    let long = "é".repeat(201);
    assert!(
        said_of("animal", &long).ends_with(
            "is longer than the 200 letters of a name → mend it in the file and read the file again"
        )
    );
    assert_eq!(read(&format!("animal,parity\n{},1\n", &long[2..])).rows.len(), 1);
}

#[test]
fn times_of_one_row_must_agree() {
    assert_eq!(
        said_of("ended_at", "2026-03-02T05:29:59Z"),
        "line 3, ended_at \"2026-03-02T05:29:59Z\": she went out before she went in → look whether the two times are swapped, or whether the box's clock was set back during the visit"
    );
}

#[test]
fn milk_is_held_into_the_future() {
    let kept = read(
        "animal,at,kind,until\n214,2026-11-25T06:00:00Z,treated,2026-11-29T06:00:00Z\n214,2026-11-26T06:00:00Z,treated,2026-11-29T06:00:00Z\n",
    );
    assert_eq!(kept.lines(), [2]);
    assert!(kept.said()[0].starts_with("line 3, at \"2026-11-26T06:00:00Z\": is in the future"));
}

#[test]
fn days() {
    let kept = read(
        "animal,on,milk_kg\n1,2026-03-02,30\n2,2026-03-02T00:00:00,30\n3,2026-03-02T03:00:00Z,30\n4,02.03.2026,30\n5,2026-02-30,30\n",
    );
    let day = |row| kept.cell(row, "on").clone();
    let march = |day| Cell::Date(jiff::civil::date(2026, 3, day));
    // 03:00 in UTC is still the evening before in New York.
    assert_eq!([day(0), day(1), day(2)], [march(2), march(2), march(1)]);
    assert_eq!(
        kept.said(),
        [
            "line 5, on \"02.03.2026\": is not a day → write it as 2026-03-02 (year, month, day), and read the file again",
            "line 6, on \"2026-02-30\": is no day: there is no such day → mend it in the file and read the file again",
        ]
    );
}

#[test]
fn names_are_data_whatever_they_hold() {
    let names = [
        "<script>moo()</script>",
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
