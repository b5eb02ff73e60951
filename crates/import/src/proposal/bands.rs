//! What unit are figures in, where the header does not say, and do they fit the column?
//!
//! Each band is where the median of a log's figures lies on farms; a figure of ours is told by the header's unit first, by
//! physical range second, by these bands third. A band tells for sure only where no other unit's does too.

use cowpath_core::tables::{Column, Kind, Table, Unit};

use crate::column_map::measure::Measure;

use super::seen::median;

/// Units that figures of a column may come in, with the band of their median, the column's own first.
fn bands(column: &Column) -> Vec<(Measure, f64, f64)> {
    let Kind::Number { unit, .. } = column.kind else { return Vec::new() };
    let name = column.name;
    let quarter = ["lf_", "rf_", "lr_", "rr_"].iter().any(|begin| name.starts_with(begin));
    match unit {
        Unit::Kilograms if quarter => {
            vec![(Measure::Own, 1.5, 4.4), (Measure::Pounds, 3.2, 9.7), (Measure::Grams, 1000.0, 6000.0)]
        }
        Unit::Kilograms if name == "milk_kg" => {
            vec![(Measure::Own, 6.5, 15.0), (Measure::Pounds, 14.4, 33.0), (Measure::Grams, 4000.0, 20_000.0)]
        }
        Unit::Kilograms if name == "weight_kg" => {
            vec![(Measure::Own, 400.0, 850.0), (Measure::Pounds, 900.0, 1900.0)]
        }
        Unit::Kilograms if name.starts_with("feed_") => {
            vec![(Measure::Own, 0.4, 4.0), (Measure::Pounds, 0.9, 9.0), (Measure::Grams, 200.0, 6000.0)]
        }
        Unit::KilogramsPerMinute => vec![
            (Measure::Own, 0.3, 1.9),
            (Measure::PoundsPerMinute, 0.7, 4.2),
            (Measure::GramsPerMinute, 100.0, 3000.0),
        ],
        Unit::Celsius => vec![(Measure::Own, 1.0, 44.0), (Measure::Fahrenheit, 84.0, 112.0)],
        Unit::Seconds => vec![(Measure::Own, 60.0, 1200.0), (Measure::Minutes, 1.5, 20.0)],
        Unit::Minutes if name == "minutes" => vec![(Measure::Own, 5.0, 1440.0), (Measure::Hours, 0.1, 4.9)],
        Unit::Minutes => vec![
            (Measure::Own, 12.0, 900.0),
            (Measure::Hours, 0.1, 11.9),
            (Measure::Seconds, 1500.0, 60_000.0),
        ],
        Unit::MilliSiemensPerCm => vec![
            (Measure::Own, 3.0, 9.0),
            (Measure::MicroSiemensPerCm, 3000.0, 9000.0),
            (Measure::MilliSiemensPerMetre, 300.0, 900.0),
        ],
        Unit::Percent => {
            vec![
                (Measure::Own, 1.5, 9.0),
                (Measure::GramsPerKilogram, 20.0, 80.0),
                (Measure::Share, 0.015, 0.09),
            ]
        }
        Unit::ThousandPerMl => vec![(Measure::Own, 4.0, 2500.0), (Measure::CountsPerMl, 4500.0, 2_500_000.0)],
        _ => Vec::new(),
    }
}

/// What was found out about the unit of some figures.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Told {
    pub measure: Measure,
    pub sure: bool,
    pub reason: String,
}

/// A figure as a reason shows it.
pub(crate) fn short(figure: f64) -> String {
    let shown = if figure.abs() < 10.0 { format!("{figure:.2}") } else { format!("{figure:.1}") };
    if shown.contains('.') { shown.trim_end_matches('0').trim_end_matches('.').to_owned() } else { shown }
}

/// The unit of figures (sorted) that the header does not name.
pub(crate) fn unit_of(table: &Table, column: &Column, figures: &[f64]) -> Told {
    let Some(middle) = median(figures) else {
        return Told {
            measure: Measure::Own,
            sure: false,
            reason: "no figure in the sample tells its unit".into(),
        };
    };
    // Visits that gave no milk say nothing of the unit.
    let positive: Vec<f64> = figures.iter().copied().filter(|figure| 0.0 < *figure).collect();
    let middle = median(&positive).unwrap_or(middle);
    let own = crate::column_map::measure::own_name(unit(column));
    let all = bands(column);
    if table.name == "recordings" && column.name == "milk_kg" {
        return of_bands(&[(Measure::Own, 18.0, 45.0), (Measure::Pounds, 45.0, 110.0)], middle, own);
    }
    if table.name == "pickups" && column.name == "milk_kg" {
        return Told {
            measure: Measure::Own,
            sure: false,
            reason: "the header does not say whether it is kg or litres".into(),
        };
    }
    if all.is_empty() {
        return Told { measure: Measure::Own, sure: true, reason: String::new() };
    }
    of_bands(&all, middle, own)
}

fn unit(column: &Column) -> Unit {
    if let Kind::Number { unit, .. } = column.kind { unit } else { Unit::Own }
}

fn of_bands(bands: &[(Measure, f64, f64)], middle: f64, own: &str) -> Told {
    let fits: Vec<Measure> = bands
        .iter()
        .filter(|(_, low, high)| *low <= middle && middle <= *high)
        .map(|(measure, ..)| *measure)
        .collect();
    let name = |measure: Measure| measure.name().unwrap_or(own).to_owned();
    let middle = short(middle);
    match fits.as_slice() {
        [one] => {
            // Pounds are never taken from figures alone.
            let sure = !matches!(one, Measure::Pounds | Measure::PoundsPerMinute);
            Told {
                measure: *one,
                sure,
                reason: format!(
                    "the header names no unit; the middle figure is {middle}, as in {}",
                    name(*one)
                ),
            }
        }
        [] => Told {
            measure: Measure::Own,
            sure: false,
            reason: format!("the header names no unit, and the middle figure is {middle}, unusual in any"),
        },
        several => Told {
            measure: several[0],
            sure: false,
            reason: format!(
                "the header names no unit, and the middle figure, {middle}, may be {}",
                several.iter().map(|measure| name(*measure)).collect::<Vec<_>>().join(" or ")
            ),
        },
    }
}

/// How many figures lie outside the column's range, read in a measure.
pub(crate) fn outside(table: &Table, column: &Column, measure: Measure, figures: &[f64]) -> usize {
    let Kind::Number { low, high, .. } = column.kind else { return 0 };
    let Some(conversion) = measure.of(table, column) else { return figures.len() };
    figures
        .iter()
        .filter(|figure| {
            let value = conversion.apply(**figure);
            !(low <= value && value <= high)
        })
        .count()
}

/// The measure that a header names, and how many of its words say so; `None` in it: a unit that the contract does not read.
pub(crate) fn named(header: &str, words: &[String]) -> (Option<Result<Measure, String>>, Vec<String>) {
    let lower = header.to_lowercase().replace(['µ', 'μ'], "u").replace('°', " ");
    let squeezed: String = lower.chars().filter(|letter| !letter.is_whitespace()).collect();
    // As written, with the words they leave in a header.
    const UNITS: [(&str, &[&str], Measure); 32] = [
        ("kg/min", &["kg", "min"], Measure::Own),
        ("lbs/min", &["lbs", "min"], Measure::PoundsPerMinute),
        ("lb/min", &["lb", "min"], Measure::PoundsPerMinute),
        ("g/min", &["g", "min"], Measure::GramsPerMinute),
        ("ms/cm", &["ms", "cm", "m", "s"], Measure::Own),
        ("us/cm", &["us", "cm", "u", "s"], Measure::MicroSiemensPerCm),
        ("ms/m", &["ms", "m", "s"], Measure::MilliSiemensPerMetre),
        ("(ms)", &["ms", "m", "s"], Measure::Own),
        ("[ms]", &["ms", "m", "s"], Measure::Own),
        ("g/kg", &["g", "kg"], Measure::GramsPerKilogram),
        ("1000/ml", &["1000", "ml"], Measure::Own),
        ("x1000", &["x1000", "ml"], Measure::Own),
        ("x1.000", &["x1", "000", "ml"], Measure::Own),
        ("*1000", &["1000", "ml"], Measure::Own),
        ("'000", &["000", "ml"], Measure::Own),
        ("tsd", &["tsd", "ml"], Measure::Own),
        ("k/ml", &["k", "ml"], Measure::Own),
        ("duizend", &["duizend", "ml"], Measure::Own),
        ("miles/ml", &["miles", "ml"], Measure::Own),
        ("milliers", &["milliers", "ml"], Measure::Own),
        ("tusen", &["tusen", "tusend", "ml"], Measure::Own),
        ("cells/ml", &["cells", "ml"], Measure::CountsPerMl),
        ("/ml", &["ml"], Measure::CountsPerMl),
        ("h:mm", &["h", "hh", "mm", "ss"], Measure::HoursAndMinutes),
        ("hh:mm", &["h", "hh", "mm", "ss"], Measure::HoursAndMinutes),
        ("m:ss", &["m", "mm", "ss"], Measure::MinutesAndSeconds),
        ("mm:ss", &["m", "mm", "ss"], Measure::MinutesAndSeconds),
        ("min:s", &["min", "s", "sec", "sek"], Measure::MinutesAndSeconds),
        ("%", &[], Measure::Own),
        ("°c", &["c"], Measure::Own),
        ("ppm", &["ppm"], Measure::Own),
        ("mcal/kg", &["mcal", "kg"], Measure::Own),
    ];
    if let Some((_, own, measure)) = UNITS.iter().find(|(sign, ..)| squeezed.contains(sign)) {
        let rest = words.iter().filter(|word| !own.contains(&word.as_str())).cloned().collect();
        return (Some(Ok(*measure)), rest);
    }
    const WORDS: [(&str, Result<Measure, &str>); 43] = [
        ("kg", Ok(Measure::Own)),
        ("kgs", Ok(Measure::Own)),
        ("kilo", Ok(Measure::Own)),
        ("lb", Ok(Measure::Pounds)),
        ("lbs", Ok(Measure::Pounds)),
        ("pounds", Ok(Measure::Pounds)),
        ("g", Ok(Measure::Grams)),
        ("gr", Ok(Measure::Grams)),
        ("gram", Ok(Measure::Grams)),
        ("gramm", Ok(Measure::Grams)),
        ("l", Ok(Measure::Litres)),
        ("ltr", Ok(Measure::Litres)),
        ("liter", Ok(Measure::Litres)),
        ("litre", Ok(Measure::Litres)),
        ("litres", Ok(Measure::Litres)),
        ("liters", Ok(Measure::Litres)),
        ("litros", Ok(Measure::Litres)),
        ("litri", Ok(Measure::Litres)),
        ("gal", Err("gallons")),
        ("oz", Err("ounces")),
        ("c", Ok(Measure::Own)),
        ("celsius", Ok(Measure::Own)),
        ("f", Ok(Measure::Fahrenheit)),
        ("fahrenheit", Ok(Measure::Fahrenheit)),
        ("s", Ok(Measure::Seconds)),
        ("sec", Ok(Measure::Seconds)),
        ("secs", Ok(Measure::Seconds)),
        ("sek", Ok(Measure::Seconds)),
        ("seg", Ok(Measure::Seconds)),
        ("seconds", Ok(Measure::Seconds)),
        ("sekunden", Ok(Measure::Seconds)),
        ("secondes", Ok(Measure::Seconds)),
        ("seconden", Ok(Measure::Seconds)),
        ("segundos", Ok(Measure::Seconds)),
        ("secondi", Ok(Measure::Seconds)),
        ("sekunder", Ok(Measure::Seconds)),
        ("min", Ok(Measure::Minutes)),
        ("mins", Ok(Measure::Minutes)),
        ("minuten", Ok(Measure::Minutes)),
        ("minutter", Ok(Measure::Minutes)),
        ("h", Ok(Measure::Hours)),
        ("hrs", Ok(Measure::Hours)),
        ("pct", Ok(Measure::Own)),
    ];
    let last = words.last().map(String::as_str).unwrap_or_default();
    let in_brackets =
        lower.find(['(', '[', '{']).map(|at| super::words::tokens(&lower[at..])).unwrap_or_default();
    // At the end of the header or in brackets; one that is the whole header is a name.
    let found = WORDS.iter().find(|(word, _)| {
        (1 < words.len() && *word == last)
            || in_brackets.iter().any(|own| own == word) && words.iter().any(|own| own == word)
    });
    match found {
        Some((word, measure)) => {
            let rest = words.iter().filter(|own| own != word).cloned().collect();
            (Some(measure.map_err(str::to_owned)), rest)
        }
        None => (None, words.to_vec()),
    }
}
