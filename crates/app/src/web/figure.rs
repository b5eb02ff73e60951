//! Figures of the picture as text: one place for their decimals.

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
    fixed(value, decimals)
}

/// A weight with its sign: `+6.1`, `−0.9`, `0.0`.
pub fn signed(value: f64) -> String {
    let text = fixed(value, 1);
    if value > 0.0 && text != "0.0" { format!("+{text}") } else { text }
}

/// Fixed decimals, with a true minus sign and no minus before nothing.
fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{:.*}", decimals, value.abs());
    let nothing = text.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    if value < 0.0 && !nothing { format!("−{text}") } else { text }
}

/// A sentence whose figures keep their unit on the same line: the blank before `%` does not break.
pub fn bound(text: &str) -> String {
    text.replace(" %", "\u{a0}%")
}
