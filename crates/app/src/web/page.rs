//! How a page leaves: drawn off the async threads, with a mark by which a browser knows that it has it already.

use std::sync::Arc;

use axum::{
    body::Body,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};

use super::{Answers, assets, trouble::Trouble};

/// What stands around every page.
pub struct Frame {
    /// Which link of the pages is this one: `round`, `herd` or none.
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
    let mark = format!("\"{:016x}\"", hash(text.as_bytes()));
    let known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|marks| marks.split(',').any(|one| one.trim().trim_start_matches("W/") == mark));
    let mut response = if known {
        let mut response = Response::new(Body::empty());
        *response.status_mut() = StatusCode::NOT_MODIFIED;
        response
    } else {
        Response::new(Body::from(text))
    };
    let to = response.headers_mut();
    if !known {
        to.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    }
    to.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    if let Ok(mark) = HeaderValue::from_str(&mark) {
        to.insert(header::ETAG, mark);
    }
    response
}

/// A short mark of a text: FNV-1a, 64 bits. It tells two versions apart and protects nothing.
pub const fn hash(bytes: &[u8]) -> u64 {
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    let mut index = 0;
    while index < bytes.len() {
        hash = (hash ^ bytes[index] as u64).wrapping_mul(0x0000_0100_0000_01b3);
        index += 1;
    }
    hash
}
