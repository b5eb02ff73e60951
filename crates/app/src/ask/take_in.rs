//! Logs into the store: one file, one batch, all of it or none.
//!
//! Reading and keeping run side by side on two threads; rows travel between them in bundles whose memory is used again,
//! so that what is held does not grow with the file.

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc,
        mpsc::{Receiver, SyncSender, sync_channel},
    },
};

use anyhow::Context as _;
use cowpath_core::tables::{Cell, Table};
use cowpath_import::{ColumnMap, Counts, Issue, IssueKind, Progress, ReadError, Reading, Unreadable};
use cowpath_store::{Disposition, Farm, Finished, Refusal, Remark, Source, Way};
use jiff::{Timestamp, tz::TimeZone};

use super::bundle::{Bundler, KeeperStopped, Parcel};
pub use super::taken::{Taken, TakenFile, TakenIssue};
use super::{
    coming::{Coming, note_unread, print_of},
    farm::Barn,
    maps, parked,
};

/// Most issues of one file that are handed on; the rest are in quarantine and counted.
const ISSUES_TOLD: usize = 1000;

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
    take_in_with(barn, files, None, zone, now, watch)
}

/// The same with a column map for all files; without one a file that is no plain table is read with the saved map of the
/// farm that fits it, if there is just one.
///
/// # Errors
/// As [`take_in`].
pub fn take_in_with(
    barn: &mut Barn,
    files: &[PathBuf],
    map: Option<&Arc<ColumnMap>>,
    zone: &TimeZone,
    now: Timestamp,
    watch: &mut Watch,
) -> anyhow::Result<Taken> {
    let files: Vec<Coming> =
        files.iter().map(|path| Coming { map: map.cloned(), ..Coming::named(path) }).collect();
    take_in_all(barn, &files, zone, now, watch)
}

/// The same for files that come by any way.
///
/// # Errors
/// As [`take_in`].
pub fn take_in_all(
    barn: &mut Barn,
    files: &[Coming],
    zone: &TimeZone,
    now: Timestamp,
    watch: &mut Watch,
) -> anyhow::Result<Taken> {
    let mut taken = Taken::default();
    for coming in files {
        take_in_one(barn, coming, zone, now, watch, &mut taken)?;
    }
    Ok(taken)
}

/// Reads one file and notes one that cannot be read. `false`: it changed while it was read, and nothing of it was kept.
///
/// # Errors
/// As [`take_in`].
pub fn take_in_one(
    barn: &mut Barn,
    coming: &Coming,
    zone: &TimeZone,
    now: Timestamp,
    watch: &mut Watch,
    taken: &mut Taken,
) -> anyhow::Result<bool> {
    let file = coming.name.clone();
    // Which file was being read when the disk was full or the farm in use, is half of what the user must know.
    match take_in_file(barn, coming, zone, now, watch).with_context(|| file.clone())? {
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
        Err(unread) => {
            if coming.may_grow || !coming.is_steady() {
                return Ok(false);
            }
            let is_foreign = matches!(unread, Unread::Foreign(..));
            let (Unread::Trouble(reason, next) | Unread::Foreign(reason, next)) = unread else {
                return Ok(false);
            };
            note_unread(&mut barn.store, coming, now, &reason, &next)?;
            // A farm whose disk does not take it says what is wrong all the same.
            let parked = (is_foreign && coming.way != Way::Command)
                .then(|| parked::park(&barn.dir, coming).ok())
                .flatten();
            let (waits, made_room) = parked.map_or_else(Default::default, |(key, gone)| (Some(key), gone));
            taken.issues.push(TakenIssue {
                file: file.clone(),
                line: None,
                column: None,
                value: None,
                reason: reason.clone(),
                next: next.clone(),
            });
            taken.files.push(TakenFile {
                file,
                trouble: Some(reason),
                next: Some(next),
                waits,
                made_room,
                ..TakenFile::default()
            });
        }
    }
    Ok(true)
}

#[derive(Default)]
pub(super) struct Issues {
    told: Vec<Issue>,
    untold: u64,
}

impl Issues {
    pub(super) fn add(&mut self, issue: Issue) {
        if self.told.len() < ISSUES_TOLD {
            self.told.push(issue);
        } else {
            self.untold += 1;
        }
    }
}

/// Why a whole file was not read.
pub(super) enum Unread {
    /// What is wrong, and what to do.
    Trouble(String, String),
    /// The same of a table that a column map could read.
    Foreign(String, String),
    /// It was written to while it was read.
    Moving,
}

pub(super) type FileAnswer = Result<(TakenFile, Issues), Unread>;

fn take_in_file(
    barn: &mut Barn,
    coming: &Coming,
    zone: &TimeZone,
    now: Timestamp,
    watch: &mut Watch,
) -> anyhow::Result<FileAnswer> {
    let path = coming.path.as_path();
    let mut reading = Reading { map: coming.map.clone(), ..Reading::new(zone.clone(), now) };
    if cowpath_import::ade::is_json(path, &reading).unwrap_or(false) {
        return super::exchange::take_in_file(&mut barn.store, coming, &reading, watch);
    }
    let unread = |trouble: Unreadable| Ok(Err(Unread::Trouble(trouble.to_string(), trouble.remedy())));
    let table = match maps::form(path, &barn.dir, &mut reading) {
        Ok(table) => table,
        Err(trouble @ (Unreadable::UnknownHeader { .. } | Unreadable::WrongSeparator { .. })) => {
            return Ok(Err(Unread::Foreign(trouble.to_string(), trouble.remedy())));
        }
        Err(trouble) => return unread(trouble),
    };
    let map = reading.map.clone();
    let store = &mut barn.store;
    let content = match cowpath_import::content_hash(path) {
        Ok(content) => content,
        Err(why) => return unread(Unreadable::Io { why }),
    };
    let mut source = Source {
        file: coming.file(),
        content,
        table,
        zone: zone.iana_name().unwrap_or("UTC").to_owned(),
        map: map.as_ref().map(|map| map.essence()).unwrap_or_default(),
        now,
        columns: Vec::new(),
    };
    if let Some(sums) = store.already_read(&source)? {
        if !coming.is_steady() {
            return Ok(Err(Unread::Moving));
        }
        let batch = store.note_already_read(&source, &sums)?;
        store.note_way(batch, coming.way, print_of(path).map_or(0, |(bytes, _)| bytes))?;
        return Ok(Ok((with_map(counted(table, &sums), map.as_deref()), Issues::default())));
    }
    let (to_keeper, parcels) = sync_channel::<Parcel>(8);
    let (give_back, emptied) = sync_channel(16);
    std::thread::scope(|scope| {
        let reader = scope.spawn(|| {
            let mut sink = Bundler::new(to_keeper, emptied);
            let answer =
                cowpath_import::read_file(path, &reading, &mut sink, &mut |progress| watch(path, progress));
            answer.and_then(|counts| sink.send().map(|()| counts).map_err(ReadError::Sink))
        });
        let Ok(Parcel::Table(table, header)) = parcels.recv() else {
            return Ok(match joined(reader) {
                Err(ReadError::File(trouble)) => Err(Unread::Trouble(trouble.to_string(), trouble.remedy())),
                _ => Err(Unread::Trouble("the file has no header".into(), "add one header row".into())),
            });
        };
        source.table = table;
        source.columns = match &map {
            Some(map) => map.takes.iter().flat_map(|take| take.to.iter().copied()).collect(),
            None => header
                .iter()
                .filter_map(|word| table.spelling(&word.trim().to_lowercase()).map(|(column, _)| column))
                .collect(),
        };
        // Its words are what refused rows are mended by; a table of no rows is just its header.
        let header = cowpath_import::as_table(&header, []);
        let kept = keep(store, (&source, coming, header.trim_end()), parcels, &give_back, reader)?;
        Ok(kept.map(|(file, issues)| (with_map(file, map.as_deref()), issues)))
    })
}

type Reader<'scope> = std::thread::ScopedJoinHandle<'scope, Result<Counts, ReadError<KeeperStopped>>>;

fn joined(reader: Reader<'_>) -> Result<Counts, ReadError<KeeperStopped>> {
    match reader.join() {
        Ok(read) => read,
        Err(panic) => std::panic::resume_unwind(panic),
    }
}

fn with_map(file: TakenFile, map: Option<&ColumnMap>) -> TakenFile {
    TakenFile { map: map.map(maps::name_of), ..file }
}

fn counted(table: &Table, sums: &cowpath_store::Sums) -> TakenFile {
    TakenFile {
        table: Some(table.name.to_owned()),
        read: sums.read,
        new: sums.new,
        same: sums.same,
        replaced: sums.replaced,
        quarantined: sums.quarantined,
        ..TakenFile::default()
    }
}

/// Keeps one file's rows as they come; all of them, or none.
fn keep(
    store: &mut Farm,
    (source, coming, header): (&Source, &Coming, &str),
    parcels: Receiver<Parcel>,
    give_back: &SyncSender<Vec<(u64, Vec<Cell>)>>,
    reader: Reader<'_>,
) -> anyhow::Result<FileAnswer> {
    let mut issues = Issues::default();
    // Lines of the last row that could be used and of the last that could not.
    let mut last = [0, 0];
    let mut batch = store.begin(source)?;
    batch.came(coming.way, print_of(&coming.path).map_or(0, |(bytes, _)| bytes), header)?;
    for parcel in &parcels {
        match parcel {
            // There is one header, and it came first.
            Parcel::Table(..) => {}
            Parcel::Rows(bundle, used) => {
                for (line, cells) in &bundle[..used] {
                    last[0] = last[0].max(*line);
                    if let Disposition::Refused(refusal) = batch.row(*line, cells)? {
                        issues.add(told(refusal));
                    }
                }
                let _ = give_back.try_send(bundle);
            }
            Parcel::Issue(issue) => {
                match issue.kind {
                    IssueKind::RowRefused => {
                        last[1] = last[1].max(issue.line.unwrap_or_default());
                        batch.refuse(&refusal(&issue))?;
                    }
                    IssueKind::ColumnNotUsed | IssueKind::Note => batch.remark(&remark(&issue))?,
                }
                issues.add(issue);
            }
        }
    }
    match joined(reader) {
        Ok(_) if !coming.is_steady() || (coming.may_grow && last[0] < last[1]) => Ok(Err(Unread::Moving)),
        Ok(_) => {
            let Finished { sums, displaced, .. } = batch.finish()?;
            for set_aside in displaced.into_iter().filter(|set_aside| set_aside.read_now) {
                issues.add(self::set_aside(set_aside.row));
            }
            Ok(Ok((counted(source.table, &sums), issues)))
        }
        // Dropping the batch takes back whatever of the file was written.
        Err(ReadError::File(trouble)) => Ok(Err(Unread::Trouble(trouble.to_string(), trouble.remedy()))),
        Err(ReadError::Sink(stopped)) => Err(stopped.into()),
    }
}

pub(super) fn set_aside(row: cowpath_store::Quarantined) -> Issue {
    Issue {
        line: Some(row.line),
        column: Some(row.column),
        value: Some(row.value),
        reason: row.reason,
        remedy: row.remedy,
        kind: IssueKind::RowRefused,
        raw: None,
    }
}

pub(super) fn refusal(issue: &Issue) -> Refusal {
    Refusal {
        line: issue.line.unwrap_or_default(),
        column: issue.column.clone().unwrap_or_default(),
        value: issue.value.clone().unwrap_or_default(),
        reason: issue.reason.clone(),
        remedy: issue.remedy.clone(),
        raw: issue.raw.clone().unwrap_or_default(),
    }
}

pub(super) fn remark(issue: &Issue) -> Remark {
    Remark {
        line: issue.line,
        column: issue.column.clone().unwrap_or_default(),
        text: format!("{}: {}; {}", issue.kind.word(), issue.reason, issue.remedy),
    }
}

pub(super) fn told(refusal: Refusal) -> Issue {
    Issue {
        line: Some(refusal.line),
        column: Some(refusal.column),
        value: Some(refusal.value),
        reason: refusal.reason,
        remedy: refusal.remedy,
        kind: IssueKind::RowRefused,
        raw: Some(refusal.raw),
    }
}
