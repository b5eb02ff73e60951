//! How a page leaves: drawn off the async threads, with a mark by which a browser knows that it has it already.

use std::{io::Write, sync::Arc};

use axum::{
    body::Body,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};
use flate2::{Compression, write::GzEncoder};

use super::{Answers, assets, trouble::Trouble};
use crate::ask::round::fnv;

/// What stands around every page.
pub struct Frame {
    /// Which link of the pages is this one: `round`, `herd`, `boxes`, `plan`, `records` or none.
    pub page: &'static str,
}

impl Frame {
    /// The frame of a page.
    pub fn of(page: &'static str) -> Frame {
        Frame { page }
    }

    /// Mark of the style sheet.
    pub fn style(&self) -> &'static str {
        &assets::STYLE_MARK
    }

    /// Mark of the script.
    pub fn script(&self) -> &'static str {
        &assets::SCRIPT_MARK
    }
}

/// What a page drawer gives back: the page's text, or what went wrong.
pub type Drawn = Result<String, Trouble>;

/// Draws an HTML page on a thread that may wait for the store.
pub async fn html(
    answers: Arc<dyn Answers>,
    headers: HeaderMap,
    draw: impl FnOnce(&dyn Answers) -> Drawn + Send + 'static,
) -> Response {
    drawn(answers, headers, "text/html; charset=utf-8", false, draw).await
}

/// The same for JSON.
pub async fn json(
    answers: Arc<dyn Answers>,
    headers: HeaderMap,
    draw: impl FnOnce(&dyn Answers) -> Drawn + Send + 'static,
) -> Response {
    drawn(answers, headers, "application/json", true, draw).await
}

/// Fills a template.
pub fn fill(template: &impl askama::Template) -> Drawn {
    template.render().map_err(|error| Trouble::ours("The page could not be drawn", &error.to_string()))
}

/// A sentence of ours as HTML: what stands between backticks is a command, a file or a column, as in a terminal.
pub fn coded(text: &str) -> String {
    let mut html = String::with_capacity(text.len() + 32);
    let pieces: Vec<&str> = text.split('`').collect();
    for (place, piece) in pieces.iter().enumerate() {
        // One without its pair is a letter like any other.
        let alone = place + 1 == pieces.len() && place % 2 == 1;
        let (before, after) = match (place % 2, alone) {
            (1, false) => ("<code>", "</code>"),
            (1, true) => ("`", ""),
            _ => ("", ""),
        };
        html.push_str(before);
        for letter in piece.chars() {
            match letter {
                '&' => html.push_str("&#38;"),
                '<' => html.push_str("&#60;"),
                '>' => html.push_str("&#62;"),
                '"' => html.push_str("&#34;"),
                '\'' => html.push_str("&#39;"),
                _ => html.push(letter),
            }
        }
        html.push_str(after);
    }
    html
}

/// The answer to something that was sent: shown once, and kept by no browser.
pub fn once(status: StatusCode, text: String) -> Response {
    let mut response = Response::new(Body::from(text));
    *response.status_mut() = status;
    let to = response.headers_mut();
    to.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    to.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

async fn drawn(
    answers: Arc<dyn Answers>,
    headers: HeaderMap,
    kind: &'static str,
    as_json: bool,
    draw: impl FnOnce(&dyn Answers) -> Drawn + Send + 'static,
) -> Response {
    let done = tokio::task::spawn_blocking(move || match draw(answers.as_ref()) {
        Ok(text) => answer(&headers, kind, text),
        Err(trouble) => trouble.into_response_for(as_json),
    })
    .await;
    done.unwrap_or_else(|stopped| {
        Trouble::ours("The page could not be drawn", &stopped.to_string()).into_response_for(as_json)
    })
}

/// A text with its mark; the mark alone where the browser has the text already. It asks again every time, so that it
/// never shows a round that is no longer the newest.
fn answer(headers: &HeaderMap, kind: &'static str, text: String) -> Response {
    let mark = format!("W/\"{:016x}\"", fnv(text.as_bytes()));
    let known = words(headers, header::IF_NONE_MATCH).any(|one| one == mark);
    let packed = if known || !unpacks(headers) { None } else { pack(&text) };
    let is_packed = packed.is_some();
    let mut response = if known {
        let mut response = Response::new(Body::empty());
        *response.status_mut() = StatusCode::NOT_MODIFIED;
        response
    } else {
        Response::new(packed.map_or_else(|| Body::from(text), Body::from))
    };
    let to = response.headers_mut();
    if !known {
        to.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    }
    if is_packed {
        to.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    }
    to.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    to.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    if let Ok(mark) = HeaderValue::from_str(&mark) {
        to.insert(header::ETAG, mark);
    }
    response
}

/// The words of a header that is a list.
fn words(headers: &HeaderMap, name: header::HeaderName) -> impl Iterator<Item = &str> {
    headers
        .get_all(name)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|list| list.split(','))
        .map(str::trim)
}

/// Whether the browser unpacks gzip.
fn unpacks(headers: &HeaderMap) -> bool {
    words(headers, header::ACCEPT_ENCODING).any(|word| {
        let (name, weight) = word.split_once(';').unwrap_or((word, "q=1"));
        let weight = weight.trim().trim_start_matches("q=").parse().unwrap_or(0.0);
        name.trim().eq_ignore_ascii_case("gzip") && 0.0 < weight
    })
}

/// The text packed, fast rather than small: the way to a phone in the barn is the slow part. Short texts and texts that
/// would not pack go as they are.
fn pack(text: &str) -> Option<Vec<u8>> {
    if text.len() < 1400 {
        return None;
    }
    let mut packer = GzEncoder::new(Vec::with_capacity(text.len() / 4), Compression::fast());
    packer.write_all(text.as_bytes()).ok()?;
    packer.finish().ok()
}
