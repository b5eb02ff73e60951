//! Refused rows as a file again, so that they can be mended and read like any other.

/// A table of its own from header words and the text of rows ([`crate::Issue::raw`], mended or not): what
/// [`crate::read_bytes`] reads. Header words that hold commas or quotation marks are quoted.
pub fn as_table<'a>(header: &[String], rows: impl IntoIterator<Item = &'a str>) -> String {
    let words: Vec<String> = header.iter().map(|word| quoted(word)).collect();
    let mut text = words.join(",");
    text.push('\n');
    for row in rows {
        text.push_str(row);
        text.push('\n');
    }
    text
}

fn quoted(word: &str) -> String {
    if word.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", word.replace('"', "\"\""))
    } else {
        word.to_owned()
    }
}
