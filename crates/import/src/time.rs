//! Instants and days from their text, in the farm's zone where no offset stands beside them.

use jiff::civil::Date;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{SignedDuration, Timestamp};

const DAY_MS: i64 = 86_400_000;

/// A time as read, ms since 1970 in UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Moment {
    /// This instant.
    At(i64),
    /// A wall time that came twice.
    Twice(Twice),
}

/// Both instants of a wall time that came twice, ms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Twice {
    /// Before the clock was set back.
    pub first: i64,
    /// After it.
    pub second: i64,
}

/// Why a text is no time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum NotATime {
    /// Not of the form.
    Form,
    /// A day without a time.
    DayOnly,
    /// A time without its offset, where one is asked for.
    NoOffset,
    /// Of the form, but there is no such day, hour, minute or offset.
    NoSuch(&'static str),
    /// The clock was put forward over this wall time.
    Skipped,
}

/// The farm's wall clock. Days on which the clock does not change are remembered, so that nearly every time costs a few
/// operations on its digits.
pub(crate) struct Clock {
    zone: TimeZone,
    /// Day since 1970 and its one offset in s, or [`CHANGES`]; a day has its place by its number.
    days: Vec<(i32, i32)>,
}

const PLACES: usize = 4096;
const CHANGES: i32 = i32::MAX;
const NO_DAY: i32 = i32::MIN;

impl Clock {
    pub fn new(zone: TimeZone) -> Clock {
        Clock { zone, days: vec![(NO_DAY, 0); PLACES] }
    }

    /// An instant: RFC 3339 with offset, or wall time; `T` or a space between day and time; seconds and their fraction
    /// may be left out; to the millisecond, what is finer is cut off.
    #[inline]
    pub fn moment(&mut self, text: &[u8]) -> Result<Moment, NotATime> {
        let (day, rest) = day_number(text)?;
        let [b'T' | b't' | b' ', rest @ ..] = rest else {
            return Err(if rest.is_empty() { NotATime::DayOnly } else { NotATime::Form });
        };
        let (within_ms, rest) = time_of_day_ms(rest)?;
        let wall_ms = i64::from(day) * DAY_MS + within_ms;
        if rest.is_empty() { self.on_wall(day, wall_ms) } else { Ok(Moment::At(wall_ms - offset_ms(rest)?)) }
    }

    fn on_wall(&mut self, day: i32, wall_ms: i64) -> Result<Moment, NotATime> {
        let place = day.rem_euclid(PLACES as i32) as usize;
        if self.days[place].0 != day {
            self.days[place] = (day, self.offset_of_day(day).unwrap_or(CHANGES));
        }
        match self.days[place].1 {
            CHANGES => self.ask_zone(wall_ms),
            offset_s => Ok(Moment::At(wall_ms - i64::from(offset_s) * 1000)),
        }
    }

    /// The one offset of a farm day, s; none if the clock changes on it.
    fn offset_of_day(&self, day: i32) -> Option<i32> {
        let from_ms = i64::from(day) * DAY_MS;
        let from = self.plain_offset(from_ms)?;
        let to = self.plain_offset(from_ms + DAY_MS - 1)?;
        let starts = from.to_timestamp(wall(from_ms).ok()?).ok()?;
        let ends = to.to_timestamp(wall(from_ms + DAY_MS - 1).ok()?).ok()?;
        let change = self.zone.following(starts).next().map(|change| change.timestamp());
        (from == to && change.is_none_or(|change| ends < change)).then(|| from.seconds())
    }

    fn plain_offset(&self, wall_ms: i64) -> Option<Offset> {
        match self.zone.to_ambiguous_timestamp(wall(wall_ms).ok()?).offset() {
            AmbiguousOffset::Unambiguous { offset } => Some(offset),
            _ => None,
        }
    }

    #[cold]
    fn ask_zone(&self, wall_ms: i64) -> Result<Moment, NotATime> {
        let at = |offset: Offset| wall_ms - i64::from(offset.seconds()) * 1000;
        match self.zone.to_ambiguous_timestamp(wall(wall_ms)?).offset() {
            AmbiguousOffset::Unambiguous { offset } => Ok(Moment::At(at(offset))),
            AmbiguousOffset::Gap { .. } => Err(NotATime::Skipped),
            AmbiguousOffset::Fold { before, after } => {
                Ok(Moment::Twice(Twice { first: at(before), second: at(after) }))
            }
        }
    }

    /// A day; of a time its day, in the farm's zone if it has an offset.
    pub fn date(&self, text: &[u8]) -> Result<Date, NotATime> {
        let (day, rest) = day_number(text)?;
        let [b'T' | b't' | b' ', rest @ ..] = rest else {
            return if rest.is_empty() { date_of(day) } else { Err(NotATime::Form) };
        };
        let (within_ms, rest) = time_of_day_ms(rest)?;
        if rest.is_empty() {
            return date_of(day);
        }
        let at = timestamp(i64::from(day) * DAY_MS + within_ms - offset_ms(rest)?)?;
        Ok(self.zone.to_datetime(at).date())
    }

    /// An instant in the farm's zone, with its offset, as one would write it into a cell.
    pub fn written(&self, ms: i64) -> String {
        match timestamp(ms) {
            Ok(at) => {
                let offset = self.zone.to_offset(at);
                at.display_with_offset(offset).to_string()
            }
            Err(_) => format!("{ms} ms"),
        }
    }
}

/// An instant as RFC 3339 alone has it, ms since 1970: day, `T`, time to the second, offset. What is finer than a
/// millisecond is cut off.
pub(crate) fn rfc3339_ms(text: &[u8]) -> Result<i64, NotATime> {
    let (day, rest) = day_number(text)?;
    let [b'T' | b't', clock @ ..] = rest else {
        return Err(if rest.is_empty() { NotATime::DayOnly } else { NotATime::Form });
    };
    let (within_ms, rest) = time_of_day_ms(clock)?;
    if clock.get(5) != Some(&b':') {
        return Err(NotATime::Form);
    }
    match rest {
        [] => Err(NotATime::NoOffset),
        [b'Z' | b'z'] | [b'+' | b'-', _, _, b':', _, _] => {
            Ok(i64::from(day) * DAY_MS + within_ms - offset_ms(rest)?)
        }
        _ => Err(NotATime::Form),
    }
}

/// The instant of a number of ms since 1970.
pub(crate) fn timestamp(ms: i64) -> Result<Timestamp, NotATime> {
    Timestamp::from_millisecond(ms).map_err(|_| NotATime::NoSuch("year"))
}

fn wall(wall_ms: i64) -> Result<jiff::civil::DateTime, NotATime> {
    Ok(Offset::UTC.to_datetime(timestamp(wall_ms)?))
}

fn date_of(day: i32) -> Result<Date, NotATime> {
    jiff::civil::date(1970, 1, 1)
        .checked_add(SignedDuration::from_hours(24 * i64::from(day)))
        .map_err(|_| NotATime::NoSuch("day"))
}

#[inline]
fn two(a: u8, b: u8) -> Option<u32> {
    let (a, b) = (a.wrapping_sub(b'0'), b.wrapping_sub(b'0'));
    (a <= 9 && b <= 9).then(|| u32::from(a) * 10 + u32::from(b))
}

/// Days since 1970 of a leading `2026-03-02`, and what follows it.
#[inline]
fn day_number(text: &[u8]) -> Result<(i32, &[u8]), NotATime> {
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2, rest @ ..] = text else { return Err(NotATime::Form) };
    let (Some(century), Some(year), Some(month), Some(day)) =
        (two(*y1, *y2), two(*y3, *y4), two(*m1, *m2), two(*d1, *d2))
    else {
        return Err(NotATime::Form);
    };
    let year = (century * 100 + year) as i32;
    if !(1..=12).contains(&month) {
        return Err(NotATime::NoSuch("month"));
    }
    if day < 1 || days_in(year, month) < day {
        return Err(NotATime::NoSuch("day"));
    }
    Ok((days_since_1970(year, month as i32, day as i32), rest))
}

#[inline]
pub(crate) fn days_in(year: i32, month: u32) -> u32 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days of the Gregorian calendar since 1970-01-01, counted from a year that begins in March so that the leap day is its
/// last: 365 a year and one for each 4th but not each 100th but each 400th; months by (153 m + 2) / 5.
#[inline]
pub(crate) fn days_since_1970(year: i32, month: i32, day: i32) -> i32 {
    let (year, month) = if month <= 2 { (year - 1, month + 9) } else { (year, month - 3) };
    let days_of_years = 365 * year + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    days_of_years + (153 * month + 2) / 5 + day - 1 - 719_468
}

/// ms since midnight of a leading `05:30`, `05:30:00` or `05:30:00.125`, and what follows it.
#[inline]
fn time_of_day_ms(text: &[u8]) -> Result<(i64, &[u8]), NotATime> {
    let [h1, h2, b':', m1, m2, rest @ ..] = text else { return Err(NotATime::Form) };
    let (Some(hour), Some(minute)) = (two(*h1, *h2), two(*m1, *m2)) else { return Err(NotATime::Form) };
    if 23 < hour {
        return Err(NotATime::NoSuch("hour"));
    }
    if 59 < minute {
        return Err(NotATime::NoSuch("minute"));
    }
    let minutes_ms = i64::from(hour * 60 + minute) * 60_000;
    let [b':', s1, s2, rest @ ..] = rest else { return Ok((minutes_ms, rest)) };
    let Some(second) = two(*s1, *s2) else { return Err(NotATime::Form) };
    if 59 < second {
        return Err(NotATime::NoSuch("second"));
    }
    let seconds_ms = minutes_ms + i64::from(second) * 1000;
    let [b'.', rest @ ..] = rest else { return Ok((seconds_ms, rest)) };
    let digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    if digits == 0 || 9 < digits {
        return Err(NotATime::Form);
    }
    let ms =
        rest[..digits].iter().chain(b"00").take(3).fold(0, |ms, digit| ms * 10 + i64::from(digit - b'0'));
    Ok((seconds_ms + ms, &rest[digits..]))
}

/// An offset that is the rest of a time: `Z`, `+01:00`, `+0100` or `+01`; ms.
#[inline]
fn offset_ms(text: &[u8]) -> Result<i64, NotATime> {
    let (sign, digits) = match text {
        [b'Z' | b'z'] => return Ok(0),
        [b'+', digits @ ..] => (1, digits),
        [b'-', digits @ ..] => (-1, digits),
        _ => return Err(NotATime::Form),
    };
    let (hours, minutes) = match *digits {
        [h1, h2, b':', m1, m2] | [h1, h2, m1, m2] => (two(h1, h2), two(m1, m2)),
        [h1, h2] => (two(h1, h2), Some(0)),
        _ => (None, None),
    };
    let (Some(hours), Some(minutes)) = (hours, minutes) else { return Err(NotATime::Form) };
    if 23 < hours || 59 < minutes {
        return Err(NotATime::NoSuch("offset"));
    }
    Ok(sign * i64::from(hours * 60 + minutes) * 60_000)
}
