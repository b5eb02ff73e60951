//! A folder that is watched: each file is read once it is complete, and nothing in it is moved.
//!
//! # When a file is complete
//! Its length and the time of its last change are the same at two looks [`STEADY`] apart, and it is read to its end
//! without having changed. What cannot be read, or ends in the middle of a row, may still be on its way: it is let lie for
//! [`PATIENCE`] and then told. What changes while it is read is dropped whole and waits for its next steady moment.
//! # What is remembered
//! The content of each file that came, in the farm's file. A restart reads nothing twice, the same content under another
//! name is not read again, and a file that could not be read is tried again only when it has changed.
//! # Not here
//! Folders inside the folder, and names that begin with a dot or end in `.part`, `.partial` or `.tmp`: copying programs
//! give such names to what is not finished.

use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    sync::Arc,
    thread,
    time::Duration,
};

use cowpath_store::Way;
use serde::Serialize;

use super::{
    coming::{Coming, Print},
    live::Live,
};
use crate::{clock::Stopwatch, trouble};

/// How often the folder is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How long a file must hold still.
const STEADY: Duration = Duration::from_millis(400);
/// How long a file that cannot be read may still be on its way.
const PATIENCE: Duration = Duration::from_secs(5);
/// How long it is waited after the store itself failed: a full disk is not emptied in a moment.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

/// What Records says of the inbox.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Watched {
    /// The folder.
    pub folder: String,
    /// Files that are still changing, or wait for their turn.
    pub waiting: Vec<String>,
    /// Why the folder, or a file of it, could not be looked at; empty where all is well.
    pub trouble: String,
}

/// What is known of a file of the folder.
struct Known {
    print: Print,
    /// How long it has been so.
    still: Stopwatch,
    /// It was dealt with as it is.
    done: bool,
    /// It was tried as it is and may still be on its way.
    tried: bool,
}

/// Watches a folder on a thread of its own, as long as anybody else holds the farm.
pub fn watch(live: &Arc<Live>, folder: &Path) {
    let (live, folder) = (Arc::downgrade(live), folder.to_owned());
    thread::spawn(move || {
        let mut inbox = Inbox { folder, known: BTreeMap::new() };
        while let Some(live) = live.upgrade() {
            let stopwatch = Stopwatch::start();
            let rest = inbox.look(&live);
            drop(live);
            // A folder of very many files must not keep a processor busy.
            thread::sleep(rest.max(stopwatch.elapsed() * 2));
        }
    });
}

struct Inbox {
    folder: PathBuf,
    known: BTreeMap<PathBuf, Known>,
}

impl Inbox {
    /// Looks once; how long to wait until the next look.
    fn look(&mut self, live: &Live) -> Duration {
        let mut said = Watched { folder: self.folder.display().to_string(), ..Watched::default() };
        let mut rest = LOOK_EVERY;
        match files(&self.folder) {
            Ok(files) => {
                self.known.retain(|path, _| files.iter().any(|(own, _)| own == path));
                for (path, print) in files {
                    match self.deal_with(live, &path, print) {
                        Ok(true) => {}
                        Ok(false) => said.waiting.push(name(&path)),
                        Err(error) => {
                            // The store failed, not the file: it is tried again, and told meanwhile.
                            said.trouble = trouble::in_words(&error).to_string();
                            said.waiting.push(name(&path));
                            rest = AFTER_FAILURE;
                            break;
                        }
                    }
                }
            }
            Err(error) => {
                said.trouble = format!(
                    "the folder cannot be looked into: {error}\nDo: look whether it is there and may be read; it is tried again"
                );
                rest = AFTER_FAILURE;
            }
        }
        live.say_inbox(said);
        rest
    }

    /// Whether a file needs nothing more as it is.
    fn deal_with(&mut self, live: &Live, path: &Path, print: Print) -> anyhow::Result<bool> {
        let known = match self.known.get_mut(path) {
            Some(known) if known.print == print => known,
            _ => {
                let fresh = Known { print, still: Stopwatch::start(), done: false, tried: false };
                self.known.insert(path.to_owned(), fresh);
                return Ok(false);
            }
        };
        let still = known.still.elapsed();
        let patient = PATIENCE <= still;
        if known.done || still < STEADY || (known.tried && !patient) {
            return Ok(known.done);
        }
        known.done = live.take_from_inbox(&Coming {
            path: path.to_owned(),
            name: name(path),
            way: Way::Inbox,
            steady: Some(print),
            may_grow: !patient,
            map: None,
        })?;
        known.tried = true;
        Ok(known.done)
    }
}

fn name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// The files of the folder that may be logs, by name.
fn files(folder: &Path) -> std::io::Result<Vec<(PathBuf, Print)>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let name = name(&path);
        let unfinished =
            [".part", ".partial", ".tmp"].iter().any(|ending| name.to_lowercase().ends_with(ending));
        if name.starts_with('.') || unfinished {
            continue;
        }
        // A file that is gone by now is none; a pipe would be waited for without end.
        if let Ok(about) = fs::metadata(&path)
            && about.is_file()
        {
            files.push((path, (about.len(), about.modified().ok())));
        }
    }
    files.sort();
    Ok(files)
}
