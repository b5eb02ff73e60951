//! How is a time written?
//!
//! In the farm's zone, and relative to the time the page is made for: the nearer, the shorter. A wall time that the
//! autumn clock change has twice is written as the wall shows it.

use jiff::{Timestamp, Unit, civil::Date, tz::TimeZone};

use crate::time::farm_day;

/// Days from the day of `then` to the day of `at`; negative for days to come.
fn days_back(then: Timestamp, at: Timestamp, zone: &TimeZone) -> i64 {
    let (from, to) = (farm_day(then, zone), farm_day(at, zone));
    from.until((Unit::Day, to)).map_or(0, |span| i64::from(span.get_days()))
}

/// Whether a time falls on the day of `at`.
pub fn is_today(then: Timestamp, at: Timestamp, zone: &TimeZone) -> bool {
    days_back(then, at, zone) == 0
}

/// `14:10` today, `yesterday 14:10`, `Sunday 14:10` within six days, `3 March` before that, `3 March 2025` of another
/// year.
pub fn instant(then: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    match days_back(then, at, zone) {
        0 => clock(then, zone),
        -6..=6 => format!("{} {}", day(then, at, zone), clock(then, zone)),
        _ => day(then, at, zone),
    }
}

/// `today`, `yesterday`, `tomorrow`, `Sunday` within six days, `3 March` before that, `3 March 2025` of another year.
pub fn day(then: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    let date = farm_day(then, zone);
    match days_back(then, at, zone) {
        0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        -1 => "tomorrow".to_owned(),
        -6..=6 => date.strftime("%A").to_string(),
        _ => date_words(date, farm_day(at, zone)),
    }
}

/// `3 March`; `3 March 2025` where the year is not that of `today`.
pub fn date_words(date: Date, today: Date) -> String {
    let form = if date.year() == today.year() { "%-d %B" } else { "%-d %B %Y" };
    date.strftime(form).to_string()
}

/// `14:10`.
pub fn clock(then: Timestamp, zone: &TimeZone) -> String {
    then.to_zoned_datetime(zone.clone()).strftime("%H:%M").to_string()
}

/// `3 Mar 05:30`, for rows of a table.
pub fn minute(then: Timestamp, zone: &TimeZone) -> String {
    then.to_zoned_datetime(zone.clone()).strftime("%-d %b %H:%M").to_string()
}

/// `21 February to 3 March`; one day alone where both ends fall on it.
pub fn span(from: Timestamp, to: Timestamp, zone: &TimeZone) -> String {
    let (first, last) = (farm_day(from, zone), farm_day(to, zone));
    if first == last {
        date_words(first, last)
    } else {
        format!("{} to {}", date_words(first, last), date_words(last, last))
    }
}

/// `Tuesday 3 March, 05:30`; `Tuesday 3 March 2025, 05:30` where the year is not that of the farm's newest row.
pub fn heading(at: Timestamp, newest: Timestamp, zone: &TimeZone) -> String {
    let own = at.to_zoned_datetime(zone.clone());
    let form =
        if own.year() == farm_day(newest, zone).year() { "%A %-d %B, %H:%M" } else { "%A %-d %B %Y, %H:%M" };
    own.strftime(form).to_string()
}

/// A day on an axis: `Sat 21`.
pub fn axis_day(date: Date) -> String {
    date.strftime("%a %-d").to_string()
}

/// RFC 3339 in the farm's zone, seconds: `2026-03-02T05:30:00-05:00`.
pub fn rfc3339(then: Timestamp, zone: &TimeZone) -> String {
    then.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

/// `yesterday 16:40, 23:10 and today 01:05`: the day is said anew at each midnight, for an hour without its day is taken for
/// another one; all of today by the clock alone.
pub fn list(times: &[Timestamp], at: Timestamp, zone: &TimeZone) -> String {
    let mut said = Some(farm_day(at, zone)).filter(|_| times.iter().all(|then| is_today(*then, at, zone)));
    let mut words = Vec::with_capacity(times.len());
    for then in times {
        let of = Some(farm_day(*then, zone));
        words.push(if of == said {
            clock(*then, zone)
        } else {
            format!("{} {}", day(*then, at, zone), clock(*then, zone))
        });
        said = of;
    }
    join(&words)
}

/// `a`, `a and b`, `a, b and c`.
pub fn join(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
