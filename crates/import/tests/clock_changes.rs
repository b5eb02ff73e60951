//! Wall times where the clock changes, in three zones, against the instants and offsets of the zone database.
//!
//! Source of the transitions: IANA time zone database, files `northamerica` (rule US since 2007: second Sunday of March
//! and first of November, 2:00 wall time), `europe` (rule EU since 1996: last Sundays of March and October, 1:00 UTC) and
//! `australasia` (rule LH since 2008: first Sundays of April and October, 2:00 wall time, by 30 minutes). Kind: published.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Kept, reading_in, try_read};
use cowpath_import::{IssueKind, Reading};
use jiff::Timestamp;
use jiff::tz::Offset;

struct Change {
    zone: &'static str,
    at: &'static str,
    before_min: i32,
    after_min: i32,
}

const FORWARD: [Change; 3] = [
    Change { zone: "America/New_York", at: "2025-03-09T07:00:00Z", before_min: -300, after_min: -240 },
    Change { zone: "Europe/Copenhagen", at: "2025-03-30T01:00:00Z", before_min: 60, after_min: 120 },
    Change { zone: "Australia/Lord_Howe", at: "2025-10-04T15:30:00Z", before_min: 630, after_min: 660 },
];

const BACK: [Change; 3] = [
    Change { zone: "America/New_York", at: "2025-11-02T06:00:00Z", before_min: -240, after_min: -300 },
    Change { zone: "Europe/Copenhagen", at: "2025-10-26T01:00:00Z", before_min: 120, after_min: 60 },
    Change { zone: "Australia/Lord_Howe", at: "2025-04-05T15:00:00Z", before_min: 660, after_min: 630 },
];

impl Change {
    fn at(&self) -> Timestamp {
        self.at.parse().unwrap()
    }
    fn reading(&self) -> Reading {
        reading_in(self.zone)
    }
    /// The wall time of an instant, by the published offsets alone.
    fn wall(&self, at: Timestamp) -> String {
        let minutes = if at < self.at() { self.before_min } else { self.after_min };
        Offset::from_seconds(60 * minutes).unwrap().to_datetime(at).strftime("%F %T").to_string()
    }
    /// Every minute from three hours before the change to three hours after it.
    fn minutes(&self) -> Vec<Timestamp> {
        let from = self.at().as_second();
        (-180..180).map(|minute| Timestamp::from_second(from + 60 * minute).unwrap()).collect()
    }
    fn read(&self, instants: &[Timestamp]) -> Kept {
        let mut text = String::from("bunk_side,at\n");
        for at in instants {
            text += &format!("north,{}\n", self.wall(*at));
        }
        try_read(text.as_bytes(), &self.reading()).unwrap().0
    }
    /// Whether an instant's wall time comes twice.
    fn is_twice(&self, at: Timestamp) -> bool {
        let shift_s = i64::from(60 * (self.before_min - self.after_min));
        (-shift_s..shift_s).contains(&(at.as_second() - self.at().as_second()))
    }
}

fn instants(kept: &Kept) -> Vec<Timestamp> {
    kept.rows.iter().map(|(_, cells)| cells[1].time().unwrap()).collect()
}

#[test]
fn every_minute_around_each_change_in_order() {
    for change in FORWARD.iter().chain(&BACK) {
        let kept = change.read(&change.minutes());
        assert_eq!(instants(&kept), change.minutes(), "{}", change.zone);
        let is_back = change.after_min < change.before_min;
        assert_eq!(kept.issues.len(), usize::from(is_back), "{:?}", kept.said());
        // Newest first is an order as well.
        let mut backwards = change.minutes();
        backwards.reverse();
        let kept = change.read(&backwards);
        assert_eq!(instants(&kept), backwards, "{}", change.zone);
    }
}

#[test]
fn the_note_says_which_lines_were_read_how() {
    let kept = BACK[0].read(&BACK[0].minutes());
    assert_eq!(kept.issues[0].kind, IssueKind::Note);
    assert_eq!(
        kept.said(),
        [
            "line 122, at: the wall times from line 122 to 241 came twice, as the clock was set back; all rows are in order \
          of time, so those up to line 181 were read as before the change and those from line 182 on as after it → \
          nothing, if that is right; else write these times with their offset and read the file again"
        ]
    );
}

#[test]
fn wall_times_that_never_were() {
    for change in &FORWARD {
        let skipped_min = i64::from(change.after_min - change.before_min);
        let first = Offset::from_seconds(60 * change.before_min).unwrap().to_datetime(change.at());
        let mut text = String::from("bunk_side,at\n");
        for minute in -1..=skipped_min {
            let wall = first + jiff::SignedDuration::from_mins(minute);
            text += &format!("north,{}\n", wall.strftime("%F %R"));
        }
        let kept = try_read(text.as_bytes(), &change.reading()).unwrap().0;
        // Only the minute before and the minute after are times.
        let from = change.at().as_second();
        assert_eq!(instants(&kept), [from - 60, from].map(|second| Timestamp::from_second(second).unwrap()));
        assert_eq!(kept.issues.len() as i64, skipped_min);
        assert!(kept.issues.iter().all(|issue| {
            issue.reason == "never was: the clock was put forward over this wall time"
                && issue.remedy
                    == "look whether the clock of the box had not been changed yet, and write the time with its offset"
        }));
    }
}

#[test]
fn without_order_a_time_that_came_twice_is_refused() {
    for change in &BACK {
        let mut shuffled = change.minutes();
        shuffled.swap(3, 300);
        let kept = change.read(&shuffled);
        let certain: Vec<Timestamp> = shuffled.iter().copied().filter(|at| !change.is_twice(*at)).collect();
        assert_eq!(instants(&kept), certain, "{}", change.zone);
        let shift_min = (change.before_min - change.after_min) as usize;
        assert_eq!(kept.issues.len(), 2 * shift_min);
        assert!(kept.issues.iter().all(|issue| issue.kind == IssueKind::RowRefused));
    }
    let kept = BACK[0].read(&["2025-11-02T05:30:00Z".parse().unwrap()]);
    assert_eq!(
        kept.said(),
        [
            "line 2, at \"2025-11-02 01:30:00\": this wall time came twice, as the clock was set back, and the order of \
          the rows does not say which is meant → write it with its offset: 2025-11-02T01:30:00-04:00 or \
          2025-11-02T01:30:00-05:00"
        ]
    );
}

/// Rows of `pushes` in New York on the morning of 2 November 2025, by their wall times.
fn pushes(walls: &[&str]) -> Kept {
    let rows: String = walls.iter().map(|wall| format!("north,{wall}\n")).collect();
    try_read(format!("bunk_side,at\n{rows}").as_bytes(), &BACK[0].reading()).unwrap().0
}

fn hours(kept: &Kept) -> Vec<String> {
    (0..kept.rows.len()).map(|row| kept.time(row, "at")[11..16].to_owned()).collect()
}

#[test]
fn what_order_decides_and_what_not() {
    let day = |hour: &str| format!("2025-11-02T{hour}");
    let read = |hours: &[&str]| {
        let walls: Vec<String> = hours.iter().map(|hour| day(hour)).collect();
        pushes(&walls.iter().map(String::as_str).collect::<Vec<_>>())
    };
    // Begin and end of the file stand for a row before and after.
    assert_eq!(hours(&read(&["01:40", "01:10"])), ["05:40", "06:10"]);
    // No step: either hour is possible.
    assert_eq!(hours(&read(&["00:50", "01:10", "01:40", "02:10"])), ["04:50", "07:10"]);
    // Two steps: not in order.
    assert_eq!(hours(&read(&["00:50", "01:40", "01:10", "01:40", "01:10", "02:10"])), ["04:50", "07:10"]);
    // The row after, or a row long before, is out of order.
    assert_eq!(hours(&read(&["00:50", "01:40", "01:10", "00:55"])), ["04:50", "04:55"]);
    assert_eq!(hours(&read(&["00:55", "00:50", "01:40", "01:10", "02:10"])), ["04:55", "04:50", "07:10"]);
    // Rows that say their offset are certain, and count.
    assert_eq!(
        hours(&read(&["01:40-04:00", "01:10-05:00", "01:05", "01:20", "02:00"])),
        ["05:40", "06:10", "07:00"]
    );
    // A refused row in between neither helps nor harms.
    assert_eq!(
        hours(&read(&["00:50", "01:40", "25:00", "01:10", "02:10"])),
        ["04:50", "05:40", "06:10", "07:10"]
    );
    // Two autumns in one file are two questions.
    let years = ["2024-11-03T01:40", "2024-11-03T01:10", "2025-11-02T01:40", "2025-11-02T01:10"];
    let kept = pushes(&years);
    assert_eq!(hours(&kept), ["05:40", "06:10", "05:40", "06:10"]);
    let kept = pushes(&years[1..]);
    assert_eq!(kept.lines(), [3, 4]);
}

#[test]
fn too_many_rows_to_hold_are_refused_and_reading_goes_on() {
    let mut text = String::from("bunk_side,at\nnorth,2025-11-02T00:30\n");
    text += &"north,2025-11-02T01:40\n".repeat(70_000);
    text += "north,2025-11-02T01:10\nnorth,2025-11-02T02:10\nnorth,2025-11-02T03:10\n";
    let (kept, counts) = try_read(text.as_bytes(), &BACK[0].reading()).unwrap();
    assert_eq!(hours(&kept), ["04:30", "07:10", "08:10"]);
    assert_eq!(counts.rows_refused, 70_001);
}

#[test]
fn each_box_tells_its_own_hours() {
    // Two boxes, written as cows leave: entries are not in order over the file, but each box's are.
    let mut visits: Vec<(i64, i64, u32)> = Vec::new();
    let from = BACK[0].at().as_second() - 3 * 3600;
    for visit in 0..40 {
        visits.push((from + visit * 600, from + visit * 600 + 540, 1));
        visits.push((from + visit * 610 + 200, from + visit * 610 + 360, 2));
    }
    visits.sort_by_key(|(_, out, _)| *out);
    assert!(!visits.is_sorted_by_key(|(entry, _, _)| *entry));
    let wall = |second: i64| BACK[0].wall(Timestamp::from_second(second).unwrap());
    let mut text = String::from("animal,box,started_at,ended_at\n");
    for (cow, (entry, exit, at_box)) in visits.iter().enumerate() {
        text += &format!("{cow},{at_box},{},{}\n", wall(*entry), wall(*exit));
    }
    let (mut kept, _) = try_read(text.as_bytes(), &BACK[0].reading()).unwrap();
    kept.rows.sort_by_key(|(line, _)| *line);
    let read: Vec<(i64, i64)> = kept
        .rows
        .iter()
        .map(|(_, cells)| (cells[2].time().unwrap().as_second(), cells[3].time().unwrap().as_second()))
        .collect();
    let expected: Vec<(i64, i64)> = visits.iter().map(|(entry, exit, _)| (*entry, *exit)).collect();
    assert_eq!(read, expected);
    let notes: Vec<String> = kept.said().into_iter().filter(|said| said.contains("wall times of ")).collect();
    assert_eq!(notes.len(), 2, "{:?}", kept.said());
    assert!(notes.iter().any(|note| note.contains("the wall times of 1 from line")), "{notes:?}");
}

#[test]
fn each_sensor_tells_its_own_bins() {
    let bins = |rows: &[&str]| {
        let text = format!("animal,from,minutes,activity\n{}\n", rows.join("\n"));
        let kept = try_read(text.as_bytes(), &BACK[0].reading()).unwrap().0;
        let mut rows = kept.rows;
        rows.sort_by_key(|(line, _)| *line);
        rows.iter()
            .map(|(line, cells)| (*line, cells[1].time().unwrap().to_string()[11..16].to_owned()))
            .collect::<Vec<_>>()
    };
    let at = |rows: &[(u64, &str)]| {
        rows.iter().map(|(line, hour)| (*line, (*hour).to_owned())).collect::<Vec<_>>()
    };
    // Cow by cow and hour by hour, in the log's own minutes: the same wall time twice is two bins.
    assert_eq!(
        bins(&[
            "214,2025-11-02 00:00,60,5",
            "214,2025-11-02 01:00,60,6",
            "214,2025-11-02 01:00,60,7",
            "214,2025-11-02 02:00,60,8",
            "215,2025-11-02 00:00,60,5",
            "215,2025-11-02 01:00,60,6",
            "215,2025-11-02 01:00,60,7",
            "215,2025-11-02 02:00,60,8",
        ]),
        at(&[
            (2, "04:00"),
            (3, "05:00"),
            (4, "06:00"),
            (5, "07:00"),
            (6, "04:00"),
            (7, "05:00"),
            (8, "06:00"),
            (9, "07:00")
        ])
    );
    // Hour by hour, all cows in each.
    assert_eq!(
        bins(&[
            "214,2025-11-02 00:00,60,5",
            "215,2025-11-02 00:00,60,6",
            "214,2025-11-02 01:00,60,7",
            "215,2025-11-02 01:00,60,8",
            "214,2025-11-02 01:00,60,5",
            "215,2025-11-02 01:00,60,6",
            "214,2025-11-02 02:00,60,7",
            "215,2025-11-02 02:00,60,8",
        ]),
        at(&[
            (2, "04:00"),
            (3, "04:00"),
            (4, "05:00"),
            (5, "05:00"),
            (6, "06:00"),
            (7, "06:00"),
            (8, "07:00"),
            (9, "07:00")
        ])
    );
    // One row written twice is not two bins, and one bin alone may be either.
    assert_eq!(
        bins(&[
            "214,2025-11-02 00:00,60,5",
            "214,2025-11-02 01:00,60,6",
            "214,2025-11-02 01:00,60,6",
            "214,2025-11-02 02:00,60,8"
        ]),
        at(&[(2, "04:00"), (5, "07:00")])
    );
    assert_eq!(
        bins(&["214,2025-11-01 23:00,120,5", "214,2025-11-02 01:00,120,6", "214,2025-11-02 02:00,120,8"]),
        at(&[(2, "03:00"), (4, "07:00")])
    );
    // Two visits of whole minutes to one box are no step.
    let text = "animal,box,started_at,ended_at\n1,1,2025-11-02 00:50,2025-11-02 00:55\n2,1,2025-11-02 01:10,2025-11-02 01:10\n\
                3,1,2025-11-02 01:10,2025-11-02 01:18\n4,1,2025-11-02 03:10,2025-11-02 03:18\n";
    assert_eq!(try_read(text.as_bytes(), &BACK[0].reading()).unwrap().0.lines(), [2, 5]);
}

#[test]
fn other_times_of_a_row_follow_its_first() {
    let visit = |cells: &str| {
        let text = format!(
            "animal,box,started_at,ended_at,attached_at\n1,1,{cells}\n2,1,2025-11-02 03:00,2025-11-02 03:05,\n"
        );
        let (kept, _) = try_read(text.as_bytes(), &BACK[0].reading()).unwrap();
        assert_eq!(kept.rows.len(), 2, "{:?}", kept.said());
        let clock = |column| kept.time(0, column)[11..16].to_owned();
        ([clock("started_at"), clock("attached_at"), clock("ended_at")], kept.issues.len())
    };
    // In before the hour that came twice, out within it: its first time round.
    assert_eq!(
        visit("2025-11-02 00:57,2025-11-02 01:04,2025-11-02 00:59"),
        (["04:57", "04:59", "05:04"].map(str::to_owned), 1)
    );
    // In by the first hour, out by the second: the wall clock says she left before she came.
    assert_eq!(
        visit("2025-11-02T01:57:00-04:00,2025-11-02 01:04,2025-11-02 01:59"),
        (["05:57", "05:59", "06:04"].map(str::to_owned), 1)
    );
    // Milk is held until the later of the two.
    let text = "animal,at,kind,until\n1,2025-10-30T06:00,treated,2025-11-02T01:30\n";
    let (kept, _) = try_read(text.as_bytes(), &BACK[0].reading()).unwrap();
    assert_eq!(kept.time(0, "until"), "2025-11-02T06:30:00Z");
    assert_eq!(
        kept.said(),
        [
            "line 2, until \"2025-11-02T01:30\": this wall time came twice, as the clock was set back; it was read as the later one, so that no milk is let go too early → nothing, if that is right; else write these times with their offset and read the file again"
        ]
    );
}
