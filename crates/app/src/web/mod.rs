//! The pages: Round, Bring in, Cow, Herd, Boxes, Plan and Records, drawn on the server and whole without JavaScript.
//!
//! # What is here
//! One file a page ([`round`], [`cow`], [`herd`], [`boxes`], [`bring_in`], [`plan`], [`records`], [`quarantine`], [`map`]), files that are brought ([`upload`]), the same answers as JSON ([`api`]), the picture of a cow's lanes
//! ([`lanes`]), what every request passes first ([`door`]), how a page leaves ([`page`]), what is said when something
//! went wrong ([`trouble`]), how open pages are told of new rows ([`events`]), and the style sheet and script ([`assets`]).
//!
//! # Not here
//! Nothing is reckoned: the figures and sentences come from [`Answers`], and only pixels are worked out.

mod address;
mod api;
mod assets;
mod band;
mod boxes;
mod bring_in;
mod call;
mod costs;
mod cow;
mod door;
mod events;
mod farm;
mod figure;
mod found;
mod herd;
mod hours;
mod intervals;
mod lanes;
mod map;
mod minutes;
mod openapi;
mod page;
mod plan;
mod plan_asks;
mod plan_desk;
mod plan_drawn;
mod plan_pictures;
mod plan_waited;
mod quarantine;
mod records;
mod round;
#[cfg(test)]
mod tests;
mod trouble;
mod upload;

use std::{future::Future, net::SocketAddr, sync::Arc};

use axum::{
    Extension, Router,
    extract::{DefaultBodyLimit, Request},
    middleware,
    routing::{get, post},
};
use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde::Serialize;

use crate::ask::{
    boxes::{AskedBoxes, Boxes},
    cow::Cow,
    found::Given,
    planning::Ground,
    record::Record,
    round::{Answer, Round},
};

pub use bring_in::Fetching;
pub use costs::Teaches;
pub use minutes::Minding;
pub use records::Keeps;
pub use upload::clear as clear_uploads;

/// What the pages ask of the farm. The app's own type implements it; tests implement it with fixed data.
///
/// Every method may read the store and takes as long as that takes: it is called off the async threads.
pub trait Answers: Keeps + Fetching + Teaches + Minding + Send + Sync + 'static {
    /// The round as it was known at `at`, or at the newest row's time.
    fn round(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<Round>>;

    /// One cow over a span of farm days, or `None` where the farm has never had a cow of that number.
    fn cow(&self, asked: &AskedCow) -> anyhow::Result<Option<Cow>>;

    /// Takes what a person found. The error is a sentence for her.
    fn give(&self, given: &Given) -> anyhow::Result<Answer>;

    /// Takes an answer back.
    fn take_back(&self, id: i64, by: Option<&str>) -> anyhow::Result<()>;

    /// How often the calls were right.
    fn record(&self) -> anyhow::Result<Record>;

    /// Every cow that is in the herd now, in the order people look her up.
    fn herd_list(&self) -> anyhow::Result<Vec<HerdRow>>;

    /// The boxes on a day.
    fn boxes(&self, asked: &AskedBoxes) -> anyhow::Result<Boxes>;

    /// What a plan starts from: the farm's own pens, as far as its logs tell of them.
    fn plan_ground(&self) -> anyhow::Result<Arc<Ground>> {
        Ok(Arc::new(Ground::stated()))
    }

    /// A mark of all that the newest round rests on: another one whenever rows, settings or answers have changed. It
    /// must be quick.
    fn round_rests_on(&self) -> anyhow::Result<u64>;

    /// What the farm is called.
    fn farm_name(&self) -> String;

    /// The farm's time zone, in which the picture's times are written.
    fn zone(&self) -> TimeZone;

    /// Reads a time as a person wrote it, in the farm's zone; the error says to her what to write.
    fn time(&self, word: &str) -> anyhow::Result<Timestamp>;
}

/// Which cow, over which days, as known when.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedCow {
    /// Herd number or name, as the logs write it.
    pub animal: String,
    /// Which cow of that number, where it was used again: 0 the first. `None` is the one in the herd at the time.
    pub instance: Option<u32>,
    /// First farm day of the span; `None` leaves the span to the answer.
    pub from: Option<Date>,
    /// Last farm day of the span.
    pub to: Option<Date>,
    /// As known at this time; `None` is the newest row's.
    pub at: Option<Timestamp>,
    /// In metric units, whatever the farm's: for programs.
    pub metric: bool,
}

/// One cow in the list of the herd.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HerdRow {
    /// Herd number or name.
    pub animal: String,
    /// Where she is: `Pen 2`.
    pub place: String,
    /// What is known of her: `third lactation, day 87`.
    pub stage_words: String,
    /// Her calls in the newest round, each without her number: `left rear looks inflamed, 93 % sure`.
    pub calls: Vec<String>,
}

/// The pages and the API as a test asks for them.
#[cfg(test)]
fn router(answers: Arc<dyn Answers>, listen: SocketAddr) -> Router {
    routes(Arc::clone(&answers), listen, events::Bell::new(answers), plan_desk::Desk::default())
}

/// The pages and the API over `answers`, for a server that listens at `listen`; open pages are told by `bell`.
fn routes(
    answers: Arc<dyn Answers>,
    listen: SocketAddr,
    bell: events::Bell,
    desk: plan_desk::Desk,
) -> Router {
    Router::new()
        .route("/", get(round::show))
        .route("/round", get(round::show))
        .route("/herd", get(herd::show))
        .route("/cow", get(cow::find))
        .route("/cow/{animal}", get(cow::show))
        .route("/boxes", get(boxes::show))
        .route("/boxes/minutes", get(minutes::show))
        .route("/boxes/intervals", get(intervals::show).post(intervals::act))
        .route("/api/box-minutes", get(minutes::json))
        .route("/api/intervals", get(intervals::json))
        .route("/plan", get(plan::show))
        .route("/plan/events", get(plan::events))
        .route("/api/plan", get(plan::json))
        .route("/bring-in", get(bring_in::show))
        .route("/bring-in/done", get(bring_in::show).post(bring_in::mark))
        .route("/bring-in/undo", get(bring_in::show).post(bring_in::unmark))
        .route("/api/bring-in", get(bring_in::json))
        .route("/api/bring-in/done", post(bring_in::mark_json))
        .route("/api/bring-in/{id}/undo", post(bring_in::unmark_json))
        .route("/found", post(found::give))
        .route("/found/undo", post(found::take_back))
        .route("/api/found", post(found::give_json))
        .route("/api/found/{id}/undo", post(found::take_back_json))
        .route("/api/record", get(api::record))
        .route("/costs", get(costs::show).post(costs::act))
        .route("/api/costs", get(costs::json).post(costs::set_json))
        .route("/api/learned", post(costs::teach_json))
        .route("/records/learned", get(records::show).post(costs::teach))
        .route("/api", get(openapi::index))
        .route("/api/openapi.json", get(openapi::document))
        .route("/api/boxes", get(api::boxes))
        .route("/api/round", get(api::round))
        .route("/api/cow", get(api::find_cow))
        .route("/api/cow/{animal}", get(api::cow))
        .route("/api/herd", get(api::herd))
        .route("/events", get(move || bell.listen()))
        .route("/records", get(records::show))
        .route("/records/settings", get(records::show).post(records::settings))
        .route("/records/quarantine", get(quarantine::show))
        .route("/records/quarantine/again", get(quarantine::show).post(quarantine::again))
        .route("/records/quarantine/{entry}", get(quarantine::entry).post(quarantine::mend))
        .route("/api/records", get(records::json))
        .route("/api/quarantine", get(quarantine::json))
        .route("/map/{key}", get(map::show).post(map::try_out))
        .route("/map/{key}/keep", get(map::again).post(map::keep))
        .layer(DefaultBodyLimit::max(door::MOST_BYTES as usize))
        .route("/records/files", get(records::show).post(upload::files))
        .route("/api/files", post(upload::files))
        .layer(DefaultBodyLimit::disable())
        .route("/style.css", get(assets::style))
        .route("/pages.js", get(assets::script))
        .route("/icon.svg", get(assets::icon))
        .layer(Extension(desk))
        .fallback(trouble::no_such_page)
        .method_not_allowed_fallback(trouble::only_read)
        .layer(middleware::from_fn(move |request: Request, next| door::pass(listen, request, next)))
        .with_state(answers)
}

/// Serves the pages until `shutdown` is done; requests under way are finished.
pub async fn serve(
    listener: tokio::net::TcpListener,
    answers: Arc<dyn Answers>,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> anyhow::Result<()> {
    let listen = listener.local_addr()?;
    let bell = events::Bell::new(Arc::clone(&answers));
    let desk = plan_desk::Desk::default();
    let routes = routes(answers, listen, bell.clone(), desk.clone());
    // Pages that listen would keep the server for ever; they are let go first.
    let stopped = async move {
        shutdown.await;
        bell.stop();
        desk.stop();
    };
    axum::serve(listener, routes).with_graceful_shutdown(stopped).await?;
    Ok(())
}
