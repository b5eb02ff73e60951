//! Where is the header of a file that is read with a map?

use std::collections::BTreeSet;
use std::io::Read;

use super::{ColumnMap, plain_word, told_apart};
use crate::Reading;
use crate::head::words_of;
use crate::records::{Found, Records};
use crate::stream;
use crate::trouble::Unreadable;

/// Lines above a header, titles and blank ones, that are looked at.
pub(crate) const MOST_LINES_ABOVE: usize = 40;

/// Finds the line that holds every word the map wants, and leaves the records behind it. Of a file without header the
/// words are `column 1`, `column 2`, … and nothing is taken from the records.
///
/// # Errors
/// When no line holds them all: with what the line that holds most of them lacks.
pub(crate) fn find<R: Read>(
    records: &mut Records<R>,
    map: &ColumnMap,
    form: Option<&'static str>,
) -> Result<Vec<String>, Unreadable> {
    if !map.header {
        let named = map.takes.iter().flat_map(|take| &take.from).filter_map(|word| place_of(word)).max();
        let count = map.columns.len().max(named.unwrap_or(0));
        return Ok((1..=count).map(|at| format!("column {at}")).collect());
    }
    let wanted: BTreeSet<String> =
        map.takes.iter().flat_map(|take| &take.from).map(|word| plain_word(word)).collect();
    let mut best: Option<(usize, Vec<String>)> = None;
    let mut seen = 0;
    while seen < MOST_LINES_ABOVE {
        match records.next(None).map_err(|why| stream::trouble_of(why, form))? {
            Found::End => break,
            Found::BadQuote | Found::TooLong(_) => seen += 1,
            Found::Record => {
                let text = records.text();
                if text.contains(&0) {
                    return Err(Unreadable::NotText);
                }
                if text.trim_ascii().is_empty() {
                    continue;
                }
                seen += 1;
                let words = told_apart(words_of(&records.cells, text));
                let plain: BTreeSet<String> = words.iter().map(|word| plain_word(word)).collect();
                let found = wanted.intersection(&plain).count();
                if found == wanted.len() {
                    return Ok(words);
                }
                if best.as_ref().is_none_or(|(most, _)| *most < found) {
                    best = Some((found, words));
                }
            }
        }
    }
    let Some((_, header)) = best else { return Err(Unreadable::Empty) };
    let has: BTreeSet<String> = header.iter().map(|word| plain_word(word)).collect();
    let mut missing: Vec<String> = Vec::new();
    for word in map.takes.iter().flat_map(|take| &take.from) {
        if !has.contains(&plain_word(word)) && !missing.contains(word) {
            missing.push(word.clone());
        }
    }
    Err(Unreadable::MapColumnsGone { map: map.name.clone(), missing, header })
}

/// The number of `column 3`.
pub(crate) fn place_of(word: &str) -> Option<usize> {
    word.strip_prefix("column ")?.parse().ok().filter(|place| (1..=10_000).contains(place))
}

/// Whether a file has just the header a map was made for, in any order of columns.
///
/// # Errors
/// When the file cannot be opened or unpacked.
pub(crate) fn fits(source: impl Read, map: &ColumnMap, reading: &Reading) -> Result<bool, Unreadable> {
    if !map.header || map.columns.is_empty() {
        return Ok(false);
    }
    let text = stream::open(source, reading.most_unpacked_bytes, map.encoding)?;
    let mut records = Records::separated(text.bytes, reading.longest_line, map.separator);
    match find(&mut records, map, text.form) {
        Ok(header) => {
            let sorted = |words: &[String]| {
                let mut plain: Vec<String> = words.iter().map(|word| plain_word(word)).collect();
                plain.sort_unstable();
                plain
            };
            Ok(sorted(&header) == sorted(&map.columns))
        }
        Err(_) => Ok(false),
    }
}
