//! A place of a page that a command fills: what stands between its two markers.

use std::{fs, path::Path};

use anyhow::Context as _;

use crate::trouble::user;

/// Whether a page on the disk has a place; asked before the herds are heard, for that takes minutes.
///
/// # Errors
/// Where the page is not there, or has no such place.
pub fn ready(path: &Path, place: &str) -> anyhow::Result<()> {
    put(&read(path)?, place, "").map(|_| ()).ok_or_else(|| no_place(path, place))
}

/// Puts a text into its place of a page on the disk.
///
/// # Errors
/// As [`ready`], or where it cannot be written.
pub fn fill(path: &Path, place: &str, text: &str) -> anyhow::Result<()> {
    let filled = put(&read(path)?, place, text).ok_or_else(|| no_place(path, place))?;
    fs::write(path, filled).with_context(|| format!("{} could not be written", path.display()))
}

fn read(path: &Path) -> anyhow::Result<String> {
    fs::read_to_string(path).map_err(|error| {
        user(
            format!("{} could not be read: {error}", path.display()),
            "nothing was written",
            "run the command in the project's own folder, or name the page: `cowpath validate --write PAGE`",
        )
    })
}

fn no_place(path: &Path, place: &str) -> anyhow::Error {
    user(
        format!("{} has no place `{place}`", path.display()),
        "nothing was written",
        format!("give it the two lines `<!-- {place}: begin -->` and `<!-- {place}: end -->`"),
    )
}

/// The page with another text between the markers of a place; `None` where it has no such place.
pub fn put(page: &str, place: &str, text: &str) -> Option<String> {
    let begin = page.find(&format!("<!-- {place}: begin"))?;
    let from = begin + page[begin..].find('\n')? + 1;
    let to = from + page[from..].find(&format!("<!-- {place}: end"))?;
    Some(format!("{}{}\n{}", &page[..from], text.trim_end(), &page[to..]))
}
