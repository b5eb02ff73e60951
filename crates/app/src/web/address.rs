//! Addresses of pages: names of cows into links, and the words of a query.

use std::fmt::Write;

/// A name as one part of a path or one value of a query: everything but letters, digits, `-`, `_`, `~` and the dot is
/// written as percent and two hex digits.
pub fn part(name: &str) -> String {
    let mut out = String::with_capacity(name.len());
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'~' | b'.') {
            out.push(char::from(byte));
        } else {
            // Writing into a String cannot fail.
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

/// Link to a cow's page. A browser takes the parts `.` and `..` for folders, however they are written, and an empty
/// part for none: those names go into the query.
pub fn cow(animal: &str, at: Option<&str>) -> String {
    let mut link = match animal {
        "" | "." | ".." => format!("/cow?animal={}", part(animal)),
        _ => format!("/cow/{}", part(animal)),
    };
    if let Some(at) = at {
        link.push(if link.contains('?') { '&' } else { '?' });
        link.push_str("at=");
        link.push_str(&part(at));
    }
    link
}

/// A value of a query, or `None` where it is missing or blank, as an empty field of a form is sent.
pub fn given(value: &Option<String>) -> Option<&str> {
    value.as_deref().map(str::trim).filter(|value| !value.is_empty())
}
