//! Quantities with their units, at doors (rows, settings, public functions); kernels use plain `f64` named by unit.

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident $unit:literal;)+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, serde::Serialize, serde::Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);
        impl $name {
            /// How the unit is written in a column's name and beside a figure.
            pub const UNIT: &'static str = $unit;
        }
    )+};
}

quantities! {
    /// Mass of milk, feed or cow, kg.
    Kilograms "kg";
    /// A span of box time, min.
    Minutes "min";
    /// Flow of milk, kg/min.
    KilogramsPerMinute "kg/min";
    /// Electrical conductivity of milk, mS/cm.
    MilliSiemensPerCm "mS/cm";
    /// Temperature, °C.
    Celsius "°C";
}

/// Exact by definition: 1 lb = 0.45359237 kg (international yard and pound agreement, 1959).
pub const KG_PER_LB: f64 = 0.453_592_37;

/// Milk at 20 °C weighs about 1.03 kg a litre (`sources.md`, Traps 13, from memory).
pub const KG_PER_LITRE_OF_MILK: f64 = 1.03;

impl Kilograms {
    /// From pounds, exact: 1 lb = 0.45359237 kg.
    pub fn from_pounds(pounds: f64) -> Kilograms {
        Kilograms(pounds * KG_PER_LB)
    }
    /// In pounds.
    pub fn pounds(self) -> f64 {
        self.0 / KG_PER_LB
    }
}

impl Celsius {
    /// From degrees Fahrenheit: (°F − 32) · 5/9, exact by definition.
    pub fn from_fahrenheit(fahrenheit: f64) -> Celsius {
        Celsius((fahrenheit - 32.0) * 5.0 / 9.0)
    }
    /// In degrees Fahrenheit.
    pub fn fahrenheit(self) -> f64 {
        self.0 * 9.0 / 5.0 + 32.0
    }
}

/// Which units a farm reads in. Storage and JSON are always metric; pages, text and CSV follow this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum UnitSystem {
    /// kg, °C.
    #[default]
    Metric,
    /// lb, °F.
    Us,
}
