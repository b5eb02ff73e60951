//! What can go wrong with the farm's file, told so that a person knows what is safe and what to do.
//!
//! SQLite's codes are sorted here, once: the disk is full, the file is in use, the folder is read-only, the file is not
//! ours. What remains is our own fault and is called so.

use std::path::{Path, PathBuf};

use cowpath_core::remedy::Remedy;
use rusqlite::ErrorCode;

/// Answers of this crate.
pub type Result<T> = std::result::Result<T, StoreError>;

/// What went wrong with the farm's file.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// There is no farm in the folder.
    #[error("there is no farm in {}", folder.display())]
    NoFarm {
        /// The folder asked for.
        folder: PathBuf,
    },
    /// The file is not a database at all.
    #[error("{} is not a farm's file: it is no database", file.display())]
    NotADatabase {
        /// The file.
        file: PathBuf,
    },
    /// The file is the database of another program.
    #[error("{} belongs to another program", file.display())]
    OtherProgram {
        /// The file.
        file: PathBuf,
    },
    /// The file was written by a later version of Cowpath.
    #[error("{} was written by a newer Cowpath (form {found}; this one knows up to {known})", file.display())]
    Newer {
        /// The file.
        file: PathBuf,
        /// Form of the file.
        found: i64,
        /// Newest form this program knows.
        known: i64,
    },
    /// The file is of an earlier version of Cowpath, and cannot be brought up to date where it can only be read.
    #[error("{} was written by an older Cowpath (form {found}; this one needs {known}) and can only be read here", file.display())]
    Older {
        /// The file.
        file: PathBuf,
        /// Form of the file.
        found: i64,
        /// The form this program needs.
        known: i64,
    },
    /// Nothing can be written there.
    #[error("{} cannot be written to", place.display())]
    ReadOnly {
        /// Folder or file.
        place: PathBuf,
    },
    /// What was named as the farm's folder, or lies on the way to it, is a file.
    #[error("{} is no folder", place.display())]
    NotAFolder {
        /// The file, or what was to lie in it.
        place: PathBuf,
    },
    /// The disk is full.
    #[error("the disk that holds the farm's file is full")]
    DiskFull,
    /// Another program is writing.
    #[error(
        "the farm's file is in use: another program has been writing to it for more than {waited_s} seconds"
    )]
    InUse {
        /// How long was waited, s.
        waited_s: u64,
    },
    /// The file is damaged.
    #[error("the farm's file is damaged: {detail}")]
    Damaged {
        /// What was found.
        detail: String,
    },
    /// The file to restore from is the farm's own, or the backup would overwrite it.
    #[error("{} is the farm's own file", file.display())]
    OwnFile {
        /// The file.
        file: PathBuf,
    },
    /// What a restore is to read is no backup, or what stands where a backup is to go is none and would be lost.
    #[error("{} is not a backup of a farm: {why}", file.display())]
    NotABackup {
        /// The file.
        file: PathBuf,
        /// What it is.
        why: String,
        /// It stands where a backup was to be written.
        in_the_way: bool,
    },
    /// A row holds a value in a column that was not announced, or too few cells.
    #[error("line {line}: the row does not fit the columns announced for it ({detail})")]
    Misfit {
        /// Its line.
        line: u64,
        /// What does not fit.
        detail: String,
    },
    /// More names than the models can number.
    #[error("there are more than {most} {what}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// The most.
        most: usize,
    },
    /// What stands in the file cannot be understood.
    #[error("a stored value of {what} cannot be read: {detail}")]
    Stored {
        /// Where it stands.
        what: &'static str,
        /// Why.
        detail: String,
    },
    /// The operating system said no.
    #[error("{}: {source}", place.display())]
    Io {
        /// File or folder.
        place: PathBuf,
        /// What it said.
        source: std::io::Error,
    },
    /// Our fault.
    #[error("the farm's file gave an unexpected answer: {0}")]
    Sql(rusqlite::Error),
}

/// What stands for the place where the file that is open already cannot be written to.
const OWN_FILE: &str = "the farm's file";

/// How long a writer waits for another one, s.
pub(crate) const WAIT_S: u64 = 5;

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> StoreError {
        let detail = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => StoreError::DiskFull,
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                StoreError::InUse { waited_s: WAIT_S }
            }
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => StoreError::Damaged { detail },
            Some(ErrorCode::ReadOnly) => StoreError::ReadOnly { place: PathBuf::from(OWN_FILE) },
            _ => StoreError::Sql(error),
        }
    }
}

impl StoreError {
    /// From the operating system: a full disk and a forbidden place are told apart from the rest.
    pub(crate) fn io(place: &Path, source: std::io::Error) -> StoreError {
        use std::io::ErrorKind;
        match source.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => StoreError::DiskFull,
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
                StoreError::ReadOnly { place: place.to_owned() }
            }
            ErrorKind::NotADirectory => StoreError::NotAFolder { place: folder_of(place) },
            _ => StoreError::Io { place: place.to_owned(), source },
        }
    }

    /// Whether the user's files, disk or words are the cause, and not this program.
    pub fn is_users(&self) -> bool {
        !matches!(
            self,
            StoreError::Sql(_)
                | StoreError::Misfit { .. }
                | StoreError::Stored { .. }
                | StoreError::TooMany { .. }
        )
    }
}

impl Remedy for StoreError {
    fn kept(&self) -> String {
        match self {
            StoreError::NoFarm { .. } => "nothing was made".into(),
            StoreError::NotADatabase { .. }
            | StoreError::OtherProgram { .. }
            | StoreError::Newer { .. }
            | StoreError::Older { .. }
            | StoreError::NotABackup { .. }
            | StoreError::OwnFile { .. } => "the file was left as it is".into(),
            StoreError::ReadOnly { .. } | StoreError::NotAFolder { .. } => "nothing was changed".into(),
            StoreError::DiskFull => {
                "everything read before is kept; of the file being read nothing was taken in, so that no half of it \
                 stands"
                    .into()
            }
            StoreError::InUse { .. } => "nothing of this was taken in; what the other program writes is safe".into(),
            StoreError::Damaged { .. } => "the file was left as it is; what can still be read stays readable".into(),
            _ => "what was read before is kept as it was".into(),
        }
    }

    fn next(&self) -> String {
        match self {
            StoreError::NoFarm { .. } => {
                "read a log into it with `cowpath import`, or name the right folder with --farm".into()
            }
            StoreError::NotADatabase { .. } | StoreError::OtherProgram { .. } => {
                "name another folder with --farm; if this should be your farm, restore it from a backup".into()
            }
            StoreError::Newer { .. } => "use the newer Cowpath; a file is never turned back to an older form".into(),
            StoreError::ReadOnly { place } if place == Path::new(OWN_FILE) => {
                "it lies where it can only be read: have that changed, or copy it into a folder you may write to and name \
                 that with --farm"
                    .into()
            }
            StoreError::ReadOnly { .. } => {
                "name a folder you may write to with --farm, or have the permission changed; to look only, copy the \
                 farm's file into a folder of your own and name that"
                    .into()
            }
            StoreError::Older { .. } => {
                "use it once where it may be written to, by any command, and it is brought up to date".into()
            }
            StoreError::NotAFolder { .. } => "name a folder with --farm; it is made if it is not there yet".into(),
            StoreError::DiskFull => "free some space and read the file again: what is missing is then taken in".into(),
            StoreError::InUse { .. } => {
                "wait until the other reading has ended, or close the other program, and try again".into()
            }
            StoreError::Damaged { .. } => {
                "copy the file somewhere safe, then restore your last backup with `cowpath restore`".into()
            }
            StoreError::NotABackup { in_the_way: true, .. } => {
                "name a file that is not there yet, or an older backup".into()
            }
            StoreError::NotABackup { .. } => "name another file that `cowpath backup` wrote".into(),
            StoreError::OwnFile { .. } => "name another file for the backup".into(),
            StoreError::Io { source, .. } if source.kind() == std::io::ErrorKind::IsADirectory => {
                "a folder stands where a file belongs: name another place".into()
            }
            StoreError::Io { .. } => "look whether the disk is connected and the name is right, and try again".into(),
            _ => "run `cowpath check`; if it finds nothing, this is a fault of the program: report it with this text"
                .into(),
        }
    }
}

/// The folder a farm's file was to lie in.
fn folder_of(place: &Path) -> PathBuf {
    match place.parent() {
        Some(folder) if place.ends_with(crate::open::FILE_NAME) => folder.to_owned(),
        _ => place.to_owned(),
    }
}
