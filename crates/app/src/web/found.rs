//! What a person found, as forms and programs send it: taken, said back, taken back.
//!
//! A form is answered by a way back to the page it came from, so that going back or loading again sends nothing twice. A
//! program and the script are answered with the answer itself.

use std::sync::Arc;

use axum::{
    Form,
    body::{Body, Bytes},
    extract::{Path, State, rejection::FormRejection, rejection::PathRejection},
    http::{HeaderValue, StatusCode, header},
    response::Response,
};
use serde::Deserialize;

use super::{Answers, address, trouble::Trouble};
use crate::{
    ask::{found::Given, round::Answer},
    trouble,
};

/// An answer as a form sends it. A button holds outcome, cause, quarter and sign, parted by `~`.
#[derive(Debug, Default, Deserialize)]
pub struct FoundForm {
    call: String,
    answer: Option<String>,
    outcome: Option<String>,
    cause: Option<String>,
    quarter: Option<String>,
    sign: Option<String>,
    note: Option<String>,
    by: Option<String>,
    sent_as: Option<String>,
    /// The page to go back to: `/round` or a cow's.
    back: Option<String>,
}

/// Which answer is taken back.
#[derive(Debug, Deserialize)]
pub struct UndoForm {
    id: i64,
    by: Option<String>,
    back: Option<String>,
}

/// The word a button sends for a choice.
pub fn button(choice: &cowpath_core::say::found::Choice) -> String {
    let parts = [
        choice.outcome.word(),
        choice.cause.unwrap_or_default(),
        choice.quarter.map_or("", |quarter| quarter.code()),
        choice.sign.unwrap_or_default(),
    ];
    parts.join("~")
}

impl FoundForm {
    fn given(self) -> Given {
        let mut parts = self.answer.as_deref().unwrap_or_default().split('~').map(str::to_owned);
        let mut part = |own: Option<String>| {
            let of_button = parts.next().filter(|part| !part.is_empty());
            own.filter(|own| !own.trim().is_empty()).or(of_button)
        };
        Given {
            call: self.call,
            outcome: part(self.outcome).unwrap_or_default(),
            cause: part(self.cause),
            quarter: part(self.quarter),
            sign: part(self.sign),
            note: self.note,
            by: self.by,
            sent_as: self.sent_as,
        }
    }
}

/// A form's answer.
pub async fn give(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<FoundForm>, FormRejection>,
) -> Response {
    let taken = off_thread(move || {
        let Form(form) = form.map_err(|error| not_understood(&error.body_text()))?;
        let back = back(form.back.as_deref());
        let answer = answers.give(&form.given()).map_err(|error| refused(&error))?;
        Ok((back, answer))
    })
    .await;
    match taken {
        Ok((back, answer)) => see(&with(&back, "kept", &answer.id.to_string())),
        Err(trouble) => trouble.into_response_for(false),
    }
}

/// A form takes an answer back.
pub async fn take_back(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<UndoForm>, FormRejection>,
) -> Response {
    let taken = off_thread(move || {
        let Form(form) = form.map_err(|error| not_understood(&error.body_text()))?;
        answers.take_back(form.id, form.by.as_deref()).map_err(|error| refused(&error))?;
        Ok((back(form.back.as_deref()), form.id))
    })
    .await;
    match taken {
        Ok((back, id)) => see(&with(&back, "undone", &id.to_string())),
        Err(trouble) => trouble.into_response_for(false),
    }
}

/// A program's answer, as JSON of the same names as the form's.
pub async fn give_json(State(answers): State<Arc<dyn Answers>>, body: Bytes) -> Response {
    let taken = off_thread(move || {
        let form: FoundForm =
            serde_json::from_slice(&body).map_err(|error| not_understood(&error.to_string()))?;
        answers.give(&form.given()).map_err(|error| refused(&error))
    })
    .await;
    match taken {
        Ok(answer) => json(StatusCode::CREATED, &answer),
        Err(trouble) => trouble.into_response_for(true),
    }
}

/// A program takes an answer back.
pub async fn take_back_json(
    State(answers): State<Arc<dyn Answers>>,
    path: Result<Path<i64>, PathRejection>,
) -> Response {
    let taken = off_thread(move || {
        let Path(id) = path.map_err(|error| not_understood(&error.body_text()))?;
        answers.take_back(id, None).map_err(|error| refused(&error))
    })
    .await;
    match taken {
        Ok(()) => {
            let mut response = Response::new(Body::empty());
            *response.status_mut() = StatusCode::NO_CONTENT;
            response
        }
        Err(trouble) => trouble.into_response_for(true),
    }
}

pub async fn off_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
) -> Result<T, Trouble> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|stopped| Err(Trouble::ours("The answer could not be kept", &stopped.to_string())))
}

/// Only our own pages are gone back to.
fn back(asked: Option<&str>) -> String {
    let asked = asked.unwrap_or_default();
    let ours = asked == "/round" || asked.starts_with("/cow/") || asked.starts_with("/cow?");
    if ours && !asked.contains(['\\', '\r', '\n']) { asked.to_owned() } else { "/round".to_owned() }
}

fn with(address: &str, name: &str, value: &str) -> String {
    let sign = if address.contains('?') { '&' } else { '?' };
    format!("{address}{sign}{name}={}", address::part(value))
}

fn see(address: &str) -> Response {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::SEE_OTHER;
    let to = HeaderValue::from_str(address).unwrap_or(HeaderValue::from_static("/round"));
    response.headers_mut().insert(header::LOCATION, to);
    response
}

fn json(status: StatusCode, answer: &Answer) -> Response {
    let mut response = Response::new(Body::from(serde_json::to_string(answer).unwrap_or_default()));
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
    response
}

fn not_understood(why: &str) -> Trouble {
    Trouble::not_understood(
        format!("What was sent was not understood: {}.", why.trim_end_matches('.')),
        "Use the buttons under a call of the round.",
    )
}

/// The user's words were wrong, or the farm could not be written: said as the command line says it.
fn refused(error: &anyhow::Error) -> Trouble {
    let words = trouble::in_words(error);
    Trouble {
        status: if words.code == 1 { StatusCode::BAD_REQUEST } else { StatusCode::INTERNAL_SERVER_ERROR },
        title: "The answer was not kept",
        happened: format!("{}.", words.what.trim_end_matches('.')),
        kept: "The call stands as it stood; no answer was added or changed.".into(),
        next: format!("{}.", words.next.trim_end_matches('.')),
    }
}
