//! The page that says how a file is to be read: columns with choices, ten rows read so, and the map kept.

use std::{collections::BTreeMap, sync::Arc};

use askama::Template;
use axum::{
    extract::{
        Form, Path, State,
        rejection::{FormRejection, PathRejection},
    },
    http::{HeaderMap, StatusCode},
    response::Response,
};
use cowpath_core::tables::TABLES;

use super::{
    Answers,
    page::{self, Frame},
    records::{self, Done},
    trouble::Trouble,
    upload,
};
use crate::ask::map_page::{Choices, KEEP, MapPage, ORDERS};

#[derive(Template)]
#[template(path = "map.html")]
struct Page<'a> {
    frame: Frame,
    page: &'a MapPage,
    /// Name and what a row is, of each table.
    tables: Vec<(&'static str, &'static str)>,
    orders: Vec<(&'static str, &'static str)>,
    unsure: usize,
}

impl Page<'_> {
    /// What a mark says to do.
    fn mark(&self, mark: &str) -> &'static str {
        match mark {
            "unsure" => "unsure: look at it",
            "sure" => "sure",
            "chosen" => "chosen by you",
            _ => "not used",
        }
    }

    /// Whether a word is the one chosen: what was typed, else what the map says.
    fn is_chosen(&self, word: &str, typed: &str, now: &str) -> bool {
        word == if typed.is_empty() { now } else { typed }
    }

    /// The choice that changes nothing, in words.
    fn now(&self, to: &[String]) -> String {
        match to {
            [] => "not used".into(),
            [one] => {
                let means = self.page.targets.iter().find(|(name, _)| name == one).map(|(_, means)| *means);
                means.map_or_else(|| one.clone(), |means| format!("{one}: {means}"))
            }
            several => several.join(", "),
        }
    }
}

fn draw(page: &MapPage) -> page::Drawn {
    page::fill(&Page {
        frame: Frame::of("records"),
        page,
        tables: TABLES.iter().map(|table| (table.name, table.row_is)).collect(),
        orders: ORDERS.iter().map(|(order, example)| (order.name(), *example)).collect(),
        unsure: page.fields.iter().filter(|field| field.column.mark == "unsure").count(),
    })
}

fn key_of(path: Result<Path<String>, PathRejection>) -> String {
    // What is no text is no key either, and is told like any other that leads nowhere.
    path.map(|Path(key)| key).unwrap_or_default()
}

fn gone(error: &anyhow::Error) -> Trouble {
    let trouble = Trouble::unchanged("The file cannot be mapped", error);
    let users = trouble.status == StatusCode::UNPROCESSABLE_ENTITY;
    Trouble { status: if users { StatusCode::NOT_FOUND } else { trouble.status }, ..trouble }
}

/// The page as the program proposes it.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    path: Result<Path<String>, PathRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        draw(&answers.map_page(&key_of(path), None).map_err(|error| gone(&error))?)
    })
    .await
}

/// An address that a browser asks for again after a map was kept: back to the page.
pub async fn again(
    State(answers): State<Arc<dyn Answers>>,
    path: Result<Path<String>, PathRejection>,
) -> Response {
    records::done(answers, move |_| {
        let key: String = key_of(path).chars().filter(char::is_ascii_alphanumeric).collect();
        Ok(Done::GoTo(format!("/map/{key}")))
    })
    .await
}

/// What was typed into the form: columns by place, each with its header word beside it.
fn typed(mut form: BTreeMap<String, String>) -> Choices {
    let mut take = |name: &str| form.remove(name).unwrap_or_default();
    let mut choices = Choices {
        // A browser sends line ends as two letters.
        map: take("map").replace("\r\n", "\n"),
        name: take("name"),
        ..Choices::default()
    };
    // Only what was changed in a field: the text of the map may say something newer.
    let mut changed = |name: &str| {
        let (own, was) = (take(name), take(&format!("was-{name}")));
        if own == was { String::new() } else { own }
    };
    (choices.table, choices.order, choices.decimal) =
        (changed("table"), changed("order"), changed("decimal"));
    for (name, word) in &form {
        if let Some(to) = name.strip_prefix("from-").and_then(|place| form.get(&format!("to-{place}"))) {
            choices.columns.insert(word.clone(), to.clone());
        } else if let Some(column) = name.strip_prefix("value-")
            && form.get(&format!("was-value-{column}")) != Some(word)
        {
            choices.values.insert(column.to_owned(), word.clone());
        }
    }
    choices.columns.retain(|_, to| to != KEEP);
    choices
}

/// Ten rows with what was chosen; nothing is kept.
pub async fn try_out(
    State(answers): State<Arc<dyn Answers>>,
    path: Result<Path<String>, PathRejection>,
    form: Result<Form<BTreeMap<String, String>>, FormRejection>,
) -> Response {
    records::done(answers, move |answers| {
        let typed = typed(records::posted(form)?);
        let page = answers.map_page(&key_of(path), Some(&typed)).map_err(|error| gone(&error))?;
        let status = if page.fault.is_some() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
        Ok(Done::Page(status, draw(&page)?))
    })
    .await
}

/// Keeps the map and reads the file with it.
pub async fn keep(
    State(answers): State<Arc<dyn Answers>>,
    path: Result<Path<String>, PathRejection>,
    form: Result<Form<BTreeMap<String, String>>, FormRejection>,
) -> Response {
    records::done(answers, move |answers| {
        let typed = typed(records::posted(form)?);
        match answers.keep_map(&key_of(path), &typed).map_err(|error| gone(&error))? {
            Ok(taken) => {
                let (status, text) = upload::came(&taken)?;
                Ok(Done::Page(status, text))
            }
            Err(page) => Ok(Done::Page(StatusCode::UNPROCESSABLE_ENTITY, draw(&page)?)),
        }
    })
    .await
}
