//! Figures as other programs write them: decimal commas, signs between thousands.

/// A figure with a decimal point and nothing between thousands; what is not of the map's form is spoilt, so that `9.8` of
/// a file with decimal commas is refused and not read as 98.
pub(crate) fn figure(text: &[u8], decimal: u8, thousands: Option<u8>, out: &mut Vec<u8>) {
    if decimal == b'.' && thousands.is_none() {
        out.extend_from_slice(text);
        return;
    }
    if thousands.is_none() {
        out.extend(text.iter().map(|&byte| match byte {
            _ if byte == decimal => b'.',
            b'.' | b',' => b'\'',
            _ => byte,
        }));
        return;
    }
    let from = out.len();
    let is_blank = |at: usize| match text[at..] {
        [b' ', ..] => Some(1),
        [0xC2, 0xA0, ..] => Some(2),
        [0xE2, 0x80, 0xAF | 0x89, ..] => Some(3),
        _ => None,
    };
    let group_follows = |at: usize| {
        let digits = text[at..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        digits == 3
    };
    let mut seen_decimal = false;
    let mut at = 0;
    while at < text.len() {
        let byte = text[at];
        let blank = is_blank(at);
        let group = if thousands == Some(b' ') { blank } else { (thousands == Some(byte)).then_some(1) };
        if let Some(length) = group {
            let behind_digit = out.len() > from && out.last().is_some_and(u8::is_ascii_digit);
            if seen_decimal || !behind_digit || !group_follows(at + length) {
                out.truncate(from);
                out.extend_from_slice(text);
                out.push(b'\'');
                return;
            }
            at += length;
            continue;
        }
        out.push(match byte {
            _ if byte == decimal => {
                seen_decimal = true;
                b'.'
            }
            b'.' | b',' => b'\'',
            _ => byte,
        });
        at += 1;
    }
}

/// A figure with the decimal sign of a file.
pub(crate) fn plain_figure(text: &str, decimal: u8) -> Option<f64> {
    let mut out = Vec::with_capacity(text.len());
    figure(text.as_bytes(), decimal, None, &mut out);
    crate::figure::figure(&out).ok()
}
