//! Style sheet, script and icon: part of the program, each linked with the mark of its text, so that a browser keeps it
//! for good and still takes a new one the day the program changes.

use std::sync::LazyLock;

use axum::{
    body::Body,
    http::{HeaderMap, HeaderValue, StatusCode, Uri, header},
    response::Response,
};

use crate::ask::round::fnv;

const STYLE: &str = include_str!("../../templates/style.css");
/// One script of several files, in this order.
const SCRIPT: &str = concat!(
    include_str!("../../templates/pages.js"),
    include_str!("../../templates/newer.js"),
    include_str!("../../templates/brought.js"),
    include_str!("../../templates/zoom.js"),
    include_str!("../../templates/plan.js"),
);
const ICON: &str = include_str!("../../templates/icon.svg");

/// Mark of the style sheet, for its link.
pub static STYLE_MARK: LazyLock<String> = LazyLock::new(|| mark(STYLE));
/// Mark of the script, for its link.
pub static SCRIPT_MARK: LazyLock<String> = LazyLock::new(|| mark(SCRIPT));

fn mark(text: &str) -> String {
    format!("{:016x}", fnv(text.as_bytes()))
}

/// The style sheet.
pub async fn style(uri: Uri, headers: HeaderMap) -> Response {
    asset(&uri, &headers, STYLE, "text/css; charset=utf-8")
}

/// The script.
pub async fn script(uri: Uri, headers: HeaderMap) -> Response {
    asset(&uri, &headers, SCRIPT, "text/javascript; charset=utf-8")
}

/// The icon.
pub async fn icon(uri: Uri, headers: HeaderMap) -> Response {
    asset(&uri, &headers, ICON, "image/svg+xml")
}

/// Kept for a year where the link carries the text's own mark, else asked for again each time.
fn asset(uri: &Uri, headers: &HeaderMap, text: &'static str, kind: &'static str) -> Response {
    let mark = mark(text);
    let quoted = format!("\"{mark}\"");
    let known = headers.get(header::IF_NONE_MATCH).is_some_and(|value| value.as_bytes() == quoted.as_bytes());
    let mut response = Response::new(if known { Body::empty() } else { Body::from(text) });
    if known {
        *response.status_mut() = StatusCode::NOT_MODIFIED;
    }
    let forever = uri.query() == Some(&format!("v={mark}"));
    let kept = if forever { "public, max-age=31536000, immutable" } else { "no-cache" };
    let to = response.headers_mut();
    to.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    to.insert(header::CACHE_CONTROL, HeaderValue::from_static(kept));
    if let Ok(quoted) = HeaderValue::from_str(&quoted) {
        to.insert(header::ETAG, quoted);
    }
    response
}
