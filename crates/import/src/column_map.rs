//! A column map: how a table of any other form becomes one of ours.
//!
//! A map names the table, how the file writes separators, figures and times, and for each of our columns where it comes
//! from. It is kept as TOML (`toml`), so that farms can share it; it is turned into steps when a file's header has
//! been found (`translate`), and the rows then go the same way as those of a plain table: same checks, same ranges, same
//! quarantine.
//!
//! # Nothing is guessed
//! A map whose columns are not all in the file reads nothing of it. A word that the map does not know, a figure with the
//! wrong decimal sign, a time of another order is refused with its row.
//!
//! # Example
//! ```toml
//! version = 1
//! table = "visits"
//! separator = ";"
//! decimal = ","
//! order = "day-month-year"
//!
//! [[column]]
//! from = ["Datum", "Zeit"]
//! to = "started_at"
//!
//! [[column]]
//! from = "Leitfähigkeit VL/VR/HL/HR"
//! split = "/"
//! to = ["lf_ms_cm", "rf_ms_cm", "lr_ms_cm", "rr_ms_cm"]
//! ```

mod change;
mod check;
pub(crate) mod header;
pub(crate) mod measure;
pub(crate) mod moment;
pub(crate) mod signs;
mod text;
pub(crate) mod translate;
mod write;

use std::collections::BTreeMap;

use cowpath_core::tables::Table;

pub use change::Chosen;
pub use measure::Measure;
pub use moment::DayOrder;
pub use text::MapFault;

use crate::stream::Encoding;

/// The version of map files that this program writes, and the newest that it reads.
pub const VERSION: i64 = 1;

/// How a table of another form is read.
#[derive(Debug, Clone)]
pub struct ColumnMap {
    /// What a person calls it.
    pub name: String,
    /// The table its rows become.
    pub table: &'static Table,
    /// What stands between cells: comma, semicolon, tab or upright stroke.
    pub separator: u8,
    /// The sign before decimals: point or comma.
    pub decimal: u8,
    /// The sign between thousands, if the file writes one: point, comma, apostrophe or blank.
    pub thousands: Option<u8>,
    /// How letters are written, where the file's first bytes do not tell.
    pub encoding: Encoding,
    /// In which order days are written.
    pub order: DayOrder,
    /// Zone of wall times without an offset, by its name in the zone database; none: as the command or the farm says.
    pub zone: Option<String>,
    /// Whether the file has a header line. Without one, columns are called `column 1`, `column 2`, ….
    pub header: bool,
    /// The header words of the file the map was made for, in its order: by them a saved map is chosen.
    pub columns: Vec<String>,
    /// Where each of our columns comes from.
    pub takes: Vec<Take>,
}

/// Where one of our columns, or several that share a cell, come from.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Take {
    /// Header words: none for a constant, two for a day and a time of day, else one.
    pub from: Vec<String>,
    /// Our columns, by place in the table; several only with `split`, in the order the cell writes them.
    pub to: Vec<usize>,
    /// The value of every row, for a column that the file lacks.
    pub value: Option<String>,
    /// What the file's figures are in; none: the column's own unit.
    pub unit: Option<Measure>,
    /// Their words and ours; an empty one of ours means not measured.
    pub words: BTreeMap<String, String>,
    /// The sign between values that share a cell.
    pub split: Option<String>,
    /// The order of days, where this column differs from the rest.
    pub order: Option<DayOrder>,
    /// The cell is a length of time that began at this column of ours.
    pub after: Option<usize>,
    /// The cell is a length of time that ended at this column of ours.
    pub before: Option<usize>,
    /// A time of day that is far earlier than this column of ours is of the next day.
    pub next_day_of: Option<usize>,
    /// The time of day, `12:00`, of a column that holds days only.
    pub clock: Option<String>,
}

/// A header word as words are compared: blanks at its ends and doubled ones left out, letters small.
pub(crate) fn plain_word(word: &str) -> String {
    word.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Header words with their number behind those that come again: `Milk`, `Milk (2)`; one without letters is `column 3`.
pub(crate) fn told_apart(words: Vec<String>) -> Vec<String> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let mut apart = Vec::with_capacity(words.len());
    for (at, word) in words.into_iter().enumerate() {
        let word = word.split_whitespace().collect::<Vec<_>>().join(" ");
        let word = if word.is_empty() { format!("column {}", at + 1) } else { word };
        let times = seen.entry(plain_word(&word)).or_default();
        *times += 1;
        apart.push(if *times == 1 { word } else { format!("{word} ({times})") });
    }
    apart
}
