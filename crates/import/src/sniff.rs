//! Which table is this? The header tells, never the file's name.

use cowpath_core::tables::{Conversion, Kind, TABLES, Table};

use crate::trouble::Unreadable;

/// How each column of a file becomes a cell of its table.
#[derive(Debug)]
pub(crate) struct Plan {
    pub table: &'static Table,
    /// Header words as written, trimmed, in the file's order.
    pub header: Vec<String>,
    /// Columns used, in the file's order.
    pub used: Vec<Used>,
    /// Header words not used, with their place.
    pub unused: Vec<usize>,
    /// Cells of the table that the file has no column for.
    pub absent: Vec<usize>,
    /// The cell whose time puts the rows in order: the first required time of the table.
    pub order: Option<usize>,
    /// Whether a column map made it: then header words are our own, and cells come translated.
    pub is_mapped: bool,
    /// Whether any of `used` is a length of time.
    pub has_spans: bool,
}

/// One column that is used.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Used {
    /// Place in the file's row.
    pub source: usize,
    /// Place in the table's row.
    pub target: usize,
    pub conversion: Conversion,
    pub kind: Kind,
    pub required: bool,
    /// Of a map: the cell is a length of time from or to another time of the row.
    pub span: Option<Span>,
}

/// A length of time that stands for a time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Span {
    /// The other time's place in the table's row.
    pub base: usize,
    /// ms of one unit; below zero if it ended at the other time.
    pub unit_ms: f64,
}

/// Finds the table of a header.
///
/// # Errors
/// When there is none, or two columns mean the same.
pub(crate) fn plan(header: Vec<String>) -> Result<Plan, Unreadable> {
    if header.iter().any(|word| word.contains('\r')) {
        // The whole file looks like one line, whose first words may well be a table's.
        return Err(Unreadable::LineEnds);
    }
    let words: Vec<String> = header.iter().map(|word| word.to_lowercase()).collect();
    let Some(table) = best(&words, |table| missing(table, &words).is_empty()) else {
        return Err(unknown(header, &words));
    };
    let mut used: Vec<Used> = Vec::with_capacity(words.len());
    let mut unused = Vec::new();
    for (source, word) in words.iter().enumerate() {
        let Some((target, conversion)) = table.spelling(word) else {
            unused.push(source);
            continue;
        };
        let column = &table.columns[target];
        if let Some(earlier) = used.iter().find(|used| used.target == target) {
            return Err(Unreadable::SameColumnTwice {
                table,
                column: column.name,
                one: header[earlier.source].clone(),
                other: header[source].clone(),
            });
        }
        used.push(Used {
            source,
            target,
            conversion,
            kind: column.kind,
            required: column.required,
            span: None,
        });
    }
    let absent =
        (0..table.columns.len()).filter(|&target| used.iter().all(|used| used.target != target)).collect();
    let order = table.columns.iter().position(|column| column.required && column.kind == Kind::Time);
    Ok(Plan { table, header, used, unused, absent, order, is_mapped: false, has_spans: false })
}

/// Of the tables that `fits`, the one with most columns known; of equals the first.
fn best(words: &[String], fits: impl Fn(&Table) -> bool) -> Option<&'static Table> {
    let known = |table: &Table| words.iter().filter(|word| table.spelling(word).is_some()).count();
    TABLES
        .into_iter()
        .filter(|table| fits(table))
        .map(|table| (known(table), table))
        .filter(|&(known, _)| 0 < known)
        .reduce(|best, next| if best.0 < next.0 { next } else { best })
        .map(|(_, table)| table)
}

/// Columns a table cannot be told or used without and that are not there.
fn missing(table: &Table, words: &[String]) -> Vec<&'static str> {
    let needed = |name: &str| {
        table.tells.contains(&name)
            || table.columns.iter().any(|column| column.name == name && column.required)
    };
    table
        .columns
        .iter()
        .enumerate()
        .filter(|(_, column)| needed(column.name))
        .filter(|&(target, _)| {
            !words.iter().any(|word| table.spelling(word).is_some_and(|(own, _)| own == target))
        })
        .map(|(_, column)| column.name)
        .collect()
}

fn unknown(header: Vec<String>, words: &[String]) -> Unreadable {
    for (separator, name) in [(';', "semicolons"), ('\t', "tabs"), ('|', "upright strokes")] {
        let whole = words.join(",");
        let split: Vec<String> =
            whole.split(separator).map(|word| word.trim().trim_matches('"').to_owned()).collect();
        if let Some(table) = best(&split, |table| missing(table, &split).is_empty()) {
            return Unreadable::WrongSeparator { separator: name, table };
        }
    }
    let nearest = nearest(words);
    let missing = nearest.map(|table| missing(table, words)).unwrap_or_default();
    Unreadable::UnknownHeader { header, nearest, missing }
}

/// The table that lacks least of what it needs, for its size; of equals the one with most columns known.
fn nearest(words: &[String]) -> Option<&'static Table> {
    let likeness = |table: &Table| {
        let known = words.iter().filter(|word| table.spelling(word).is_some()).count() as i64;
        2 * known - missing(table, words).len() as i64
    };
    TABLES
        .into_iter()
        .filter(|table| words.iter().any(|word| table.spelling(word).is_some()))
        .map(|table| (likeness(table), table))
        .reduce(|best, next| if best.0 < next.0 { next } else { best })
        .map(|(_, table)| table)
}
