//! The whole farm into one other file, and back, while it is being read and served.
//!
//! Both ways use SQLite's own copying of pages. A backup is written beside its place and then put there in one step, so
//! that a half of it never bears its name. A restore is one transaction on the farm's file: who reads goes on reading
//! the old state until it is done, and a kill leaves the old state.

use std::{
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

use rusqlite::{Connection, OpenFlags, backup::Backup};

use crate::{
    check,
    error::{Result, StoreError, WAIT_S},
    farm::Farm,
    open,
};

/// Ending of the file in which a restore keeps what was there before.
const BEFORE: &str = ".before-restore";

impl Farm {
    /// Writes the whole farm into one file, over an older backup of that name but over nothing else. Readers and writers
    /// go on meanwhile; the backup is the farm as it was at one moment.
    pub fn backup(&self, to: &Path) -> Result<()> {
        if same_file(to, &self.file()) {
            return Err(StoreError::OwnFile { file: to.to_owned() });
        }
        may_be_replaced(to)?;
        copy_out(&self.connection, to)
    }

    /// Puts a backup in the place of the farm in a folder; gives where the farm as it was before is kept, if there was
    /// one. The backup is looked through first: a file that is not Cowpath's or is damaged changes nothing. Programs
    /// that have the farm open see the restored rows at their next question.
    pub fn restore(folder: &Path, from: &Path) -> Result<Option<PathBuf>> {
        let live_file = folder.join(open::FILE_NAME);
        if same_file(from, &live_file) {
            return Err(StoreError::OwnFile { file: from.to_owned() });
        }
        let source = open_backup(from)?;
        let existed = live_file.exists();
        let mut live = if existed { replaceable(folder)? } else { None };
        let mut kept = None;
        if let Some(live) = &live {
            let before = free_name(folder);
            copy_out(live, &before)?;
            kept = Some(before);
        } else if existed {
            // Not readable as a farm: set aside byte by byte, then begun anew.
            let before = free_name(folder);
            set_aside(&live_file, &before)?;
            kept = Some(before);
        }
        if live.is_none() {
            live = Some(open::for_writing(folder, true)?);
        }
        if let Some(mut live) = live {
            copy(&source, &mut live)?;
            // An older backup is led to the newest form.
            open::bring_up(&mut live, &live_file)?;
        }
        Ok(kept)
    }
}

/// The live farm, if it is one; a damaged one or another program's is not opened. One that is in use, newer, or in a
/// folder that cannot be written to ends the restore.
fn replaceable(folder: &Path) -> Result<Option<Connection>> {
    match open::for_writing(folder, false) {
        Ok(live) => Ok(Some(live)),
        Err(StoreError::NotADatabase { .. } | StoreError::Damaged { .. }) => Ok(None),
        Err(other) => Err(other),
    }
}

/// A name beside the farm's file that nothing has yet: what an earlier restore kept must not be lost to a later one.
fn free_name(folder: &Path) -> PathBuf {
    let mut before = folder.join(format!("{}{BEFORE}", open::FILE_NAME));
    let mut number = 1;
    while before.exists() {
        number += 1;
        before = folder.join(format!("{}{BEFORE}-{number}", open::FILE_NAME));
    }
    before
}

fn set_aside(file: &Path, before: &Path) -> Result<()> {
    for ending in ["-wal", "-shm"] {
        let beside = with_ending(file, ending);
        if beside.exists() {
            fs::rename(&beside, with_ending(before, ending))
                .map_err(|error| StoreError::io(&beside, error))?;
        }
    }
    fs::rename(file, before).map_err(|error| StoreError::io(file, error))
}

/// A backup may take the place of an older one or of an empty file; anything else there would be lost.
fn may_be_replaced(to: &Path) -> Result<()> {
    let in_the_way =
        |why: &str| StoreError::NotABackup { file: to.to_owned(), why: why.into(), in_the_way: true };
    if to.is_dir() {
        return Err(in_the_way("it is a folder"));
    }
    if !to.exists() {
        return Ok(());
    }
    if to.file_name().is_some_and(|name| name == open::FILE_NAME) {
        return Err(in_the_way("it is the file of another farm"));
    }
    match open::for_reading(to) {
        Ok(_) | Err(StoreError::NoFarm { .. }) => Ok(()),
        Err(StoreError::NotADatabase { .. }) => Err(in_the_way("it is no database")),
        Err(StoreError::OtherProgram { .. }) => Err(in_the_way("it belongs to another program")),
        // What can still be read of a damaged backup may be all there is.
        Err(StoreError::Damaged { .. }) => Err(in_the_way("it is damaged")),
        Err(other) => Err(other),
    }
}

/// Opens a backup for reading, after looking whether it is ours and whole.
fn open_backup(from: &Path) -> Result<Connection> {
    let none =
        |why: &str| StoreError::NotABackup { file: from.to_owned(), why: why.into(), in_the_way: false };
    if from.is_dir() {
        return Err(none("it is a folder"));
    }
    if !from.is_file() {
        let source = std::io::Error::new(std::io::ErrorKind::NotFound, "there is no such file");
        return Err(StoreError::Io { place: from.to_owned(), source });
    }
    let source = open::for_reading(from).map_err(|error| match error {
        // An empty file is no farm, and no folder is missing.
        StoreError::NoFarm { .. } => none("it is empty"),
        StoreError::NotADatabase { .. } => none("it is no database"),
        StoreError::OtherProgram { .. } => none("it belongs to another program"),
        StoreError::Damaged { detail } => none(&format!("it is damaged ({detail})")),
        other => other,
    })?;
    let damage = check::damage(&source).map_err(|error| match error {
        StoreError::Damaged { detail } => none(&format!("it is damaged ({detail})")),
        other => other,
    })?;
    if let Some(fault) = damage.into_iter().next() {
        return Err(none(&format!("it is damaged ({})", fault.says)));
    }
    Ok(source)
}

/// Copies a database into a file of its own, put in place in one step.
fn copy_out(source: &Connection, to: &Path) -> Result<()> {
    let part = with_ending(to, ".part");
    let clear = || {
        for ending in ["", "-journal", "-wal", "-shm"] {
            // What is not there needs no clearing; what cannot be cleared shows when it is written.
            let _ = fs::remove_file(with_ending(&part, ending));
        }
    };
    clear();
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
    let written = (|| {
        let mut target = Connection::open_with_flags(&part, flags).map_err(|error| {
            let folder =
                to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
            match fs::write(&part, b"") {
                Err(cause) => StoreError::io(folder, cause),
                Ok(()) => error.into(),
            }
        })?;
        copy(source, &mut target)?;
        // One file and nothing beside it; whoever opens it for writing turns the log on again.
        target.pragma_update_and_check(None, "journal_mode", "delete", |_| Ok(()))?;
        target.close().map_err(|(_, error)| StoreError::from(error))?;
        let file = fs::File::open(&part).map_err(|error| StoreError::io(&part, error))?;
        file.sync_all().map_err(|error| StoreError::io(&part, error))?;
        fs::rename(&part, to).map_err(|error| StoreError::io(to, error))
    })();
    if written.is_err() {
        clear();
    }
    written
}

fn copy(source: &Connection, target: &mut Connection) -> Result<()> {
    target.busy_timeout(Duration::from_secs(WAIT_S))?;
    let backup = Backup::new(source, target)?;
    // All pages in one step: the source is read at one state, and with a write-ahead log that blocks nobody.
    let mut waited = Duration::ZERO;
    let pause = Duration::from_millis(50);
    loop {
        use rusqlite::backup::StepResult;
        match backup.step(-1)? {
            StepResult::Done => return Ok(()),
            StepResult::Busy | StepResult::Locked if waited < Duration::from_secs(WAIT_S) => {
                std::thread::sleep(pause);
                waited += pause;
            }
            StepResult::Busy | StepResult::Locked => return Err(StoreError::InUse { waited_s: WAIT_S }),
            _ => {}
        }
    }
}

fn with_ending(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn same_file(a: &Path, b: &Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}
