//! Characteristics of milk: figures that the standard writes as text, each in its own unit unless it names another.

use super::notes::Notes;
use super::take::{Got, list, needed, refuse, text};
use super::tree::Node;
use crate::faults::MEND;
use crate::figure::{NotAFigure, figure};
use crate::issue::shown;

/// A characteristic that is read, and the column its figure goes to.
pub(crate) struct Known {
    name: &'static str,
    pub column: &'static str,
    /// Codes of the unit it has when none is named, and of others, each with what its figures are multiplied by.
    units: &'static [(&'static str, f64)],
}

const fn known(name: &'static str, column: &'static str, units: &'static [(&'static str, f64)]) -> Known {
    Known { name, column, units }
}

/// Per cent: the schema's own code, and that of the list of units.
const PER_CENT: &[(&str, f64)] = &[("VP", 1.0), ("P1", 1.0)];
/// kg/min, the schema's own code.
const FLOW: &[(&str, f64)] = &[("F31", 1.0)];

/// Of the whole milk of a visit.
pub(crate) const WHOLE: [Known; 7] = [
    known("SCC", "scc_k", &[("NCL", 1.0)]),
    known("FAT", "fat_pct", PER_CENT),
    known("PROTEIN", "protein_pct", PER_CENT),
    known("LAC", "lactose_pct", PER_CENT),
    known("TEMPERATURE", "milk_c", &[("CEL", 1.0), ("FAH", 1.0)]),
    known("WEIGHT", "weight_kg", &[("KGM", 1.0), ("LBR", cowpath_core::units::KG_PER_LB)]),
    known("BLOOD", "blood_ppm", &[("A99", 1.0), ("59", 1.0)]),
];

/// Of a quarter; the column follows the quarter's letters.
pub(crate) const QUARTER: [Known; 3] = [
    // mS/cm at 25 °C; D10 is S/m.
    known("AVGCOND", "ms_cm", &[("H61", 1.0), ("D10", 10.0)]),
    known("AVGFLWR", "flow_kg_min", FLOW),
    known("MAXFLWR", "peak_kg_min", FLOW),
];

/// Of a day of official milk recording.
pub(crate) const RECORDED: [Known; 4] = [
    known("SCC", "scc_k", &[("NCL", 1.0)]),
    known("FAT", "fat_pct", PER_CENT),
    known("PROTEIN", "protein_pct", PER_CENT),
    known("LAC", "lactose_pct", PER_CENT),
];

/// One figure found.
pub(crate) struct Found {
    /// Its place among those that were asked for.
    pub place: usize,
    /// Its column; `blood` where blood was seen and not measured.
    pub column: &'static str,
    /// In the column's unit.
    pub value: f64,
}

/// The characteristics of a list that are known. Others are noted as not used.
pub(crate) fn of(node: &Node<'_>, property: &str, all: &[Known], notes: &mut Notes) -> Got<Vec<Found>> {
    let own = list(node, property)?;
    let mut found: Vec<Found> = Vec::with_capacity(own.len().min(all.len()));
    for own in own {
        // Which it is must be known before it can be said to be of use.
        let Some(name) = text(own, "characteristic")? else {
            return refuse(&format!("{property}.characteristic"), "", "is not there", MEND);
        };
        let Some(place) = all.iter().position(|known| known.name.eq_ignore_ascii_case(name)) else {
            own.use_all();
            notes.unused(&format!("{property}.{}", shown(name.to_ascii_uppercase().as_bytes())));
            continue;
        };
        let known = &all[place];
        let column = known.column;
        if found.iter().any(|found| found.column == column) {
            return refuse(&format!("{property}.{}", known.name), "", "comes twice", MEND);
        }
        if let Some(read) = one(own, property, known)? {
            found.push(Found { place, ..read });
        }
    }
    Ok(found)
}

fn one(own: &Node<'_>, property: &str, known: &Known) -> Got<Option<Found>> {
    // Put together only once something is wrong.
    let place = || format!("{property}.{}", known.name);
    let words = match own.get("value") {
        Some(Node::Text(words)) => words.trim(),
        Some(other) => {
            return refuse(
                &place(),
                &other.shown(),
                format!("is {}, where the standard writes the figure as a text", other.kind()),
                "write it in quotation marks where the file is made, and read the file again",
            );
        }
        None => needed(None, &place())?,
    };
    let unit = text(own, "unit")?;
    let is_blood = known.column == "blood_ppm";
    if is_blood && unit != Some("59") {
        return match words {
            "true" => Ok(Some(Found { place: 0, column: "blood", value: 1.0 })),
            "false" => Ok(None),
            _ => refuse(&place(), words, "is neither true nor false, and its unit is not 59 (ppm)", MEND),
        };
    }
    let read = match figure(words.as_bytes()) {
        Ok(read) => read,
        Err(NotAFigure::DecimalComma) => {
            return refuse(
                &place(),
                words,
                "has a decimal comma",
                "write it with a point where the file is made, and read the file again",
            );
        }
        Err(_) => {
            return refuse(
                &place(),
                words,
                "is not a figure",
                "leave the characteristic out if it was not measured, and read the file again",
            );
        }
    };
    let code = unit.unwrap_or(known.units[0].0);
    let Some((_, factor)) = known.units.iter().find(|(own, _)| *own == code) else {
        let codes: Vec<&str> = known.units.iter().map(|(own, _)| *own).collect();
        return refuse(
            &format!("{}.unit", place()),
            code,
            format!("is not a unit that is read for {}; known are {}", known.name, codes.join(", ")),
            "look at the unit where the file is made, and read the file again",
        );
    };
    let value =
        if code == "FAH" { cowpath_core::units::Celsius::from_fahrenheit(read).0 } else { read * factor };
    Ok(Some(Found { place: 0, column: known.column, value }))
}
