//! Box minutes: the page of where they went by cow, and what is dearest.

use std::{collections::BTreeMap, sync::Arc};

use askama::Template;
use axum::{
    extract::{Query, State, rejection::QueryRejection},
    http::HeaderMap,
    response::Response,
};
use cowpath_core::{
    minutes::terms::Terms,
    say::{self, number},
    units::{Kilograms, UnitSystem},
};
use serde::Deserialize;

use super::{
    Answers, address, api, cow,
    page::{self, Frame},
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

/// What was asked cannot be, or it is our fault.
pub fn unanswered(error: &anyhow::Error) -> Trouble {
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
            if boxes.iter().all(|day| !day.seen) {
                let [none, dash] = ["no visits", "–"].map(str::to_owned);
                return [date.to_owned(), none, dash.clone(), dash.clone(), dash];
            }
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
