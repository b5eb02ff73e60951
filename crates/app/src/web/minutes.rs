//! Box minutes: the page of where they went by cow and what is dearest, and the page of what to type into the boxes.

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
    units::{KG_PER_LB, Kilograms, UnitSystem},
};
use serde::Deserialize;

use super::{
    Answers, address, api, cow,
    page::{self, Frame},
    records::{Done, done, posted},
    round,
    trouble::Trouble,
};
use crate::ask::{
    box_minutes::{AskedMinutes, BoxMinutes, CowMinutes, DayMinutes},
    intervals::{AskedIntervals, Intervals},
    live::Live,
};

/// Cows shown before the rest is folded away.
const SHOWN: usize = 40;

/// What the pages ask and change of box minutes. Like [`Answers`], called off the async threads.
pub trait Minding {
    /// Where the minutes went.
    fn box_minutes(&self, asked: &AskedMinutes) -> anyhow::Result<Arc<BoxMinutes>>;
    /// How they are best used.
    fn intervals(&self, asked: &AskedIntervals) -> anyhow::Result<Arc<Intervals>>;
    /// The farm's terms with others where words name them; nothing is kept.
    fn try_terms(&self, words: &str) -> anyhow::Result<Terms>;
    /// Keeps terms.
    fn keep_terms(&self, words: &str) -> anyhow::Result<()>;
}

impl Minding for Live {
    fn box_minutes(&self, asked: &AskedMinutes) -> anyhow::Result<Arc<BoxMinutes>> {
        Live::box_minutes(self, asked)
    }
    fn intervals(&self, asked: &AskedIntervals) -> anyhow::Result<Arc<Intervals>> {
        Live::intervals(self, asked)
    }
    fn try_terms(&self, words: &str) -> anyhow::Result<Terms> {
        Live::try_terms(self, words)
    }
    fn keep_terms(&self, words: &str) -> anyhow::Result<()> {
        Live::keep_terms(self, words)
    }
}

/// What the address of the ledger may ask.
#[derive(Debug, Default, Deserialize)]
pub struct MinutesAsked {
    from: Option<String>,
    to: Option<String>,
}

/// What the address of the intervals may ask.
#[derive(Debug, Default, Deserialize)]
pub struct IntervalsAsked {
    /// Box minutes a day for milking.
    minutes: Option<String>,
    /// What was just done: `kept`.
    done: Option<String>,
}

#[derive(Template)]
#[template(path = "minutes.html")]
struct MinutesPage<'a> {
    frame: Frame,
    told: &'a BoxMinutes,
    /// Cows in words: number, link, figures.
    cows: Vec<(String, String, [String; 7])>,
    folded: Vec<(String, String, [String; 7])>,
    /// By day, all boxes: day, idle, waiting for a last quarter, milk a box, milk a minute in use.
    trend: Vec<[String; 5]>,
    mass: &'static str,
}

#[derive(Template)]
#[template(path = "intervals.html")]
struct IntervalsPage<'a> {
    frame: Frame,
    answer: &'a Intervals,
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

/// What was asked cannot be, or it is our fault.
fn unanswered(error: &anyhow::Error) -> Trouble {
    let words = crate::trouble::in_words(error);
    if words.code == 1 {
        let what = format!("{}.", words.what.trim_end_matches('.'));
        return Trouble::not_understood(what, &format!("{}.", words.next.trim_end_matches('.')));
    }
    Trouble::unanswered("Box minutes could not be reckoned", error)
}

fn ledger(answers: &dyn Answers, asked: &MinutesAsked, metric: bool) -> Result<Arc<BoxMinutes>, Trouble> {
    let from = cow::day(address::given(&asked.from), "from")?;
    let to = cow::day(address::given(&asked.to), "to")?;
    let far = [from, to].into_iter().flatten().find(|day| !(1900..2200).contains(&day.year()));
    if let Some(day) = far {
        return Err(Trouble::not_understood(
            format!("No farm has logs of {day}."),
            "Write days as in 2026-03-02, or leave them out for the last week.",
        ));
    }
    answers.box_minutes(&AskedMinutes { from, to, metric }).map_err(|error| unanswered(&error))
}

/// The page of where the minutes went.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<MinutesAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let told = ledger(answers, &round::words(asked)?, false)?;
        let units = answers.units();
        let mut cows: Vec<_> = told.cows.iter().map(|cow| row(cow, units)).collect();
        let folded = cows.split_off(cows.len().min(SHOWN));
        page::fill(&MinutesPage {
            frame: Frame::of("boxes"),
            trend: trend(&told, units),
            cows,
            folded,
            mass: number::mass_unit(units),
            told: &told,
        })
    })
    .await
}

/// The same for programs.
pub async fn json(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<MinutesAsked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        api::text(ledger(answers, &round::words(asked)?, true)?.as_ref())
    })
    .await
}

fn in_units(kg: f64, units: UnitSystem) -> f64 {
    match units {
        UnitSystem::Metric => kg,
        UnitSystem::Us => Kilograms(kg).pounds(),
    }
}

fn row(cow: &CowMinutes, units: UnitSystem) -> (String, String, [String; 7]) {
    let one = |figure: Option<f64>| figure.map_or_else(|| "–".to_owned(), |own| number::plain(own, 1));
    let mass = |kg: Option<f64>, decimals| {
        kg.map_or_else(|| "–".to_owned(), |kg| number::plain(in_units(kg, units), decimals))
    };
    let figures = [
        one(Some(cow.minutes_day)),
        mass(cow.milk_kg_day, 1),
        mass(cow.kg_min, 2),
        one(cow.minutes_milking),
        one(cow.handling_min),
        match (cow.last_quarter_min, cow.last_quarter) {
            (Some(minutes), Some(quarter)) => format!("{} {quarter}", number::plain(minutes, 1)),
            _ => "–".into(),
        },
        one(Some(cow.other_min_day)),
    ];
    (cow.animal.clone(), address::cow(&cow.animal, None), figures)
}

/// Each day over all boxes.
fn trend(told: &BoxMinutes, units: UnitSystem) -> Vec<[String; 5]> {
    let mut days: BTreeMap<&str, Vec<&DayMinutes>> = BTreeMap::new();
    for day in &told.days {
        days.entry(&day.date).or_default().push(day);
    }
    days.into_iter()
        .map(|(date, boxes)| {
            let sum = |of: fn(&DayMinutes) -> i64| boxes.iter().map(|day| of(day)).sum::<i64>() as f64;
            let (whole, idle) = (sum(|day| day.day_s).max(1.0), sum(|day| day.seconds.idle));
            let milk: f64 = boxes.iter().filter_map(|day| day.milk_kg).sum();
            [
                date.to_owned(),
                number::percent(idle / whole),
                number::percent(sum(|day| day.seconds.last_quarter) / whole),
                say::plan::grouped(in_units(milk / boxes.len() as f64, units), 0, false),
                number::plain(in_units(60.0 * milk / (whole - idle).max(1.0), units), 2),
            ]
        })
        .collect()
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
pub async fn settle(
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
pub async fn settle_json(
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
    let mut words = String::new();
    for field in known {
        let Some(value) = fields.get(field.name) else { continue };
        let value: String = value.chars().filter(|letter| !letter.is_whitespace()).collect();
        let by_mass = BY_MASS.contains(&field.name) && units == UnitSystem::Us;
        let value = match value.parse::<f64>() {
            Ok(money) if by_mass => (money / KG_PER_LB).to_string(),
            _ => value,
        };
        words.push_str(&format!("{}={value} ", field.name));
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
