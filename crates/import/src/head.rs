//! The first line of a plain table that is not blank: its header.

use std::io::Read;

use crate::Reading;
use crate::issue::as_text;
use crate::records::{Cells, Found, Records};
use crate::row::trimmed;
use crate::stream;
use crate::trouble::Unreadable;

/// The words of the first line that is not blank.
///
/// # Errors
/// When there is no such line, or it is none.
pub(crate) fn header<R: Read>(
    records: &mut Records<R>,
    form: Option<&'static str>,
    reading: &Reading,
) -> Result<Vec<String>, Unreadable> {
    loop {
        match records.next(None).map_err(|why| stream::trouble_of(why, form))? {
            Found::End => return Err(Unreadable::Empty),
            Found::TooLong(_) if records.text().contains(&0) => return Err(Unreadable::NotText),
            Found::TooLong(_) => return Err(Unreadable::HeaderTooLong { longest: reading.longest_line }),
            Found::BadQuote => return Err(Unreadable::HeaderQuote),
            Found::Record => {
                let text = records.text();
                if text.contains(&0) {
                    return Err(Unreadable::NotText);
                }
                // Some spreadsheets name the separator before the header.
                if text.trim_ascii().is_empty() || names_separator(text) {
                    continue;
                }
                return Ok(words_of(&records.cells, text));
            }
        }
    }
}

/// The cells of a record as words.
pub(crate) fn words_of(cells: &Cells, text: &[u8]) -> Vec<String> {
    (0..cells.count()).map(|at| as_text(trimmed(cells.of(text, at)))).collect()
}

/// `sep=;`
pub(crate) fn names_separator(text: &[u8]) -> bool {
    let text = text.trim_ascii();
    text.len() <= 5 && text.get(..4).is_some_and(|word| word.eq_ignore_ascii_case(b"sep="))
}
