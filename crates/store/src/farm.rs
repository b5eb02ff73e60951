//! One connection to the farm's file.

use std::{
    path::{Path, PathBuf},
    time::Duration,
};

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Transaction};

use crate::{
    error::{Result, StoreError, WAIT_S},
    open::{self, FILE_NAME},
};

/// One connection to the farm's file. It may be handed to another thread, not shared between threads: each serving
/// thread takes its own by [`Farm::reader`].
#[derive(Debug)]
pub struct Farm {
    pub(crate) connection: Connection,
    pub(crate) folder: PathBuf,
}

impl Farm {
    /// Opens the farm in a folder for reading and writing; makes folder and file where there are none. `now` is kept as
    /// the time it was made.
    pub fn create_or_open(folder: &Path, now: Timestamp) -> Result<Farm> {
        let connection = open::for_writing(folder, true)?;
        let farm = Farm { connection, folder: folder.to_owned() };
        if farm.recall("made_at")?.is_none() {
            farm.keep("made_at", &now.to_string())?;
        }
        Ok(farm)
    }

    /// Opens the farm in a folder for reading and writing; it must be there. Where it can only be read (the disk is only
    /// read, or it is open already in a program that has the right to write) it is opened for reading, and what would
    /// write says so.
    pub fn open(folder: &Path) -> Result<Farm> {
        let file = folder.join(FILE_NAME);
        let connection = match open::for_writing(folder, false) {
            // Without the right to write, and with nobody who has it, there is no way to read safely: who writes later
            // would not know that somebody reads. That is told as the first error tells it.
            Err(refused @ StoreError::ReadOnly { .. }) => match open::for_reading_as_it_is(&file) {
                Err(StoreError::ReadOnly { .. } | StoreError::Sql(_)) => Err(refused),
                other => other,
            },
            other => other,
        }?;
        Ok(Farm { connection, folder: folder.to_owned() })
    }

    /// Whether the farm can only be read here.
    pub fn is_only_read(&self) -> Result<bool> {
        Ok(self.connection.is_readonly(rusqlite::MAIN_DB)?)
    }

    /// Another connection to the same farm, for reading only. It is never blocked by a writer, and sees what was
    /// finished when each question is asked.
    pub fn reader(&self) -> Result<Farm> {
        Ok(Farm { connection: open::for_reading(&self.file())?, folder: self.folder.clone() })
    }

    /// Whether there is a farm's file in a folder.
    pub fn exists(folder: &Path) -> bool {
        folder.join(FILE_NAME).exists()
    }

    /// Takes a farm's file and what belongs to it away for good; for farms that were made up.
    pub fn remove(folder: &Path) -> Result<()> {
        for ending in ["", "-wal", "-shm"] {
            let file = folder.join(format!("{FILE_NAME}{ending}"));
            if file.exists() {
                std::fs::remove_file(&file).map_err(|error| StoreError::io(&file, error))?;
            }
        }
        Ok(())
    }

    /// Another figure whenever anything in the file has changed, by this connection or any other.
    pub fn change_mark(&self) -> Result<u64> {
        let others: i64 = self.connection.query_row("PRAGMA data_version", [], |row| row.get(0))?;
        let own: i64 = self.connection.query_row("SELECT total_changes()", [], |row| row.get(0))?;
        Ok((others as u64).rotate_left(32) ^ own as u64)
    }

    /// The farm's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The farm's one file.
    pub fn file(&self) -> PathBuf {
        self.folder.join(FILE_NAME)
    }

    /// Holds the state of the file still for several questions in a row, so that they agree with one another while
    /// another connection writes.
    pub fn at_one_state<T>(&self, ask: impl FnOnce(&Farm) -> Result<T>) -> Result<T> {
        let held = self.hold()?;
        let answer = ask(self);
        drop(held);
        answer
    }

    /// Writes what can be done without: if another program is writing just now, it is left undone at once and not waited
    /// for, so that an answer is never late for it.
    pub fn if_free<T>(&mut self, write: impl FnOnce(&mut Farm) -> Result<T>) -> Result<T> {
        self.connection.busy_timeout(Duration::ZERO)?;
        let written = write(self);
        self.connection.busy_timeout(Duration::from_secs(WAIT_S))?;
        written
    }

    /// Holds the state of the file still until the answer is dropped. Within a batch, or where it is held already, it
    /// changes nothing.
    pub fn hold(&self) -> Result<Held<'_>> {
        // Before the first question SQLite holds nothing yet; the next one settles which state it is.
        let held = self.connection.is_autocommit().then(|| self.connection.unchecked_transaction());
        Ok(Held(held.transpose()?))
    }

    /// Size of the file in bytes, without the log of what was written last.
    pub fn bytes(&self) -> Result<u64> {
        let pages: i64 = self.connection.query_row("PRAGMA page_count", [], |row| row.get(0))?;
        let page: i64 = self.connection.query_row("PRAGMA page_size", [], |row| row.get(0))?;
        Ok((pages * page).unsigned_abs())
    }

    /// Lets the file grow to so many bytes and no further on this connection; beyond it, writing fails as on a full
    /// disk.
    pub fn limit_bytes(&self, most: u64) -> Result<()> {
        let page: i64 = self.connection.query_row("PRAGMA page_size", [], |row| row.get(0))?;
        let pages = i64::try_from(most).unwrap_or(i64::MAX) / page.max(1);
        self.connection.pragma_update_and_check(None, "max_page_count", pages, |_| Ok(()))?;
        Ok(())
    }

    /// A value kept by name; see [`Farm::keep`].
    pub fn recall(&self, name: &str) -> Result<Option<String>> {
        let mut statement = self.connection.prepare_cached("SELECT value FROM setting WHERE name = ?1")?;
        Ok(statement.query_row([name], |row| row.get(0)).optional()?)
    }

    /// Keeps a value by name, over what had that name before.
    pub fn keep(&self, name: &str, value: &str) -> Result<()> {
        let mut statement =
            self.connection.prepare_cached("REPLACE INTO setting (name, value) VALUES (?1, ?2)")?;
        statement.execute([name, value])?;
        Ok(())
    }
}

/// The file held still for one connection; let go when dropped.
#[derive(Debug)]
pub struct Held<'a>(#[expect(dead_code, reason = "it is its end that counts")] Option<Transaction<'a>>);

/// A count from the file.
pub(crate) fn count(value: i64, what: &'static str) -> Result<u64> {
    u64::try_from(value).map_err(|error| StoreError::Stored { what, detail: error.to_string() })
}
