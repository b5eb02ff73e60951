//! What every request passes first: whose name it was sent to, how much it brings, and what a browser may do with the
//! answer.

use std::net::{IpAddr, SocketAddr};

use axum::{
    extract::Request,
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
    middleware::Next,
    response::Response,
};

use super::trouble::{self, Trouble};

/// Most a request may bring, bytes: forms need no more. Files have a limit of their own.
pub const MOST_BYTES: u64 = 64 * 1024;

/// Longest address that is read, bytes; the longest honest one is a cow's name with a span.
const LONGEST_ADDRESS: usize = 4 * 1024;

/// What a browser may do with an answer: take styles, script and pictures from here, and nothing from elsewhere.
const HEADERS: [(HeaderName, &str); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; \
         form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// Lets a request through, or says why not; puts the headers on whatever comes back.
pub async fn pass(listen: SocketAddr, request: Request, next: Next) -> Response {
    let as_json = trouble::wants_json(request.uri().path());
    let mut response = match why_not(listen, &request) {
        Some(trouble) => trouble.into_response_for(as_json),
        None => next.run(request).await,
    };
    for (name, value) in HEADERS {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    response
}

/// Why this request is not answered, if so.
fn why_not(listen: SocketAddr, request: &Request) -> Option<Trouble> {
    let named = host_of(request);
    if !named.as_deref().is_some_and(|host| is_ours(host, listen.ip())) {
        return Some(Trouble {
            status: StatusCode::MISDIRECTED_REQUEST,
            title: "Sent to a name that is not ours",
            happened: format!(
                "The request was sent to “{}”, and this farm is served at {listen} only.",
                named.as_deref().unwrap_or("nobody")
            ),
            kept: "Nothing was read or changed. A page on another site cannot reach the farm under a name of its own."
                .into(),
            next: format!("Open http://{listen}/ instead, or the address the command serve printed."),
        });
    }
    if LONGEST_ADDRESS < request.uri().to_string().len() {
        return Some(Trouble {
            status: StatusCode::URI_TOO_LONG,
            title: "Address too long",
            happened: format!("The address has more than {LONGEST_ADDRESS} letters."),
            kept: "Nothing was read or changed.".into(),
            next: "Look the cow up in the herd.".into(),
        });
    }
    if let Some(why) = foreign(request) {
        return Some(why);
    }
    let (most, brought) = (most_for(request.uri().path()), brings(request.headers()));
    if most == MOST_BYTES && most < brought {
        return Some(Trouble {
            status: StatusCode::PAYLOAD_TOO_LARGE,
            title: "Too much was sent",
            happened: format!("The request brings more than {} kB.", MOST_BYTES / 1024),
            kept: "None of it was taken; the farm is as it was.".into(),
            next: "Logs are read with the command cowpath import, of any size.".into(),
        });
    }
    if most < brought {
        return Some(super::upload::too_large());
    }
    None
}

/// Most a request to a path may bring, bytes.
fn most_for(path: &str) -> u64 {
    if super::upload::PATHS.contains(&path) { super::upload::MOST_BYTES } else { MOST_BYTES }
}

/// Why a request that wants to change something is taken for another site's, if it is.
///
/// A browser says where a request comes from: by `Sec-Fetch-Site`, and by `Origin` with whatever posts. Where either is
/// there it must be ours. Where both are missing no browser of the last years sent it; older ones are known by calling
/// themselves `Mozilla`, as every browser does and no page can change in a form. What is left is a program on the farm's
/// network (a script that sends logs): it could not be made to ask by a page, and is let in.
fn foreign(request: &Request) -> Option<Trouble> {
    if request.method().is_safe() {
        return None;
    }
    let said = |name: HeaderName| -> Option<Vec<&str>> {
        let all: Vec<&str> =
            request.headers().get_all(name).iter().map(|value| value.to_str().unwrap_or("?")).collect();
        (!all.is_empty()).then_some(all)
    };
    let site = said(HeaderName::from_static("sec-fetch-site"));
    let origin = said(header::ORIGIN);
    let browser =
        said(header::USER_AGENT).is_some_and(|agents| agents.iter().any(|one| one.contains("Mozilla")));
    let host = request.headers().get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    let ours = |origin: &&str| {
        let at = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
        at.is_some_and(|at| !host.is_empty() && at.eq_ignore_ascii_case(host))
    };
    let is_ours = match (&site, &origin) {
        (None, None) => !browser,
        _ => {
            site.is_none_or(|all| all == ["same-origin"])
                && origin.as_ref().is_none_or(|all| all.len() == 1 && all.iter().all(ours))
        }
    };
    (!is_ours).then(|| Trouble {
        status: StatusCode::FORBIDDEN,
        title: "Sent by another site",
        happened: "A page that is not the farm's own asked to change something here.".into(),
        kept: "Nothing was changed.".into(),
        next: "If it was you, open the farm's own page and do it there.".into(),
    })
}

/// How many bytes a request says it brings; a length that is no number counts as too many.
fn brings(headers: &HeaderMap) -> u64 {
    match headers.get(header::CONTENT_LENGTH) {
        None => 0,
        Some(length) => length.to_str().ok().and_then(|text| text.trim().parse().ok()).unwrap_or(u64::MAX),
    }
}

/// The name the request was sent to, without the port.
fn host_of(request: &Request) -> Option<String> {
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let named = match (hosts.next(), hosts.next()) {
        (Some(host), None) => host.to_str().ok()?,
        (None, _) => request.uri().authority()?.as_str(),
        // Two names in one request are a trick.
        (Some(_), Some(_)) => return None,
    };
    let host = match named.strip_prefix('[') {
        Some(rest) => rest.split_once(']')?.0,
        None => named.rsplit_once(':').map_or(named, |(host, _)| host),
    };
    Some(host.to_ascii_lowercase())
}

/// Whether a name is one the farm is served at. Loopback is always ours; else it must be the address that is listened
/// at. Where all addresses are listened at, any plain address is ours and any name is not: a foreign site can make its
/// name lead here, but not a number.
fn is_ours(host: &str, listen: IpAddr) -> bool {
    if host == "localhost" {
        return true;
    }
    match host.parse::<IpAddr>() {
        Ok(address) => address.is_loopback() || address == listen || listen.is_unspecified(),
        Err(_) => false,
    }
}
