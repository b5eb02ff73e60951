//! The Cow page: her lanes over any span, her calls, her calendar, and all rows behind.

use std::sync::Arc;

use askama::Template;
use axum::{
    extract::{Path, Query, State, rejection::PathRejection, rejection::QueryRejection},
    http::HeaderMap,
    response::Response,
};
use jiff::civil::Date;
use serde::Deserialize;

use super::{
    Answers, AskedCow, address,
    call::{self, ShownCall},
    lanes,
    page::{self, Frame},
    round,
    trouble::Trouble,
};
use crate::ask::{cow::Cow, round::Answer};

/// What the address of a cow may ask.
#[derive(Debug, Default, Deserialize)]
pub struct CowAsked {
    /// The cow, where the path does not name her.
    pub animal: Option<String>,
    /// Which cow of that number.
    pub instance: Option<String>,
    /// First day.
    pub from: Option<String>,
    /// Last day.
    pub to: Option<String>,
    /// As known at.
    pub at: Option<String>,
    /// An answer that was kept just now.
    pub kept: Option<i64>,
    /// An answer that was taken back just now.
    pub undone: Option<i64>,
}

#[derive(Template)]
#[template(path = "cow.html")]
struct CowPage<'a> {
    frame: Frame,
    cow: &'a Cow,
    calls: Vec<ShownCall<'a>>,
    /// Label, link, and whether this is the span shown.
    spans: Vec<(&'a str, String, bool)>,
    picture: String,
    /// Where the form of the span sends to, and what it carries along.
    form: String,
    carried: Vec<(&'static str, &'a str)>,
    back: String,
    /// A time was asked for, so it is not the newest.
    earlier: bool,
    /// An answer that was kept just now.
    kept: Option<&'a Answer>,
    undone: bool,
}

/// The page of the cow the path names.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    path: Result<Path<String>, PathRejection>,
    asked: Result<Query<CowAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let mut asked = round::words(asked)?;
        asked.animal = Some(named(path)?);
        draw(answers, &asked)
    })
    .await
}

/// The page of the cow a form or a link names after the question mark.
pub async fn find(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<CowAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| draw(answers, &round::words(asked)?)).await
}

/// The name in the path.
pub fn named(path: Result<Path<String>, PathRejection>) -> Result<String, Trouble> {
    path.map(|Path(animal)| animal).map_err(|error| {
        Trouble::not_understood(
            format!("The cow's name in the address was not understood: {}.", error.body_text()),
            "Look her up in the herd and follow the link.",
        )
    })
}

/// The cow the words ask for.
pub fn answered(answers: &dyn Answers, asked: &CowAsked, metric: bool) -> Result<Cow, Trouble> {
    // A name may begin or end in blanks only where the path says so exactly.
    let animal = asked.animal.clone().unwrap_or_default();
    let instance = address::given(&asked.instance)
        .map(|word| word.parse::<u32>())
        .transpose()
        .map_err(|_| Trouble::not_understood("instance is not a whole number.".into(), "Leave it out."))?;
    let from = day(address::given(&asked.from), "from")?;
    let to = day(address::given(&asked.to), "to")?;
    if let (Some(from), Some(to)) = (from, to)
        && to < from
    {
        return Err(Trouble::not_understood(
            format!("The span ends on {to}, before it begins on {from}."),
            "Give the earlier day first.",
        ));
    }
    let at = round::time(answers, address::given(&asked.at))?;
    let asked = AskedCow { animal, instance, from, to, at, metric };
    let found =
        answers.cow(&asked).map_err(|error| Trouble::unanswered("The cow could not be shown", &error))?;
    if found.is_none() && asked.animal.trim() != asked.animal {
        let trimmed = AskedCow { animal: asked.animal.trim().to_owned(), ..asked.clone() };
        if let Ok(Some(cow)) = answers.cow(&trimmed) {
            return Ok(cow);
        }
    }
    found.ok_or_else(|| Trouble::no_such_cow(&asked.animal))
}

/// A day as an address writes it.
pub fn day(word: Option<&str>, name: &str) -> Result<Option<Date>, Trouble> {
    word.map(str::parse).transpose().map_err(|_| {
        Trouble::not_understood(
            format!("“{}” after {name} is not a day of the calendar.", word.unwrap_or_default()),
            "Write days as in 2026-03-02.",
        )
    })
}

fn draw(answers: &dyn Answers, asked: &CowAsked) -> page::Drawn {
    let cow = answered(answers, asked, false)?;
    let zone = answers.zone();
    let at = address::given(&asked.at);
    let instance = address::given(&asked.instance);
    let mut carried = Vec::new();
    carried.extend(at.map(|at| ("at", at)));
    carried.extend(instance.map(|instance| ("instance", instance)));
    let mut form = "/cow".to_owned();
    if matches!(cow.animal.as_str(), "" | "." | "..") {
        carried.push(("animal", &cow.animal));
    } else {
        form = address::cow(&cow.animal, None);
    }
    let calls = cow.calls.iter().enumerate().map(|(index, call)| ShownCall {
        // The page has one picture of her; her calls do not repeat it, and do not push it down.
        picture: String::new(),
        link: None,
        open: false,
        back: address::cow(&cow.animal, None),
        ..call::shown(call, index, at, &zone)
    });
    let page = CowPage {
        frame: Frame::of(""),
        calls: calls.collect(),
        spans: spans(&cow, at, instance),
        picture: lanes::picture(&cow.lanes, "lanes", lanes::Phone::Whole, &zone),
        form,
        carried,
        back: at.map_or_else(|| "/round".into(), |at| format!("/round?at={}", address::part(at))),
        earlier: at.is_some(),
        kept: cow
            .calls
            .iter()
            .filter_map(|call| call.found.as_ref())
            .find(|found| Some(found.id) == asked.kept),
        undone: asked.undone.is_some(),
        cow: &cow,
    };
    page::fill(&page)
}

fn spans<'a>(cow: &'a Cow, at: Option<&str>, instance: Option<&str>) -> Vec<(&'a str, String, bool)> {
    let link = |from: &str, to: &str| {
        let mut link = address::cow(&cow.animal, at);
        for (name, value) in [("from", Some(from)), ("to", Some(to)), ("instance", instance)] {
            if let Some(value) = value {
                link.push(if link.contains('?') { '&' } else { '?' });
                link.push_str(name);
                link.push('=');
                link.push_str(&address::part(value));
            }
        }
        link
    };
    cow.spans
        .iter()
        .map(|(label, from, to)| (label.as_str(), link(from, to), *from == cow.from && *to == cow.to))
        .collect()
}
