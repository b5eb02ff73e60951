//! One property of a resource, checked: a text, a figure, a time, a quantity in the unit that its code names.

use cowpath_core::tables::{Cell, Kind, Table};
use jiff::{Timestamp, civil::Date, tz::TimeZone};

use super::tree::Node;
use crate::faults::MEND;
use crate::issue::{Wrong, shown};
use crate::time::{NotATime, rfc3339_ms, timestamp};

/// What cannot be used, and why.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Refused {
    /// The property, with those it stands in.
    pub property: String,
    /// What stands there; empty where nothing does.
    pub value: String,
    /// Why not, and what to do.
    pub wrong: Wrong,
}

pub(crate) type Got<T> = Result<T, Refused>;

/// What every resource of a file is read with.
pub(crate) struct Desk {
    pub zone: TimeZone,
    pub now: Timestamp,
}

/// Instants before 1971, ms: the zero of a computer's clock.
const CLOCK_ZERO_ENDS_MS: i64 = 365 * 86_400_000;

pub(crate) fn refuse<T>(property: &str, value: &str, reason: impl Into<String>, remedy: &str) -> Got<T> {
    Err(Refused {
        property: property.to_owned(),
        value: shown(value.as_bytes()),
        wrong: Wrong::new(reason, remedy),
    })
}

/// The property, or that it is wanting.
pub(crate) fn needed<T>(got: Option<T>, property: &str) -> Got<T> {
    match got {
        Some(value) => Ok(value),
        None => refuse(property, "", "is not there, and no row can do without it", MEND),
    }
}

/// A text without blanks around it; an empty one is none.
pub(crate) fn text<'n>(node: &'n Node<'_>, property: &str) -> Got<Option<&'n str>> {
    match node.get(property) {
        None => Ok(None),
        Some(Node::Text(text)) => {
            let text = text.trim();
            if holds_controls(text) && property != "remark" {
                return refuse(property, text, "holds control characters", MEND);
            }
            Ok((!text.is_empty()).then_some(text))
        }
        Some(other) => refuse(
            property,
            &other.shown(),
            format!("is {}, where the standard has a text", other.kind()),
            MEND,
        ),
    }
}

fn holds_controls(text: &str) -> bool {
    // Nearly every text is short and plain.
    let plain = text.bytes().fold(true, |plain, byte| plain & matches!(byte, b' '..=b'~'));
    !plain && text.contains(|letter: char| letter.is_control())
}

/// A number of JSON.
pub(crate) fn number(node: &Node<'_>, property: &str) -> Got<Option<f64>> {
    match node.get(property) {
        None => Ok(None),
        Some(Node::Number(figure)) => Ok(Some(*figure)),
        Some(other) => {
            let reason = format!("is {}, where the standard has a number", other.kind());
            refuse(property, &other.shown(), reason, MEND)
        }
    }
}

/// `true` or `false`.
pub(crate) fn truth(node: &Node<'_>, property: &str) -> Got<Option<bool>> {
    match node.get(property) {
        None => Ok(None),
        Some(Node::Truth(truth)) => Ok(Some(*truth)),
        Some(other) => {
            let reason = format!("is {}, where the standard has true or false", other.kind());
            refuse(property, &other.shown(), reason, MEND)
        }
    }
}

/// The values of a list; none where it is absent.
pub(crate) fn list<'n, 'a>(node: &'n Node<'a>, property: &str) -> Got<&'n [Node<'a>]> {
    match node.get(property) {
        None => Ok(&[]),
        Some(Node::List(values)) => Ok(values),
        Some(other) => {
            let reason = format!("is {}, where the standard has a list", other.kind());
            refuse(property, &other.shown(), reason, MEND)
        }
    }
}

/// One of the standard's words.
pub(crate) fn word<'n>(node: &'n Node<'_>, property: &str, words: &[&'static str]) -> Got<Option<&'n str>> {
    let Some(own) = text(node, property)? else { return Ok(None) };
    if words.contains(&own) {
        return Ok(Some(own));
    }
    refuse(property, own, format!("is none of {}", words.join(", ")), MEND)
}

/// An instant: RFC 3339 with its offset, whichever it is; not before 1971.
pub(crate) fn instant(node: &Node<'_>, property: &str) -> Got<Option<Timestamp>> {
    let Some(own) = text(node, property)? else { return Ok(None) };
    let ms = match rfc3339_ms(own.as_bytes()) {
        Ok(ms) => ms,
        Err(NotATime::NoSuch(part)) => {
            return refuse(property, own, format!("is no time: there is no such {part}"), MEND);
        }
        Err(NotATime::NoOffset) => {
            return refuse(
                property,
                own,
                "has no offset, and the standard leaves none out",
                "write it as 2026-03-02T05:30:00Z or with the offset of its place, and read the file again",
            );
        }
        Err(_) => {
            return refuse(
                property,
                own,
                "is not a time of RFC 3339",
                "write it as 2026-03-02T05:30:00Z, and read the file again",
            );
        }
    };
    if ms < CLOCK_ZERO_ENDS_MS {
        return refuse(property, own, "is in 1970 or before: a clock was not set", MEND);
    }
    match timestamp(ms) {
        Ok(at) => Ok(Some(at)),
        Err(_) => refuse(property, own, "is not a time", MEND),
    }
}

/// An instant that has come.
pub(crate) fn past(desk: &Desk, node: &Node<'_>, property: &str) -> Got<Option<Timestamp>> {
    let at = instant(node, property)?;
    match at {
        Some(at) if desk.now < at => refuse(
            property,
            &at.to_string(),
            "is in the future",
            "look whether the clock of the box or of this computer is wrong; once that time has come the file can be read again",
        ),
        at => Ok(at),
    }
}

/// A day: written as such, or as the instant of its midnight wherever that is; of another instant the farm's day.
pub(crate) fn day(desk: &Desk, node: &Node<'_>, property: &str) -> Got<Option<Date>> {
    let Some(own) = text(node, property)? else { return Ok(None) };
    if own.len() == 10
        && let Ok(day) = own.parse::<Date>()
    {
        return Ok(Some(day));
    }
    let Some(at) = instant(node, property)? else { return Ok(None) };
    let midnight = own.get(10..).is_some_and(|rest| {
        rest.get(1..9) == Some("00:00:00")
            && rest.as_bytes().get(9).is_none_or(|next| matches!(next, b'Z' | b'z' | b'+' | b'-'))
    });
    match own.get(..10).map(str::parse::<Date>) {
        Some(Ok(day)) if midnight => Ok(Some(day)),
        _ => Ok(Some(desk.zone.to_datetime(at).date())),
    }
}

/// Seconds of a duration; its unit must be named.
pub(crate) fn seconds(node: &Node<'_>, property: &str) -> Got<Option<f64>> {
    let Some((value, code)) = quantity(node, property)? else { return Ok(None) };
    let seconds = match code {
        "SEC" => value,
        "MIN" => value * 60.0,
        other => return unknown_unit(property, other, "SEC or MIN"),
    };
    if seconds < 0.0 {
        return refuse(property, &value.to_string(), "is less than nothing", MEND);
    }
    Ok(Some(seconds))
}

/// Kilograms of milk; the standard has no other unit.
pub(crate) fn milk_kg(node: &Node<'_>, property: &str) -> Got<Option<f64>> {
    let Some((value, code)) = quantity(node, property)? else { return Ok(None) };
    if code != "KGM" {
        return unknown_unit(property, code, "KGM: pounds must be converted where the file is made");
    }
    Ok(Some(value))
}

/// Kilograms of feed.
pub(crate) fn feed_kg(node: &Node<'_>, property: &str) -> Got<Option<f64>> {
    let Some((value, code)) = quantity(node, property)? else { return Ok(None) };
    match mass_kg(value, code) {
        Some(kg) => Ok(Some(kg)),
        None => unknown_unit(property, code, "KGM, GRM, LBR, TNE, MC, MGM, ONZ or PN"),
    }
}

/// Kilograms from a figure and a UN/CEFACT code; pound and ounce are exact by definition.
pub(crate) fn mass_kg(value: f64, code: &str) -> Option<f64> {
    let pounds = |pounds| cowpath_core::units::Kilograms::from_pounds(pounds).0;
    Some(match code {
        "KGM" => value,
        "GRM" => value / 1000.0,
        "LBR" | "PN" => pounds(value),
        "TNE" => value * 1000.0,
        "MC" => value / 1e9,
        "MGM" => value / 1e6,
        "ONZ" => pounds(value / 16.0),
        _ => return None,
    })
}

/// Figure and unit code; a figure without its unit is not guessed at.
fn quantity<'n>(node: &'n Node<'_>, property: &str) -> Got<Option<(f64, &'n str)>> {
    let Some(own) = node.get(property) else { return Ok(None) };
    if !matches!(own, Node::Object(_)) {
        let reason = format!("is {}, where the standard has a figure and its unit", own.kind());
        return refuse(property, &own.shown(), reason, MEND);
    }
    let within =
        |refused: Refused| Refused { property: format!("{property}.{}", refused.property), ..refused };
    let value = number(own, "value").map_err(within)?;
    let code = text(own, "unitCode").map_err(within)?;
    match (value, code) {
        (Some(value), Some(code)) => Ok(Some((value, code))),
        (Some(value), None) => refuse(
            &format!("{property}.unitCode"),
            "",
            format!("is not there: the unit of {value} is not known and is not guessed at"),
            "name the unit by its UN/CEFACT code where the file is made, and read the file again",
        ),
        (None, Some(_)) => refuse(&format!("{property}.value"), "", "is not there", MEND),
        // Neither says nothing.
        (None, None) => Ok(None),
    }
}

fn unknown_unit<T>(property: &str, code: &str, known: &str) -> Got<T> {
    refuse(
        &format!("{property}.unitCode"),
        code,
        format!("is not a unit of this property; the standard has {known}"),
        "look at the unit where the file is made, and read the file again",
    )
}

/// Puts a figure into a column, if it is within the column's range.
pub(crate) fn put(
    row: &mut [Cell],
    table: &'static Table,
    column: &str,
    value: Option<f64>,
    property: &str,
) -> Got<()> {
    if value.is_none() {
        return Ok(());
    }
    let Some(place) = table.index(column) else { return Ok(()) };
    put_at(row, table, place, value, property)
}

/// The same, of a column whose place is known.
pub(crate) fn put_at(
    row: &mut [Cell],
    table: &'static Table,
    place: usize,
    value: Option<f64>,
    property: &str,
) -> Got<()> {
    let Some(value) = value else { return Ok(()) };
    let Some(column) = table.columns.get(place) else { return Ok(()) };
    if let Kind::Number { low, high, .. } = column.kind
        && !(low <= value && value <= high)
    {
        return refuse(
            property,
            &value.to_string(),
            format!("is outside {low} to {high} (`{}`)", column.name),
            MEND,
        );
    }
    row[place] = Cell::Number(value);
    Ok(())
}

/// Puts a text into a column.
pub(crate) fn put_text(
    row: &mut [Cell],
    table: &'static Table,
    column: &str,
    text: Option<impl Into<String>>,
) {
    if let (Some(text), Some(place)) = (text, table.index(column)) {
        row[place] = Cell::Text(text.into());
    }
}
