//! What is wrong with a cell, in words: the reason, and what the person can do.

use cowpath_core::tables::{Column, Conversion, Kind, Unit};
use cowpath_core::units::KG_PER_LB;

use crate::cells::LONGEST_NAME;
use crate::figure::NotAFigure;
use crate::issue::Wrong;
use crate::sniff::Used;
use crate::time::NotATime;
use crate::trouble::listed;

/// What can be done about nearly every row; said in one place. Rows already taken in stay as they are.
pub(crate) const MEND: &str = "mend it in the file and read the file again";

/// Texts that programs write where they have nothing.
const NOTHING: [&str; 10] = ["na", "n/a", "nan", "null", "none", "nil", "-", "--", "?", "#n/a"];

const LEAVE_EMPTY: &str = "leave the cell empty if it was not measured, and read the file again";

/// What is wrong with a cell, before it is put into words.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Fault {
    Empty,
    Figure(NotAFigure),
    /// The figure as written, before any conversion.
    Outside(f64),
    Flag,
    Word,
    OfficialId,
    Control,
    LongName,
    NotUtf8,
    Time(NotATime),
    Date(NotATime),
    /// 1970 or before.
    ClockZero,
    Future,
    /// No length of time of a row.
    Span,
    /// Both instants, written out.
    Undecided(String),
}

/// A fault in words. `word` is the column as the header writes it.
pub(crate) fn wrong(fault: &Fault, column: &Column, used: &Used, word: &str, text: &[u8]) -> Wrong {
    let lower = String::from_utf8_lossy(text).to_lowercase();
    if text.contains(&0) {
        return Wrong::new("holds NUL bytes: the file was damaged", "export it again and read it again");
    }
    if NOTHING.contains(&lower.as_str()) && column.kind != Kind::Text {
        let is_figure = matches!(column.kind, Kind::Number { .. });
        return Wrong::new(
            if is_figure { "is not a figure" } else { "is not a value of this column" },
            LEAVE_EMPTY,
        );
    }
    match fault {
        Fault::Empty => {
            Wrong::new("empty, and no row can do without it", "fill it in and read the file again")
        }
        Fault::Figure(NotAFigure::DecimalComma) => Wrong::new(
            "has a decimal comma",
            "export the file again with points as decimal signs (9.8), and read it again",
        ),
        Fault::Figure(NotAFigure::NotFinite) => Wrong::new("is not a finite figure", LEAVE_EMPTY),
        Fault::Figure(NotAFigure::Other) => not_a_figure(&lower),
        Fault::Outside(read) => outside(*read, column, used, word),
        Fault::Flag => {
            Wrong::new("is neither 1 nor 0", "write 1 for yes and 0 for no, and read the file again")
        }
        Fault::Word => {
            let words = if let Kind::Words(words) = column.kind { words } else { &[] };
            Wrong::new(
                format!("is none of {}", listed(words, "or")),
                "write the one that it means, and read the file again",
            )
        }
        Fault::OfficialId if lower.contains("e+") => Wrong::new(
            "is not 15 digits",
            "a spreadsheet has rounded it: export the file again with this column as text",
        ),
        Fault::OfficialId => Wrong::new(
            "is not 15 digits",
            "write the official number without spaces or letters (ISO 11784), and read the file again",
        ),
        Fault::Control => Wrong::new("holds control characters", "take them out and read the file again"),
        Fault::LongName => Wrong::new(format!("is longer than the {LONGEST_NAME} letters of a name"), MEND),
        Fault::NotUtf8 => Wrong::new("is not UTF-8", "save the file as UTF-8 and read it again"),
        Fault::Time(not) => not_a_time(not),
        Fault::Date(not) => not_a_date(not),
        Fault::ClockZero => Wrong::new(
            "is in 1970 or before: a clock was not set, or a spreadsheet turned an empty cell into a day",
            "write the true time, or leave the cell empty where it may be, and read the file again",
        ),
        Fault::Future => Wrong::new(
            "is in the future",
            "look whether the clock of the box or of this computer is wrong; once that time has come the file can be read again",
        ),
        Fault::Span => Wrong::new(
            "is not a length of time from 0 to 24 hours",
            "look at `unit` of this column in the map (s, min, h, min:s, h:min), or mend it in the file; then read the file again",
        ),
        Fault::Undecided(both) => Wrong::new(
            "this wall time came twice, as the clock was set back, and the order of the rows does not say which is meant",
            format!("write it with its offset: {both}"),
        ),
    }
}

/// The same for a file that is read with a column map: what to do may then be to mend the map.
pub(crate) fn wrong_mapped(fault: &Fault, wrong: Wrong, text: &[u8]) -> Wrong {
    let remedy = match fault {
        // As a figure of another form was spoilt, so that it is not read.
        Fault::Figure(_) if text.contains(&b'\'') => {
            return Wrong::new(
                "is not a figure of the form that the map names",
                "look at `decimal` and `thousands` in the map, or mend it in the file; then read the file again",
            );
        }
        Fault::Figure(NotAFigure::DecimalComma) => {
            "if its decimal sign is a comma, write `decimal = \",\"` into the map; then read the file again"
        }
        Fault::Word | Fault::Flag => {
            "add this word to the `words` of its column in the map, or mend it in the file; then read the file again"
        }
        Fault::Time(NotATime::Form | NotATime::NoSuch(_)) | Fault::Date(_) => {
            "if other rows have it too, look at `order` in the map (day-month-year, month-day-year, year-month-day); \
             else mend it in the file; then read the file again"
        }
        _ => return wrong,
    };
    Wrong { remedy: remedy.to_owned(), ..wrong }
}

fn not_a_figure(lower: &str) -> Wrong {
    let unit = lower.trim_start_matches(|letter: char| letter.is_ascii_digit() || "+-. ".contains(letter));
    let has_words = !unit.is_empty() && unit.chars().all(|letter| !letter.is_ascii_digit() && letter != ',');
    if unit.len() < lower.len() && has_words {
        return Wrong::new(
            "has words beside the figure",
            "write the figure alone, as its unit stands in the column's name, and read the file again",
        );
    }
    if lower.contains(',') {
        return Wrong::new(
            "is not a figure",
            "write it without separators of thousands and with a point as decimal sign, and read the file again",
        );
    }
    Wrong::new("is not a figure", MEND)
}

fn outside(read: f64, column: &Column, used: &Used, word: &str) -> Wrong {
    let Kind::Number { unit, low, high } = column.kind else { return Wrong::new("outside its range", MEND) };
    let within = |value: f64| low <= value && value <= high;
    let range = format!("outside {low} to {high}{}", spaced(unit));
    let reason = match used.conversion {
        Conversion::Same => range,
        Conversion::Pounds => format!("{range} ({:.1} to {:.1} lb)", low / KG_PER_LB, high / KG_PER_LB),
        Conversion::Fahrenheit => format!("{range} ({:.1} to {:.1} °F)", low * 1.8 + 32.0, high * 1.8 + 32.0),
        Conversion::LitresOfMilk => format!("{range} at 1.03 kg a litre"),
        other => format!("{range} ({} to {} as the file writes it)", other.back(low), other.back(high)),
    };
    if used.conversion != Conversion::Same || read <= high {
        return Wrong::new(reason, MEND);
    }
    // Too large by a factor that tells: figures in another unit.
    let (conversion, imperial) = match unit {
        Unit::Celsius => (Conversion::Fahrenheit, "degrees Fahrenheit"),
        _ => (Conversion::Pounds, "pounds"),
    };
    let finer = match unit {
        Unit::MilliSiemensPerCm => Some("µS/cm"),
        Unit::ThousandPerMl => Some("counts a mL"),
        Unit::Kilograms => Some("grams"),
        _ => None,
    };
    let remedy = match (column.imperial_name(), finer) {
        (Some(name), _) if within(conversion.apply(read)) => {
            format!("{MEND}, or if your figures are {imperial} name the column {name}")
        }
        (_, Some(finer)) if within(read / 1000.0) => {
            format!("{MEND}, or if your figures are {finer} divide the whole column {word} by 1000")
        }
        _ => MEND.to_owned(),
    };
    Wrong::new(reason, remedy)
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
        NotATime::DayOnly => Wrong::new(
            "has a day but no time",
            "write the time too, as 2026-03-02T05:30, and read the file again",
        ),
        NotATime::Skipped => Wrong::new(
            "never was: the clock was put forward over this wall time",
            "look whether the clock of the box had not been changed yet, and write the time with its offset",
        ),
        NotATime::NoSuch(part) => Wrong::new(format!("is no time: there is no such {part}"), MEND),
        NotATime::NoOffset | NotATime::Form => Wrong::new(
            "is not a time",
            "write it as 2026-03-02T05:30:00-05:00, or without the offset in the farm's zone, and read the file again",
        ),
    }
}

fn not_a_date(not: &NotATime) -> Wrong {
    match not {
        NotATime::NoSuch(part) => Wrong::new(format!("is no day: there is no such {part}"), MEND),
        _ => Wrong::new("is not a day", "write it as 2026-03-02 (year, month, day), and read the file again"),
    }
}
