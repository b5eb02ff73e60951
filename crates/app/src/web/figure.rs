//! With how many decimals does a picture write its figures?

use cowpath_core::say::number;

/// A value with as many decimals as its strip can show: none where the strip spans 20 units and more, one from 2, two
/// from 0.2, else three.
pub fn of_strip(value: f64, low: f64, high: f64) -> String {
    let span = (high - low).abs();
    let decimals = if span >= 20.0 {
        0
    } else if span >= 2.0 {
        1
    } else if span >= 0.2 {
        2
    } else {
        3
    };
    number::plain(value, decimals)
}

/// A sentence whose figures keep their unit on the same line: the blank before `%` does not break.
pub fn bound(text: &str) -> String {
    text.replace(" %", "\u{a0}%")
}
