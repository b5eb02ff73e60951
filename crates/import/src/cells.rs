//! One cell from its text: typed, in the column's own unit, within its physical range.

use cowpath_core::tables::{Cell, Conversion, Kind};

use crate::faults::Fault;
use crate::figure::figure;
use crate::sniff::Used;
use crate::time::{Clock, Moment, timestamp};

/// A name longer than this is none, in letters.
pub(crate) const LONGEST_NAME: usize = 200;

/// Days and times before 1971, ms: the zero of a computer's clock (1970) or of a spreadsheet's (1899).
const CLOCK_ZERO_ENDS_MS: i64 = 365 * 86_400_000;

/// Reads a cell that is not empty into `cell`. A time that came twice is handed back, undecided.
///
/// # Errors
/// What kind of thing is wrong; [`crate::faults::wrong`] puts it into words.
#[inline]
pub(crate) fn read(
    used: &Used,
    text: &[u8],
    clock: &mut Clock,
    cell: &mut Cell,
) -> Result<Option<Moment>, Fault> {
    match used.kind {
        Kind::Number { low, high, .. } => {
            let read = figure(text).map_err(Fault::Figure)?;
            let value = if used.conversion == Conversion::Same { read } else { used.conversion.apply(read) };
            if !(low <= value && value <= high) {
                return Err(Fault::Outside(read));
            }
            *cell = Cell::Number(value);
        }
        Kind::Flag => {
            *cell = Cell::Flag(match text {
                b"1" => true,
                b"0" => false,
                _ if text.eq_ignore_ascii_case(b"true") => true,
                _ if text.eq_ignore_ascii_case(b"false") => false,
                _ => return Err(Fault::Flag),
            });
        }
        Kind::Time => return Ok(Some(clock.moment(text).map_err(Fault::Time)?)),
        Kind::Date => {
            let day = clock.date(text).map_err(Fault::Date)?;
            if day.year() < 1971 {
                return Err(Fault::ClockZero);
            }
            *cell = Cell::Date(day);
        }
        Kind::Words(words) => {
            let word = words.iter().find(|word| text.eq_ignore_ascii_case(word.as_bytes()));
            put(cell, word.ok_or(Fault::Word)?);
        }
        Kind::OfficialId => {
            if text.len() != 15 || !text.iter().all(u8::is_ascii_digit) {
                return Err(Fault::OfficialId);
            }
            put(cell, std::str::from_utf8(text).map_err(|_| Fault::OfficialId)?);
        }
        Kind::Text => {
            // Names stand on one line; free text may hold line ends and tabs.
            let bad = |byte: &u8| {
                (*byte < b' ' && (used.required || !matches!(byte, b'\n' | b'\r' | b'\t'))) || *byte == 0x7F
            };
            if text.iter().any(bad) {
                return Err(Fault::Control);
            }
            // Blanks of any alphabet around a name would make it another cow's.
            let name = std::str::from_utf8(text).map_err(|_| Fault::NotUtf8)?.trim();
            if name.is_empty() {
                *cell = Cell::Missing;
                return if used.required { Err(Fault::Empty) } else { Ok(None) };
            }
            if used.required && LONGEST_NAME < name.len() && LONGEST_NAME < name.chars().count() {
                return Err(Fault::LongName);
            }
            put(cell, name);
        }
    }
    Ok(None)
}

/// Puts text into a cell, in the room its old text had.
#[inline]
fn put(cell: &mut Cell, text: &str) {
    if let Cell::Text(own) = cell {
        own.clear();
        own.push_str(text);
    } else {
        *cell = Cell::Text(text.to_owned());
    }
}

/// Puts an instant into a cell.
///
/// # Errors
/// When no log can hold it.
#[inline]
pub(crate) fn put_time(cell: &mut Cell, ms: i64) -> Result<(), Fault> {
    if ms < CLOCK_ZERO_ENDS_MS {
        return Err(Fault::ClockZero);
    }
    *cell = Cell::Time(timestamp(ms).map_err(Fault::Time)?);
    Ok(())
}
