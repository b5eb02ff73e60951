//! One cell from its text: typed, in the column's own unit, within its physical range, or what is wrong with it.

use cowpath_core::tables::{Cell, Column, Conversion, Kind, Unit};
use cowpath_core::units::KG_PER_LB;

use crate::figure::{NotAFigure, figure};
use crate::issue::Wrong;
use crate::sniff::Used;
use crate::time::{Clock, Moment, NotATime, timestamp};
use crate::trouble::listed;

pub(crate) const MEND: &str = "mend it on the Records page";

/// Texts that programs write where they have nothing.
const NOTHING: [&str; 10] = ["na", "n/a", "nan", "null", "none", "nil", "-", "--", "?", "#n/a"];

/// Reads a cell that is not empty into `cell`. A time that came twice is handed back, undecided.
///
/// # Errors
/// What kind of thing is wrong; [`wrong`] puts it into words.
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
        Kind::Date => *cell = Cell::Date(clock.date(text).map_err(Fault::Date)?),
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
            put(cell, std::str::from_utf8(text).map_err(|_| Fault::NotUtf8)?);
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
/// When no calendar holds it.
#[inline]
pub(crate) fn put_time(cell: &mut Cell, ms: i64) -> Result<(), Fault> {
    *cell = Cell::Time(timestamp(ms).map_err(Fault::Time)?);
    Ok(())
}

/// What is wrong with a cell, before it is put into words.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Fault {
    Empty,
    Figure(NotAFigure),
    Outside(f64),
    Flag,
    Word,
    OfficialId,
    Control,
    NotUtf8,
    Time(NotATime),
    Date(NotATime),
    Future,
    Undecided(String),
}

/// A fault in words. `word` is the column as the header writes it.
pub(crate) fn wrong(fault: &Fault, column: &Column, used: &Used, word: &str, text: &[u8]) -> Wrong {
    let lower = String::from_utf8_lossy(text).to_lowercase();
    if NOTHING.contains(&lower.as_str()) && !matches!(column.kind, Kind::Text) {
        let reason = match fault {
            Fault::Figure(_) => "is not a figure",
            _ => "is not a value of this column",
        };
        return Wrong::new(reason, format!("leave the cell empty if it was not measured, or {MEND}"));
    }
    match fault {
        Fault::Empty => Wrong::new("empty, and no row can do without it", format!("fill it in: {MEND}")),
        Fault::Figure(NotAFigure::DecimalComma) => Wrong::new(
            "has a decimal comma",
            "export it again with points as decimal signs (9.8), or use a column map that says the file has commas",
        ),
        Fault::Figure(NotAFigure::NotFinite) => Wrong::new(
            "is not a finite figure",
            format!("leave the cell empty if it was not measured, or {MEND}"),
        ),
        Fault::Figure(NotAFigure::Other) => not_a_figure(&lower),
        Fault::Outside(read) => outside(*read, column, used, word),
        Fault::Flag => Wrong::new("is neither 1 nor 0", format!("write 1 for yes, 0 for no, or {MEND}")),
        Fault::Word => {
            let words = if let Kind::Words(words) = column.kind { words } else { &[] };
            Wrong::new(
                format!("is none of {}", listed(words, "or")),
                format!("{MEND}, or use a column map that says which of these words it means"),
            )
        }
        Fault::OfficialId => Wrong::new(
            "is not 15 digits",
            if lower.contains("e+") {
                "the spreadsheet has rounded it: export it again with this column as text".to_owned()
            } else {
                format!("write the official number without spaces or letters (ISO 11784), or {MEND}")
            },
        ),
        Fault::Control => Wrong::new("holds control characters", format!("take them out, or {MEND}")),
        Fault::NotUtf8 => Wrong::new("is not UTF-8", "save the file as UTF-8 and read it again"),
        Fault::Time(not) => not_a_time(not),
        Fault::Date(not) => not_a_date(not),
        Fault::Future => Wrong::new(
            "is in the future",
            "look whether the clock of box or computer is wrong; the row can be taken in once that time has come, or be mended",
        ),
        Fault::Undecided(both) => Wrong::new(
            "this wall time came twice, as the clock was set back, and the order of the rows does not say which is meant",
            format!("write it with its offset: {both}"),
        ),
    }
}

fn not_a_figure(lower: &str) -> Wrong {
    let unit = lower.trim_start_matches(|letter: char| letter.is_ascii_digit() || "+-. ".contains(letter));
    if unit.len() < lower.len()
        && !unit.is_empty()
        && unit.chars().all(|letter| !letter.is_ascii_digit() && letter != ',')
    {
        return Wrong::new(
            "has words beside the figure",
            format!("write the figure alone; its unit stands in the column's name; or {MEND}"),
        );
    }
    if lower.contains(',') {
        return Wrong::new(
            "is not a figure",
            "write it without separators of thousands and with a point as decimal sign",
        );
    }
    Wrong::new("is not a figure", MEND)
}

fn outside(read: f64, column: &Column, used: &Used, word: &str) -> Wrong {
    let Kind::Number { unit, low, high } = column.kind else { return Wrong::new("outside its range", MEND) };
    let within = |value: f64| low <= value && value <= high;
    let range = format!("outside {low} to {high}{}", spaced(unit));
    let own = match used.conversion {
        Conversion::Same => String::new(),
        Conversion::Pounds => format!(" ({:.1} to {:.1} lb)", low / KG_PER_LB, high / KG_PER_LB),
        Conversion::Fahrenheit => format!(" ({:.1} to {:.1} °F)", low * 1.8 + 32.0, high * 1.8 + 32.0),
        Conversion::LitresOfMilk => " at 1.03 kg a litre".to_owned(),
    };
    let imperial = match unit {
        Unit::Kilograms | Unit::KilogramsPerMinute => ("pounds", Conversion::Pounds),
        _ => ("degrees Fahrenheit", Conversion::Fahrenheit),
    };
    let remedy = match column.imperial_name() {
        Some(name)
            if used.conversion == Conversion::Same && high < read && within(imperial.1.apply(read)) =>
        {
            format!(
                "{MEND}, or if your figures are {} name the column {name} and read the file again",
                imperial.0
            )
        }
        _ if high < read && within(read / 1000.0) && used.conversion == Conversion::Same => {
            let finer = match unit {
                Unit::MilliSiemensPerCm => "µS/cm",
                Unit::ThousandPerMl => "counts a mL",
                Unit::Kilograms => "grams",
                _ => return Wrong::new(range, MEND),
            };
            format!(
                "{MEND}, or if your figures are {finer} divide the column {word} by 1000 and read the file again"
            )
        }
        _ => MEND.to_owned(),
    };
    Wrong::new(range + &own, remedy)
}

/// The unit behind a figure, with its space.
fn spaced(unit: Unit) -> &'static str {
    match unit {
        Unit::Kilograms => " kg",
        Unit::KilogramsPerMinute => " kg/min",
        Unit::Celsius => " °C",
        Unit::Seconds => " s",
        Unit::Minutes => " min",
        Unit::MilliSiemensPerCm => " mS/cm",
        Unit::PartsPerMillion => " ppm",
        Unit::Percent => " %",
        Unit::ThousandPerMl => " thousand/mL",
        Unit::Centimetres => " cm",
        Unit::McalPerKg => " Mcal/kg",
        Unit::MoneyPerTonne => " a tonne",
        Unit::Own => "",
    }
}

fn not_a_time(not: &NotATime) -> Wrong {
    match not {
        NotATime::DayOnly => {
            Wrong::new("has a day but no time", format!("write the time too, as 2026-03-02T05:30: {MEND}"))
        }
        NotATime::Skipped => Wrong::new(
            "never was: the clock was put forward over this wall time",
            "look whether the clock of the box had not been changed yet, and write the time with its offset",
        ),
        NotATime::NoSuch(part) => Wrong::new(format!("is no time: there is no such {part}"), MEND),
        NotATime::Form => Wrong::new(
            "is not a time",
            "write it as 2026-03-02T05:30:00-05:00, or without the offset in the farm's zone; other forms can be read with a column map",
        ),
    }
}

fn not_a_date(not: &NotATime) -> Wrong {
    match not {
        NotATime::NoSuch(part) => Wrong::new(format!("is no day: there is no such {part}"), MEND),
        _ => Wrong::new(
            "is not a day",
            "write it as 2026-03-02 (year, month, day); other forms can be read with a column map",
        ),
    }
}
