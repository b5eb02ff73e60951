//! The units a file's figures may come in, for each unit of ours.

use cowpath_core::tables::{Column, Conversion, Kind, Table, Unit};

/// What a file's figures are in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// The column's own unit.
    Own,
    /// lb.
    Pounds,
    /// lb/min.
    PoundsPerMinute,
    /// g.
    Grams,
    /// g/min.
    GramsPerMinute,
    /// L of milk, at 1.03 kg; of tank pickups only.
    Litres,
    /// °F.
    Fahrenheit,
    /// s.
    Seconds,
    /// min.
    Minutes,
    /// h.
    Hours,
    /// `6:32` is 6 min 32 s; `0:06:32` is the same.
    MinutesAndSeconds,
    /// `6:32` is 6 h 32 min; `6:32:10` has seconds.
    HoursAndMinutes,
    /// µS/cm.
    MicroSiemensPerCm,
    /// mS/m.
    MilliSiemensPerMetre,
    /// Cells (or colonies) a mL.
    CountsPerMl,
    /// g/kg.
    GramsPerKilogram,
    /// A share of one.
    Share,
}

/// Every measure with its name in a map file.
pub(crate) const NAMES: [(Measure, &str); 16] = [
    (Measure::Pounds, "lb"),
    (Measure::PoundsPerMinute, "lb/min"),
    (Measure::Grams, "g"),
    (Measure::GramsPerMinute, "g/min"),
    (Measure::Litres, "L"),
    (Measure::Fahrenheit, "F"),
    (Measure::Seconds, "s"),
    (Measure::Minutes, "min"),
    (Measure::Hours, "h"),
    (Measure::MinutesAndSeconds, "min:s"),
    (Measure::HoursAndMinutes, "h:min"),
    (Measure::MicroSiemensPerCm, "uS/cm"),
    (Measure::MilliSiemensPerMetre, "mS/m"),
    (Measure::CountsPerMl, "counts/mL"),
    (Measure::GramsPerKilogram, "g/kg"),
    (Measure::Share, "share"),
];

/// Our own unit as a map file may name it.
pub(crate) fn own_name(unit: Unit) -> &'static str {
    match unit {
        Unit::Kilograms => "kg",
        Unit::KilogramsPerMinute => "kg/min",
        Unit::Celsius => "C",
        Unit::Seconds => "s",
        Unit::Minutes => "min",
        Unit::MilliSiemensPerCm => "mS/cm",
        Unit::PartsPerMillion => "ppm",
        Unit::Percent => "%",
        Unit::ThousandPerMl => "thousand/mL",
        Unit::Centimetres => "cm",
        Unit::McalPerKg => "Mcal/kg",
        Unit::MoneyPerTonne => "a tonne",
        Unit::Own => "own",
    }
}

impl Measure {
    /// Its name in a map file; none for the column's own unit.
    pub fn name(self) -> Option<&'static str> {
        NAMES.iter().find(|(measure, _)| *measure == self).map(|(_, name)| *name)
    }

    /// The measure of a name, as a column's figures may come in it.
    pub(crate) fn named(name: &str, table: &Table, column: &Column) -> Option<Measure> {
        if let Kind::Number { unit, .. } = column.kind
            && own_name(unit).eq_ignore_ascii_case(name)
        {
            return Some(Measure::Own);
        }
        let (measure, _) = NAMES.iter().find(|(_, own)| own.eq_ignore_ascii_case(name))?;
        measure.of(table, column).map(|_| *measure)
    }

    /// How a figure of this measure becomes the unit of a column; none if it cannot.
    pub(crate) fn of(self, table: &Table, column: &Column) -> Option<Conversion> {
        let Kind::Number { unit, .. } = column.kind else {
            return (self == Measure::Own).then_some(Conversion::Same);
        };
        Some(match (self, unit) {
            (Measure::Own, _) => Conversion::Same,
            (Measure::Pounds, Unit::Kilograms) => Conversion::Pounds,
            (Measure::PoundsPerMinute, Unit::KilogramsPerMinute) => Conversion::Pounds,
            (Measure::Grams, Unit::Kilograms) => Conversion::Thousandth,
            (Measure::GramsPerMinute, Unit::KilogramsPerMinute) => Conversion::Thousandth,
            // Litres are read where the contract names them, and nowhere else.
            (Measure::Litres, Unit::Kilograms) if table.name == "pickups" && column.name == "milk_kg" => {
                Conversion::LitresOfMilk
            }
            (Measure::Fahrenheit, Unit::Celsius) => Conversion::Fahrenheit,
            (Measure::Seconds | Measure::MinutesAndSeconds | Measure::HoursAndMinutes, Unit::Seconds) => {
                Conversion::Same
            }
            (Measure::Minutes, Unit::Seconds) => Conversion::Sixtyfold,
            (Measure::Seconds | Measure::MinutesAndSeconds | Measure::HoursAndMinutes, Unit::Minutes) => {
                Conversion::Sixtieth
            }
            (Measure::Minutes, Unit::Minutes) => Conversion::Same,
            (Measure::Hours, Unit::Minutes) => Conversion::Sixtyfold,
            (Measure::MicroSiemensPerCm, Unit::MilliSiemensPerCm) => Conversion::Thousandth,
            (Measure::MilliSiemensPerMetre, Unit::MilliSiemensPerCm) => Conversion::Hundredth,
            (Measure::CountsPerMl, Unit::ThousandPerMl) => Conversion::Thousandth,
            (Measure::GramsPerKilogram, Unit::Percent) => Conversion::Tenth,
            (Measure::Share, Unit::Percent) => Conversion::Hundredfold,
            _ => return None,
        })
    }

    /// Milliseconds of one unit, for lengths of time; clock forms are read as seconds first.
    pub(crate) fn span_ms(self) -> Option<f64> {
        match self {
            Measure::Own | Measure::Seconds | Measure::MinutesAndSeconds | Measure::HoursAndMinutes => {
                Some(1000.0)
            }
            Measure::Minutes => Some(60_000.0),
            Measure::Hours => Some(3_600_000.0),
            _ => None,
        }
    }

    /// Whether cells of it are written like a clock.
    pub(crate) fn is_clock(self) -> bool {
        matches!(self, Measure::MinutesAndSeconds | Measure::HoursAndMinutes)
    }

    /// Seconds of a cell written like a clock: `6:32`, `0:06:32`.
    pub(crate) fn clock_seconds(self, text: &str) -> Option<f64> {
        let mut parts = Vec::with_capacity(3);
        for part in text.trim().split(':') {
            let (whole, fraction) = part.split_once(['.', ',']).unwrap_or((part, ""));
            let digits = !whole.is_empty() && 5 >= whole.len() && fraction.len() <= 6;
            if !digits || !whole.bytes().chain(fraction.bytes()).all(|byte| byte.is_ascii_digit()) {
                return None;
            }
            parts.push(format!("{whole}.{fraction}0").parse::<f64>().ok()?);
        }
        if parts.iter().skip(1).any(|&part| 60.0 <= part) {
            return None;
        }
        match (parts.as_slice(), self) {
            (&[hours, minutes, seconds], _) => Some(hours * 3600.0 + minutes * 60.0 + seconds),
            (&[minutes, seconds], Measure::MinutesAndSeconds) => Some(minutes * 60.0 + seconds),
            (&[hours, minutes], Measure::HoursAndMinutes) => Some(hours * 3600.0 + minutes * 60.0),
            _ => None,
        }
    }
}
