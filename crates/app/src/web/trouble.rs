//! What a page says when something went wrong: what happened, what was kept, what next.

use askama::Template;
use axum::{
    body::Body,
    http::{HeaderValue, Method, StatusCode, Uri, header},
    response::Response,
};
use serde::Serialize;

use super::page::Frame;

/// Something that went wrong, in words for the reader.
#[derive(Debug, Clone)]
pub struct Trouble {
    /// What the browser is told.
    pub status: StatusCode,
    /// Head of the page.
    pub title: &'static str,
    /// What happened.
    pub happened: String,
    /// What was kept.
    pub kept: String,
    /// What to do.
    pub next: String,
}

/// The page of a trouble.
#[derive(Template)]
#[template(path = "trouble.html")]
struct TroublePage<'a> {
    frame: Frame,
    trouble: &'a Trouble,
}

/// The same for a program.
#[derive(Serialize)]
struct TroubleJson<'a> {
    happened: &'a str,
    kept: &'a str,
    #[serde(rename = "do")]
    next: &'a str,
}

impl Trouble {
    /// Something of ours failed; `why` is what the program says of it.
    pub fn ours(title: &'static str, why: &str) -> Trouble {
        Trouble {
            status: StatusCode::INTERNAL_SERVER_ERROR,
            title,
            happened: format!("The program says: {why}."),
            kept: "Every row that was read is where it was.".into(),
            next: "Try again; if it stays, run cowpath check, which proves the farm's file whole, and pass on what it says."
                .into(),
        }
    }

    /// An answer could not be given.
    pub fn unanswered(title: &'static str, error: &anyhow::Error) -> Trouble {
        let chain: Vec<String> = error.chain().map(ToString::to_string).collect();
        Trouble::ours(title, chain.join(": ").trim_end_matches('.'))
    }

    /// Something could not be changed: the user's words, her machine, or our fault.
    pub fn unchanged(title: &'static str, error: &anyhow::Error) -> Trouble {
        let words = crate::trouble::in_words(error);
        let status = if words.code == 1 {
            StatusCode::UNPROCESSABLE_ENTITY
        } else {
            StatusCode::INTERNAL_SERVER_ERROR
        };
        Trouble {
            status,
            title,
            happened: sentence(words.what),
            kept: sentence(words.kept),
            next: sentence(words.next),
        }
    }

    /// A word of the address was refused, with why and what to do.
    pub fn refused_word(error: &anyhow::Error) -> Trouble {
        let words = crate::trouble::in_words(error);
        Trouble { next: sentence(words.next), ..Trouble::not_understood(sentence(words.what), "") }
    }

    /// A word of the address was not understood.
    pub fn not_understood(happened: String, next: &str) -> Trouble {
        Trouble {
            status: StatusCode::BAD_REQUEST,
            title: "Not understood",
            happened,
            kept: "Nothing was changed.".into(),
            next: next.into(),
        }
    }

    /// No such cow.
    pub fn no_such_cow(animal: &str) -> Trouble {
        Trouble {
            status: StatusCode::NOT_FOUND,
            title: "No such cow",
            happened: format!("No row and no herd list names a cow “{animal}”."),
            kept: "Every row that was read is kept, whatever cow it names.".into(),
            next: "Look in the herd how she is written (000214 and 214 are two names), or read the logs that hold her."
                .into(),
        }
    }

    /// The trouble as a page, or as JSON for the API.
    pub fn into_response_for(self, as_json: bool) -> Response {
        let (kind, text) = if as_json {
            let said = TroubleJson { happened: &self.happened, kept: &self.kept, next: &self.next };
            ("application/json", serde_json::to_string(&said).unwrap_or_default())
        } else {
            let page = TroublePage { frame: Frame::of(""), trouble: &self };
            match page.render() {
                Ok(text) => ("text/html; charset=utf-8", text),
                Err(_) => (
                    "text/plain; charset=utf-8",
                    format!("{}\n{}\n{}\n", self.happened, self.kept, self.next),
                ),
            }
        };
        let mut response = Response::new(Body::from(text));
        *response.status_mut() = self.status;
        response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
        response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        if self.status == StatusCode::SERVICE_UNAVAILABLE {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("30"));
        }
        response
    }
}

/// Words with a capital letter and a full stop.
fn sentence(words: String) -> String {
    let mut letters = words.trim_end_matches('.').chars();
    let first = letters.next().map(char::to_uppercase);
    first.map_or(String::new(), |first| first.chain(letters).chain(['.']).collect())
}

/// Whether an address belongs to the API, so that its troubles are JSON too.
pub fn wants_json(path: &str) -> bool {
    path == "/api" || path.starts_with("/api/")
}

/// Any address that leads nowhere.
pub async fn no_such_page(uri: Uri) -> Response {
    let path = uri.path().to_owned();
    Trouble {
        status: StatusCode::NOT_FOUND,
        title: "No such page",
        happened: format!("There is no page at “{path}”."),
        kept: "Nothing was changed.".into(),
        next: "Go to the round or to the herd; both are linked from every page.".into(),
    }
    .into_response_for(wants_json(&path))
}

/// Any method that an address does not know.
pub async fn only_read(method: Method, uri: Uri) -> Response {
    let mut response = Trouble {
        status: StatusCode::METHOD_NOT_ALLOWED,
        title: "Not done here",
        happened: format!(
            "The request asked to {method} “{}”; that cannot be done at this address.",
            uri.path()
        ),
        kept: "What was sent was not taken; nothing was changed.".into(),
        next: "Open the page itself. Logs are read on Records, or with the command cowpath import.".into(),
    }
    .into_response_for(wants_json(uri.path()));
    // An address that was read in vain is one that only takes.
    let allow = if matches!(method, Method::GET | Method::HEAD) { "POST" } else { "GET, HEAD" };
    response.headers_mut().insert(header::ALLOW, HeaderValue::from_static(allow));
    response
}
