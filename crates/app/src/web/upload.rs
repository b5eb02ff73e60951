//! Files dropped or chosen on a page: each streamed to the farm's own disk, then read as the command reads it.
//!
//! A table that no map fits yet is parked, and the answer leads to the page that maps it ([`super::map`]).
//! Nothing is read before the whole request is there: an upload that stops half way leaves nothing. Only so many come in
//! at once; one that sends nothing for a minute, or so little that it would never end, is let go, so that its place
//! is free for others.

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
    time::Duration,
};

use askama::Template;
use axum::{
    extract::{Multipart, State, multipart::MultipartRejection},
    http::{HeaderValue, StatusCode, Uri, header},
    response::Response,
};
use cowpath_store::Way;
use tokio::{
    fs::File,
    io::AsyncWriteExt,
    sync::Semaphore,
    time::{Instant, timeout},
};

use super::{
    Answers,
    page::{self, Frame},
    records::sums,
    trouble::{Trouble, wants_json},
};
use crate::ask::{
    coming::{Coming, print_of},
    taken::{Taken, TakenFile, TakenIssue},
};

/// Where files may be sent to.
pub const PATHS: [&str; 2] = ["/records/files", "/api/files"];
/// Most one request may bring, bytes.
pub const MOST_BYTES: u64 = 2 << 30;
/// Most files in one request.
const MOST_FILES: usize = 200;
/// Requests that may bring files at once; the next one waits.
static SEATS: Semaphore = Semaphore::const_new(16);
/// Of these so many are read at once.
static READING: Semaphore = Semaphore::const_new(4);
/// How long a sender may be silent.
const SILENT: Duration = Duration::from_secs(60);
/// From when on it is asked whether a sender is too slow …
const GRACE: Duration = Duration::from_secs(30);
/// … and what it must bring on the average since it began: a slower one would need days for a day's rows.
const LEAST_BYTES_S: f64 = 1024.0;
/// Letters of a name that are kept.
const LONGEST_NAME: usize = 120;
/// Folder in the farm's folder in which uploads land.
const FOLDER: &str = "uploads";
/// Names tried for a file before it is given up.
const PLACES_TRIED: u32 = 100;
/// Issues of one file that the answer shows.
const ISSUES_SHOWN: usize = 20;
/// What lies there longer than this without growing is of a program that was killed.
const LEFT_BEHIND: Duration = Duration::from_secs(600);

/// A file that has landed; it is taken away when it is done with, whatever happens.
struct Landed {
    path: PathBuf,
    name: String,
}

impl Drop for Landed {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.path);
        // The folder goes with the last file in it.
        if let Some(folder) = self.path.parent() {
            let _ = std::fs::remove_dir(folder);
        }
    }
}

#[derive(Template)]
#[template(path = "taken.html")]
struct TakenPage<'a> {
    frame: Frame,
    files: Vec<(&'a TakenFile, Vec<&'a TakenIssue>, usize)>,
    not_listed: u64,
    any_read: bool,
}

impl TakenPage<'_> {
    fn sums(&self, file: &TakenFile) -> String {
        sums(file)
    }
}

/// More than a request may bring.
pub fn too_large() -> Trouble {
    Trouble {
        status: StatusCode::PAYLOAD_TOO_LARGE,
        title: "Too much was sent",
        happened: format!("The files are larger than {} MB together.", MOST_BYTES >> 20),
        kept: "None of them was taken; the farm is as it was.".into(),
        next: "Pack them (.gz or .zst), send fewer at once, or read them with the command cowpath import, of any size."
            .into(),
    }
}

/// Takes files away that an upload left behind which was killed with the program.
pub fn clear(farm: &Path) {
    let Ok(entries) = std::fs::read_dir(farm.join(FOLDER)) else { return };
    for path in entries.filter_map(|entry| entry.ok().map(|entry| entry.path())) {
        let age = std::fs::metadata(&path).and_then(|about| about.modified()).map(|then| then.elapsed());
        if matches!(age, Ok(Ok(age)) if LEFT_BEHIND < age) {
            drop(Landed { path, name: String::new() });
        }
    }
}

/// Takes the files in and shows what came of each.
pub async fn files(
    State(answers): State<Arc<dyn Answers>>,
    uri: Uri,
    parts: Result<Multipart, MultipartRejection>,
) -> Response {
    let as_json = wants_json(uri.path());
    match received(answers, parts).await {
        Ok(taken) if as_json => {
            let mut response = match serde_json::to_string(&taken) {
                Ok(text) => page::once(status(&taken), text),
                Err(error) => return unread(&error.to_string()).into_response_for(true),
            };
            response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
            response
        }
        Ok(taken) => match came(&taken) {
            Ok((status, text)) => page::once(status, text),
            Err(trouble) => trouble.into_response_for(false),
        },
        Err(trouble) => trouble.into_response_for(as_json),
    }
}

fn any_read(taken: &Taken) -> bool {
    taken.files.iter().any(|file| file.trouble.is_none())
}

fn status(taken: &Taken) -> StatusCode {
    if any_read(taken) { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY }
}

/// The page of what came of files, with its status.
pub fn came(taken: &Taken) -> Result<(StatusCode, String), Trouble> {
    Ok((status(taken), page::fill(&shown(taken))?))
}

fn shown(taken: &Taken) -> TakenPage<'_> {
    let mut issues: Vec<&TakenIssue> =
        taken.issues.iter().filter(|issue| issue.line.is_some() || issue.column.is_some()).collect();
    let files = taken
        .files
        .iter()
        .map(|file| {
            // Issues stand in the order of the files, also where two have one name.
            let own = issues.iter().take_while(|issue| issue.file == file.file).count();
            let own: Vec<&TakenIssue> = issues.drain(..own).collect();
            let more = own.len().saturating_sub(ISSUES_SHOWN);
            (file, own.into_iter().take(ISSUES_SHOWN).collect(), more)
        })
        .collect();
    TakenPage {
        frame: Frame::of("records"),
        files,
        not_listed: taken.issues_not_listed,
        any_read: any_read(taken),
    }
}

async fn received(
    answers: Arc<dyn Answers>,
    parts: Result<Multipart, MultipartRejection>,
) -> Result<Taken, Trouble> {
    let Ok(parts) = parts else {
        return Err(Trouble::not_understood(
            "What was sent is not a form with files (multipart/form-data).".into(),
            "Choose the files on Records, or send them as a form: curl -F file=@visits.csv ADDRESS/records/files",
        ));
    };
    // It is never closed, so there is always a seat sooner or later.
    let _seat = SEATS.acquire().await.map_err(|closed| unread(&closed.to_string()))?;
    let landed = land(&answers.folder(), parts).await?;
    let _reading = READING.acquire().await.map_err(|closed| unread(&closed.to_string()))?;
    if landed.is_empty() {
        return Err(Trouble::not_understood(
            "No file was chosen.".into(),
            "Choose one or more files, or drop them on the form, and send it again.",
        ));
    }
    let taken = tokio::task::spawn_blocking(move || {
        let coming: Vec<Coming> = landed
            .iter()
            .map(|own| Coming {
                path: own.path.clone(),
                name: own.name.clone(),
                way: Way::Page,
                steady: print_of(&own.path),
                may_grow: false,
                map: None,
            })
            .collect();
        answers.take_in(&coming)
    })
    .await;
    match taken {
        Ok(taken) => taken.map_err(|error| Trouble::unchanged("The files were not all read", &error)),
        Err(stopped) => Err(unread(&stopped.to_string())),
    }
}

/// Streams every file of a request to the farm's disk.
async fn land(farm: &Path, mut parts: Multipart) -> Result<Vec<Landed>, Trouble> {
    let mut landed = Vec::new();
    let (mut bytes, begun) = (0, Instant::now());
    loop {
        let part = match timeout(SILENT, parts.next_field()).await {
            Err(_) => return Err(silent()),
            Ok(Err(error)) => return Err(half(&error.body_text())),
            Ok(Ok(None)) => return Ok(landed),
            Ok(Ok(Some(part))) => part,
        };
        let mut part = part;
        let name = shown_name(part.file_name().unwrap_or_default());
        let mut file = None;
        loop {
            let chunk = match timeout(SILENT, part.chunk()).await {
                Err(_) => return Err(silent()),
                Ok(Err(error)) => return Err(half(&error.body_text())),
                Ok(Ok(None)) => break,
                Ok(Ok(Some(chunk))) => chunk,
            };
            bytes += chunk.len() as u64;
            if MOST_BYTES < bytes {
                return Err(too_large());
            }
            let so_far = begun.elapsed();
            if GRACE < so_far && (bytes as f64) < LEAST_BYTES_S * so_far.as_secs_f64() {
                return Err(slow());
            }
            // A part without a name is a field of the form, or the form sent without a file chosen.
            let Some(name) = &name else { continue };
            if file.is_none() {
                file = Some(place(farm, name, &mut landed).await?);
            }
            if let Some(file) = &mut file {
                file.write_all(&chunk).await.map_err(|error| no_room(&error))?;
            }
        }
        match (file, &name) {
            (Some(mut file), _) => file.flush().await.map_err(|error| no_room(&error))?,
            // An empty file is a file too, and is told to be empty.
            (None, Some(name)) => drop(place(farm, name, &mut landed).await?),
            (None, None) => {}
        }
    }
}

/// A new file for an upload. Its name is ours: what the sender calls it is only shown.
async fn place(farm: &Path, name: &str, landed: &mut Vec<Landed>) -> Result<File, Trouble> {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    if MOST_FILES <= landed.len() {
        return Err(Trouble { happened: format!("There are more than {MOST_FILES} files."), ..too_large() });
    }
    let folder = farm.join(FOLDER);
    for _ in 0..PLACES_TRIED {
        let path = folder.join(format!("{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed)));
        tokio::fs::create_dir_all(&folder).await.map_err(|error| no_room(&error))?;
        match File::create_new(&path).await {
            Ok(file) => {
                landed.push(Landed { path, name: name.to_owned() });
                return Ok(file);
            }
            // The folder went with another upload's last file just now, or the name is an older program's.
            Err(error)
                if matches!(
                    error.kind(),
                    std::io::ErrorKind::NotFound | std::io::ErrorKind::AlreadyExists
                ) => {}
            Err(error) => return Err(no_room(&error)),
        }
    }
    Err(unread("the folder of uploads is gone"))
}

/// What a file is called, without folders and what would steer a terminal; `None` where it has no name.
fn shown_name(sent: &str) -> Option<String> {
    let last = sent.rsplit(['/', '\\']).next().unwrap_or_default().trim();
    let clean = last.chars().map(|letter| if letter.is_control() { '\u{fffd}' } else { letter });
    let short: String = clean.take(LONGEST_NAME).collect();
    match (sent.is_empty(), short.as_str()) {
        (true, _) => None,
        (false, "" | "." | "..") => Some("file without a name".into()),
        _ => Some(short),
    }
}

fn half(why: &str) -> Trouble {
    Trouble {
        status: StatusCode::BAD_REQUEST,
        title: "The files did not arrive whole",
        happened: format!("The sending broke off: {}.", why.trim_end_matches('.')),
        kept: "None of it was kept; the farm is as it was.".into(),
        next: "Send the files again. A file that was read before changes nothing.".into(),
    }
}

fn silent() -> Trouble {
    Trouble { status: StatusCode::REQUEST_TIMEOUT, ..half("nothing came for a minute") }
}

fn slow() -> Trouble {
    Trouble {
        status: StatusCode::REQUEST_TIMEOUT,
        ..half("less than a kilobyte came in a second, and others wait for the place")
    }
}

fn no_room(error: &std::io::Error) -> Trouble {
    Trouble {
        status: StatusCode::INSUFFICIENT_STORAGE,
        title: "The files could not be put down",
        happened: format!("The disk of the farm did not take them: {error}."),
        kept: "None of it was kept; the farm is as it was.".into(),
        next: "Look whether that disk is full or only read, and send the files again.".into(),
    }
}

fn unread(why: &str) -> Trouble {
    Trouble::ours("The files were not read", why)
}
