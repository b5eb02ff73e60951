//! Opening the farm's file: is it ours, is it whole, which form has it, and may we write to it?
//!
//! Forms are numbered; `schema/0001_first.sql` and its successors lead from one to the next, each in one transaction.
//! The file carries our mark (`application_id`), so that no other program's database is ever written to.

use std::{fs, io::Read, path::Path, time::Duration};

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use crate::error::{Result, StoreError, WAIT_S};

/// Name of the one file in the farm's folder.
pub const FILE_NAME: &str = "farm.sqlite";

/// The mark of our files: the letters `Cowp`.
pub(crate) const APPLICATION_ID: i64 = 0x436F_7770;

/// Every step from one form of the file to the next, oldest first.
const FORMS: [&str; 6] = [
    include_str!("../schema/0001_first.sql"),
    include_str!("../schema/0002_found.sql"),
    include_str!("../schema/0003_exchange.sql"),
    include_str!("../schema/0004_inbox.sql"),
    include_str!("../schema/0005_brought.sql"),
    include_str!("../schema/0006_learned.sql"),
];

/// Newest form this program knows.
pub(crate) const NEWEST_FORM: i64 = FORMS.len() as i64;

/// Bytes of a page; fixed for good when the file is made. Measured (1.6 M visits, processor time): read in 7.1, 5.8 and
/// 5.4 s at 8, 16 and 32 KiB; one cow of three years 12 to 14 ms at 16 and 32.
const PAGE_BYTES: i64 = 32_768;

/// KiB when negative. Who reads goes through the rows once, front to back: room of a few pages is written over, and stays in
/// the processor's own memory, where a large one would be new room for every page (a round of 2,000 cows takes one twentieth
/// more processor time with 64 MiB).
const CACHE: i64 = -1024;
/// While logs are read in: cows are 370 growing ends of one index, and all of them stay in memory.
const CACHE_WHILE_WRITING: i64 = -64 * 1024;

/// What the start of a file says of it.
enum Start {
    Absent,
    Empty,
    Database,
    Other,
}

/// Opens for writing; makes folder and file where there are none if `create`.
pub(crate) fn for_writing(folder: &Path, create: bool) -> Result<Connection> {
    let file = folder.join(FILE_NAME);
    match start_of(&file)? {
        Start::Other => return Err(StoreError::NotADatabase { file }),
        Start::Absent if !create => return Err(StoreError::NoFarm { folder: folder.to_owned() }),
        Start::Absent => fs::create_dir_all(folder).map_err(|error| StoreError::io(folder, error))?,
        Start::Empty | Start::Database => {}
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | if create { OpenFlags::SQLITE_OPEN_CREATE } else { OpenFlags::empty() };
    let mut connection = Connection::open_with_flags(&file, flags).map_err(|error| at(folder, error))?;
    connection.busy_timeout(Duration::from_secs(WAIT_S))?;
    (|| {
        // Only takes effect on a file that is still empty.
        connection.pragma_update(None, "page_size", PAGE_BYTES)?;
        judge(&connection, &file, true)?;
        connection.pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))?;
        tune(&connection)?;
        bring_up(&mut connection, &file)
    })()
    .map_err(|error| placed(error, folder))?;
    Ok(connection)
}

/// Opens for reading only; the file must be there. It may lie on a disk that is only read.
pub(crate) fn for_reading(file: &Path) -> Result<Connection> {
    match reading(file, false) {
        Err(StoreError::ReadOnly { .. }) if never_changes(file) => reading(file, true),
        other => other,
    }
}

fn reading(file: &Path, unchanging: bool) -> Result<Connection> {
    let folder = file.parent().unwrap_or(Path::new("."));
    match start_of(file)? {
        Start::Other => return Err(StoreError::NotADatabase { file: file.to_owned() }),
        Start::Absent | Start::Empty => return Err(StoreError::NoFarm { folder: folder.to_owned() }),
        Start::Database => {}
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = if unchanging {
        Connection::open_with_flags(address_of_unchanging(file), flags | OpenFlags::SQLITE_OPEN_URI)
    } else {
        Connection::open_with_flags(file, flags)
    };
    let connection = connection.map_err(|error| at(folder, error))?;
    connection.busy_timeout(Duration::from_secs(WAIT_S))?;
    (|| {
        judge(&connection, file, false)?;
        tune(&connection)
    })()
    .map_err(|error| placed(error, folder))?;
    Ok(connection)
}

/// Opens a farm's file where it can only be read; it must have the newest form, for it cannot be led there.
pub(crate) fn for_reading_as_it_is(file: &Path) -> Result<Connection> {
    let connection = for_reading(file)?;
    let found = form(&connection)?;
    if found < NEWEST_FORM {
        return Err(StoreError::Older { file: file.to_owned(), found, known: NEWEST_FORM });
    }
    Ok(connection)
}

/// Whether nobody can write to a farm's file: it lies on a disk that is only read, and no log of late writings stands
/// beside it, which could not be read in there. A mere lack of rights is not enough: others may have them.
pub(crate) fn never_changes(file: &Path) -> bool {
    let folder = file.parent().unwrap_or(Path::new("."));
    let log = folder.join(format!("{FILE_NAME}-wal"));
    file.is_file()
        && fs::metadata(log).map_or(true, |log| log.len() == 0)
        && tempfile_in(folder).is_err_and(|error| error.kind() == std::io::ErrorKind::ReadOnlyFilesystem)
}

/// The address of a file that never changes, for which SQLite needs neither lock nor log (SQLite, "Uniform Resource
/// Identifiers", query parameter `immutable`).
fn address_of_unchanging(file: &Path) -> String {
    let mut address = String::from("file:");
    for byte in file.as_os_str().as_encoded_bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'_' | b'.' => {
                address.push(char::from(*byte))
            }
            _ => address.push_str(&format!("%{byte:02X}")),
        }
    }
    address + "?immutable=1"
}

/// Leads the file to the newest form. One transaction a step: a kill leaves a whole form or the one before.
pub(crate) fn bring_up(connection: &mut Connection, file: &Path) -> Result<()> {
    if form(connection)? == NEWEST_FORM {
        return Ok(());
    }
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another program may have done it while we waited for our turn.
    let found = form(&transaction)?;
    if NEWEST_FORM < found {
        return Err(StoreError::Newer { file: file.to_owned(), found, known: NEWEST_FORM });
    }
    for step in FORMS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", NEWEST_FORM)?;
    transaction.commit()?;
    Ok(())
}

/// Refuses files that are not ours or are newer than we are; `fresh` allows one in which nothing was made yet (the
/// program was killed between making the file and filling it).
fn judge(connection: &Connection, file: &Path, fresh: bool) -> Result<()> {
    let mark: i64 = connection.query_row("PRAGMA application_id", [], |row| row.get(0)).map_err(|error| {
        match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::NotADatabase) => StoreError::NotADatabase { file: file.to_owned() },
            _ => error.into(),
        }
    })?;
    let found = form(connection)?;
    if mark != APPLICATION_ID {
        let things: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        if !(fresh && mark == 0 && found == 0 && things == 0) {
            return Err(StoreError::OtherProgram { file: file.to_owned() });
        }
    }
    if NEWEST_FORM < found {
        return Err(StoreError::Newer { file: file.to_owned(), found, known: NEWEST_FORM });
    }
    Ok(())
}

fn form(connection: &Connection) -> Result<i64> {
    Ok(connection.query_row("PRAGMA user_version", [], |row| row.get(0))?)
}

fn tune(connection: &Connection) -> Result<()> {
    connection.pragma_update(None, "foreign_keys", true)?;
    // With a write-ahead log a power cut may lose the last batches, never tear one, and a lost batch is read again.
    connection.pragma_update(None, "synchronous", "normal")?;
    connection.pragma_update(None, "cache_size", CACHE)?;
    connection.pragma_update(None, "temp_store", "memory")?;
    // A log grown by one large batch does not stay large for ever.
    connection.pragma_update_and_check(None, "journal_size_limit", 64 * 1024 * 1024, |_| Ok(()))?;
    connection.set_prepared_statement_cache_capacity(64);
    Ok(())
}

/// Makes room for what a reading of logs writes.
pub(crate) fn make_room(connection: &Connection) -> Result<()> {
    Ok(connection.pragma_update(None, "cache_size", CACHE_WHILE_WRITING)?)
}

fn start_of(file: &Path) -> Result<Start> {
    let mut start = [0; 16];
    let mut opened = match fs::File::open(file) {
        Ok(opened) => opened,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Start::Absent),
        Err(error) => return Err(StoreError::io(file, error)),
    };
    let mut length = 0;
    while length < start.len() {
        match opened.read(&mut start[length..]).map_err(|error| StoreError::io(file, error))? {
            0 => break,
            read => length += read,
        }
    }
    Ok(match (length, &start) {
        (0, _) => Start::Empty,
        (16, b"SQLite format 3\0") => Start::Database,
        _ => Start::Other,
    })
}

/// A database that cannot be opened in a folder that cannot be written to is told as the latter.
fn at(folder: &Path, error: rusqlite::Error) -> StoreError {
    placed(error.into(), folder)
}

fn placed(error: StoreError, folder: &Path) -> StoreError {
    match error {
        StoreError::ReadOnly { .. } => StoreError::ReadOnly { place: folder.to_owned() },
        StoreError::Sql(error)
            if matches!(
                error.sqlite_error_code(),
                Some(rusqlite::ErrorCode::CannotOpen | rusqlite::ErrorCode::PermissionDenied)
            ) =>
        {
            let forbidden = fs::metadata(folder).is_ok_and(|found| found.permissions().readonly())
                || !folder.is_dir()
                || tempfile_in(folder).is_err();
            if forbidden { StoreError::ReadOnly { place: folder.to_owned() } } else { StoreError::Sql(error) }
        }
        other => other,
    }
}

/// Tries to write in the folder, and leaves nothing behind.
fn tempfile_in(folder: &Path) -> std::io::Result<()> {
    let trial = folder.join(".cowpath-trial");
    fs::write(&trial, b"")?;
    fs::remove_file(&trial)
}
