//! The Boxes page: a day of each box as a band of 24 hours, its plain counts, and one cow's visits among them.

use std::{fmt::Write, sync::Arc};

use askama::Template;
use axum::{
    extract::{Query, State, rejection::QueryRejection},
    http::HeaderMap,
    response::Response,
};
use jiff::ToSpan;
use serde::Deserialize;

use super::{
    Answers, address, band, cow, hours,
    lanes::escaped,
    page::{self, Frame},
    round,
    trouble::Trouble,
};
use crate::ask::{
    box_minutes::{AskedMinutes, BoxMinutes, DayMinutes},
    boxes::{AskedBoxes, BoxDay, Boxes},
};

/// With more boxes than this the tables stand on a page of each box's own.
const WITH_TABLES: usize = 12;
/// With more boxes than this a list leads to each.
const WITHOUT_LIST: usize = 3;
/// Years that a farm's logs can be of.
const YEARS: std::ops::Range<i16> = 1900..2200;

/// What the address of the boxes may ask.
#[derive(Debug, Default, Deserialize)]
pub struct BoxesAsked {
    /// The farm day.
    date: Option<String>,
    /// The cow whose visits are marked.
    animal: Option<String>,
    /// Only this box.
    #[serde(rename = "box")]
    box_name: Option<String>,
}

#[derive(Template)]
#[template(path = "boxes.html")]
struct BoxesPage<'a> {
    frame: Frame,
    boxes: &'a Boxes,
    shown: Vec<ShownBox<'a>>,
    /// Sign and word of all that is drawn.
    legend: Vec<(String, String)>,
    hatches: &'static str,
    animal: &'a str,
    only: &'a str,
    /// Link to her page.
    her: String,
    /// Links to the days before and after, and to this day without a mark, with all boxes.
    earlier: Option<(String, String)>,
    later: Option<(String, String)>,
    plain: String,
    whole: String,
    /// Where the minutes of these days went, for the week that ends with this day.
    minutes: String,
    list: bool,
    tables: bool,
}

impl BoxesPage<'_> {
    /// The minutes of a box by hour: drawn, and in figures.
    fn hours(&self, ledger: &DayMinutes) -> String {
        hours::drawn(ledger, &named(&ledger.name), self.tables)
    }
}

/// A box with its picture.
struct ShownBox<'a> {
    day: &'a BoxDay,
    key: String,
    name: String,
    picture: String,
    /// Where its minutes went.
    minutes: Option<&'a DayMinutes>,
    /// Its states: what, and when.
    states: Vec<(&'a str, String)>,
    link: String,
}

/// The page.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<BoxesAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let boxes = answered(answers, &asked, false)?;
        // The day is shown without its minutes where they cannot be reckoned. Of many boxes each has them on its own page.
        let few = boxes.boxes.len() <= WITH_TABLES;
        let day = boxes.date.parse().ok();
        let span = AskedMinutes { from: day, to: day, metric: false };
        let ledger = if boxes.seen && few { answers.box_minutes(&span).ok() } else { None };
        draw(&boxes, ledger.as_deref(), &asked)
    })
    .await
}

/// The day the words ask for.
pub fn answered(answers: &dyn Answers, asked: &BoxesAsked, metric: bool) -> Result<Boxes, Trouble> {
    let date = cow::day(address::given(&asked.date), "date")?;
    if let Some(date) = date.filter(|date| !YEARS.contains(&date.year())) {
        return Err(Trouble::not_understood(
            format!("No farm has logs of {date}."),
            "Write a day as in 2026-03-02, or leave it out for the newest.",
        ));
    }
    let asked = AskedBoxes {
        date,
        animal: address::given(&asked.animal).map(str::to_owned),
        box_name: address::given(&asked.box_name).map(str::to_owned),
        metric,
        words_up_to: (!metric).then_some(WITH_TABLES),
    };
    answers.boxes(&asked).map_err(|error| Trouble::unanswered("The boxes could not be shown", &error))
}

fn link(date: &str, animal: &str, only: &str) -> String {
    let mut link = format!("/boxes?date={}", address::part(date));
    for (name, value) in [("animal", animal), ("box", only)] {
        if !value.is_empty() {
            let _ = write!(link, "&{name}={}", address::part(value));
        }
    }
    link
}

fn draw(boxes: &Boxes, ledger: Option<&BoxMinutes>, asked: &BoxesAsked) -> page::Drawn {
    let animal = address::given(&asked.animal).unwrap_or_default();
    let only = address::given(&asked.box_name).unwrap_or_default();
    let tables = boxes.boxes.len() <= WITH_TABLES;
    let shown = boxes.boxes.iter().enumerate().map(|(place, day)| {
        let key = format!("box{}", place + 1);
        let name = named(&day.name);
        let mut states: Vec<(&str, String)> = Vec::new();
        for state in &day.states {
            let when = format!("{}–{}", state.words.0, state.words.1);
            match states.iter_mut().find(|(known, _)| *known == state.state) {
                Some((_, times)) => {
                    let _ = write!(times, ", {when}");
                }
                None => states.push((&state.state, when)),
            }
        }
        ShownBox {
            picture: picture(boxes, day, &name, &key, tables),
            minutes: ledger.and_then(|own| own.days.iter().find(|own| own.name == day.name)),
            link: link(&boxes.date, animal, &day.name),
            day,
            states,
            name,
            key,
        }
    });
    let other = |day: &Option<String>| day.as_ref().map(|day| (link(day, animal, only), named_day(day)));
    page::fill(&BoxesPage {
        frame: Frame::of("boxes"),
        shown: shown.collect(),
        legend: legend(boxes),
        hatches: band::HATCHES,
        animal,
        only,
        her: address::cow(animal, None),
        earlier: other(&boxes.earlier),
        later: other(&boxes.later),
        plain: link(&boxes.date, "", only),
        whole: link(&boxes.date, animal, ""),
        minutes: minutes_link(&boxes.date),
        list: only.is_empty() && WITHOUT_LIST < boxes.boxes.len(),
        tables,
        boxes,
    })
}

/// The minutes of the week that ends with a day.
fn minutes_link(date: &str) -> String {
    let from = date.parse::<jiff::civil::Date>().ok().and_then(|day| day.checked_sub(6.days()).ok());
    from.map_or_else(|| "/boxes/minutes".into(), |from| format!("/boxes/minutes?from={from}&to={date}"))
}

/// `Box 2`; a name that says it is a box stays as it is.
fn named(name: &str) -> String {
    if name.to_lowercase().starts_with("box") { name.to_owned() } else { format!("Box {name}") }
}

/// `Sun 1 March`.
fn named_day(day: &str) -> String {
    day.parse::<jiff::civil::Date>()
        .map_or_else(|_| day.to_owned(), |day| day.strftime("%a %-d %B").to_string())
}

fn picture(boxes: &Boxes, day: &BoxDay, name: &str, key: &str, table: bool) -> String {
    if day.visits.is_empty() && day.states.is_empty() {
        return "<p class=\"soft\">No row of this box was read for this day.</p>".into();
    }
    let mut out = String::from("<figure class=\"picture\">");
    out.push_str(&band::drawings(day, &boxes.axis, &format!("{name}, {}", boxes.date_words), key));
    if table {
        twin(&mut out, boxes, day, name);
    }
    out.push_str("</figure>");
    out
}

/// The picture's text twin, newest first, which the script reads too.
fn twin(out: &mut String, boxes: &Boxes, day: &BoxDay, name: &str) {
    let name = escaped(name);
    let _ = write!(
        out,
        "<details class=\"twin fold\"><summary>The same in figures</summary><div class=\"scroll\" tabindex=\"0\" \
         role=\"region\" aria-label=\"{name}, in figures\"><table><thead><tr><th scope=\"col\">from</th>\
         <th scope=\"col\">{name}</th></tr></thead><tbody>"
    );
    let start = boxes.axis.cuts.first().copied().unwrap_or_default();
    let visits = day.visits.iter().map(|visit| {
        let words = &visit.words;
        let milk = if words.milk.is_empty() { String::new() } else { format!(", {}", words.milk) };
        let what = format!("{}: {}{milk}, until {}", visit.animal, words.outcome, words.ended);
        (visit.span.0, words.started.clone(), what)
    });
    let states = day.states.iter().map(|state| {
        (state.span.0, state.words.0.clone(), format!("{}, until {}", state.state, state.words.1))
    });
    let mut rows: Vec<_> = visits.chain(states).collect();
    rows.sort();
    for (at, when, what) in rows.iter().rev() {
        let _ = write!(
            out,
            "<tr data-t=\"{}\"><th scope=\"row\">{when}</th><td>{}</td></tr>",
            (*at).max(start).as_millisecond(),
            escaped(what)
        );
    }
    out.push_str("</tbody></table></div></details>");
}

/// What is drawn on this day, and nothing else: sign and word.
fn legend(boxes: &Boxes) -> Vec<(String, String)> {
    let words = [
        ("milked", "milked"),
        ("incomplete", "incomplete"),
        ("failed", "failed"),
        ("turned-away", "turned away"),
        ("fed", "fed only"),
        ("not-said", "outcome not logged"),
        ("cleaning", "cleaning"),
        ("service", "service"),
        ("fault", "fault"),
        ("off", "off"),
        ("overlap", "two rows share this time"),
    ];
    let drawn = |kind: &str| {
        boxes.boxes.iter().any(|day| match kind {
            "overlap" => !day.overlaps.is_empty(),
            _ => {
                day.visits.iter().any(|visit| band::kind(visit) == kind)
                    || day.states.iter().any(|state| state.state == kind)
            }
        })
    };
    let mut legend: Vec<(String, String)> = words
        .iter()
        .filter(|(kind, _)| drawn(kind))
        .map(|(kind, word)| (band::sign(kind), (*word).to_owned()))
        .collect();
    if let Some(hers) = boxes.hers.as_ref().filter(|hers| !hers.visits.is_empty()) {
        legend.push((band::sign("her"), hers.animal.clone()));
    }
    legend
}
