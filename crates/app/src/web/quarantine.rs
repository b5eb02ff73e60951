//! Rows in quarantine: the list, one row as a form, and what mending it gave.

use std::{collections::BTreeMap, sync::Arc};

use askama::Template;
use axum::{
    extract::{
        Form, Path, Query, State,
        rejection::{FormRejection, PathRejection, QueryRejection},
    },
    http::{HeaderMap, StatusCode},
    response::Response,
};

use super::{
    Answers, address,
    page::{self, Frame},
    records::{self, Asked, Done, Pager},
    round,
    trouble::Trouble,
};
use crate::ask::{
    mending::{Again, Mended, Opened},
    records::Quarantine,
};

#[derive(Template)]
#[template(path = "quarantine.html")]
struct ListPage<'a> {
    frame: Frame,
    list: &'a Quarantine,
    mended: bool,
    again: Option<&'a Again>,
    pager: Pager,
}

#[derive(Template)]
#[template(path = "entry.html")]
struct EntryPage<'a> {
    frame: Frame,
    opened: &'a Opened,
    /// Why it still cannot be used, after somebody tried: column, reason, what to do.
    still: Option<(&'a str, &'a str, &'a str)>,
    column: &'a str,
}

impl EntryPage<'_> {
    /// Whether a column is the one to look at first.
    fn is_at(&self, column: &str) -> bool {
        !column.is_empty() && column == self.column
    }
}

/// The list.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        draw(answers, asked.skip(), address::given(&asked.done) == Some("mended"), None)
    })
    .await
}

fn draw(answers: &dyn Answers, skip: u64, mended: bool, again: Option<&Again>) -> page::Drawn {
    let list = listed(answers, skip)?;
    let of = list.in_quarantine + list.set_aside;
    page::fill(&ListPage {
        frame: Frame::of("records"),
        mended,
        again,
        pager: Pager::new("/records/quarantine", skip, list.rows.len() as u64, of),
        list: &list,
    })
}

fn listed(answers: &dyn Answers, skip: u64) -> Result<Quarantine, Trouble> {
    answers
        .quarantine(skip)
        .map_err(|error| Trouble::unanswered("The rows in quarantine could not be listed", &error))
}

/// The same for programs.
pub async fn json(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        super::api::text(&listed(answers, round::words(asked)?.skip())?)
    })
    .await
}

/// One row.
pub async fn entry(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    path: Result<Path<i64>, PathRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let opened = opened(answers, number(path)?)?;
        form(&opened, None)
    })
    .await
}

fn number(path: Result<Path<i64>, PathRejection>) -> Result<i64, Trouble> {
    path.map(|Path(entry)| entry).map_err(|_| Trouble {
        status: StatusCode::NOT_FOUND,
        ..Trouble::not_understood(
            "The address names no row in quarantine.".into(),
            "Go to Records; its list of rows in quarantine leads to each.",
        )
    })
}

fn opened(answers: &dyn Answers, entry: i64) -> Result<Opened, Trouble> {
    answers.open_entry(entry).map_err(|error| {
        let trouble = Trouble::unchanged("No such row", &error);
        let users = trouble.status == StatusCode::UNPROCESSABLE_ENTITY;
        Trouble { status: if users { StatusCode::NOT_FOUND } else { trouble.status }, ..trouble }
    })
}

fn form(opened: &Opened, still: Option<(&str, &str, &str)>) -> page::Drawn {
    let column = still.map_or(opened.entry.column.as_str(), |(column, ..)| column);
    page::fill(&EntryPage { frame: Frame::of("records"), opened, still, column })
}

/// Mends it. What was typed comes back with the reason where it still cannot be used.
pub async fn mend(
    State(answers): State<Arc<dyn Answers>>,
    path: Result<Path<i64>, PathRejection>,
    typed: Result<Form<BTreeMap<String, String>>, FormRejection>,
) -> Response {
    records::done(answers, move |answers| {
        let entry = number(path)?;
        let typed = records::posted(typed)?;
        let mut opened = opened(answers, entry)?;
        for (place, (_, cell)) in opened.cells.iter_mut().enumerate() {
            // A browser sends line ends as two letters, whatever the log had.
            if let Some(typed) = typed.get(&format!("cell-{place}")) {
                *cell = typed.replace("\r\n", "\n");
            }
        }
        let cells: Vec<String> = opened.cells.iter().map(|(_, cell)| cell.clone()).collect();
        let mended = answers
            .mend(entry, &cells)
            .map_err(|error| Trouble::unchanged("The row was not mended", &error))?;
        match mended {
            Mended::Taken(_, None) => Ok(Done::GoTo("/records/quarantine?done=mended".into())),
            Mended::Taken(_, Some((why, next))) => Err(Trouble {
                status: StatusCode::OK,
                title: "Taken in, and set aside",
                happened: format!("The row was taken in and set aside: {why}."),
                kept: "It is kept with the visits, and no model reads it.".into(),
                next: format!("{next}."),
            }),
            Mended::Before => Err(Trouble {
                status: StatusCode::CONFLICT,
                title: "Mended before",
                happened: "This row was mended and taken in before.".into(),
                kept: "What was taken in then stands; nothing was changed.".into(),
                next: "Go to Records for the rows that are left.".into(),
            }),
            Mended::Still(column, reason, next) => {
                let page = form(&opened, Some((column.as_deref().unwrap_or_default(), &reason, &next)))?;
                Ok(Done::Page(StatusCode::UNPROCESSABLE_ENTITY, page))
            }
        }
    })
    .await
}

/// Takes in again what is understood by now.
pub async fn again(State(answers): State<Arc<dyn Answers>>) -> Response {
    records::done(answers, |answers| {
        let again =
            answers.take_again().map_err(|error| Trouble::unchanged("Nothing was taken in again", &error))?;
        draw(answers, 0, false, Some(&again)).map(|page| Done::Page(StatusCode::OK, page))
    })
    .await
}
