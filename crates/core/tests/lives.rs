//! Laws of who lived in the herd: what was known of a cow at a time hangs on nothing dated later.
#![allow(clippy::unwrap_used, reason = "tests")]

use cowpath_core::herd::{AnimalRow, EventRow, Stage, lives};
use jiff::{Timestamp, civil::Date, tz::TimeZone};
use proptest::prelude::*;

fn hour(hour: i64) -> Timestamp {
    Timestamp::from_second(1_760_000_400 + 3600 * hour).unwrap()
}

fn event(kind: &str, at: Timestamp, parity: Option<u8>) -> EventRow {
    EventRow {
        animal: "214".into(),
        at,
        kind: kind.into(),
        quarter: None,
        detail: None,
        value: parity.map(f64::from),
        until: None,
        note: None,
    }
}

fn row(calved_on: Date, parity: Option<u8>) -> AnimalRow {
    AnimalRow { animal: "214".into(), calved_on: Some(calved_on), parity, ..AnimalRow::default() }
}

fn stage(rows: &[AnimalRow], events: &[EventRow], at: Timestamp, zone: &TimeZone) -> Stage {
    lives(&["214".into()], rows, events, zone)[0].stage(at)
}

proptest! {
    #[test]
    fn what_was_known_hangs_on_nothing_later(
        noted in prop::collection::vec((0_i64..120, any::<bool>(), any::<bool>(), prop::option::of(1_u8..9)), 1..8),
        asked in 0_i64..140,
    ) {
        let zone = TimeZone::get("America/New_York").unwrap();
        let at = hour(asked);
        let (mut rows, mut events) = (Vec::new(), Vec::new());
        for (when, by_day, dry, parity) in noted {
            match (by_day, dry) {
                (true, _) => rows.push(row(zone.to_datetime(hour(when)).date(), parity)),
                (false, true) => events.push(event("dried-off", hour(when), None)),
                (false, false) => events.push(event("calved", hour(when), parity)),
            }
        }
        let whole = stage(&rows, &events, at, &zone);
        let begins = |day: Date| cowpath_core::time::day_starts(day, &zone).unwrap();
        rows.retain(|row| row.calved_on.is_some_and(|day| begins(day) <= at));
        events.retain(|event| event.at <= at);
        prop_assert_eq!(whole, stage(&rows, &events, at, &zone));
    }
}

#[test]
fn a_calving_by_day_and_by_hour_is_one() {
    let zone = TimeZone::UTC;
    let day = zone.to_datetime(hour(0)).date();
    let midnight = cowpath_core::time::day_starts(day, &zone).unwrap();
    let by_hour = midnight + jiff::SignedDuration::from_hours(14);
    let (rows, events) = ([row(day, Some(3))], [event("calved", by_hour, None)]);
    let before = stage(&rows, &events, midnight + jiff::SignedDuration::from_hours(10), &zone);
    assert_eq!((before.calved_at, before.parity), (Some(midnight), Some(3)), "only the day is known");
    let after = stage(&rows, &events, midnight + jiff::SignedDuration::from_hours(20), &zone);
    assert_eq!(
        (after.calved_at, after.parity),
        (Some(by_hour), Some(3)),
        "one calving, at its hour, not a fourth"
    );
}
