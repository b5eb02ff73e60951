//! `GET /events`: open pages are told when the newest round has changed.
//!
//! An event `round` carries the mark of the newest round and nothing else: once at the beginning, then whenever rows
//! that were read or an answer that was given changed it. In between a comment keeps the line open. While nobody
//! listens nothing is looked for; the listeners together cost one look. There are at most [`MOST_LISTENERS`], and all
//! of them are let go when the server is told to stop.

use std::{
    convert::Infallible,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{
        IntoResponse, Response,
        sse::{Event, KeepAlive, Sse},
    },
};
use futures_util::stream;
use tokio::sync::watch;

use super::{Answers, trouble::Trouble};

/// Open pages that can be told at once; the others ask for themselves.
pub const MOST_LISTENERS: usize = 64;
/// How often it is looked whether anything has changed.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// How often a comment keeps a line open.
const ALIVE_EVERY: Duration = Duration::from_secs(15);
/// After how long a page that lost its line comes back, ms.
const BACK_AFTER: Duration = Duration::from_secs(3);

/// Tells open pages of changes.
#[derive(Clone)]
pub struct Bell(Arc<Inner>);

struct Inner {
    answers: Arc<dyn Answers>,
    /// Mark of the newest round; empty while it is not known.
    mark: watch::Sender<String>,
    /// The server is told to stop.
    stopping: watch::Sender<bool>,
    listening: Mutex<Listening>,
}

#[derive(Default)]
struct Listening {
    pages: usize,
    /// Somebody looks for changes on their behalf.
    looked_for: bool,
}

/// One open page; it gives its place back when it goes.
struct Place(Arc<Inner>);

impl Drop for Place {
    fn drop(&mut self) {
        self.0.listening().pages -= 1;
    }
}

impl Inner {
    /// Tells the listeners the newest round's mark, if it is another.
    fn told(&self, mark: String) {
        self.mark.send_if_modified(|known| {
            let changed = *known != mark;
            *known = mark;
            changed
        });
    }

    fn listening(&self) -> MutexGuard<'_, Listening> {
        // Two numbers; a thread that failed left them whole.
        self.listening.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Bell {
    /// A bell for a farm.
    pub fn new(answers: Arc<dyn Answers>) -> Bell {
        Bell(Arc::new(Inner {
            answers,
            mark: watch::Sender::new(String::new()),
            stopping: watch::Sender::new(false),
            listening: Mutex::default(),
        }))
    }

    /// Lets every listener go, for good.
    pub fn stop(&self) {
        self.0.stopping.send_replace(true);
    }

    /// Listens until the page is closed or the server stops.
    pub async fn listen(self) -> Response {
        let Some(place) = self.take_place() else {
            let mut response = full().into_response_for(true);
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("60"));
            return response;
        };
        // Whoever comes is told what is newest now, not what was at the last look.
        let asked = Arc::clone(&self.0.answers);
        let newest = tokio::task::spawn_blocking(move || asked.round(None).ok().map(|round| round.mark()));
        if let Ok(Some(mark)) = newest.await {
            self.0.told(mark);
        }
        let marks = self.0.mark.subscribe();
        let stopping = self.0.stopping.subscribe();
        let told = stream::unfold(
            (place, marks, stopping, true),
            |(place, mut marks, mut stopping, first)| async move {
                tokio::select! {
                    biased;
                    _ = stopping.wait_for(|stop| *stop) => return None,
                    known = next(&mut marks, first) => known?,
                }
                let mark = marks.borrow_and_update().clone();
                let event = Event::default().event("round").retry(BACK_AFTER).id(mark.clone()).data(mark);
                Some((Ok::<Event, Infallible>(event), (place, marks, stopping, false)))
            },
        );
        let alive = KeepAlive::new().interval(ALIVE_EVERY).text("still here");
        let mut response = Sse::new(told).keep_alive(alive).into_response();
        response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        response
    }

    /// A place, if there is one; the first to listen has the changes looked for.
    fn take_place(&self) -> Option<Place> {
        let mut listening = self.0.listening();
        if MOST_LISTENERS <= listening.pages || *self.0.stopping.borrow() {
            return None;
        }
        listening.pages += 1;
        if !listening.looked_for {
            listening.looked_for = true;
            tokio::spawn(look(Arc::clone(&self.0)));
        }
        Some(Place(Arc::clone(&self.0)))
    }
}

/// Waits for the first mark that is known, then for each that is another.
async fn next(marks: &mut watch::Receiver<String>, first: bool) -> Option<()> {
    if first {
        marks.wait_for(|mark| !mark.is_empty()).await.ok().map(drop)
    } else {
        marks.changed().await.ok()
    }
}

/// Looks for changes until nobody listens any more.
async fn look(inner: Arc<Inner>) {
    let mut stopping = inner.stopping.subscribe();
    let mut ground = None;
    loop {
        let asked = Arc::clone(&inner);
        let before = ground;
        // What cannot be answered now is asked again; the pages themselves say what is wrong.
        let seen = tokio::task::spawn_blocking(move || {
            let now = asked.answers.round_rests_on().ok()?;
            if before == Some(now) {
                return None;
            }
            let mark = asked.answers.round(None).ok()?.mark();
            Some((now, mark))
        });
        if let Ok(Some((now, mark))) = seen.await {
            ground = Some(now);
            inner.told(mark);
        }
        tokio::select! {
            _ = stopping.wait_for(|stop| *stop) => return,
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
        let mut listening = inner.listening();
        if listening.pages == 0 {
            listening.looked_for = false;
            // Whoever listens next must not be told what was newest now.
            inner.mark.send_replace(String::new());
            return;
        }
    }
}

fn full() -> Trouble {
    Trouble {
        status: StatusCode::SERVICE_UNAVAILABLE,
        title: "Too many pages listen",
        happened: format!("{MOST_LISTENERS} open pages are already told of new rows, and more are not."),
        kept: "Every page can be read as before.".into(),
        next: "This page asks for itself once a minute; close pages that nobody reads.".into(),
    }
}
