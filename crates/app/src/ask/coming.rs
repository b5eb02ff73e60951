//! A file on its way in: where it lies, what it is called, by which way it came, and whether it holds still.

use std::{
    path::{Path, PathBuf},
    sync::Arc,
};

use cowpath_import::ColumnMap;
use cowpath_store::{Farm, StoreError, Unread, Way};
use jiff::Timestamp;

/// A file on its way in.
#[derive(Debug, Clone)]
pub struct Coming {
    /// Where it lies.
    pub path: PathBuf,
    /// What it is called where it comes from, as answers and Records name it.
    pub name: String,
    /// By which way it came.
    pub way: Way,
    /// Its length and the time of its last change as they were when it was found complete; where they are others when
    /// its last row was read, nothing of it is kept.
    pub steady: Option<Print>,
    /// More of it may still be coming: if it cannot be read, or its last row cannot be used, nothing of it is kept or
    /// noted.
    pub may_grow: bool,
    /// The column map it is to be read with; without one a plain table, the exchange standard, or the saved map that fits.
    pub map: Option<Arc<ColumnMap>>,
}

/// Length of a file, and when it was last changed.
pub type Print = (u64, Option<std::time::SystemTime>);

/// A file's [`Print`] now; `None` where it cannot be asked.
pub fn print_of(path: &Path) -> Option<Print> {
    std::fs::metadata(path).ok().map(|about| (about.len(), about.modified().ok()))
}

impl Coming {
    /// A file named on the command line.
    pub fn named(path: &Path) -> Coming {
        let name = path.display().to_string();
        Coming { path: path.to_owned(), name, way: Way::Command, steady: None, may_grow: false, map: None }
    }

    /// Its last part, as Records names it.
    pub fn file(&self) -> String {
        Path::new(&self.name)
            .file_name()
            .map_or_else(|| self.name.clone(), |name| name.to_string_lossy().into_owned())
    }

    /// Whether it is still as it was when it was found complete.
    pub fn is_steady(&self) -> bool {
        self.steady.is_none() || print_of(&self.path) == self.steady
    }
}

/// Keeps it for Records that a file could not be read. A farm that cannot be written to answers all the same.
pub fn note_unread(
    store: &mut Farm,
    coming: &Coming,
    now: Timestamp,
    trouble: &str,
    remedy: &str,
) -> anyhow::Result<()> {
    let noted = store.note_unread(&Unread {
        way: coming.way,
        file: coming.file(),
        content: cowpath_import::content_hash(&coming.path).ok(),
        bytes: print_of(&coming.path).map_or(0, |(bytes, _)| bytes),
        at: now,
        trouble: trouble.to_owned(),
        remedy: remedy.to_owned(),
    });
    match noted {
        Ok(()) | Err(StoreError::ReadOnly { .. }) => Ok(()),
        Err(error) => Err(error.into()),
    }
}
