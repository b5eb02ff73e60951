//! Farm time: instants in rows, days and hours in the farm's zone, and how long a day really is.

use jiff::{Timestamp, ToSpan, civil::Date, tz::TimeZone};

/// Seconds between two instants, `later − earlier`; negative if they are the other way round.
pub fn seconds_between(earlier: Timestamp, later: Timestamp) -> f64 {
    (later.as_millisecond() - earlier.as_millisecond()) as f64 / 1000.0
}

/// Hours between two instants, `later − earlier`.
pub fn hours_between(earlier: Timestamp, later: Timestamp) -> f64 {
    seconds_between(earlier, later) / 3600.0
}

/// The farm's calendar day an instant falls on.
pub fn farm_day(at: Timestamp, zone: &TimeZone) -> Date {
    zone.to_datetime(at).date()
}

/// Hour of the farm's wall clock, 0 to 24, with its fraction.
pub fn hour_of_day(at: Timestamp, zone: &TimeZone) -> f64 {
    let time = zone.to_datetime(at).time();
    f64::from(time.hour()) + f64::from(time.minute()) / 60.0 + f64::from(time.second()) / 3600.0
}

/// The instant a farm day begins. Where the clock skips midnight it is the first instant of that day.
pub fn day_starts(day: Date, zone: &TimeZone) -> Result<Timestamp, jiff::Error> {
    Ok(day.to_zoned_datetime(zone.clone())?.timestamp())
}

/// How long a farm day is, s: 86,400, or 82,800 and 90,000 where the clock changes by an hour.
pub fn day_seconds(day: Date, zone: &TimeZone) -> Result<i64, jiff::Error> {
    let from = day_starts(day, zone)?;
    let to = day_starts(day.checked_add(1.day())?, zone)?;
    Ok((to.as_millisecond() - from.as_millisecond()) / 1000)
}
