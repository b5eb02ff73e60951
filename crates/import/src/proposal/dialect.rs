//! How is the file written? Separator, header line, decimal sign, from a sample of it.

use std::collections::BTreeMap;

use super::sample::Sample;
use crate::column_map::{header::MOST_LINES_ABOVE, told_apart};
use crate::head::words_of;
use crate::records::{Found, Records};

/// Records looked at of the head, and of each stretch.
const OF_HEAD: usize = 600;
const OF_STRETCH: usize = 150;
/// Longest record looked at, bytes.
const LONGEST: usize = 64 << 10;
/// More columns than this are not a log's.
const MOST_COLUMNS: usize = 1000;

/// A sample in rows and cells.
#[derive(Debug)]
pub(crate) struct Grid {
    pub separator: u8,
    /// Whether the first line of `header` stands in the file.
    pub has_header: bool,
    /// Header words, told apart.
    pub header: Vec<String>,
    /// Data rows, each with as many cells as the header.
    pub rows: Vec<Vec<String>>,
    /// Lines above the header.
    pub above: usize,
    pub decimal: u8,
    pub thousands: Option<u8>,
    /// Why decimal or thousands sign are in doubt.
    pub doubt: Option<String>,
}

/// The records of a text; a last line that may be cut is left out.
fn records(text: &str, separator: u8, most: usize, whole: bool) -> Vec<Vec<String>> {
    let mut records = Records::separated(text.as_bytes(), LONGEST, separator);
    let mut found: Vec<Vec<String>> = Vec::new();
    loop {
        match records.next(None) {
            Ok(Found::Record) => {
                if records.is_cut() && !whole {
                    break;
                }
                let words = words_of(&records.cells, records.text());
                if words.iter().all(String::is_empty) || MOST_COLUMNS < words.len() {
                    continue;
                }
                found.push(words);
                if found.len() == most {
                    break;
                }
            }
            Ok(Found::BadQuote | Found::TooLong(_)) => {}
            Ok(Found::End) | Err(_) => break,
        }
    }
    found
}

/// A row without the empty cells at its end.
fn filled_width(row: &[String]) -> usize {
    row.iter().rposition(|cell| !cell.is_empty()).map_or(0, |last| last + 1)
}

/// Reads the sample's form.
pub(crate) fn of(sample: &Sample) -> Option<Grid> {
    let (separator, width, lines) = [b';', b'\t', b',', b'|']
        .into_iter()
        .filter_map(|separator| {
            let lines = records(&sample.head, separator, OF_HEAD, sample.whole);
            let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
            for line in &lines {
                *widths.entry(line.len()).or_default() += 1;
            }
            let (width, times) = widths.into_iter().max_by_key(|(width, times)| (*times, *width))?;
            if width < 2 {
                return None;
            }
            let (_, has_header) = header_at(&lines, width);
            let share = times as f64 / lines.len() as f64;
            // A separator that only data have, like the decimal comma, heads no columns.
            let score = share * (1.0 + (width as f64).ln()) * if has_header { 2.0 } else { 1.0 };
            Some((score, separator, width, lines))
        })
        .reduce(|best, next| if best.0 < next.0 { next } else { best })
        .map(|(_, separator, width, lines)| (separator, width, lines))?;
    let (at, has_header) = header_at(&lines, width);
    let mut lines = lines;
    let body = lines.split_off((at + usize::from(has_header)).min(lines.len()));
    let header = match lines.last() {
        Some(words) if has_header => told_apart(words.clone()),
        _ => (1..=width).map(|place| format!("column {place}")).collect(),
    };
    let width = header.len();
    let above = lines.len().saturating_sub(usize::from(has_header));
    let mut rows: Vec<Vec<String>> = body;
    for stretch in &sample.stretches {
        rows.extend(records(stretch, separator, OF_STRETCH, false));
    }
    rows.retain(|row| row.len() == width || (filled_width(row) <= width && width <= row.len()));
    for row in &mut rows {
        row.truncate(width);
    }
    let (decimal, thousands, doubt) = signs(&rows);
    Some(Grid { separator, has_header, header, rows, above, decimal, thousands, doubt })
}

/// Place of the header line, or of the first data line where there is no header; and which it is.
fn header_at(lines: &[Vec<String>], width: usize) -> (usize, bool) {
    let wordy = |row: &[String]| {
        let filled = row.iter().filter(|cell| !cell.is_empty()).count();
        let words = row.iter().filter(|cell| is_word(cell)).count();
        (filled, words)
    };
    let fits = |row: &Vec<String>| filled_width(row) <= width && width <= row.len();
    for (at, row) in lines.iter().enumerate().take(MOST_LINES_ABOVE) {
        if !fits(row) {
            continue;
        }
        let (filled, words) = wordy(row);
        // Titles fill a cell or two.
        if filled * 10 < width * 6 && 2 < width {
            continue;
        }
        if words * 10 < filled * 8 || words == 0 {
            return (at, false);
        }
        let data: Vec<&Vec<String>> = lines[at + 1..].iter().filter(|row| fits(row)).take(50).collect();
        let same = data
            .iter()
            .filter(|other| {
                other.iter().zip(row).filter(|(one, two)| one == two && !one.is_empty()).count() * 2 > filled
            })
            .count();
        // A row like many below it is data; a header comes once.
        let is_header = data.is_empty() || same * 10 < data.len();
        return (
            at,
            is_header
                && data.iter().any(|other| {
                    let (filled, words) = wordy(other);
                    words < filled
                }),
        );
    }
    (lines.iter().position(fits).unwrap_or(0), false)
}

/// A cell of letters, neither figure nor time.
fn is_word(cell: &str) -> bool {
    let begins = cell.chars().find(|letter| letter.is_alphanumeric());
    let digits = cell.chars().filter(char::is_ascii_digit).count();
    begins.is_some_and(|letter| !letter.is_ascii_digit()) && digits * 2 <= cell.chars().count()
        || (cell.chars().filter(|letter| letter.is_alphabetic()).count() >= 3
            && !cell.contains(':')
            && digits * 2 < cell.chars().count())
}

/// The decimal and thousands signs of the figures.
fn signs(rows: &[Vec<String>]) -> (u8, Option<u8>, Option<String>) {
    let (mut commas, mut points, mut comma_threes, mut point_threes, mut both) = (0, 0, 0, 0, [0, 0]);
    let mut blanks = 0;
    for cell in rows.iter().flatten() {
        let cell = cell.strip_prefix('-').unwrap_or(cell);
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        let parts: Vec<&str> = cell.split([',', '.', ' ', '\'', '\u{a0}', '\u{202f}']).collect();
        if parts.len() < 2 || 4 < parts.len() || !parts.iter().all(|part| digits(part)) {
            continue;
        }
        let marks: Vec<char> = cell.chars().filter(|letter| !letter.is_ascii_digit()).collect();
        let grouped = parts[0].len() <= 3 && parts[1..].iter().all(|part| part.len() == 3);
        match marks.as_slice() {
            [','] if grouped && parts[0] != "0" => comma_threes += 1,
            ['.'] if grouped && parts[0] != "0" => point_threes += 1,
            [','] => commas += 1,
            ['.'] => points += 1,
            [.., ','] if marks[0] == '.' => both[0] += 1,
            [.., '.'] if marks[0] == ',' => both[1] += 1,
            [' ' | '\u{a0}' | '\u{202f}'] if grouped => blanks += 1,
            _ => {}
        }
    }
    let blank = (0 < blanks).then_some(b' ');
    if 0 < both[0] && both[1] == 0 {
        return (b',', Some(b'.'), None);
    }
    if 0 < both[1] && both[0] == 0 {
        return (b'.', Some(b','), None);
    }
    let doubt = |sign: &str| {
        Some(format!(
            "every figure with a {sign} has three digits behind it: it may be a decimal sign or stand between thousands"
        ))
    };
    match (0 < commas, 0 < points) {
        (true, true) => (
            if points < commas { b',' } else { b'.' },
            None,
            Some(format!(
                "{commas} figures have a decimal comma and {points} a decimal point: only one can be right"
            )),
        ),
        (true, false) => (b',', if 0 < point_threes { Some(b'.') } else { blank }, None),
        (false, true) => (b'.', if 0 < comma_threes { Some(b',') } else { blank }, None),
        (false, false) if 0 < comma_threes => (b',', None, doubt("comma")),
        (false, false) if 0 < point_threes => (b'.', None, doubt("point")),
        (false, false) => (b'.', blank, None),
    }
}
