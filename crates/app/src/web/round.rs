//! The Round page: who needs a person now, in the order one walks.

use std::sync::Arc;

use askama::Template;
use axum::{
    extract::{Query, State, rejection::QueryRejection},
    http::HeaderMap,
    response::Response,
};
use cowpath_core::{herd::Quarter, say::found::choices};
use jiff::Timestamp;
use serde::Deserialize;

use super::{
    Answers, address,
    call::{self, ShownCall},
    found,
    page::{self, Frame},
    trouble::Trouble,
};
use crate::ask::round::{Answer, NotJudged, OpenCall, Round};

/// What the address of a round may ask.
#[derive(Debug, Default, Deserialize)]
pub struct RoundAsked {
    /// The time, in words.
    pub at: Option<String>,
    /// An answer that was kept just now.
    pub kept: Option<i64>,
    /// An answer that was taken back just now.
    pub undone: Option<i64>,
}

#[derive(Template)]
#[template(path = "round.html")]
struct RoundPage<'a> {
    frame: Frame,
    round: &'a Round,
    at: Option<&'a str>,
    places: Vec<(&'a str, Vec<ShownCall<'a>>)>,
    not_judged: Vec<Unjudged<'a>>,
    looked_at: Vec<ShownCall<'a>>,
    open: Vec<ShownOpen<'a>>,
    kept: Option<&'a Answer>,
    undone: bool,
    standing: Standing,
    /// Mark of the newest round; empty where another time was asked for.
    mark: String,
}

/// Cows that are not judged for the same reason.
struct Unjudged<'a> {
    why: &'a str,
    cows: Vec<(&'a str, String)>,
}

/// A call that waits for an answer, with its buttons.
struct ShownOpen<'a> {
    open: &'a OpenCall,
    link: Option<String>,
    choices: Vec<(&'static str, String)>,
}

impl ShownOpen<'_> {
    fn of<'a>(open: &'a OpenCall, at: Option<&str>) -> ShownOpen<'a> {
        let quarter = open.quarter.as_deref().and_then(Quarter::from_code);
        let all = choices(&open.cause, quarter);
        ShownOpen {
            open,
            link: open.animal.as_deref().map(|animal| address::cow(animal, at)),
            choices: if at.is_some() {
                Vec::new()
            } else {
                all.iter().map(|choice| (choice.label, found::button(choice))).collect()
            },
        }
    }
}

/// What the page as a whole has to say.
#[derive(PartialEq)]
enum Standing {
    /// No row was ever read.
    NothingRead,
    /// Cows are there, none could be judged.
    NoneJudged,
    /// Cows were judged and none needs a person.
    NoCalls,
    /// There are calls.
    Calls,
}

/// The page.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<RoundAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = words(asked)?;
        let word = address::given(&asked.at);
        let at = time(answers, word)?;
        let round =
            answers.round(at).map_err(|error| Trouble::unanswered("The round could not be made", &error))?;
        draw(answers, &round, word, &asked)
    })
    .await
}

/// The words of the address, or what was wrong with them.
pub fn words<T>(asked: Result<Query<T>, QueryRejection>) -> Result<T, Trouble> {
    asked.map(|Query(asked)| asked).map_err(|error| {
        Trouble::not_understood(
            format!(
                "The part of the address after the question mark was not understood: {}.",
                error.body_text()
            ),
            "Follow a link of the page instead of writing the address by hand.",
        )
    })
}

/// The time a word names.
pub fn time(answers: &dyn Answers, word: Option<&str>) -> Result<Option<Timestamp>, Trouble> {
    word.map(|word| answers.time(word)).transpose().map_err(|error| Trouble::refused_word(&error))
}

fn draw(answers: &dyn Answers, round: &Round, at: Option<&str>, asked: &RoundAsked) -> page::Drawn {
    let zone = answers.zone();
    let mut index = 0;
    let mut places = Vec::with_capacity(round.places.len());
    for place in &round.places {
        let mut shown = Vec::with_capacity(place.calls.len());
        for call in place.calls.iter().filter_map(|call| round.calls.get(*call)) {
            shown.push(call::shown(call, index, at, &zone));
            index += 1;
        }
        if !shown.is_empty() {
            places.push((place.name.as_str(), shown));
        }
    }
    let looked_at = round.looked_at.iter().filter_map(|call| round.calls.get(*call));
    let looked_at: Vec<ShownCall> = looked_at
        .map(|call| {
            index += 1;
            ShownCall { open: false, ..call::shown(call, index - 1, at, &zone) }
        })
        .collect();
    let found = round.calls.iter().filter_map(|call| call.found.as_ref());
    page::fill(&RoundPage {
        frame: Frame::of("round"),
        round,
        at,
        places,
        not_judged: by_reason(&round.quiet.not_judged, at),
        looked_at,
        open: round.open.iter().map(|open| ShownOpen::of(open, at)).collect(),
        kept: found.into_iter().find(|found| Some(found.id) == asked.kept),
        undone: asked.undone.is_some(),
        standing: standing(round),
        mark: if at.is_some() { String::new() } else { round.mark() },
    })
}

fn standing(round: &Round) -> Standing {
    match (round.calls.is_empty(), round.quiet.cows, round.quiet.not_judged.is_empty()) {
        (false, _, _) => Standing::Calls,
        (true, 0, true) if round.last_row_words.is_empty() => Standing::NothingRead,
        (true, 0, _) => Standing::NoneJudged,
        (true, _, _) => Standing::NoCalls,
    }
}

/// Forty cows with one reason are one line, not forty.
fn by_reason<'a>(cows: &'a [NotJudged], at: Option<&str>) -> Vec<Unjudged<'a>> {
    let mut groups: Vec<Unjudged<'a>> = Vec::new();
    for cow in cows {
        let shown = (cow.animal.as_str(), address::cow(&cow.animal, at));
        match groups.iter_mut().find(|group| group.why == cow.why) {
            Some(group) => group.cows.push(shown),
            None => groups.push(Unjudged { why: &cow.why, cows: vec![shown] }),
        }
    }
    groups
}
