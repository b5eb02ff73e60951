//! Refused rows as a file again, so that they can be mended and read like any other.

use crate::{ColumnMap, stream::Encoding};

/// A table of its own from header words and the text of rows ([`crate::Issue::raw`], mended or not): what
/// [`crate::read_bytes`] reads. Header words that hold commas or quotation marks are quoted.
pub fn as_table<'a>(header: &[String], rows: impl IntoIterator<Item = &'a str>) -> String {
    table_of(Some(header), b',', rows)
}

/// The same of rows of a file that was read with a map: the table as that file wrote it, and the map that reads it. The
/// text is UTF-8 by now, however the file was written.
pub fn as_mapped_table<'a>(
    map: &ColumnMap,
    header: &[String],
    rows: impl IntoIterator<Item = &'a str>,
) -> (ColumnMap, String) {
    let map = ColumnMap { encoding: Encoding::default(), ..map.clone() };
    let text = table_of(map.header.then_some(header), map.separator, rows);
    (map, text)
}

fn table_of<'a>(header: Option<&[String]>, separator: u8, rows: impl IntoIterator<Item = &'a str>) -> String {
    let mut text = String::new();
    if let Some(header) = header {
        let separator = char::from(separator);
        let words: Vec<String> = header.iter().map(|word| quoted(word, separator)).collect();
        text.push_str(&words.join(&separator.to_string()));
        text.push('\n');
    }
    for row in rows {
        text.push_str(row);
        text.push('\n');
    }
    text
}

fn quoted(word: &str, separator: char) -> String {
    if word.contains([separator, '"', '\n', '\r']) {
        format!("\"{}\"", word.replace('"', "\"\""))
    } else {
        word.to_owned()
    }
}
