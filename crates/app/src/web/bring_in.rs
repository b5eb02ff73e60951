//! The Bring in page: whom to fetch on this walk, marks of who was brought, and who comes by herself by when.
//!
//! A mark is kept in the farm, so that two people on one walk see each other's, and it works without a script; without
//! network the script keeps it on the phone and sends it when the farm can be reached. It belongs to one interval of the
//! cow: when she has been milked it is no longer shown, and stays on record, for no log tells who was brought.

use std::sync::Arc;

use askama::Template;
use axum::{
    Form,
    body::{Body, Bytes},
    extract::{
        Path, Query, State,
        rejection::{FormRejection, PathRejection, QueryRejection},
    },
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};
use cowpath_core::{
    say::number,
    units::{Kilograms, UnitSystem},
};
use jiff::Timestamp;
use serde::Deserialize;

use super::{
    Answers, address, api,
    found::off_thread,
    page::{self, Frame},
    round,
    trouble::Trouble,
};
use crate::{
    ask::bring_in::{BringIn, Brings, Done, Expected, Marked},
    trouble,
};

/// What the page asks of the farm.
pub trait Fetching {
    /// Whom to bring in at `at`, or at the newest row's time.
    fn bring_in(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<BringIn>>;

    /// Marks a cow as brought. The error is a sentence for her.
    fn mark_brought(&self, marked: &Marked) -> anyhow::Result<Done>;

    /// Takes a mark back.
    fn unmark_brought(&self, id: i64, by: Option<&str>) -> anyhow::Result<()>;

    /// The units the farm reads in.
    fn units(&self) -> UnitSystem;
}

/// What the address may ask.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    /// The time, in words.
    at: Option<String>,
}

/// A mark as a form or a program sends it.
#[derive(Debug, Default, Deserialize)]
pub struct MarkForm {
    animal: String,
    since: Option<String>,
    by: Option<String>,
    sent_as: Option<String>,
}

/// Which mark is taken back.
#[derive(Debug, Deserialize)]
pub struct UndoForm {
    id: i64,
    animal: Option<String>,
    by: Option<String>,
}

#[derive(Template)]
#[template(path = "bring-in.html")]
struct BringInPage<'a> {
    frame: Frame,
    list: &'a BringIn,
    at: Option<&'a str>,
    groups: Vec<Group<'a>>,
    /// Cows to look for: what is said of each, and the link to her page.
    missing: Vec<(&'a str, &'a str, &'a str, String)>,
    hours: Vec<(&'a str, Vec<(&'a str, String)>)>,
    rest: Vec<RestRow<'a>>,
    done: usize,
    unit: &'static str,
}

/// A pen and hour of the walk.
struct Group<'a> {
    place: &'a str,
    from: &'a str,
    cows: Vec<Shown<'a>>,
}

/// One cow with her link and her key on the page.
struct Shown<'a> {
    own: &'a Brings,
    key: String,
    link: String,
}

/// A cow of the rest in figures.
struct RestRow<'a> {
    own: &'a Expected,
    hours: String,
    limit: String,
    kg: String,
    chances: [String; 3],
}

/// The page.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let at = address::given(&asked.at);
        let list = answered(answers, at)?;
        draw(answers, &list, at)
    })
    .await
}

/// The same as JSON.
pub async fn json(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        api::text(answered(answers, address::given(&asked.at))?.as_ref())
    })
    .await
}

fn answered(answers: &dyn Answers, at: Option<&str>) -> Result<Arc<BringIn>, Trouble> {
    let at = round::time(answers, at)?;
    answers.bring_in(at).map_err(|error| Trouble::unanswered("The list could not be made", &error))
}

fn draw(answers: &dyn Answers, list: &BringIn, at: Option<&str>) -> page::Drawn {
    let units = answers.units();
    let mut groups: Vec<Group<'_>> = Vec::new();
    for (place, own) in list.bring.iter().enumerate() {
        let shown = Shown { own, key: format!("cow-{place}"), link: address::cow(&own.cow.animal, at) };
        match groups.last_mut().filter(|last| last.place == own.cow.place && last.from == own.from_words) {
            Some(group) => group.cows.push(shown),
            None => groups.push(Group { place: &own.cow.place, from: &own.from_words, cows: vec![shown] }),
        }
    }
    let linked = |animal: &String| address::cow(animal, at);
    let missing = list.missing.iter();
    let hours = list.by_hour.iter();
    page::fill(&BringInPage {
        frame: Frame::of("bring-in"),
        list,
        at,
        groups,
        missing: missing
            .map(|own| (own.animal.as_str(), own.says.as_str(), own.place.as_str(), linked(&own.animal)))
            .collect(),
        hours: hours
            .map(|hour| {
                let cows = hour.animals.iter().map(|animal| (animal.as_str(), linked(animal)));
                (hour.words.as_str(), cows.collect())
            })
            .collect(),
        rest: list.rest.iter().map(|own| rest_row(own, units)).collect(),
        done: list.bring.iter().filter(|own| own.done.is_some()).count(),
        unit: number::mass_unit(units),
    })
}

fn rest_row(own: &Expected, units: UnitSystem) -> RestRow<'_> {
    let cow = &own.cow;
    RestRow {
        own,
        hours: number::plain(cow.hours, 1),
        limit: number::plain(cow.limit_h, 1),
        kg: cow.expected_kg.map_or(String::new(), |kg| number::mass_figure(Kilograms(kg), units)),
        chances: [cow.alone_2h, cow.alone_4h, cow.alone_8h].map(number::chance),
    }
}

/// A form marks a cow as brought.
pub async fn mark(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<MarkForm>, FormRejection>,
) -> Response {
    let taken = off_thread(move || {
        let Form(form) = form.map_err(|error| not_understood(&error.body_text()))?;
        answers.mark_brought(&form.marked()).map_err(|error| refused(&error))
    });
    match taken.await {
        Ok(_) => back(),
        Err(trouble) => trouble.into_response_for(false),
    }
}

/// A form takes a mark back.
pub async fn unmark(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<UndoForm>, FormRejection>,
) -> Response {
    let taken = off_thread(move || {
        let Form(form) = form.map_err(|error| not_understood(&error.body_text()))?;
        answers.unmark_brought(form.id, form.by.as_deref()).map_err(|error| refused(&error))?;
        Ok(form.animal)
    });
    match taken.await {
        Ok(_) => back(),
        Err(trouble) => trouble.into_response_for(false),
    }
}

/// A program marks a cow as brought.
pub async fn mark_json(State(answers): State<Arc<dyn Answers>>, body: Bytes) -> Response {
    let taken = off_thread(move || {
        let form: MarkForm =
            serde_json::from_slice(&body).map_err(|error| not_understood(&error.to_string()))?;
        answers.mark_brought(&form.marked()).map_err(|error| refused(&error))
    });
    match taken.await {
        Ok(done) => {
            let mut response = Response::new(Body::from(serde_json::to_string(&done).unwrap_or_default()));
            *response.status_mut() = StatusCode::CREATED;
            let kind = HeaderValue::from_static("application/json");
            response.headers_mut().insert(header::CONTENT_TYPE, kind);
            response
        }
        Err(trouble) => trouble.into_response_for(true),
    }
}

/// A program takes a mark back.
pub async fn unmark_json(
    State(answers): State<Arc<dyn Answers>>,
    path: Result<Path<i64>, PathRejection>,
) -> Response {
    let taken = off_thread(move || {
        let Path(id) = path.map_err(|error| not_understood(&error.body_text()))?;
        answers.unmark_brought(id, None).map_err(|error| refused(&error))
    });
    match taken.await {
        Ok(()) => {
            let mut response = Response::new(Body::empty());
            *response.status_mut() = StatusCode::NO_CONTENT;
            response
        }
        Err(trouble) => trouble.into_response_for(true),
    }
}

impl MarkForm {
    fn marked(self) -> Marked {
        Marked { animal: self.animal, since: self.since, by: self.by, sent_as: self.sent_as }
    }
}

fn back() -> Response {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::SEE_OTHER;
    response.headers_mut().insert(header::LOCATION, HeaderValue::from_static("/bring-in"));
    response
}

fn not_understood(why: &str) -> Trouble {
    Trouble::not_understood(
        format!("What was sent was not understood: {}.", why.trim_end_matches('.')),
        "Use the buttons beside the cows of the list.",
    )
}

/// The user's words were wrong, or the farm could not be written: said as the command line says it.
fn refused(error: &anyhow::Error) -> Trouble {
    let words = trouble::in_words(error);
    Trouble {
        status: if words.code == 1 { StatusCode::BAD_REQUEST } else { StatusCode::INTERNAL_SERVER_ERROR },
        title: "The mark was not kept",
        happened: format!("{}.", words.what.trim_end_matches('.')),
        kept: "The list stands as it stood; no mark was added or changed.".into(),
        next: format!("{}.", words.next.trim_end_matches('.')),
    }
}
