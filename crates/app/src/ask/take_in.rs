//! Logs into the store: one file, one batch, all of it or none.
//!
//! Reading and keeping run side by side on two threads; rows travel between them in bundles whose memory is used again,
//! so that what is held does not grow with the file.

use std::{
    path::{Path, PathBuf},
    sync::mpsc::{Receiver, SyncSender, sync_channel},
};

use cowpath_core::{
    remedy::Remedy,
    tables::{Cell, Table},
};
use cowpath_import::{Issue, IssueKind, Progress, ReadError, Reading, Sink};
use cowpath_store::{Disposition, Farm, Refusal, Source};
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use super::farm::Barn;

/// Rows in one bundle: large enough that handing it over costs nothing, small enough that memory stays small.
const ROWS_IN_BUNDLE: usize = 512;

/// Most issues of one file that are handed on; the rest are in quarantine and counted.
const ISSUES_TOLD: usize = 1000;

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

/// What reading a file is told while it goes on.
pub type Watch<'a> = dyn FnMut(&Path, Progress) + Send + 'a;

/// Reads files into a farm, one after the other. A file that cannot be read at all is named and the next one is read.
///
/// # Errors
/// When the store itself fails: nothing of the file at hand is kept then, the files before it are.
pub fn take_in(
    barn: &mut Barn,
    files: &[PathBuf],
    zone: &TimeZone,
    now: Timestamp,
    watch: &mut Watch,
) -> anyhow::Result<Taken> {
    let mut taken = Taken::default();
    for path in files {
        let file = path.display().to_string();
        match take_in_file(&mut barn.store, path, zone, now, watch)? {
            Ok((mut counts, issues)) => {
                counts.file = file.clone();
                for issue in issues.told {
                    taken.issues.push(TakenIssue {
                        file: file.clone(),
                        line: issue.line,
                        column: issue.column,
                        value: issue.value,
                        reason: issue.reason,
                        next: issue.remedy,
                    });
                }
                taken.issues_not_listed += issues.untold;
                taken.files.push(counts);
            }
            Err(trouble) => {
                taken.issues.push(TakenIssue {
                    file: file.clone(),
                    line: None,
                    column: None,
                    value: None,
                    reason: trouble.0.clone(),
                    next: trouble.1.clone(),
                });
                taken.files.push(TakenFile {
                    file,
                    trouble: Some(trouble.0),
                    next: Some(trouble.1),
                    ..TakenFile::default()
                });
            }
        }
    }
    Ok(taken)
}

#[derive(Default)]
struct Issues {
    told: Vec<Issue>,
    untold: u64,
}

impl Issues {
    fn add(&mut self, issue: Issue) {
        if self.told.len() < ISSUES_TOLD {
            self.told.push(issue);
        } else {
            self.untold += 1;
        }
    }
}

/// What travels from the reader to the keeper.
enum Parcel {
    Table(&'static Table, Vec<String>),
    Rows(Vec<(u64, Vec<Cell>)>, usize),
    Issue(Issue),
}

/// The reader's end: bundles rows and takes emptied bundles back.
struct Bundler {
    to_keeper: SyncSender<Parcel>,
    emptied: Receiver<Vec<(u64, Vec<Cell>)>>,
    bundle: Vec<(u64, Vec<Cell>)>,
    used: usize,
}

/// The keeper has stopped; its own error tells why.
#[derive(Debug)]
struct KeeperStopped;

impl std::fmt::Display for KeeperStopped {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("keeping stopped")
    }
}

impl std::error::Error for KeeperStopped {}

impl Bundler {
    fn send(&mut self) -> Result<(), KeeperStopped> {
        if self.used == 0 {
            return Ok(());
        }
        let fresh = self.emptied.try_recv().unwrap_or_default();
        let bundle = std::mem::replace(&mut self.bundle, fresh);
        let used = std::mem::take(&mut self.used);
        self.to_keeper.send(Parcel::Rows(bundle, used)).map_err(|_| KeeperStopped)
    }
}

impl Sink for Bundler {
    type Error = KeeperStopped;

    fn table(&mut self, table: &'static Table, columns: &[String]) -> Result<(), KeeperStopped> {
        self.to_keeper.send(Parcel::Table(table, columns.to_vec())).map_err(|_| KeeperStopped)
    }

    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), KeeperStopped> {
        if self.used == self.bundle.len() {
            self.bundle.push((0, vec![Cell::Missing; cells.len()]));
        }
        let place = &mut self.bundle[self.used];
        place.0 = line;
        // The reader gets the old cells back, so that their memory is used again.
        std::mem::swap(&mut place.1, cells);
        cells.resize(place.1.len(), Cell::Missing);
        self.used += 1;
        if self.used == ROWS_IN_BUNDLE { self.send() } else { Ok(()) }
    }

    fn issue(&mut self, issue: Issue) -> Result<(), KeeperStopped> {
        self.send()?;
        self.to_keeper.send(Parcel::Issue(issue)).map_err(|_| KeeperStopped)
    }
}

/// Why a whole file was not read, and what to do.
struct Unread(String, String);

type FileAnswer = Result<(TakenFile, Issues), Unread>;

fn take_in_file(
    store: &mut Farm,
    path: &Path,
    zone: &TimeZone,
    now: Timestamp,
    watch: &mut Watch,
) -> anyhow::Result<FileAnswer> {
    let hash = match cowpath_import::content_hash(path) {
        Ok(hash) => hash,
        Err(error) => {
            return Ok(Err(Unread(
                format!("{} cannot be opened: {error}", path.display()),
                "look whether the name is right and the file may be read".into(),
            )));
        }
    };
    let label = path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
    let zone_name = zone.iana_name().unwrap_or("UTC").to_owned();
    if let Some((table, sums)) = store.already_read(&hash, &zone_name)? {
        let counts = TakenFile {
            table: Some(table),
            read: sums.read,
            same: sums.read,
            ..TakenFile::default()
        };
        store.note_read_again(&label, &hash, now)?;
        return Ok(Ok((counts, Issues::default())));
    }
    let reading = Reading::new(zone.clone(), now);
    let (to_keeper, parcels) = sync_channel::<Parcel>(8);
    let (give_back, emptied) = sync_channel(16);
    std::thread::scope(|scope| {
        let reader = scope.spawn(|| {
            let mut sink = Bundler { to_keeper, emptied, bundle: Vec::new(), used: 0 };
            let answer = cowpath_import::read_file(path, &reading, &mut sink, &mut |progress| watch(path, progress));
            answer.and_then(|counts| sink.send().map(|()| counts).map_err(ReadError::Sink))
        });
        let kept = keep(store, &label, hash, &zone_name, now, parcels, &give_back, reader);
        kept
    })
}

#[allow(clippy::too_many_arguments, reason = "one call, from the function above")]
fn keep(
    store: &mut Farm,
    label: &str,
    hash: [u8; 32],
    zone_name: &str,
    now: Timestamp,
    parcels: Receiver<Parcel>,
    give_back: &SyncSender<Vec<(u64, Vec<Cell>)>>,
    reader: std::thread::ScopedJoinHandle<'_, Result<cowpath_import::Counts, ReadError<KeeperStopped>>>,
) -> anyhow::Result<FileAnswer> {
    let mut issues = Issues::default();
    let mut batch = None;
    let mut table_name = None;
    // Taken out of the store only once the header is known; rows cannot come before it.
    let mut store = Some(store);
    for parcel in &parcels {
        match parcel {
            Parcel::Table(table, columns) => {
                let source = Source {
                    file: label.to_owned(),
                    content_hash: hash,
                    table,
                    zone: zone_name.to_owned(),
                    now,
                    columns,
                };
                table_name = Some(table.name.to_owned());
                if let Some(store) = store.take() {
                    batch = Some(store.begin(&source)?);
                }
            }
            Parcel::Rows(mut bundle, used) => {
                if let Some(batch) = batch.as_mut() {
                    for (line, cells) in &mut bundle[..used] {
                        if let Disposition::Refused(refusal) = batch.row(*line, cells)? {
                            issues.add(told(refusal));
                        }
                    }
                }
                let _ = give_back.try_send(bundle);
            }
            Parcel::Issue(issue) => {
                if let Some(batch) = batch.as_mut() {
                    let refusal = kept_as(&issue);
                    match issue.kind {
                        IssueKind::RowRefused => batch.refuse(&refusal)?,
                        IssueKind::ColumnNotUsed | IssueKind::Note => batch.remark(&refusal)?,
                    }
                }
                issues.add(issue);
            }
        }
    }
    let read = match reader.join() {
        Ok(read) => read,
        Err(panic) => std::panic::resume_unwind(panic),
    };
    match (read, batch) {
        (Ok(_), Some(batch)) => {
            let (sums, refused) = batch.finish()?;
            for refusal in refused {
                issues.add(told(refusal));
            }
            let counts = TakenFile {
                table: table_name,
                read: sums.read,
                new: sums.new,
                same: sums.same,
                replaced: sums.replaced,
                quarantined: sums.quarantined,
                ..TakenFile::default()
            };
            Ok(Ok((counts, issues)))
        }
        // Dropping the batch takes back whatever of the file was written.
        (Err(error), _) => Ok(Err(Unread(error.to_string(), error.next()))),
        (Ok(_), None) => Ok(Err(Unread("the file has no header".into(), "add one header row".into()))),
    }
}

fn kept_as(issue: &Issue) -> Refusal {
    Refusal {
        line: issue.line,
        column: issue.column.clone(),
        value: issue.value.clone(),
        reason: issue.reason.clone(),
        remedy: issue.remedy.clone(),
        raw: issue.raw.clone(),
    }
}

fn told(refusal: Refusal) -> Issue {
    Issue {
        line: refusal.line,
        column: refusal.column,
        value: refusal.value,
        reason: refusal.reason,
        remedy: refusal.remedy,
        kind: IssueKind::RowRefused,
        raw: refusal.raw,
    }
}
