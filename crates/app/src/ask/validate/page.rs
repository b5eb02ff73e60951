//! A place of a page that a command fills: what stands between its two markers.

use std::{fs, path::Path};

use anyhow::Context as _;

use crate::trouble::user;

/// Puts a text into its place of a page on the disk.
///
/// # Errors
/// Where the page is not there, or has no such place.
pub fn fill(path: &Path, place: &str, text: &str) -> anyhow::Result<()> {
    let page = fs::read_to_string(path).map_err(|error| {
        user(
            format!("{} could not be read: {error}", path.display()),
            "nothing was written; the figures are printed above",
            "run the command in the project's own folder, or name the page: `cowpath validate --write PAGE`",
        )
    })?;
    let filled = put(&page, place, text).ok_or_else(|| {
        user(
            format!("{} has no place `{place}`", path.display()),
            "nothing was written; the figures are printed above",
            format!("give it the two lines `<!-- {place}: begin -->` and `<!-- {place}: end -->`"),
        )
    })?;
    fs::write(path, filled).with_context(|| format!("{} could not be written", path.display()))
}

/// The page with another text between the markers of a place; `None` where it has no such place.
pub fn put(page: &str, place: &str, text: &str) -> Option<String> {
    let begin = page.find(&format!("<!-- {place}: begin"))?;
    let from = begin + page[begin..].find('\n')? + 1;
    let to = from + page[from..].find(&format!("<!-- {place}: end"))?;
    Some(format!("{}{}\n{}", &page[..from], text.trim_end(), &page[to..]))
}
