//! How is a figure written?
//!
//! Storage is metric; pages, text and CSV follow the farm's [`UnitSystem`]. A no-break space (U+00A0) stands between
//! figure and unit so that they never part at a line's end, and a real minus sign (U+2212) before what is below zero.

use crate::{
    expect::Signal,
    units::{Celsius, Kilograms, UnitSystem},
};

/// Between a figure and its unit: no line breaks here.
pub const SPACE: char = '\u{a0}';

/// A figure with `decimals` places; `−` below zero, never "−0".
pub fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{:.*}", decimals, value.abs());
    let zero = text.chars().all(|letter| matches!(letter, '0' | '.'));
    if value < 0.0 && !zero { format!("−{text}") } else { text }
}

/// A figure with its sign: `+6.1`, `−0.9`; nothing has none: `0.0`.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = plain(value, decimals);
    let zero = text.chars().all(|letter| matches!(letter, '0' | '.'));
    if zero || text.starts_with('−') { text } else { format!("+{text}") }
}

/// Thousands parted by commas: `3,310`.
pub fn count(value: usize) -> String {
    let digits = value.to_string();
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if 0 < index && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// Small numbers in words, others in figures: `six`, `13`.
pub fn count_words(value: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    WORDS.get(value).map_or_else(|| count(value), |word| (*word).to_owned())
}

/// `thing` or `things`, with its number in words.
pub fn things(value: usize, one: &str, many: &str) -> String {
    format!("{} {}", count_words(value), if value == 1 { one } else { many })
}

/// A share 0 to 1 as whole percent: `93 %`.
pub fn percent(share: f64) -> String {
    format!("{}{SPACE}%", plain(100.0 * share, 0))
}

/// A chance 0 to 1 in whole percent that claims neither never nor always: `93 %`, `under 1 %`, `over 99 %`.
pub fn chance(probability: f64) -> String {
    match probability {
        chance if chance < 0.01 => format!("under 1{SPACE}%"),
        chance if 0.99 < chance => format!("over 99{SPACE}%"),
        chance => percent(chance),
    }
}

/// Mass in the farm's unit, one decimal: `11.5 kg`, `25.4 lb`.
pub fn mass(value: Kilograms, units: UnitSystem) -> String {
    format!("{}{SPACE}{}", mass_figure(value, units), mass_unit(units))
}

/// Mass in the farm's unit without the unit, one decimal.
pub fn mass_figure(value: Kilograms, units: UnitSystem) -> String {
    match units {
        UnitSystem::Metric => plain(value.0, 1),
        UnitSystem::Us => plain(value.pounds(), 1),
    }
}

/// `kg` or `lb`.
pub fn mass_unit(units: UnitSystem) -> &'static str {
    match units {
        UnitSystem::Metric => "kg",
        UnitSystem::Us => "lb",
    }
}

/// Temperature in the farm's unit, one decimal: `38.6 °C`, `101.5 °F`.
pub fn temperature(value: Celsius, units: UnitSystem) -> String {
    match units {
        UnitSystem::Metric => format!("{}{SPACE}°C", plain(value.0, 1)),
        UnitSystem::Us => format!("{}{SPACE}°F", plain(value.fahrenheit(), 1)),
    }
}

/// Money, whole units of the cost table's currency.
pub fn money(value: f64, currency: &str) -> String {
    format!("{}{SPACE}{currency}", plain(value, 0))
}

/// Unit of a signal as stored and as JSON has it.
pub fn metric_unit(signal: Signal) -> &'static str {
    unit(signal, UnitSystem::Metric)
}

/// Unit of a signal in the farm's units.
pub fn unit(signal: Signal, units: UnitSystem) -> &'static str {
    match signal {
        Signal::Milk | Signal::Weight => mass_unit(units),
        Signal::QuarterMilk | Signal::Kicks | Signal::Activity | Signal::Feed | Signal::Lactose => "%",
        Signal::Conductivity => "mS/cm",
        Signal::Interval => "h",
        Signal::Rumination | Signal::Eating | Signal::Lying => "min a day",
        Signal::Visits => "a day",
        Signal::FatProtein => "",
        Signal::MilkTemperature if units == UnitSystem::Us => "°F",
        Signal::MilkTemperature => "°C",
        Signal::Blood => "ppm",
        Signal::Cells => "thousand/mL",
        Signal::Flow if units == UnitSystem::Us => "lb/min",
        Signal::Flow => "kg/min",
        Signal::Attaching => "s",
    }
}

/// A signal's value in the farm's units, without the unit. Kicks come as a share 0 to 1 and are shown in percent.
pub fn figure(signal: Signal, value: f64, units: UnitSystem) -> String {
    match signal {
        Signal::Milk => mass_figure(Kilograms(value), units),
        Signal::QuarterMilk => plain(value, 0),
        Signal::Kicks => plain(100.0 * value, 0),
        Signal::Conductivity | Signal::Interval | Signal::Visits => plain(value, 1),
        Signal::Rumination
        | Signal::Eating
        | Signal::Lying
        | Signal::Activity
        | Signal::Feed
        | Signal::Blood
        | Signal::Cells
        | Signal::Attaching => plain(value, 0),
        Signal::Weight => plain(drawn(signal, value, units), 0),
        Signal::FatProtein | Signal::Lactose | Signal::Flow => plain(drawn(signal, value, units), 2),
        Signal::MilkTemperature => plain(drawn(signal, value, units), 1),
    }
}

/// A signal's value in the farm's units as a picture draws it, unrounded.
pub fn drawn(signal: Signal, value: f64, units: UnitSystem) -> f64 {
    match (signal, units) {
        (Signal::Milk | Signal::Weight | Signal::Flow, UnitSystem::Us) => Kilograms(value).pounds(),
        (Signal::MilkTemperature, UnitSystem::Us) => Celsius(value).fahrenheit(),
        (Signal::Kicks, _) => 100.0 * value,
        _ => value,
    }
}
