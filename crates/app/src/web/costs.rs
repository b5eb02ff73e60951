//! The page of what it costs, and the forms that tell of a missed case or take back what was learned.

use std::{collections::BTreeMap, sync::Arc};

use askama::Template;
use axum::{
    body::{Body, Bytes},
    extract::{
        Form, Query, State,
        rejection::{FormRejection, QueryRejection},
    },
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};
use cowpath_core::{
    causes::costs::OwnCosts,
    say::{found, number},
};
use serde::Deserialize;

use super::{
    Answers, address, api,
    page::{self, Frame},
    records::{Done, done, posted},
    round,
    trouble::Trouble,
};
use crate::ask::{
    costs::{self, Change, ChangedCall, CostRow, Costs},
    live::Live,
    missed::{Lesson, Taught},
};

/// What the pages ask and change of costs and of what was learned. Like [`Answers`], called off the async threads.
pub trait Teaches {
    /// What it costs.
    fn costs(&self) -> anyhow::Result<Costs>;
    /// The table with other costs, and how the newest list would change with them; nothing is kept.
    fn try_costs(&self, own: &OwnCosts) -> anyhow::Result<(Costs, Change)>;
    /// Keeps the farm's own costs, all of them at once.
    fn keep_costs(&self, own: &OwnCosts) -> anyhow::Result<Costs>;
    /// Tells of a missed case, or takes back what was told or learned.
    fn teach(&self, lesson: &Lesson) -> anyhow::Result<Taught>;
}

impl Teaches for Live {
    fn costs(&self) -> anyhow::Result<Costs> {
        Live::costs(self)
    }
    fn try_costs(&self, own: &OwnCosts) -> anyhow::Result<(Costs, Change)> {
        Live::try_costs(self, own)
    }
    fn keep_costs(&self, own: &OwnCosts) -> anyhow::Result<Costs> {
        Live::keep_costs(self, own)
    }
    fn teach(&self, lesson: &Lesson) -> anyhow::Result<Taught> {
        Live::teach(self, lesson)
    }
}

/// Causes a person may tell of that no call named, and what each is called.
pub const OF_COWS: [(&str, &str); 7] = {
    let all = found::CAUSES;
    [all[0], all[1], all[2], all[3], all[4], all[5], all[6]]
};

/// What a cause is called.
pub fn cause(word: &str) -> &str {
    found::cause(word)
}

/// A share as a person reads it.
pub fn percent(share: &f64) -> String {
    number::percent(*share)
}

#[derive(Template)]
#[template(path = "costs.html")]
struct CostsPage<'a> {
    frame: Frame,
    costs: &'a Costs,
    /// Whether they were kept just now.
    kept: bool,
    /// How the list would change, where that was asked.
    change: Option<&'a Change>,
    /// Its calls that do not stay, under their heads.
    groups: Vec<(&'static str, &'a [ChangedCall])>,
    /// What was wrong with the form, and what to do.
    wrong: Option<(String, String)>,
    /// The form as it was typed; empty where it was not.
    typed: &'a BTreeMap<String, String>,
}

/// One field of a cause.
struct Field {
    name: String,
    label: String,
    value: String,
    /// `decimal`, `numeric` or `text`, for the keys a phone shows.
    keys: &'static str,
    /// What stands while the field is empty.
    hint: String,
}

impl CostsPage<'_> {
    fn value(&self, name: &str, stands: String) -> String {
        self.typed.get(name).cloned().unwrap_or(stands)
    }

    fn fields(&self, row: &CostRow) -> Vec<Field> {
        let field = |part: &str, label: String, stands: String, keys: &'static str| {
            let name = format!("{}.{part}", row.cause);
            Field { value: self.value(&name, stands), name, label, keys, hint: String::new() }
        };
        let own_year = if row.own.contains(&"year") { row.year.to_string() } else { String::new() };
        vec![
            field("case", format!("A case, {}", row.currency), figure_typed(row.case), "decimal"),
            field("saved", "A look now saves of it, %".into(), figure_typed(row.saved * 100.0), "decimal"),
            field("look", format!("A proper look, {}", row.currency), figure_typed(row.look), "decimal"),
            field(
                "glance",
                format!("A look in passing, {}", row.currency),
                figure_typed(row.glance),
                "decimal",
            ),
            field("hours", "The saving is lost within, h".into(), figure_typed(row.hours), "decimal"),
            field("currency", "Currency".into(), row.currency.clone(), "text"),
            // Empty unless the farm has said it: whoever sets a case thinks of this year's money.
            Field {
                hint: row.year.to_string(),
                ..field("year", "Money of the year".into(), own_year, "numeric")
            },
        ]
    }

    fn limits(&self) -> Vec<Field> {
        let costs = self.costs;
        let field = |name: &str, label: &str, stands: String, keys: &'static str| Field {
            value: self.value(name, stands),
            name: name.into(),
            label: label.into(),
            keys,
            hint: String::new(),
        };
        vec![
            field(
                "most_calls_a_day",
                "Calls you can take in a day; those for now are never cut",
                costs.most_calls_a_day.to_string(),
                "numeric",
            ),
            field("errand", "Being sent out at once for one cow", figure_typed(costs.errand), "decimal"),
            field(
                "walk_hours",
                "Longest wait for the next walk, h",
                figure_typed(costs.walk_hours),
                "decimal",
            ),
        ]
    }
}

/// A figure as a field holds it: no thin blanks, four decimals at most.
fn figure_typed(value: f64) -> String {
    ((value * 1e4).round() / 1e4).to_string()
}

fn drawn(
    costs: &Costs,
    kept: bool,
    change: Option<&Change>,
    wrong: Option<(String, String)>,
    typed: &BTreeMap<String, String>,
) -> page::Drawn {
    let groups = change.map_or(Vec::new(), |change| {
        vec![
            ("Would come", change.comes.as_slice()),
            ("Would go", change.goes.as_slice()),
            ("Would be of another urgency", change.moves.as_slice()),
        ]
    });
    page::fill(&CostsPage { groups, frame: Frame::of("records"), costs, kept, change, wrong, typed })
}

/// What the address of the page may ask.
#[derive(Debug, Default, Deserialize)]
pub struct CostsAsked {
    /// What was just done: `kept`.
    done: Option<String>,
}

fn unanswered(error: &anyhow::Error) -> Trouble {
    Trouble::unanswered("The costs could not be shown", error)
}

/// The page.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<CostsAsked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let costs = answers.costs().map_err(|error| unanswered(&error))?;
        drawn(&costs, address::given(&asked.done) == Some("kept"), None, None, &BTreeMap::new())
    })
    .await
}

/// Shows what would change, keeps, or goes back to the stated costs.
pub async fn act(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<BTreeMap<String, String>>, FormRejection>,
) -> Response {
    done(answers, move |answers| {
        let mut fields = posted(form)?;
        let act = fields.remove("act").unwrap_or_default();
        let own = if act == "reset" { Ok(OwnCosts::default()) } else { costs::typed(&fields) };
        let tried = own.and_then(|own| match act.as_str() {
            "try" => answers.try_costs(&own).map(Some),
            _ => answers.keep_costs(&own).map(|_| None),
        });
        match tried {
            Ok(None) => Ok(Done::GoTo("/costs?done=kept".into())),
            Ok(Some((costs, change))) => {
                Ok(Done::Page(StatusCode::OK, drawn(&costs, false, Some(&change), None, &fields)?))
            }
            Err(error) => {
                let words = crate::trouble::in_words(&error);
                if words.code != 1 {
                    return Err(Trouble::unchanged("The costs were not kept", &error));
                }
                let costs = answers.costs().map_err(|error| unanswered(&error))?;
                let wrong = Some((words.what, words.next));
                Ok(Done::Page(StatusCode::UNPROCESSABLE_ENTITY, drawn(&costs, false, None, wrong, &fields)?))
            }
        }
    })
    .await
}

/// The costs for programs.
pub async fn json(State(answers): State<Arc<dyn Answers>>, headers: HeaderMap) -> Response {
    page::json(answers, headers, |answers| api::text(&answers.costs().map_err(|error| unanswered(&error))?))
        .await
}

/// Whether a program only tries.
#[derive(Debug, Default, Deserialize)]
pub struct TryAsked {
    #[serde(rename = "try")]
    only_try: Option<String>,
}

/// A program sets the farm's own costs, all at once, or tries them (`?try=1`).
pub async fn set_json(
    State(answers): State<Arc<dyn Answers>>,
    asked: Result<Query<TryAsked>, QueryRejection>,
    body: Bytes,
) -> Response {
    told(answers, move |answers| {
        let only_try = round::words(asked)?.only_try.is_some_and(|word| word != "0");
        let own: OwnCosts = read(&body)?;
        let unchanged = |error: anyhow::Error| Trouble::unchanged("The costs were not kept", &error);
        if only_try {
            let (_, change) = answers.try_costs(&own).map_err(unchanged)?;
            return api::text(&change);
        }
        api::text(&answers.keep_costs(&own).map_err(unchanged)?)
    })
    .await
}

/// A program tells of a missed case, or takes back what was told or learned.
pub async fn teach_json(State(answers): State<Arc<dyn Answers>>, body: Bytes) -> Response {
    told(answers, move |answers| {
        let lesson: Lesson = read(&body)?;
        let taught = answers
            .teach(&lesson)
            .map_err(|error| Trouble::unchanged("What was told was not kept", &error))?;
        api::text(&taught)
    })
    .await
}

/// The same from a form of Records.
pub async fn teach(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<Lesson>, FormRejection>,
) -> Response {
    done(answers, move |answers| {
        let lesson = posted(form)?;
        answers.teach(&lesson).map_err(|error| Trouble::unchanged("What was told was not kept", &error))?;
        Ok(Done::GoTo("/records?done=learned#right".into()))
    })
    .await
}

fn read<T: for<'de> Deserialize<'de>>(body: &[u8]) -> Result<T, Trouble> {
    serde_json::from_slice(body).map_err(|error| {
        Trouble::not_understood(
            format!("What was sent was not understood: {error}."),
            "Send it as /api/openapi.json describes it.",
        )
    })
}

async fn told(
    answers: Arc<dyn Answers>,
    act: impl FnOnce(&dyn Answers) -> page::Drawn + Send + 'static,
) -> Response {
    let done = tokio::task::spawn_blocking(move || act(answers.as_ref())).await;
    match done.unwrap_or_else(|stopped| Err(Trouble::ours("It could not be done", &stopped.to_string()))) {
        Ok(text) => {
            let mut response = Response::new(Body::from(text));
            response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
            response
        }
        Err(trouble) => trouble.into_response_for(true),
    }
}
