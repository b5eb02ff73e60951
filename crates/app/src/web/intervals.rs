//! What to type into the boxes: the page of intervals, what they are worth, and the terms they are reckoned with.

use std::{collections::BTreeMap, sync::Arc};

use askama::Template;
use axum::{
    extract::{
        Form, Query, State,
        rejection::{FormRejection, QueryRejection},
    },
    http::{HeaderMap, StatusCode},
    response::Response,
};
use cowpath_core::{
    minutes::terms::Terms,
    say::{self, number},
    units::{KG_PER_LB, UnitSystem},
};
use serde::Deserialize;

use super::{
    Answers, address, api,
    minutes::unanswered,
    page::{self, Frame},
    records::{Done, done, posted},
    round,
    trouble::Trouble,
};
use crate::ask::intervals::{Advice, AskedIntervals, Intervals};

/// What the address of the intervals may ask.
#[derive(Debug, Default, Deserialize)]
pub struct IntervalsAsked {
    /// Box minutes a day for milking.
    minutes: Option<String>,
    /// What was just done: `kept`.
    done: Option<String>,
}

#[derive(Template)]
#[template(path = "intervals.html")]
struct IntervalsPage<'a> {
    frame: Frame,
    answer: &'a Intervals,
    /// No interval by group is offered; one by cow is.
    leave: bool,
    by_cow: bool,
    /// Whether enough days lie behind what it is worth.
    enough: bool,
    /// What changes, in words: by group, by cow.
    worth: Vec<(&'a str, [&'a str; 2])>,
    /// What money is reckoned with, and whether that is stated.
    money: String,
    stated: Option<&'static str>,
    fields: Vec<Field>,
    asked: String,
    kept: bool,
    tried: bool,
    /// What was not understood, and what to do.
    wrong: Option<(String, String)>,
    /// Whether the farm's terms are not the stated ones.
    own: bool,
}

/// A field of the form.
struct Field {
    name: &'static str,
    label: String,
    value: String,
}

/// Minutes as an address or a form names them.
fn wanted(words: Option<&str>) -> Result<Option<f64>, Trouble> {
    words.map_or(Ok(None), |words| {
        words.trim().parse::<f64>().map(Some).map_err(|_| {
            Trouble::not_understood(
                format!("“{words}” is no number of box minutes."),
                "Write the minutes a day of all boxes together, as in 2600, or leave them out.",
            )
        })
    })
}

/// The page of what to type into the boxes.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<IntervalsAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let minutes = address::given(&asked.minutes);
        let question = AskedIntervals { box_minutes: wanted(minutes)?, ..AskedIntervals::default() };
        let answer = answers.intervals(&question).map_err(|error| unanswered(&error))?;
        let kept = address::given(&asked.done) == Some("kept");
        drawn(answers, &answer, minutes.unwrap_or_default(), kept, false, None, None)
    })
    .await
}

/// The same for programs.
pub async fn json(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<IntervalsAsked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        let minutes = wanted(address::given(&round::words(asked)?.minutes))?;
        let question = AskedIntervals { box_minutes: minutes, metric: true, ..AskedIntervals::default() };
        api::text(answers.intervals(&question).map_err(|error| unanswered(&error))?.as_ref())
    })
    .await
}

/// Tries terms, keeps them, or goes back to the stated ones.
pub async fn act(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<BTreeMap<String, String>>, FormRejection>,
) -> Response {
    done(answers, move |answers| {
        let mut fields = posted(form)?;
        let act = fields.remove("act").unwrap_or_default();
        let minutes = fields.remove("minutes").filter(|words| !words.trim().is_empty());
        let words = if act == "reset" { Terms::default().words() } else { typed(&fields, answers.units()) };
        let outcome = answers.try_terms(&words).and_then(|terms| {
            if act != "try" {
                answers.keep_terms(&terms.words())?;
                return Ok(None);
            }
            Ok(Some(terms))
        });
        match outcome {
            Ok(None) => Ok(Done::GoTo("/boxes/intervals?done=kept".into())),
            Ok(Some(terms)) => {
                let question = AskedIntervals {
                    box_minutes: wanted(minutes.as_deref())?,
                    terms: Some(terms),
                    metric: false,
                };
                let answer = answers.intervals(&question).map_err(|error| unanswered(&error))?;
                let asked = minutes.unwrap_or_default();
                Ok(Done::Page(StatusCode::OK, drawn(answers, &answer, &asked, false, true, None, None)?))
            }
            Err(error) => {
                let words = crate::trouble::in_words(&error);
                if words.code != 1 {
                    return Err(Trouble::unchanged("The terms were not kept", &error));
                }
                let question = AskedIntervals::default();
                let answer = answers.intervals(&question).map_err(|error| unanswered(&error))?;
                let wrong = Some((words.what, words.next));
                let page = drawn(
                    answers,
                    &answer,
                    &minutes.unwrap_or_default(),
                    false,
                    false,
                    wrong,
                    Some(&fields),
                )?;
                Ok(Done::Page(StatusCode::UNPROCESSABLE_ENTITY, page))
            }
        }
    })
    .await
}

/// Money a kg is written a pound where the farm reads in pounds.
const BY_MASS: [&str; 2] = ["milk", "feed"];

/// The fields of a form as words of the terms.
fn typed(fields: &BTreeMap<String, String>, units: UnitSystem) -> String {
    let known = form(&Terms::default(), units);
    let bare = |words: &str| words.chars().filter(|letter| !letter.is_whitespace()).collect::<String>();
    let mut words = String::new();
    // What is no term is handed on too, for a name that is not known must not be kept in silence.
    let unknown = fields.keys().filter(|name| known.iter().all(|field| field.name != name.as_str()));
    let names = known.iter().map(|field| field.name).chain(unknown.map(String::as_str));
    for name in names {
        let Some(value) = fields.get(name) else { continue };
        let (name, value) = (bare(name), bare(value));
        let by_mass = BY_MASS.contains(&name.as_str()) && units == UnitSystem::Us;
        let value = match value.parse::<f64>() {
            Ok(money) if by_mass => (money / KG_PER_LB).to_string(),
            _ => value,
        };
        words.push_str(&format!("{name}={value} "));
    }
    words
}

fn form(terms: &Terms, units: UnitSystem) -> Vec<Field> {
    let unit = number::mass_unit(units);
    let plain = |value: f64| ((value * 1e4).round() / 1e4).to_string();
    let money = |kg: f64| plain(if units == UnitSystem::Us { kg * KG_PER_LB } else { kg });
    let list = |hours: &[f64]| hours.iter().map(f64::to_string).collect::<Vec<_>>().join("/");
    let field = |name: &'static str, label: String, value: String| Field { name, label, value };
    let currency = &terms.currency;
    vec![
        field("milk", format!("Milk, {currency} a {unit}"), money(terms.milk_kg)),
        field("feed", format!("Feed another {unit} of milk takes, {currency}"), money(terms.feed_kg)),
        field("labour", format!("A minute of work, {currency}"), plain(terms.labour_min)),
        field("fetch", "Minutes of work to fetch a cow".into(), plain(terms.fetch_min)),
        field("box", format!("A box, {currency} a day"), plain(terms.box_day)),
        field("currency", "Currency, three letters".into(), currency.clone()),
        field("idle", "Of a box’s day kept idle, %".into(), plain(100.0 * terms.idle)),
        field("days", "Last days of early and mid lactation".into(), list(&terms.until_day)),
        field("first", "Shortest, first lactation, h: early/mid/late".into(), list(&terms.first_low_h)),
        field("later", "Shortest, later lactations, h".into(), list(&terms.later_low_h)),
        field("first-longest", "Longest, first lactation, h".into(), list(&terms.first_high_h)),
        field("later-longest", "Longest, later lactations, h".into(), list(&terms.later_high_h)),
    ]
}

fn drawn(
    answers: &dyn Answers,
    answer: &Intervals,
    asked: &str,
    kept: bool,
    tried: bool,
    wrong: Option<(String, String)>,
    typed: Option<&BTreeMap<String, String>>,
) -> page::Drawn {
    let mut fields = form(&answer.terms, answers.units());
    for field in &mut fields {
        if let Some(word) = typed.and_then(|typed| typed.get(field.name)) {
            field.value.clone_from(word);
        }
    }
    let [by_cow, by_group] = [&answer.change, &answer.change_by_group]
        .map(|change| change.iter().flat_map(|change| &change.words));
    page::fill(&IntervalsPage {
        frame: Frame::of("boxes"),
        answer,
        leave: matches!(answer.advice, Some(Advice::ByCow | Advice::Leave)),
        by_cow: answer.advice == Some(Advice::ByCow),
        enough: answer.change_by_group.as_ref().is_none_or(|change| change.enough_days),
        worth: by_group
            .zip(by_cow.map(|(_, words)| words.as_str()).chain(std::iter::repeat("")))
            .map(|((what, group), cow)| (what.as_str(), [group.as_str(), cow]))
            .collect(),
        money: say::plan::terms(&answer.terms, answers.units()),
        stated: say::plan::stated_prices(&answer.terms),
        fields,
        asked: asked.to_owned(),
        kept,
        tried,
        wrong,
        own: !tried && answer.terms != Terms::default(),
    })
}
