//! What does the farm's clock say?
//!
//! Inside, times are whole seconds since 1970 UTC and days are whole local days since 1970-01-01. Outside they are
//! RFC 3339 with the zone's offset of that moment.

use std::io::Write as _;

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use crate::SimError;

/// Seconds of an hour.
pub const HOUR_S: i64 = 3600;
/// Seconds of a day.
pub const DAY_S: i64 = 86_400;

/// Days simulated before the first told row, so that cases, queues and levels are under way when the logs begin.
const SETTLING_D: i64 = 24;

/// The farm's zone over the simulated span.
#[derive(Debug, Clone)]
pub struct FarmClock {
    /// Local midnight at which the simulation begins, [`SETTLING_D`] days before anything is told.
    pub start_s: i64,
    /// Local midnight from which on rows are told.
    pub told_s: i64,
    /// Last instant of which a row may tell: 05:20 of the last morning.
    pub end_s: i64,
    /// From when on which offset holds, s; in order.
    offsets: Vec<(i64, i64)>,
}

impl FarmClock {
    /// The clock from midnight `days` days before `last_day` to 05:20 of `last_day`.
    pub fn new(zone: &TimeZone, last_day: Date, days: u32) -> Result<FarmClock, SimError> {
        let first_day = last_day.checked_sub(jiff::Span::new().try_days(i64::from(days))?)?;
        let told_s = first_day.to_zoned_datetime(zone.clone())?.timestamp().as_second();
        let settling = first_day.checked_sub(jiff::Span::new().try_days(SETTLING_D)?)?;
        let start_s = settling.to_zoned_datetime(zone.clone())?.timestamp().as_second();
        let end_s = last_day.at(5, 20, 0, 0).to_zoned_datetime(zone.clone())?.timestamp().as_second();
        // History reaches back before the first day; one offset a transition is enough.
        let from = Timestamp::from_second(start_s - 900 * DAY_S)?;
        let mut offsets = vec![(i64::MIN, i64::from(zone.to_offset(from).seconds()))];
        for change in zone.following(from) {
            let at_s = change.timestamp().as_second();
            if end_s + 700 * DAY_S < at_s {
                break;
            }
            offsets.push((at_s, i64::from(change.offset().seconds())));
        }
        Ok(FarmClock { start_s, told_s, end_s, offsets })
    }

    /// Seconds the farm's wall clock is ahead of UTC.
    pub fn offset_s(&self, at_s: i64) -> i64 {
        let next = self.offsets.partition_point(|(from_s, _)| *from_s <= at_s);
        self.offsets.get(next.saturating_sub(1)).map_or(0, |(_, offset_s)| *offset_s)
    }

    /// Hour of the wall clock, 0 to 24.
    pub fn hour(&self, at_s: i64) -> f64 {
        (at_s + self.offset_s(at_s)).rem_euclid(DAY_S) as f64 / HOUR_S as f64
    }

    /// Local day since 1970-01-01.
    pub fn day(&self, at_s: i64) -> i32 {
        (at_s + self.offset_s(at_s)).div_euclid(DAY_S) as i32
    }

    /// The instant of an hour of a local day (to the second; a skipped hour is read with the offset before it).
    pub fn at(&self, day: i32, hour: f64) -> i64 {
        let wall_s = i64::from(day) * DAY_S + (hour * HOUR_S as f64) as i64;
        wall_s - self.offset_s(wall_s - self.offset_s(wall_s))
    }

    /// Writes the instant as RFC 3339 with offset.
    pub fn write_time(&self, at_s: i64, out: &mut Vec<u8>) {
        let offset_s = self.offset_s(at_s);
        let wall_s = at_s + offset_s;
        write_date(wall_s.div_euclid(DAY_S) as i32, out);
        let of_day = wall_s.rem_euclid(DAY_S);
        let sign = if offset_s < 0 { '-' } else { '+' };
        let (hour, minute, second) = (of_day / 3600, of_day / 60 % 60, of_day % 60);
        let ahead_min = offset_s.abs() / 60;
        // Writing to memory cannot fail.
        let _ = write!(
            out,
            "T{hour:02}:{minute:02}:{second:02}{sign}{:02}:{:02}",
            ahead_min / 60,
            ahead_min % 60
        );
    }
}

/// Writes a day as `2026-03-02`.
pub fn write_date(day: i32, out: &mut Vec<u8>) {
    let (year, month, day_of_month) = civil(day);
    let _ = write!(out, "{year:04}-{month:02}-{day_of_month:02}");
}

/// Year, month and day of a day since 1970-01-01, by the usual 400-year cycle of the Gregorian calendar.
pub fn civil(day: i32) -> (i32, i32, i32) {
    let shifted = day + 719_468;
    let era = shifted.div_euclid(146_097);
    let of_era = shifted.rem_euclid(146_097);
    let year_of_era = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * of_year + 2) / 153;
    let day_of_month = of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
    (year_of_era + era * 400 + i32::from(month <= 2), month, day_of_month)
}

/// Day of the year, 0 on the first of January.
pub fn day_of_year(day: i32) -> f64 {
    let (_, month, day_of_month) = civil(day);
    const BEFORE: [i32; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    f64::from(BEFORE.get((month - 1) as usize).copied().unwrap_or(0) + day_of_month - 1)
}
