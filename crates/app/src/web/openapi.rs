//! What programs can ask: a list of it at `/api`, and the description of every address in OpenAPI 3.1.
//!
//! The description is `docs/openapi.json`, part of the program; a test holds it against the routes and the answers.

use std::sync::{Arc, LazyLock};

use axum::{extract::State, http::HeaderMap, response::Response};
use serde::Serialize;
use serde_json::Value;

use super::{Answers, page};

/// The description.
pub const DOCUMENT: &str = include_str!("../../../../docs/openapi.json");

/// The list, made from the description once.
static INDEX: LazyLock<String> = LazyLock::new(list);

#[derive(Serialize)]
struct Index {
    about: &'static str,
    description: &'static str,
    addresses: Vec<Address>,
}

/// One thing to ask or send.
#[derive(Serialize)]
struct Address {
    method: String,
    path: String,
    says: String,
}

/// The list of what there is.
pub async fn index(State(answers): State<Arc<dyn Answers>>, headers: HeaderMap) -> Response {
    page::json(answers, headers, |_| Ok(INDEX.clone())).await
}

/// The description in OpenAPI.
pub async fn document(State(answers): State<Arc<dyn Answers>>, headers: HeaderMap) -> Response {
    page::json(answers, headers, |_| Ok(DOCUMENT.to_owned())).await
}

fn list() -> String {
    let document: Value = serde_json::from_str(DOCUMENT).unwrap_or_default();
    let paths = document["paths"].as_object();
    let addresses = paths.into_iter().flatten().filter(|(path, _)| super::trouble::wants_json(path));
    let each = addresses.flat_map(|(path, methods)| {
        let methods = methods.as_object().into_iter().flatten();
        methods.filter(|(_, one)| one["summary"].is_string()).map(|(method, one)| Address {
            method: method.to_uppercase(),
            path: path.clone(),
            says: one["summary"].as_str().unwrap_or_default().to_owned(),
        })
    });
    let index = Index {
        about: "What the pages show, as JSON: always metric, times RFC 3339 in the farm's zone.",
        description: "/api/openapi.json",
        addresses: each.collect(),
    };
    serde_json::to_string(&index).unwrap_or_default()
}
