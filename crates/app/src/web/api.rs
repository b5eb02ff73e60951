//! The same answers as JSON, always metric: the structs of `ask` as they are.

use std::sync::Arc;

use axum::{
    extract::{Path, Query, State, rejection::PathRejection, rejection::QueryRejection},
    http::HeaderMap,
    response::Response,
};
use serde::Serialize;

use super::{
    Answers, address,
    boxes::{self, BoxesAsked},
    cow::{self, CowAsked},
    page,
    round::{self, RoundAsked},
    trouble::Trouble,
};

/// The round.
pub async fn round(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<RoundAsked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let at = round::time(answers, address::given(&asked.at))?;
        let round =
            answers.round(at).map_err(|error| Trouble::unanswered("The round could not be made", &error))?;
        text(round.as_ref())
    })
    .await
}

/// The cow the path names.
pub async fn cow(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    path: Result<Path<String>, PathRejection>,
    asked: Result<Query<CowAsked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        let mut asked = round::words(asked)?;
        asked.animal = Some(cow::named(path)?);
        one_cow(answers, &asked)
    })
    .await
}

/// The cow named after the question mark.
pub async fn find_cow(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<CowAsked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| one_cow(answers, &round::words(asked)?)).await
}

/// The herd.
pub async fn herd(State(answers): State<Arc<dyn Answers>>, headers: HeaderMap) -> Response {
    page::json(answers, headers, |answers| {
        let herd = answers
            .herd_list()
            .map_err(|error| Trouble::unanswered("The herd could not be listed", &error))?;
        text(&herd)
    })
    .await
}

/// The boxes on a day.
pub async fn boxes(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<BoxesAsked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| text(&boxes::answered(answers, &round::words(asked)?, true)?))
        .await
}

/// How often the calls were right.
pub async fn record(State(answers): State<Arc<dyn Answers>>, headers: HeaderMap) -> Response {
    page::json(answers, headers, |answers| {
        let record =
            answers.record().map_err(|error| Trouble::unanswered("The record could not be made", &error))?;
        text(&record)
    })
    .await
}

fn one_cow(answers: &dyn Answers, asked: &CowAsked) -> page::Drawn {
    text(&cow::answered(answers, asked, true)?.json(&answers.zone()).map_err(unwritten)?)
}

/// An answer as text.
pub fn text(answer: &impl Serialize) -> page::Drawn {
    serde_json::to_string(answer).map_err(unwritten)
}

fn unwritten(error: serde_json::Error) -> Trouble {
    Trouble::ours("The answer could not be written", &error.to_string())
}
