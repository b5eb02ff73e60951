//! Days and times as other programs write them, into our one form.
//!
//! Which part is the day and which the month is never guessed: the map says it. Everything else is read leniently: the
//! signs between the parts, one or two digits, years of two digits (of this century), names of months, morning and
//! afternoon, a `T` or a blank or a comma before the time of day.

use std::fmt::Write as _;

/// In which order a file writes days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum DayOrder {
    /// `2026-03-02`.
    #[default]
    YearMonthDay,
    /// `2.3.2026`.
    DayMonthYear,
    /// `3/2/2026`.
    MonthDayYear,
    /// Days since the end of 1899, as a spreadsheet counts them: `46083.229`.
    Serial,
    /// Seconds since 1970 in UTC.
    UnixSeconds,
    /// Milliseconds since 1970 in UTC.
    UnixMilliseconds,
}

/// Every order with its name in a map file.
pub(crate) const ORDERS: [(DayOrder, &str); 6] = [
    (DayOrder::YearMonthDay, "year-month-day"),
    (DayOrder::DayMonthYear, "day-month-year"),
    (DayOrder::MonthDayYear, "month-day-year"),
    (DayOrder::Serial, "spreadsheet-days"),
    (DayOrder::UnixSeconds, "unix-seconds"),
    (DayOrder::UnixMilliseconds, "unix-milliseconds"),
];

impl DayOrder {
    /// Whether times are counts since some zero.
    pub(crate) fn is_count(self) -> bool {
        matches!(self, DayOrder::Serial | DayOrder::UnixSeconds | DayOrder::UnixMilliseconds)
    }

    /// Its name in a map file.
    pub fn name(self) -> &'static str {
        ORDERS.iter().find(|(order, _)| *order == self).map_or("year-month-day", |(_, name)| name)
    }
}

/// A day, a time of day, or both, as written on a wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Wall<'a> {
    /// Year, month, day.
    pub day: Option<(u32, u32, u32)>,
    /// ms since midnight.
    pub within_ms: Option<u32>,
    /// What stands behind: an offset, or nothing.
    pub offset: &'a str,
}

/// First letters of the months, in the languages of our word lists.
const MONTHS: [(&str, u32); 40] = [
    ("jan", 1),
    ("ene", 1),
    ("gen", 1),
    ("feb", 2),
    ("fev", 2),
    ("fév", 2),
    ("mar", 3),
    ("mär", 3),
    ("mrt", 3),
    ("maa", 3),
    ("mrz", 3),
    ("apr", 4),
    ("abr", 4),
    ("avr", 4),
    ("may", 5),
    ("mai", 5),
    ("mei", 5),
    ("mag", 5),
    ("maj", 5),
    ("jun", 6),
    ("giu", 6),
    ("juin", 6),
    ("jul", 7),
    ("lug", 7),
    ("juil", 7),
    ("aug", 8),
    ("ago", 8),
    ("aoû", 8),
    ("aou", 8),
    ("sep", 9),
    ("set", 9),
    ("oct", 10),
    ("okt", 10),
    ("ott", 10),
    ("out", 10),
    ("nov", 11),
    ("dec", 12),
    ("dez", 12),
    ("dic", 12),
    ("déc", 12),
];

fn month_of(word: &str) -> Option<u32> {
    let word = word.to_lowercase();
    // Longer beginnings first: `juin` is not `jun` of another tongue.
    let by_length = |length: usize| {
        MONTHS.iter().find(|(begin, _)| begin.chars().count() == length && word.starts_with(begin))
    };
    by_length(4).or_else(|| by_length(3)).map(|(_, month)| *month)
}

/// Reads a day, a time of day or both; none if it is neither.
pub(crate) fn wall(text: &str, order: DayOrder) -> Option<Wall<'_>> {
    let text = text.trim();
    let none = Wall { day: None, within_ms: None, offset: "" };
    if let Some((within_ms, rest)) = time_of_day(text) {
        return Some(Wall { within_ms: Some(within_ms), offset: offset(rest)?, ..none });
    }
    let (day, rest) = day(text, order)?;
    if rest.is_empty() {
        return Some(Wall { day: Some(day), ..none });
    }
    let time = rest.trim_start_matches([' ', ',', 'T', 't', '\u{a0}', '\u{202f}']);
    if time.len() == rest.len() {
        // `02.03.2026-05:30` and the like.
        let time = rest.strip_prefix(['-', '_', ':'])?;
        let (within_ms, rest) = time_of_day(time)?;
        return Some(Wall { day: Some(day), within_ms: Some(within_ms), offset: offset(rest)? });
    }
    let (within_ms, rest) = time_of_day(time)?;
    Some(Wall { day: Some(day), within_ms: Some(within_ms), offset: offset(rest)? })
}

fn digits(text: &str) -> (&str, &str) {
    text.split_at(text.bytes().take_while(u8::is_ascii_digit).count())
}

/// The day that a text begins with.
fn day(text: &str, order: DayOrder) -> Option<((u32, u32, u32), &str)> {
    let (first, rest) = digits(text);
    if first.len() == 8 && !rest.starts_with(|letter: char| letter.is_alphanumeric() && letter != 'T') {
        let part = |from: usize, to: usize| first.get(from..to)?.parse::<u32>().ok();
        let day = match order {
            DayOrder::DayMonthYear => (part(4, 8)?, part(2, 4)?, part(0, 2)?),
            DayOrder::MonthDayYear => (part(4, 8)?, part(0, 2)?, part(2, 4)?),
            _ => (part(0, 4)?, part(4, 6)?, part(6, 8)?),
        };
        return Some((day, rest));
    }
    let mut parts = [0_u32; 3];
    let mut lengths = [0_usize; 3];
    let mut named = None;
    let mut rest = text;
    for at in 0..3 {
        let (number, behind) = digits(rest);
        if number.is_empty() {
            let word = rest.split(|letter: char| !letter.is_alphabetic()).next()?;
            if word.is_empty() || named.is_some() {
                return None;
            }
            parts[at] = month_of(word)?;
            named = Some(at);
            rest = &rest[word.len()..];
        } else {
            if 4 < number.len() {
                return None;
            }
            parts[at] = number.parse().ok()?;
            lengths[at] = number.len();
            rest = behind;
        }
        if at < 2 {
            let behind = rest.trim_start_matches(['.', '/', '-', ' ', ',', '\u{a0}']);
            if behind.len() == rest.len() || 3 < rest.len() - behind.len() {
                return None;
            }
            rest = behind;
        }
    }
    // A full stop closes a day in some tongues: `2. 3. 2026.`
    if let Some(behind) = rest.strip_prefix('.')
        && !behind.starts_with(|letter: char| letter.is_ascii_digit())
    {
        rest = behind;
    }
    let [a, b, c] = parts;
    let (year, month, day) = match (order, named) {
        // Four digits in front are a year in any order.
        _ if lengths[0] == 4 => (a, b, c),
        (_, Some(0)) => (c, a, b),
        (_, Some(1)) => (c, b, a),
        (DayOrder::DayMonthYear, _) => (c, b, a),
        (DayOrder::MonthDayYear, _) => (c, a, b),
        (DayOrder::YearMonthDay, _) if lengths[0] == 2 && lengths[2] != 4 => (a, b, c),
        _ => return None,
    };
    let year = if year < 100 { 2000 + year } else { year };
    ((1000..=9999).contains(&year) && (1..=12).contains(&month) && (1..=31).contains(&day))
        .then_some(((year, month, day), rest))
}

/// The time of day that a text begins with, ms since midnight.
fn time_of_day(text: &str) -> Option<(u32, &str)> {
    let (hour, rest) = digits(text);
    if hour.is_empty() || 2 < hour.len() {
        return None;
    }
    let mut ms_of = [hour.parse::<u32>().ok()?, 0, 0];
    let mut rest = rest.strip_prefix([':', 'h', 'H'])?;
    let (minute, behind) = digits(rest);
    if minute.len() != 2 {
        return None;
    }
    ms_of[1] = minute.parse().ok()?;
    rest = behind;
    let mut fraction_ms = 0;
    if let Some(behind) = rest.strip_prefix(':') {
        let (second, behind) = digits(behind);
        if second.len() != 2 {
            return None;
        }
        ms_of[2] = second.parse().ok()?;
        rest = behind;
        if let Some(behind) = rest.strip_prefix(['.', ',']) {
            let (fraction, behind) = digits(behind);
            if fraction.is_empty() || 9 < fraction.len() {
                return None;
            }
            let three: String = fraction.chars().chain("00".chars()).take(3).collect();
            fraction_ms = three.parse().ok()?;
            rest = behind;
        }
    }
    let behind = rest.trim_start();
    let halves = [("a.m.", 0), ("p.m.", 12), ("am", 0), ("pm", 12)];
    let is_half = |word: &str| behind.get(..word.len()).is_some_and(|half| half.eq_ignore_ascii_case(word));
    if !behind.is_empty()
        && let Some((word, add)) = halves.into_iter().find(|(word, _)| is_half(word))
    {
        if !(1..=12).contains(&ms_of[0]) {
            return None;
        }
        ms_of[0] = ms_of[0] % 12 + add;
        rest = &behind[word.len()..];
    }
    let [hour, minute, second] = ms_of;
    (hour < 24 && minute < 60 && second < 60)
        .then_some((((hour * 60 + minute) * 60 + second) * 1000 + fraction_ms, rest))
}

/// An offset, or nothing.
fn offset(rest: &str) -> Option<&str> {
    let rest = rest.trim();
    let is_offset = matches!(rest, "" | "Z" | "z")
        || (rest.starts_with(['+', '-'])
            && (3..=6).contains(&rest.len())
            && rest[1..].bytes().all(|byte| byte.is_ascii_digit() || byte == b':'));
    is_offset.then_some(rest)
}

/// Days from 1899-12-30, a spreadsheet's zero, to 1970.
const SERIAL_TO_1970: f64 = 25_569.0;

/// A count since some zero as wall or UTC time in ms since 1970, and whether it is UTC.
pub(crate) fn counted(figure: f64, order: DayOrder) -> Option<(i64, bool)> {
    let (ms, utc) = match order {
        DayOrder::Serial => (((figure - SERIAL_TO_1970) * 86_400.0).round() * 1000.0, false),
        DayOrder::UnixSeconds => ((figure * 1000.0).round(), true),
        DayOrder::UnixMilliseconds => (figure.round(), true),
        _ => return None,
    };
    (0.0 < ms && ms < 8e12).then_some((ms as i64, utc))
}

/// The last digit of a number.
fn digit(value: u32) -> char {
    char::from(b'0' + (value % 10) as u8)
}

/// Writes a wall time in our form.
pub(crate) fn write(out: &mut String, (year, month, day): (u32, u32, u32), within_ms: u32, offset: &str) {
    let (second, ms) = (within_ms / 1000, within_ms % 1000);
    let (hour, minute, second) = (second / 3600, second / 60 % 60, second % 60);
    let mut two = |before: Option<char>, value: u32| {
        out.extend(before);
        out.push(digit(value / 10));
        out.push(digit(value));
    };
    two(None, year / 100);
    two(None, year % 100);
    two(Some('-'), month);
    two(Some('-'), day);
    two(Some('T'), hour);
    two(Some(':'), minute);
    two(Some(':'), second);
    if ms != 0 {
        let _ = write!(out, ".{ms:03}");
    }
    out.push_str(offset);
}
