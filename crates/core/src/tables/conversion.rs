//! From the unit a file writes to the unit of a column, exactly.

/// How a figure of a file becomes the column's own unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Conversion {
    /// It already is.
    Same,
    /// From pounds (also pounds a minute), exact.
    Pounds,
    /// From degrees Fahrenheit, exact.
    Fahrenheit,
    /// From litres of milk, at 1.03 kg a litre.
    LitresOfMilk,
    /// Grams to kg, µS/cm to mS/cm, cells to thousands: divided by 1000.
    Thousandth,
    /// mS/m to mS/cm: divided by 100.
    Hundredth,
    /// g/kg to per cent: divided by 10.
    Tenth,
    /// A share of one to per cent: times 100.
    Hundredfold,
    /// Minutes to seconds, hours to minutes: times 60.
    Sixtyfold,
    /// Seconds to minutes: divided by 60.
    Sixtieth,
}

impl Conversion {
    /// The figure in the column's own unit.
    pub fn apply(self, figure: f64) -> f64 {
        match self {
            Conversion::Same => figure,
            Conversion::Pounds => crate::units::Kilograms::from_pounds(figure).0,
            Conversion::Fahrenheit => crate::units::Celsius::from_fahrenheit(figure).0,
            Conversion::LitresOfMilk => figure * crate::units::KG_PER_LITRE_OF_MILK,
            Conversion::Thousandth => figure / 1000.0,
            Conversion::Hundredth => figure / 100.0,
            Conversion::Tenth => figure / 10.0,
            Conversion::Hundredfold => figure * 100.0,
            Conversion::Sixtyfold => figure * 60.0,
            Conversion::Sixtieth => figure / 60.0,
        }
    }

    /// A figure of the column's own unit as the file would write it: for words about ranges.
    pub fn back(self, figure: f64) -> f64 {
        match self {
            Conversion::Same => figure,
            Conversion::Pounds => figure / crate::units::KG_PER_LB,
            Conversion::Fahrenheit => figure * 1.8 + 32.0,
            Conversion::LitresOfMilk => figure / crate::units::KG_PER_LITRE_OF_MILK,
            Conversion::Thousandth => figure * 1000.0,
            Conversion::Hundredth => figure * 100.0,
            Conversion::Tenth => figure * 10.0,
            Conversion::Hundredfold => figure / 100.0,
            Conversion::Sixtyfold => figure / 60.0,
            Conversion::Sixtieth => figure * 60.0,
        }
    }
}
