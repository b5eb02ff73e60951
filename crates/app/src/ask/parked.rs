//! Files that wait to be told how they are read: no plain table, and no saved map fits them.
//!
//! An upload is moved into the farm's folder `unread`, under a key of its content, with a note of its name beside it. A
//! file of the inbox stays where it lies; only the note is kept. At most [`MOST_FILES`] wait, and uploads of
//! [`MOST_BYTES`] together: those that have waited longest go, and whoever brought the newest is told.

use std::{
    fs, io,
    path::{Path, PathBuf},
};

use cowpath_store::Way;
use serde::{Deserialize, Serialize};

use super::coming::Coming;

/// Folder of what waits, in the farm's.
const FOLDER: &str = "unread";
/// Files that wait at most.
pub const MOST_FILES: usize = 20;
/// Bytes of uploads that wait at most, together.
pub const MOST_BYTES: u64 = 4 << 30;
/// Letters of a key: half of the content's hash tells files apart.
const KEY: usize = 32;

/// A file that waits.
#[derive(Debug, Clone, PartialEq)]
pub struct Parked {
    /// Its key: the first half of its content's hash, in hexadecimal.
    pub key: String,
    /// What it is called where it comes from.
    pub name: String,
    /// Where it lies.
    pub path: PathBuf,
    /// By which way it came.
    pub way: Way,
}

/// What stands beside it.
#[derive(Serialize, Deserialize)]
struct Note {
    name: String,
    /// Where a file of the inbox lies.
    #[serde(skip_serializing_if = "Option::is_none")]
    inbox: Option<PathBuf>,
}

/// Lets a file wait: an upload is moved, a file of the inbox only noted. Gives back its key, and the names of those that
/// went to make room.
///
/// # Errors
/// When it cannot be moved or the note not be written; it is then where it was.
pub fn park(farm: &Path, coming: &Coming) -> io::Result<(String, Vec<String>)> {
    park_within(farm, coming, (MOST_FILES, MOST_BYTES))
}

pub(super) fn park_within(
    farm: &Path,
    coming: &Coming,
    (files, bytes): (usize, u64),
) -> io::Result<(String, Vec<String>)> {
    let content = cowpath_import::content_hash(&coming.path)?;
    let key: String = content.iter().map(|byte| format!("{byte:02x}")).collect::<String>()[..KEY].to_owned();
    let folder = farm.join(FOLDER);
    fs::create_dir_all(&folder)?;
    let inbox = match coming.way {
        Way::Inbox => Some(fs::canonicalize(&coming.path)?),
        _ => {
            fs::rename(&coming.path, folder.join(&key))?;
            None
        }
    };
    let note = Note { name: coming.name.clone(), inbox };
    fs::write(folder.join(format!("{key}.json")), serde_json::to_vec(&note)?)?;
    Ok((key.clone(), make_room(farm, &key, files, bytes)))
}

/// Lets go what has waited longest; the names of it.
fn make_room(farm: &Path, newest: &str, most_files: usize, most_bytes: u64) -> Vec<String> {
    let mut waiting = list(farm);
    // Moved files keep the time of their content, so the note tells how long it has waited.
    let since = |one: &Parked| {
        fs::metadata(note_of(farm, &one.key))
            .and_then(|about| about.modified())
            .unwrap_or(std::time::UNIX_EPOCH)
    };
    waiting.sort_by_key(|one| (one.key == newest, since(one), one.key.clone()));
    let bytes = |one: &Parked| match one.way {
        Way::Inbox => 0,
        _ => fs::metadata(&one.path).map_or(0, |about| about.len()),
    };
    let mut sum: u64 = waiting.iter().map(bytes).sum();
    let mut left = waiting.len();
    let mut gone = Vec::new();
    for one in &waiting {
        if (left <= most_files && sum <= most_bytes) || one.key == newest {
            break;
        }
        sum -= bytes(one);
        left -= 1;
        remove(farm, &one.key);
        // A file of the inbox is still in its folder.
        if one.way != Way::Inbox {
            gone.push(one.name.clone());
        }
    }
    gone
}

fn note_of(farm: &Path, key: &str) -> PathBuf {
    farm.join(FOLDER).join(format!("{key}.json"))
}

/// A file by its key, if it still waits and lies where it lay.
pub fn find(farm: &Path, key: &str) -> Option<Parked> {
    // A key is never part of a path before it is known to be one.
    let is_key = key.len() == KEY && key.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
    if !is_key {
        return None;
    }
    let note: Note = serde_json::from_slice(&fs::read(note_of(farm, key)).ok()?).ok()?;
    let (path, way) = match note.inbox {
        Some(path) => (path, Way::Inbox),
        None => (farm.join(FOLDER).join(key), Way::Page),
    };
    path.is_file().then(|| Parked { key: key.to_owned(), name: note.name, path, way })
}

/// All that wait, by name.
pub fn list(farm: &Path) -> Vec<Parked> {
    let Ok(entries) = fs::read_dir(farm.join(FOLDER)) else { return Vec::new() };
    let mut waiting: Vec<Parked> = entries
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter_map(|name| find(farm, name.strip_suffix(".json")?))
        .collect();
    waiting.sort_by(|one, other| (&one.name, &one.key).cmp(&(&other.name, &other.key)));
    waiting
}

/// Takes a file away that no longer waits; one of the inbox stays in its folder.
pub fn remove(farm: &Path, key: &str) {
    if let Some(one) = find(farm, key) {
        if one.way != Way::Inbox {
            let _ = fs::remove_file(&one.path);
        }
        let _ = fs::remove_file(note_of(farm, key));
        // The folder goes with the last file in it.
        let _ = fs::remove_dir(farm.join(FOLDER));
    }
}
