//! Why a file as a whole could not be read.

use std::io;

use cowpath_core::tables::Table;
use thiserror::Error;

/// The reading of a file ended early; no row of it may be kept.
#[derive(Debug, Error)]
pub enum ReadError<E> {
    /// The file cannot be read.
    #[error(transparent)]
    File(#[from] Unreadable),
    /// The sink gave up.
    #[error("the rows could not be kept")]
    Sink(E),
}

/// Why a file cannot be read. Its text says what is wrong; [`Unreadable::remedy`] what to do.
#[derive(Debug, Error)]
pub enum Unreadable {
    /// The system could not open or read it.
    #[error("the file could not be read: {why}")]
    Io {
        /// As the system says it.
        why: io::Error,
    },
    /// Nothing in it, or blank lines only.
    #[error("the file is empty")]
    Empty,
    /// Another kind of file.
    #[error("this is {what}, not a plain table")]
    OtherKind {
        /// With its article: "a zip archive …".
        what: &'static str,
        /// What to do with such a file.
        remedy: &'static str,
    },
    /// Zero bytes where the header should be.
    #[error("the first line holds NUL bytes: this is not text, or the file was damaged")]
    NotText,
    /// The compressed stream stops before its end.
    #[error("the {form} file is cut short: it ends before its end mark")]
    CutShort {
        /// "gzip" or "zstd".
        form: &'static str,
    },
    /// The compressed stream contradicts itself.
    #[error("the {form} file is damaged: {why}")]
    Damaged {
        /// "gzip" or "zstd".
        form: &'static str,
        /// As the unpacker says it.
        why: String,
    },
    /// A small file that unpacks without end.
    #[error(
        "{packed_bytes} bytes of this file unpack to more than {unpacked_bytes} bytes, far more than a log does"
    )]
    TooLarge {
        /// Bytes read from the file.
        packed_bytes: u64,
        /// Bytes they had unpacked to when reading stopped.
        unpacked_bytes: u64,
    },
    /// The first line never ends.
    #[error("the first line is longer than {longest} bytes, so it is no header")]
    HeaderTooLong {
        /// The limit.
        longest: usize,
    },
    /// A quotation mark of the header is not closed.
    #[error("the first line opens a quotation mark and does not close it")]
    HeaderQuote,
    /// Carriage returns without line feeds.
    #[error("its lines end in bare carriage returns, as they did on computers long ago")]
    LineEnds,
    /// Another separator than the comma.
    #[error("its columns look separated by {separator}, not by commas; read so it would be the table `{}`", table.name)]
    WrongSeparator {
        /// In words: "semicolons".
        separator: &'static str,
        /// What it would be.
        table: &'static Table,
    },
    /// No table has this header.
    #[error("{}", unknown_header(header, *nearest, missing))]
    UnknownHeader {
        /// The header words as written.
        header: Vec<String>,
        /// The table most of whose columns it has, if it has any.
        nearest: Option<&'static Table>,
        /// Columns that table needs and this header lacks.
        missing: Vec<&'static str>,
    },
    /// JSON that is broken beside or between its resources, so that nobody can tell where the next one begins.
    #[error("it is not JSON: on line {line} {found}")]
    NotJson {
        /// Line of the file.
        line: u64,
        /// "`}` stands where a resource should".
        found: String,
    },
    /// JSON of something else.
    #[error("it is JSON, and nothing in it is a resource of the exchange standard (ICAR ADE)")]
    NotExchange,
    /// A column map wants columns that the file does not have.
    #[error("{}", columns_gone(map, missing, header))]
    MapColumnsGone {
        /// Name of the map.
        map: String,
        /// Header words that are gone.
        missing: Vec<String>,
        /// The header words of the line that has most of them.
        header: Vec<String>,
    },
    /// Several saved maps fit, and which one is meant is not ours to choose.
    #[error("the file is no plain table, and several saved maps fit its header: {}", quoted_words(maps))]
    SeveralMaps {
        /// Their files.
        maps: Vec<String>,
    },
    /// A saved map that might fit cannot be read.
    #[error("the file is no plain table, and the saved map {map} cannot be read: {fault}")]
    BrokenMap {
        /// Its file.
        map: String,
        /// What is wrong with it.
        fault: crate::MapFault,
    },
    /// Nothing that separates columns.
    #[error("no sign was found that separates columns: not a comma, semicolon, tab or upright stroke")]
    NoColumns,
    /// No header word is known, and the values do not tell.
    #[error("no column of the file has a meaning that is known: {}", quoted_words(header))]
    NoMeaning {
        /// Header words.
        header: Vec<String>,
    },
    /// Two columns of one meaning: which one holds is not ours to choose.
    #[error("two columns mean the same, `{column}` of `{}`: \"{one}\" and \"{other}\"", table.name)]
    SameColumnTwice {
        /// The table.
        table: &'static Table,
        /// Our column.
        column: &'static str,
        /// Header word further left.
        one: String,
        /// Header word further right.
        other: String,
    },
}

impl Unreadable {
    /// What to do about it.
    pub fn remedy(&self) -> String {
        match self {
            Unreadable::Io { why } => match why.kind() {
                io::ErrorKind::NotFound => "look whether name and folder are right".into(),
                io::ErrorKind::PermissionDenied => "give yourself the right to read it, and read it again".into(),
                io::ErrorKind::IsADirectory => "name the files in this folder, not the folder".into(),
                _ => "look whether disk and cable are sound, and read it again".into(),
            },
            Unreadable::Empty => "look whether its export had finished, and export it again".into(),
            Unreadable::OtherKind { remedy, .. } => (*remedy).into(),
            Unreadable::NotText => "export it again as CSV in UTF-8".into(),
            Unreadable::CutShort { .. } => {
                "nothing of it was kept: copy or download it again, whole, and read it again".into()
            }
            Unreadable::Damaged { .. } => {
                "nothing of it was kept: copy or download it again, or unpack it yourself and read the CSV".into()
            }
            Unreadable::TooLarge { .. } => {
                "nothing of it was kept: look at where it comes from; if it truly is your log, unpack it yourself and \
                 read the CSV"
                    .into()
            }
            Unreadable::HeaderTooLong { .. } | Unreadable::HeaderQuote => {
                "look at its first line in a text editor: it must name the columns, separated by commas".into()
            }
            Unreadable::WrongSeparator { .. } => {
                "propose a column map for it: `cowpath map FILE`; or export it again with commas between the columns \
                 and points as decimal signs"
                    .into()
            }
            Unreadable::LineEnds => {
                "save it again with the line ends of today's computers, and read it again".into()
            }
            Unreadable::UnknownHeader { nearest: Some(table), missing, .. } if !missing.is_empty() => format!(
                "if it is a table of another form, propose a column map for it: `cowpath map FILE`; else, if each row is {}, \
                 add {} to header and rows, or give those columns these names, and read it again",
                table.row_is,
                listed(missing, "and"),
            ),
            Unreadable::UnknownHeader { .. } => {
                "propose a column map for it: `cowpath map FILE`; or let the first line name the columns as \
                 `docs/tables.md` lists them, and read it again"
                    .into()
            }
            Unreadable::MapColumnsGone { .. } => {
                "nothing of it was kept: if the columns have other names now, mend the map; if this is another kind of \
                 file, propose a map for it: `cowpath map FILE`"
                    .into()
            }
            Unreadable::SeveralMaps { .. } => {
                "name the one to read it with: `cowpath import FILE --map MAP.toml`, or take the others out of the folder `maps`".into()
            }
            Unreadable::BrokenMap { fault, .. } => format!("{}; or take the map out of the folder `maps`", fault.next),
            Unreadable::NoColumns => {
                "look at the file in a text editor: each line must hold the cells of a row".into()
            }
            Unreadable::NoMeaning { .. } => {
                "write a map by hand: `docs/maps.md` shows how; then `cowpath map FILE --with MAP.toml` reads ten rows with it"
                    .into()
            }
            Unreadable::NotJson { .. } => {
                "nothing of it was kept: export or copy it again, whole, and read it again".into()
            }
            Unreadable::NotExchange => {
                "export it as the exchange standard has it, with a `resourceType` in each resource, or as a plain table".into()
            }
            Unreadable::SameColumnTwice { .. } => {
                "take one of the two out of the file, or give it another name, and read it again".into()
            }
        }
    }
}

/// "a", "b", …
fn quoted_words(words: &[String]) -> String {
    let all: Vec<String> = words.iter().take(12).map(|word| crate::issue::shown(word.as_bytes())).collect();
    let more = if all.len() < words.len() { ", …" } else { "" };
    format!("\"{}\"{more}", all.join("\", \""))
}

fn columns_gone(map: &str, missing: &[String], header: &[String]) -> String {
    let name =
        if map.is_empty() { String::new() } else { format!(" \"{}\"", crate::issue::shown(map.as_bytes())) };
    format!(
        "the map{name} reads columns that the file does not have: {}; the file's header is {}",
        quoted_words(missing),
        quoted_words(header)
    )
}

fn unknown_header(header: &[String], nearest: Option<&'static Table>, missing: &[&str]) -> String {
    let shown: Vec<String> =
        header.iter().take(12).map(|word| crate::issue::shown(word.as_bytes())).collect();
    let more = if shown.len() < header.len() { ", …" } else { "" };
    let seen = format!("\"{}{more}\"", shown.join(","));
    match nearest {
        Some(table) if missing.is_empty() => {
            format!("the first line is the header of no table; it is nearest to `{}`: {seen}", table.name)
        }
        Some(table) => format!(
            "the first line is the header of no table; it is nearest to `{}`, which also needs {}: {seen}",
            table.name,
            listed(missing, "and")
        ),
        None => format!("the first line names no column of any table: {seen}"),
    }
}

/// "a, b and c".
pub(crate) fn listed(words: &[&str], join: &str) -> String {
    match words {
        [] => String::new(),
        [one] => format!("`{one}`"),
        [first @ .., last] => {
            let first: Vec<String> = first.iter().map(|word| format!("`{word}`")).collect();
            format!("{} {join} `{last}`", first.join(", "))
        }
    }
}
