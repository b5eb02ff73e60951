//! Times in every form, and wall times of many zones against the zone database itself.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Kept, read, reading_in, try_read};
use jiff::Timestamp;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use proptest::prelude::*;

fn pushes(times: &[&str]) -> Kept {
    let rows: String = times.iter().map(|time| format!("north,{time}\n")).collect();
    read(&format!("bunk_side,at\n{rows}"))
}

#[test]
fn forms_of_one_instant() {
    let kept = pushes(&[
        "2026-03-02T05:30:00-05:00",
        "2026-03-02t05:30:00.000-05:00",
        "2026-03-02 10:30Z",
        "2026-03-02T10:30:00z",
        "2026-03-02T16:15:00+0545",
        "2026-03-02T11:30:00+01",
        "2026-03-02 05:30",
        "2026-03-02T05:30:00",
        " 2026-03-02T05:30:00.0009999 ",
    ]);
    assert_eq!(kept.said(), Vec::<String>::new());
    for row in 0..kept.rows.len() {
        assert_eq!(kept.time(row, "at"), "2026-03-02T10:30:00Z");
    }
    let kept = pushes(&["2026-03-02 05:30:00.1", "2026-03-02 05:30:00.12", "2026-03-02 05:30:00.123456789"]);
    assert_eq!(
        (0..3).map(|row| kept.cell(row, "at").time().unwrap().subsec_millisecond()).collect::<Vec<_>>(),
        [100, 120, 123]
    );
}

proptest! {
    /// The remembered days agree with the zone database wall time by wall time, in zones with odd rules: a skipped day
    /// (Apia 2011), two hours' change (Troll), changes for Ramadan (Casablanca), quarter hours (Chatham), at midnight
    /// (Santiago, Cairo).
    #[test]
    fn wall_times_agree_with_the_zone_database(
        zone in prop::sample::select(vec![
            "America/New_York", "Europe/Copenhagen", "Australia/Lord_Howe", "Pacific/Apia", "Antarctica/Troll",
            "Africa/Casablanca", "Pacific/Chatham", "America/Santiago", "Africa/Cairo", "Asia/Kathmandu",
            "America/St_Johns", "Europe/Dublin", "UTC",
        ]),
        seconds in prop::collection::vec(631_152_000_i64..1_790_000_000, 1..200),
        near in 0..2usize,
    ) {
        let tz = TimeZone::get(zone).unwrap();
        // Half of the cases lie within three hours of a change.
        let walls: Vec<jiff::civil::DateTime> = seconds.iter().map(|&second| {
            let mut at = Timestamp::from_second(second).unwrap();
            if near == 1 && let Some(change) = tz.following(at).next() {
                at = change.timestamp() + jiff::SignedDuration::from_secs(second % 10_800 - 5_400);
            }
            Offset::UTC.to_datetime(tz.to_offset(at).to_datetime(at).to_zoned_datetime(TimeZone::UTC).unwrap().timestamp())
        }).filter(|wall| wall.year() < 2026).collect();
        let rows: String = walls.iter().map(|wall| format!("n,{wall}\n")).collect();
        let (kept, _) = try_read(format!("bunk_side,at\n{rows}").as_bytes(), &reading_in(zone)).unwrap();
        let mut delivered = kept.rows.iter().peekable();
        for (index, wall) in walls.iter().enumerate() {
            let line = index as u64 + 2;
            let row = delivered.next_if(|(own, _)| *own == line);
            match tz.to_ambiguous_timestamp(*wall).offset() {
                AmbiguousOffset::Unambiguous { offset } => {
                    let expected = offset.to_timestamp(*wall).unwrap();
                    prop_assert_eq!(row.and_then(|(_, cells)| cells[1].time()), Some(expected));
                }
                AmbiguousOffset::Gap { .. } => prop_assert!(row.is_none()),
                AmbiguousOffset::Fold { before, after } => {
                    // Decided or refused; if decided, one of the two.
                    if let Some(at) = row.and_then(|(_, cells)| cells[1].time()) {
                        let both = [before.to_timestamp(*wall).unwrap(), after.to_timestamp(*wall).unwrap()];
                        prop_assert!(both.contains(&at));
                    }
                }
            }
        }
    }
}
