//! The Records page: files that came, settings, what was fitted, signals that stopped.

use std::{path::PathBuf, sync::Arc};

use askama::Template;
use axum::{
    extract::{
        Form, Query, State,
        rejection::{FormRejection, QueryRejection},
    },
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};
use cowpath_core::units::UnitSystem;
use serde::Deserialize;

use super::{
    Answers, address,
    page::{self, Frame},
    round,
    trouble::Trouble,
};
use crate::ask::{
    coming::Coming,
    live::Live,
    map_page::{Choices, MapPage},
    mending::{Again, Mended, Opened},
    record::Record,
    records::{A_PAGE, Came, Quarantine, Records},
    taken::Taken,
    ways::Wanted,
};

/// What Records asks of the farm, and changes in it. Like [`Answers`], called off the async threads.
pub trait Keeps {
    /// The Records page; `skip` files are left out.
    fn records(&self, skip: u64) -> anyhow::Result<Records>;
    /// A page of the quarantine; `skip` rows are left out.
    fn quarantine(&self, skip: u64) -> anyhow::Result<Quarantine>;
    /// One row of it, to be mended.
    fn open_entry(&self, entry: i64) -> anyhow::Result<Opened>;
    /// Mends it: its cells in the order of [`Opened::cells`].
    fn mend(&self, entry: i64, cells: &[String]) -> anyhow::Result<Mended>;
    /// Takes in again what is understood by now.
    fn take_again(&self) -> anyhow::Result<Again>;
    /// Changes settings.
    fn change_settings(&self, wanted: &Wanted) -> anyhow::Result<()>;
    /// Reads files.
    fn take_in(&self, files: &[Coming]) -> anyhow::Result<Taken>;
    /// The page that says how a file is to be read, with what was chosen.
    fn map_page(&self, key: &str, typed: Option<&Choices>) -> anyhow::Result<MapPage>;
    /// Keeps the map and reads the file; the page again where it cannot be kept.
    fn keep_map(&self, key: &str, typed: &Choices) -> anyhow::Result<Result<Taken, Box<MapPage>>>;
    /// Folder of the farm, on whose disk uploads land.
    fn folder(&self) -> PathBuf;
}

impl Keeps for Live {
    fn records(&self, skip: u64) -> anyhow::Result<Records> {
        Live::records(self, skip)
    }
    fn quarantine(&self, skip: u64) -> anyhow::Result<Quarantine> {
        Live::quarantine(self, skip)
    }
    fn open_entry(&self, entry: i64) -> anyhow::Result<Opened> {
        Live::open_entry(self, entry)
    }
    fn mend(&self, entry: i64, cells: &[String]) -> anyhow::Result<Mended> {
        Live::mend(self, entry, cells)
    }
    fn take_again(&self) -> anyhow::Result<Again> {
        Live::take_again(self)
    }
    fn change_settings(&self, wanted: &Wanted) -> anyhow::Result<()> {
        Live::change_settings(self, wanted).map(|_| ())
    }
    fn take_in(&self, files: &[Coming]) -> anyhow::Result<Taken> {
        Live::take_in(self, files)
    }
    fn map_page(&self, key: &str, typed: Option<&Choices>) -> anyhow::Result<MapPage> {
        Live::map_page(self, key, typed)
    }
    fn keep_map(&self, key: &str, typed: &Choices) -> anyhow::Result<Result<Taken, Box<MapPage>>> {
        Live::keep_map(self, key, typed)
    }
    fn folder(&self) -> PathBuf {
        self.dir()
    }
}

/// What the address of Records may ask.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    /// So many are left out.
    pub skip: Option<u64>,
    /// What was just done: `settings`, `learned`.
    pub done: Option<String>,
}

impl Asked {
    /// How many are left out; no list is longer than the bound.
    pub fn skip(&self) -> u64 {
        self.skip.unwrap_or(0).min(1 << 40)
    }
}

#[derive(Template)]
#[template(path = "records.html")]
struct RecordsPage<'a> {
    frame: Frame,
    records: &'a Records,
    record: &'a Record,
    taught: bool,
    saved: bool,
    pager: Pager,
}

/// Links to the pages before and after.
pub struct Pager {
    /// First of those shown, counted from 1.
    pub first: u64,
    /// Last of those shown.
    pub last: u64,
    /// All of them.
    pub of: u64,
    /// Link to the page before.
    pub before: Option<String>,
    /// Link to the page after.
    pub after: Option<String>,
}

impl Pager {
    /// Of `shown` things after `skip` of `of`, at an address.
    pub fn new(address: &str, skip: u64, shown: u64, of: u64) -> Pager {
        let link = |skip: u64| if skip == 0 { address.to_owned() } else { format!("{address}?skip={skip}") };
        Pager {
            first: skip + 1,
            last: skip + shown,
            of,
            before: (0 < skip).then(|| link(skip.saturating_sub(A_PAGE))),
            after: (skip + shown < of && 0 < shown).then(|| link(skip + shown)),
        }
    }
}

impl RecordsPage<'_> {
    fn sums(&self, came: &Came) -> String {
        sums(&came.file)
    }
}

/// `9 read = 7 new + 1 same + 0 replaced + 1 quarantined`.
pub fn sums(file: &crate::ask::taken::TakenFile) -> String {
    let n = |figure: u64| cowpath_core::say::number::count(figure as usize);
    format!(
        "{} read = {} new + {} same + {} replaced + {} quarantined",
        n(file.read),
        n(file.new),
        n(file.same),
        n(file.replaced),
        n(file.quarantined)
    )
}

/// The page.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let skip = asked.skip();
        let records = answers
            .records(skip)
            .map_err(|error| Trouble::unanswered("Records could not be shown", &error))?;
        let record =
            answers.record().map_err(|error| Trouble::unanswered("Records could not be shown", &error))?;
        page::fill(&RecordsPage {
            frame: Frame::of("records"),
            saved: address::given(&asked.done) == Some("settings"),
            pager: Pager::new("/records", skip, records.files.len() as u64, records.files_in_all),
            records: &records,
            record: &record,
            taught: address::given(&asked.done) == Some("learned"),
        })
    })
    .await
}

/// The same for programs.
pub async fn json(
    State(answers): State<Arc<dyn Answers>>,
    headers: HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        let asked = round::words(asked)?;
        let records = answers
            .records(asked.skip())
            .map_err(|error| Trouble::unanswered("Records could not be shown", &error))?;
        super::api::text(&records)
    })
    .await
}

/// The form of the settings.
#[derive(Debug, Deserialize)]
pub struct SettingsForm {
    name: Option<String>,
    zone: Option<String>,
    units: Option<String>,
    breed: Option<String>,
    pens: Option<String>,
}

impl SettingsForm {
    fn wanted(self) -> Result<Wanted, Trouble> {
        let units = match self.units.as_deref() {
            None => None,
            Some("metric") => Some(UnitSystem::Metric),
            Some("us") => Some(UnitSystem::Us),
            Some(other) => {
                return Err(Trouble::not_understood(
                    format!("There are no units “{}”.", crate::trouble::short(other)),
                    "Choose metric or US units.",
                ));
            }
        };
        let pens = self.pens.map(|pens| pens.split(',').map(|pen| pen.trim().to_owned()).collect());
        Ok(Wanted {
            name: self.name,
            zone: self.zone,
            units,
            breed: self.breed,
            pens,
            exchange_name: None,
            limits: None,
            terms: None,
        })
    }
}

/// Changes the settings and leads back.
pub async fn settings(
    State(answers): State<Arc<dyn Answers>>,
    form: Result<Form<SettingsForm>, FormRejection>,
) -> Response {
    done(answers, move |answers| {
        let wanted = posted(form)?.wanted()?;
        answers
            .change_settings(&wanted)
            .map_err(|error| Trouble::unchanged("The settings were not changed", &error))?;
        Ok(Done::GoTo("/records?done=settings#settings".into()))
    })
    .await
}

/// What a form held, or what was wrong with it.
pub fn posted<T>(form: Result<Form<T>, FormRejection>) -> Result<T, Trouble> {
    form.map(|Form(form)| form).map_err(|error| {
        Trouble::not_understood(
            format!("The form was not understood: {}.", error.body_text().trim_end_matches('.')),
            "Open the page again and send its form.",
        )
    })
}

/// What comes of a form.
pub enum Done {
    /// It is done, and shown elsewhere: sending the page again does not do it again.
    GoTo(String),
    /// A page to go on from, with its status.
    Page(StatusCode, String),
}

/// Does what a form asks, on a thread that may wait for the store.
pub async fn done(
    answers: Arc<dyn Answers>,
    act: impl FnOnce(&dyn Answers) -> Result<Done, Trouble> + Send + 'static,
) -> Response {
    let done = tokio::task::spawn_blocking(move || act(answers.as_ref())).await;
    let failed = |why: String| Trouble::ours("It could not be done", &why).into_response_for(false);
    match done {
        Ok(Ok(Done::GoTo(address))) => match HeaderValue::from_str(&address) {
            Ok(address) => {
                let mut response = Response::default();
                *response.status_mut() = StatusCode::SEE_OTHER;
                response.headers_mut().insert(header::LOCATION, address);
                response
            }
            Err(error) => failed(error.to_string()),
        },
        Ok(Ok(Done::Page(status, text))) => page::once(status, text),
        Ok(Err(trouble)) => trouble.into_response_for(false),
        Err(stopped) => failed(stopped.to_string()),
    }
}
