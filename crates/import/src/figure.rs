//! One figure from its text.

/// Why a text is no figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NotAFigure {
    /// "9,8".
    DecimalComma,
    /// NaN, inf, or larger than any number.
    NotFinite,
    /// Anything else.
    Other,
}

/// Powers of ten that a double holds exactly.
const TEN_TO: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// A finite figure with a decimal point: the double nearest to what is written.
///
/// Up to 15 digits, digits and power of ten are both exact doubles, so that one division rounds once and correctly
/// (W. D. Clinger, "How to read floating point numbers accurately", 1990); longer ones go through the standard library.
#[inline]
pub(crate) fn figure(text: &[u8]) -> Result<f64, NotAFigure> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        _ => (false, text),
    };
    if digits.len() <= 16 {
        let mut whole: u64 = 0;
        let mut point = None;
        let mut plain = true;
        for (at, &byte) in digits.iter().enumerate() {
            let digit = byte.wrapping_sub(b'0');
            if digit <= 9 {
                whole = whole * 10 + u64::from(digit);
            } else if byte == b'.' && point.is_none() {
                point = Some(at);
            } else {
                plain = false;
                break;
            }
        }
        let count = digits.len() - usize::from(point.is_some());
        if plain && 0 < count && count <= 15 {
            let decimals = point.map_or(0, |at| digits.len() - at - 1);
            let value = whole as f64 / TEN_TO[decimals];
            // No negative zero: it would be a second way to write 0.
            return Ok(if negative && 0.0 < value { -value } else { value });
        }
    }
    slowly(text)
}

#[cold]
fn slowly(text: &[u8]) -> Result<f64, NotAFigure> {
    let text = std::str::from_utf8(text).map_err(|_| NotAFigure::Other)?;
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value + 0.0),
        Ok(_) => Err(NotAFigure::NotFinite),
        Err(_) if text.matches(',').count() == 1 && text.replacen(',', ".", 1).parse::<f64>().is_ok() => {
            Err(NotAFigure::DecimalComma)
        }
        Err(_) => Err(NotAFigure::Other),
    }
}
