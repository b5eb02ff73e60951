//! The Plan page: two scenarios side by side, filled while they are reckoned, or whole at once without a script.

use std::{
    collections::BTreeMap,
    convert::Infallible,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use askama::Template;
use axum::{
    Extension,
    extract::{Query, State, rejection::QueryRejection},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{
        IntoResponse, Response,
        sse::{Event, KeepAlive, Sse},
    },
};
use cowpath_core::{
    say::{self, number},
    traffic::{Bounds, Change},
};
use futures_util::stream;
use tokio::sync::mpsc;

use super::{
    Answers,
    page::{self, Frame},
    plan_asks::{self, Ask},
    plan_desk::{Desk, MOST_PLANS, Place, threads},
    plan_drawn, plan_waited, round,
    trouble::Trouble,
};
use crate::{
    ask::{
        plan::AskedPlan,
        plan_fetch, plan_parlour, plan_sizes,
        planning::{self, Ground},
    },
    clock::Stopwatch,
};

/// Least time between two pictures of a plan that fills.
const DRAW_EVERY: Duration = Duration::from_millis(150);

/// The words of the form, by name.
pub(super) type Words = BTreeMap<String, String>;

/// A field of the form.
pub struct Field {
    /// What it is called.
    pub label: &'static str,
    /// Its name.
    pub name: &'static str,
    /// As it was typed.
    pub value: String,
    /// What stands where nothing was typed.
    pub usual: String,
    /// The same for the second scenario.
    pub other: String,
}

#[derive(Template)]
#[template(path = "plan.html")]
struct PlanPage {
    frame: Frame,
    farm: String,
    basis: String,
    cows: String,
    asks: Vec<Ask>,
    fields: Vec<Field>,
    /// Asked for more seldom.
    folded: Vec<Field>,
    /// Whether one of those was filled.
    unfolded: bool,
    common: Vec<Field>,
    money: String,
    wrong: Option<(String, String)>,
    /// It is not wrong, only more than is waited for: the page's script reckons it.
    later: bool,
    answer: String,
    asked: bool,
}

/// Fields of a scenario: name, label.
const FIELDS: [(&str, &str); 11] = [
    ("boxes", "Boxes"),
    ("fetch", "Hours people fetch"),
    ("feed", "Hours of fresh feed"),
    ("pushes", "Hours feed is pushed up"),
    ("shortest", "Shortest intervals, h"),
    ("fresh-pen", "Pen for fresh cows: last day/boxes"),
    ("traffic", "Traffic: free or guided"),
    ("milk", "Milk a cow and day, kg"),
    ("longest", "Fetched after, h"),
    ("visit", "Minutes a visit"),
    ("patience", "Patience before the box, min"),
];

/// Of these always shown; the others are folded away.
const ALWAYS: usize = 6;

/// Fields of both scenarios: name, label, usual.
fn common(ground: &Ground) -> [(&'static str, &'static str, String); 2] {
    [
        ("idle", "Box time that stays idle, %", number::plain(100.0 * ground.terms.idle, 0)),
        ("parlour", "From a parlour: milkings a day, or its hours as in 5/17", "none".into()),
    ]
}

/// The page.
pub async fn show(
    State(answers): State<Arc<dyn Answers>>,
    Extension(desk): Extension<Desk>,
    headers: HeaderMap,
    words: Result<Query<Words>, QueryRejection>,
) -> Response {
    page::html(answers, headers, move |answers| {
        let words = round::words(words)?;
        let ground = ground(answers)?;
        let asked = words.values().any(|word| !word.trim().is_empty());
        let mut page = page_of(&ground, &words, asked);
        if asked {
            match plan_waited::answer(&desk, &ground, &words) {
                Ok(plan) => page.answer = plan_drawn::answer(&plan, &ground),
                Err(not) => {
                    // What would only take longer, a page with its script reckons by itself.
                    page.later = not.is_for_a_script();
                    page.wrong = Some(not.words());
                }
            }
        }
        page::fill(&page)
    })
    .await
}

/// The same answer for programs.
pub async fn json(
    State(answers): State<Arc<dyn Answers>>,
    Extension(desk): Extension<Desk>,
    headers: HeaderMap,
    words: Result<Query<Words>, QueryRejection>,
) -> Response {
    page::json(answers, headers, move |answers| {
        let words = round::words(words)?;
        let ground = ground(answers)?;
        let plan = plan_waited::answer(&desk, &ground, &words).map_err(plan_waited::Not::trouble)?;
        serde_json::to_string(&plan)
            .map_err(|error| Trouble::ours("The plan could not be written", &error.to_string()))
    })
    .await
}

fn ground(answers: &dyn Answers) -> Result<Arc<Ground>, Trouble> {
    answers.plan_ground().map_err(|error| Trouble::unanswered("The farm could not be read", &error))
}

/// What the words of the form ask.
pub(super) fn asked(ground: &Ground, words: &Words) -> anyhow::Result<AskedPlan> {
    let refused = |why: String| {
        crate::trouble::user(why, "nothing was reckoned or changed", "mend that field, or leave it empty")
    };
    let word = |name: &str| words.get(name).map_or("", |word| word.trim());
    let mut changes = [Change::default(), Change::default()];
    for (change, before) in changes.iter_mut().zip(["", "other-"]) {
        for (name, _) in FIELDS {
            change.set(name, word(&format!("{before}{name}"))).map_err(refused)?;
        }
    }
    changes[1].set("cows", word("other-cows")).map_err(refused)?;
    let [change, instead] = changes;
    let idle = match word("idle") {
        "" => 100.0 * ground.terms.idle,
        typed => typed
            .replace(',', ".")
            .parse::<f64>()
            .ok()
            .filter(|percent| (0.0..=90.0).contains(percent))
            .ok_or_else(|| {
                refused(format!("box time that stays idle: `{typed}` is no figure of 0 to 90 %"))
            })?,
    };
    let own = ground.cows_now.unwrap_or(ground.setup.cows).to_string();
    let cows = if word("cows").is_empty() { own.as_str() } else { word("cows") };
    Ok(AskedPlan {
        cows: plan_sizes::sizes(cows).map_err(refused)?,
        change,
        instead: (!instead.is_nothing()).then_some(instead),
        replicates: None,
        seed: 1,
        days: 60.0,
        bounds: Bounds { idle: idle / 100.0, ..Bounds::default() },
        terms: ground.terms.clone(),
        parlour: plan_parlour::read(word("parlour")).map_err(refused)?,
    })
}

fn page_of(ground: &Ground, words: &Words, asked: bool) -> PlanPage {
    let typed = |name: &str| words.get(name).cloned().unwrap_or_default();
    let mut usual = plan_drawn::usual(&ground.setup);
    if plan_fetch::unknown(ground) {
        usual.insert("fetch", "not known".into());
    }
    let field = |(name, label): (&'static str, &'static str)| Field {
        label,
        name,
        value: typed(name),
        usual: usual.get(name).cloned().unwrap_or_default(),
        other: typed(&format!("other-{name}")),
    };
    let sum = |(name, label, usual): (&'static str, &'static str, String)| Field {
        label,
        name,
        value: typed(name),
        usual,
        other: String::new(),
    };
    let cows = typed("cows");
    let mut fields: Vec<Field> = FIELDS.into_iter().map(field).collect();
    let folded = fields.split_off(ALWAYS);
    PlanPage {
        frame: Frame::of("plan"),
        farm: ground.farm.clone(),
        basis: ground.basis.clone(),
        cows: if cows.is_empty() { plan_drawn::around(&ground.setup).0 } else { cows },
        asks: plan_asks::asks(&ground.setup, words),
        fields,
        unfolded: folded.iter().any(|field| !field.value.is_empty() || !field.other.is_empty()),
        folded,
        common: common(ground).into_iter().map(sum).collect(),
        money: say::plan::terms(&ground.terms, ground.units),
        wrong: None,
        later: false,
        answer: String::new(),
        asked,
    }
}

/// What a plan tells its page.
enum Told {
    Ahead(usize),
    Drawn(String),
    Wrong(String),
    Done,
}

/// Cancels a plan when its page goes.
struct Gone(Arc<AtomicBool>);

impl Drop for Gone {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// `GET /plan/events`: the answer as it fills. Events: `waiting` (how many are ahead), `plan` (the answer so far, as it
/// stands on the page), `wrong` (a sentence), `done`.
pub async fn events(
    State(answers): State<Arc<dyn Answers>>,
    Extension(desk): Extension<Desk>,
    words: Result<Query<Words>, QueryRejection>,
) -> Response {
    let words = match round::words(words) {
        Ok(words) => words,
        Err(trouble) => return trouble.into_response_for(true),
    };
    let Some(place) = desk.queue() else { return full().into_response_for(true) };
    let (send, receive) = mpsc::channel::<Told>(8);
    let gone = Gone(Arc::clone(&place.cancelled));
    tokio::task::spawn_blocking(move || {
        let told = match ground(answers.as_ref()) {
            Ok(ground) => reckon(&ground, &words, &place, &send),
            Err(trouble) => Some(Told::Wrong(trouble.happened)),
        };
        // The place in the line is free before the page hears that it is done.
        drop(place);
        if let Some(told) = told {
            let _ = send.blocking_send(told);
        }
    });
    let told = stream::unfold((receive, gone, false), |(mut receive, gone, over)| async move {
        if over {
            return None;
        }
        let told = receive.recv().await?;
        let over = matches!(told, Told::Done | Told::Wrong(_));
        let event = match told {
            Told::Ahead(ahead) => Event::default().event("waiting").data(ahead.to_string()),
            Told::Drawn(html) => Event::default().event("plan").data(html),
            Told::Wrong(why) => Event::default().event("wrong").data(why),
            Told::Done => Event::default().event("done").data("done"),
        };
        Some((Ok::<Event, Infallible>(event), (receive, gone, over)))
    });
    let mut response = Sse::new(told)
        .keep_alive(KeepAlive::new().interval(Duration::from_secs(10)).text("still here"))
        .into_response();
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

/// Waits for its turn and reckons; the last thing to tell, or nothing where nobody listens.
fn reckon(ground: &Ground, words: &Words, place: &Place, send: &mpsc::Sender<Told>) -> Option<Told> {
    let wrong = |error: &anyhow::Error| {
        let words = crate::trouble::in_words(error);
        Some(Told::Wrong(format!("{}. {}.", words.what, words.next)))
    };
    let asked = match asked(ground, words) {
        Ok(asked) => asked,
        Err(error) => return wrong(&error),
    };
    let prepared = match planning::prepare(ground, &asked) {
        Ok(prepared) => prepared,
        Err(error) => return wrong(&error),
    };
    let waited = place.wait(None, &mut |ahead| {
        let _ = send.try_send(Told::Ahead(ahead));
    });
    if !waited {
        return None;
    }
    let mut last: Option<Stopwatch> = None;
    let plan = prepared.run(threads(), &place.cancelled, &mut |plan| {
        // The first picture at once, the others no faster than an eye follows.
        if last.as_ref().is_none_or(|last| DRAW_EVERY < last.elapsed()) {
            last = Some(Stopwatch::start());
            // A page that cannot keep up misses one.
            let _ = send.try_send(Told::Drawn(plan_drawn::answer(&plan, ground)));
        }
    })?;
    send.blocking_send(Told::Drawn(plan_drawn::answer(&plan, ground))).ok()?;
    Some(Told::Done)
}

fn full() -> Trouble {
    Trouble {
        status: StatusCode::SERVICE_UNAVAILABLE,
        title: "Too many plans",
        happened: format!("{MOST_PLANS} plans are already being reckoned or wait for their turn."),
        kept: "Nothing was lost: what you asked stands in the form.".into(),
        next: "Ask again in a minute; close plan pages that nobody reads.".into(),
    }
}
