//! What went wrong, in words: what happened, what was kept, what to do, and whose fault it is.
//!
//! Libraries return typed errors that carry a [`Remedy`]; this file alone turns them into words and an exit code: 1 when
//! the user's data or words are wrong or her machine is in the way (a full disk, a folder that cannot be written), 2 when
//! the fault is ours. Rules for the words: short sentences, readable without colour, no full stop after a single one.

use std::{fmt, io::ErrorKind};

use cowpath_core::remedy::Remedy;

/// Data or words that only the user can mend.
#[derive(Debug)]
pub struct Trouble {
    /// What happened.
    pub what: String,
    /// What was kept in spite of it.
    pub kept: String,
    /// What to do.
    pub next: String,
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for Trouble {}

impl Remedy for Trouble {
    fn kept(&self) -> String {
        self.kept.clone()
    }
    fn next(&self) -> String {
        self.next.clone()
    }
}

/// A [`Trouble`] as an error, for `return Err(user(…))`.
pub fn user(what: impl Into<String>, kept: impl Into<String>, next: impl Into<String>) -> anyhow::Error {
    Trouble { what: what.into(), kept: kept.into(), next: next.into() }.into()
}

/// An error in words, for the terminal and for a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InWords {
    /// What happened.
    pub what: String,
    /// What was kept; empty where nothing could be lost.
    pub kept: String,
    /// What to do.
    pub next: String,
    /// Exit code: 1 the user's, 2 ours.
    pub code: u8,
}

impl fmt::Display for InWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)?;
        if !self.kept.is_empty() {
            write!(f, "\nKept: {}", self.kept)?;
        }
        write!(f, "\nDo: {}", self.next)
    }
}

/// What the machine said behind an error that came straight from it, also through CSV and JSON.
pub fn io_kind(error: &anyhow::Error) -> Option<ErrorKind> {
    error.chain().find_map(|cause| {
        let own = cause.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
        let of_csv = cause.downcast_ref::<csv::Error>().and_then(|error| match error.kind() {
            csv::ErrorKind::Io(error) => Some(error.kind()),
            _ => None,
        });
        let of_json = cause.downcast_ref::<serde_json::Error>().and_then(serde_json::Error::io_error_kind);
        own.or(of_csv).or(of_json)
    })
}

/// Letters of a person's word that an answer repeats.
const REPEATED: usize = 60;

/// What a person typed, as an answer repeats it: not over the whole screen, and without what would steer a terminal.
pub fn short(typed: &str) -> String {
    let mut letters = typed.chars().map(|letter| if letter.is_control() { '\u{fffd}' } else { letter });
    let text: String = letters.by_ref().take(REPEATED).collect();
    if letters.next().is_some() { text + "…" } else { text }
}

/// Puts any error into words.
pub fn in_words(error: &anyhow::Error) -> InWords {
    // What stands before the cause says where it happened: the file that was being read.
    let mut place = String::new();
    for cause in error.chain() {
        if let Some(trouble) = cause.downcast_ref::<Trouble>() {
            return with_remedy(&place, trouble, 1);
        }
        if let Some(trouble) = cause.downcast_ref::<cowpath_store::StoreError>() {
            return with_remedy(&place, trouble, if trouble.is_users() { 1 } else { 2 });
        }
        place += &format!("{cause}: ");
    }
    if io_kind(error).is_some() {
        return InWords {
            what: format!("the answer could not be written, or a file not be reached: {error:#}"),
            kept: "the farm's file is whole, with all that was read into it".into(),
            next: "look whether that disk is full or gone, or let the answer go elsewhere, and try again"
                .into(),
            code: 1,
        };
    }
    InWords {
        what: format!("{error:#}"),
        kept: "the farm's file was not changed by this".into(),
        next: "this should not happen: run `cowpath check`, and report the sentence above".into(),
        code: 2,
    }
}

fn with_remedy<E: Remedy + fmt::Display>(place: &str, error: &E, code: u8) -> InWords {
    InWords { what: format!("{place}{error}"), kept: error.kept(), next: error.next(), code }
}
