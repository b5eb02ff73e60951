//! The Herd page: every cow, to find one.

use std::sync::Arc;

use askama::Template;
use axum::{extract::State, http::HeaderMap, response::Response};

use super::{
    Answers, HerdRow, address,
    page::{self, Frame},
    trouble::Trouble,
};

#[derive(Template)]
#[template(path = "herd.html")]
struct HerdPage<'a> {
    frame: Frame,
    farm: String,
    cows: Vec<(&'a HerdRow, String)>,
}

/// The page.
pub async fn show(State(answers): State<Arc<dyn Answers>>, headers: HeaderMap) -> Response {
    page::html(answers, headers, |answers| {
        let herd = answers
            .herd_list()
            .map_err(|error| Trouble::unanswered("The herd could not be listed", &error))?;
        let cows = herd.iter().map(|row| (row, address::cow(&row.animal, None))).collect();
        page::fill(&HerdPage { frame: Frame::of("herd"), farm: answers.farm_name(), cows })
    })
    .await
}
