//! What came of reading files: sums and issues, as the command, the pages and the inbox show them.

use serde::Serialize;

/// What came of reading some files.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Taken {
    /// One entry a file, in the order given.
    pub files: Vec<TakenFile>,
    /// What was wrong, by file and line.
    pub issues: Vec<TakenIssue>,
    /// Issues beyond those listed; they stand in quarantine like the others.
    #[serde(skip_serializing_if = "is_zero")]
    pub issues_not_listed: u64,
}

/// What came of one file.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct TakenFile {
    /// As it was named.
    pub file: String,
    /// Which table it was.
    pub table: Option<String>,
    /// The column map it was read with, if it is no plain table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub map: Option<String>,
    /// Rows read.
    pub read: u64,
    /// Rows that were not there before.
    pub new: u64,
    /// Rows that were there already.
    pub same: u64,
    /// Rows that took the place of an older row with the same key.
    pub replaced: u64,
    /// Rows that could not be used yet.
    pub quarantined: u64,
    /// `ade` for the open exchange standard, whose lines are places of resources; nothing for a plain table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub form: Option<&'static str>,
    /// Key under which it waits to be told how it is read: the page `/map/KEY`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub waits: Option<String>,
    /// Files that had waited longest and were let go to make room for it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub made_room: Vec<String>,
    /// Why none of the file was read, if so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trouble: Option<String>,
    /// What to do about it.
    #[serde(rename = "do", skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// One thing that was wrong.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TakenIssue {
    /// Which file.
    pub file: String,
    /// Which line of it.
    pub line: Option<u64>,
    /// Which column.
    pub column: Option<String>,
    /// What stood there.
    pub value: Option<String>,
    /// What is wrong with it.
    pub reason: String,
    /// What to do about it.
    #[serde(rename = "do")]
    pub next: String,
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "the form serde asks for")]
fn is_zero(count: &u64) -> bool {
    *count == 0
}
