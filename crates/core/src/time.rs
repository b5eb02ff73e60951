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

/// The farm's wall clock for many instants in a row: the zone is asked once a change of clocks, not once a call.
#[derive(Debug, Clone)]
pub struct WallClock {
    zone: TimeZone,
    /// The offset in force, and the span it is in force for, ms since the epoch.
    offset_ms: i64,
    from_ms: i64,
    to_ms: i64,
}

impl WallClock {
    /// A clock of a zone.
    pub fn new(zone: TimeZone) -> WallClock {
        WallClock { zone, offset_ms: 0, from_ms: 0, to_ms: 0 }
    }

    /// Hour of the farm's wall clock, 0 to 24, with its fraction.
    pub fn hour_of_day(&mut self, at: Timestamp) -> f64 {
        let at_ms = at.as_millisecond();
        if at_ms < self.from_ms || self.to_ms <= at_ms {
            self.offset_ms = i64::from(self.zone.to_offset(at).seconds()) * 1000;
            self.from_ms = at_ms;
            self.to_ms =
                self.zone.following(at).next().map_or(i64::MAX, |change| change.timestamp().as_millisecond());
        }
        (at_ms + self.offset_ms).rem_euclid(86_400_000) as f64 / 3_600_000.0
    }
}
