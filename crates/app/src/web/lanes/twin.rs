//! The picture's text twin: the same points as a table, newest first, which the script reads too.

use std::{collections::BTreeMap, fmt::Write};

use jiff::{Timestamp, tz::TimeZone};

use super::escaped;
use crate::{
    ask::lanes::{Lane, Lanes, Point, Strip},
    web::figure,
};

/// Writes the folded table. One row an instant, one column a strip.
pub fn table(out: &mut String, lanes: &Lanes, zone: &TimeZone) {
    let mut rows: BTreeMap<Timestamp, Vec<Option<Cell>>> = BTreeMap::new();
    let empty = || lanes.lanes.iter().map(|_| None).collect::<Vec<Option<Cell>>>();
    for (index, lane) in lanes.lanes.iter().enumerate() {
        match &lane.strip {
            Strip::Points(points) => {
                for point in points {
                    rows.entry(point.at).or_insert_with(empty)[index] = Some(Cell::of(point, lane));
                }
            }
            Strip::Ticks(ticks) => {
                for tick in ticks {
                    rows.entry(tick.at).or_insert_with(empty)[index] = Some(Cell::word(&tick.outcome));
                }
            }
        }
    }
    let name = escaped(&lanes.title);
    let _ = write!(
        out,
        "<details class=\"twin fold\"><summary>The same in figures</summary>\
         <p class=\"soft\">{}</p>\
         <div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{name}, in figures\">\
         <table><thead><tr><th scope=\"col\">when</th>",
        escaped(&lanes.description)
    );
    for lane in &lanes.lanes {
        let _ = write!(
            out,
            "<th scope=\"col\"><span class=\"name\">{}</span> <span class=\"unit\">{}</span></th>",
            escaped(&lane.name),
            escaped(&lane.unit)
        );
    }
    out.push_str("</tr></thead><tbody>");
    for (at, cells) in rows.iter().rev() {
        let when = zone.to_datetime(*at).strftime("%a %-d %b %H:%M").to_string();
        let _ = write!(out, "<tr data-t=\"{}\"><th scope=\"row\">{when}</th>", at.as_millisecond());
        for cell in cells {
            match cell {
                None => out.push_str("<td></td>"),
                Some(cell) if cell.band.is_empty() => {
                    let _ = write!(out, "<td>{}</td>", cell.value);
                }
                Some(cell) => {
                    let (class, word) =
                        if cell.outside { (" class=\"outside\"", ", outside") } else { ("", "") };
                    let _ =
                        write!(out, "<td{class}><b>{}</b> <span>{}{word}</span></td>", cell.value, cell.band);
                }
            }
        }
        out.push_str("</tr>");
    }
    out.push_str(
        "</tbody></table></div><p class=\"soft\">Beside each value: what was expected, from and to. 95 of 100 milkings \
         fall within when nothing is wrong.</p></details>",
    );
}

/// What one strip has at one instant.
struct Cell {
    value: String,
    band: String,
    outside: bool,
}

impl Cell {
    fn of(point: &Point, lane: &Lane) -> Cell {
        let text = |value: f64| figure::of_strip(value, lane.low, lane.high);
        Cell {
            value: point.observed.map_or_else(|| "not measured".into(), text),
            band: format!("{}–{}", text(point.low95), text(point.high95)),
            outside: point.outside(),
        }
    }

    fn word(word: &str) -> Cell {
        Cell { value: escaped(word), band: String::new(), outside: false }
    }
}
