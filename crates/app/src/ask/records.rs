//! What Records shows: files that came and what became of them, rows in quarantine, settings, what was fitted, and
//! signals that stopped coming.

use cowpath_core::{say::when, units::UnitSystem};
use cowpath_import::IssueKind;
use cowpath_store::{Arrival, Settings, Way};
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use super::{farm::Barn, fitted::Fit, inbox, silence::Silent, taken::TakenFile, unsaid::Unsaid};

/// Files on one page, and rows in quarantine on one.
pub const A_PAGE: u64 = 50;
/// Reasons that are listed by how often they are given.
const OFTEN: u64 = 8;
/// Things said of one file that are listed with it.
const SAID: u64 = 12;

/// The Records page.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Records {
    /// Name of the farm.
    pub farm: String,
    /// Its settings.
    pub settings: Ways,
    /// The inbox, where one is watched.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inbox: Option<inbox::Watched>,
    /// Files that wait to be told how they are read.
    pub waiting: Vec<Waits>,
    /// Files that came, newest first.
    pub files: Vec<Came>,
    /// Files that came, all in all.
    pub files_in_all: u64,
    /// Files left out before those listed.
    pub skipped: u64,
    /// Rows in quarantine that are to be mended.
    pub in_quarantine: u64,
    /// Visits set aside, because she was elsewhere at the time.
    pub set_aside: u64,
    /// Signals that stopped coming.
    pub silent: Vec<Silent>,
    /// What the logs record of cows that cannot all be true, a sentence each.
    pub contradictions: Vec<String>,
    /// What was fitted; `None` while published figures stand in.
    pub fit: Option<Fit>,
}

/// A file that waits to be told how it is read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waits {
    /// Its key: the page `/map/KEY`.
    pub key: String,
    /// What it is called.
    pub file: String,
}

/// The settings as a form shows them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ways {
    /// Name of the farm.
    pub name: String,
    /// Its zone.
    pub zone: String,
    /// `metric` or `us`.
    pub units: &'static str,
    /// Breed; empty: not set.
    pub breed: String,
    /// Pens in walking order.
    pub pens: Vec<String>,
}

impl Ways {
    /// Of a farm's settings.
    pub fn of(settings: Settings) -> Ways {
        Ways {
            name: settings.name,
            zone: settings.zone,
            units: if settings.units == UnitSystem::Us { "us" } else { "metric" },
            breed: settings.breed.unwrap_or_default(),
            pens: settings.pens.into_iter().map(|pen| pen.name).collect(),
        }
    }
}

/// One file that came.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Came {
    /// Number of its batch; `None` where it could not be read.
    pub batch: Option<i64>,
    /// When, RFC 3339.
    pub at: String,
    /// When, in words.
    pub at_words: String,
    /// By which way: `command`, `inbox`, `page`, `mended`, `again`.
    pub way: &'static str,
    /// Its sums, or its trouble.
    #[serde(flatten)]
    pub file: TakenFile,
    /// What was said of it as a whole: what its form has no word for, columns not used.
    pub said: Vec<String>,
}

impl Came {
    /// By which way it came, as a person says it.
    pub fn way_words(&self) -> &'static str {
        match self.way {
            "inbox" => "from the inbox",
            "page" => "dropped on a page",
            "mended" => "mended by hand",
            "again" => "from quarantine, understood by now",
            _ => "by command",
        }
    }
}

/// A page of the quarantine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Quarantine {
    /// Name of the farm.
    pub farm: String,
    /// Rows to be mended, all in all.
    pub in_quarantine: u64,
    /// Visits set aside.
    pub set_aside: u64,
    /// Rows left out before those listed.
    pub skipped: u64,
    /// What is wrong most often, the most frequent first.
    pub often: Vec<Often>,
    /// The rows: those to be mended in the order they came, then visits set aside in order of time.
    pub rows: Vec<Kept>,
}

/// One thing that is wrong with many rows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Often {
    /// Their table.
    pub table: String,
    /// The column to look at; empty where it is the whole row.
    pub column: String,
    /// What is wrong.
    pub reason: String,
    /// How many rows.
    pub rows: u64,
}

/// One row in quarantine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Kept {
    /// Its number, by which it is mended; `None` for a visit that is set aside.
    pub entry: Option<i64>,
    /// The file it was first read from.
    pub file: String,
    /// Its table.
    pub table: String,
    /// Its line there.
    pub line: u64,
    /// The column to look at first; empty where it is the whole row.
    pub column: String,
    /// What stands there.
    pub value: String,
    /// What is wrong.
    pub reason: String,
    /// What to do about it.
    #[serde(rename = "do")]
    pub next: String,
    /// The row as the file has it.
    pub row: String,
}

/// Files that came, newest first.
pub fn files(barn: &Barn, skip: u64, zone: &TimeZone, now: Timestamp) -> anyhow::Result<Vec<Came>> {
    let mut files = Vec::new();
    for arrival in barn.store.arrivals(skip, A_PAGE)? {
        let said = match &arrival.read {
            Some((batch, ..)) => {
                let unsaid = Unsaid::of(barn.store.cannot_say_of(*batch)?.split_whitespace());
                let remarks = barn.store.remarks_that_begin(*batch, IssueKind::ColumnNotUsed.word(), SAID)?;
                let remarks = remarks.into_iter().map(|remark| format!("{}: {}", remark.column, remark.text));
                unsaid.sentence().into_iter().chain(remarks).collect()
            }
            None => Vec::new(),
        };
        files.push(came(arrival, said, zone, now));
    }
    Ok(files)
}

fn came(arrival: Arrival, said: Vec<String>, zone: &TimeZone, now: Timestamp) -> Came {
    let Arrival { way, file, at, read, trouble, remedy } = arrival;
    let some = |words: String| Some(words).filter(|words| !words.is_empty());
    let (batch, table, sums) = match read {
        Some((batch, table, sums)) => (Some(batch), Some(table), sums),
        None => (None, None, cowpath_store::Sums::default()),
    };
    Came {
        batch,
        at: when::rfc3339(at, zone),
        at_words: when::instant(at, now, zone),
        way: Way::word(way),
        file: TakenFile {
            file,
            table,
            read: sums.read,
            new: sums.new,
            same: sums.same,
            replaced: sums.replaced,
            quarantined: sums.quarantined,
            trouble: some(trouble),
            next: some(remedy),
            ..TakenFile::default()
        },
        said,
    }
}

/// A page of the quarantine.
pub fn quarantine(barn: &Barn, skip: u64, most: u64) -> anyhow::Result<Quarantine> {
    let (in_quarantine, set_aside) = barn.store.quarantine_counts()?;
    let rows = barn.store.quarantined(skip, most)?;
    let often = barn.store.quarantine_reasons(OFTEN)?;
    Ok(Quarantine {
        farm: barn.store.settings()?.name,
        in_quarantine,
        set_aside,
        skipped: skip,
        often: often
            .into_iter()
            .map(|(table, column, reason, rows)| Often { table, column, reason, rows })
            .collect(),
        rows: rows
            .into_iter()
            .map(|row| Kept {
                entry: row.entry,
                file: row.file,
                table: row.table,
                line: row.line,
                column: row.column,
                value: row.value,
                reason: row.reason,
                next: row.remedy,
                row: row.raw,
            })
            .collect(),
    })
}
