//! The Plan page: whole without a script, fair to many at once, and nothing left running when its reader goes.

use std::time::Duration;

use axum::body::to_bytes;
use serde_json::Value;
use tower::ServiceExt;

use super::{get, listen, whole};
use crate::web::{events, plan_desk::Desk, routes};

fn desk_and(address: &str) -> (Desk, axum::Router, axum::http::Request<axum::body::Body>) {
    let (desk, farm) = (Desk::default(), std::sync::Arc::new(whole()));
    let router = routes(farm.clone(), listen(), events::Bell::new(farm), desk.clone());
    let request = axum::http::Request::get(address).header("host", "localhost");
    (desk, router, request.body(axum::body::Body::empty()).unwrap())
}

async fn until(what: &str, is: impl Fn() -> bool) {
    for _ in 0..400 {
        if is() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("{what}");
}

#[tokio::test]
async fn the_form_stands_without_an_answer() {
    let page = get(whole(), "/plan").await;
    assert_eq!(page.status, 200);
    for part in [
        "<h1>Plan</h1>",
        "name=\"cows\"",
        "name=\"other-boxes\"",
        "From stated defaults",
        "aria-current=\"page\">Plan</a>",
    ] {
        assert!(page.text.contains(part), "{part}: {}", page.text);
    }
    assert!(!page.text.contains("replicates are in"), "nothing is reckoned unasked");
}

#[tokio::test]
async fn without_a_script_the_answer_is_there_at_once() {
    let page = get(whole(), "/plan?cows=50-70/10&boxes=1&other-boxes=2&fetch=").await;
    assert_eq!(page.status, 200);
    for part in [
        "1\u{a0}box holds",
        "instead 2\u{a0}boxes",
        "money a day, USD",
        "These prices stand in for the farm’s own and have no source.",
        "href=\"/boxes/intervals#terms\"",
        "<polyline class=\"second\"",
        "5 replicates of 30 days",
    ] {
        assert!(page.text.contains(part), "{part}: {}", page.text);
    }
    // What was asked stands in the form.
    assert!(
        page.text.contains("name=\"other-boxes\" aria-label=\"Boxes, instead\" type=\"text\" value=\"2\"")
    );
}

#[tokio::test]
async fn what_cannot_be_is_said_and_stays_typed() {
    for (words, says) in [
        ("cows=x", "is no herd size"),
        ("cows=60&boxes=0", "there is no box to milk in"),
        ("cows=0", "there is no cow to milk"),
        ("cows=60&fetch=3", "no round of people lies between"),
        ("cows=60&shortest=9&longest=8", "must be brought after 8 h"),
        ("cows=60&idle=much", "is no figure"),
        ("cows=1-9000/1", "9000 herd sizes are more than 120"),
    ] {
        let page = get(whole(), &format!("/plan?{words}")).await;
        assert_eq!(page.status, 200, "{words}");
        assert!(page.text.contains("Not reckoned:") && page.text.contains(says), "{words}: {}", page.text);
        let json = get(whole(), &format!("/api/plan?{words}")).await;
        assert_eq!(json.status, 422, "{words}");
        let said: Value = serde_json::from_str(&json.text).unwrap();
        assert!(said["happened"].as_str().unwrap().to_lowercase().contains(&says.to_lowercase()), "{said}");
    }
}

#[tokio::test]
async fn what_nobody_could_stop_is_not_begun() {
    let (desk, router, request) = desk_and("/plan?cows=60-1200/10&boxes=12");
    let begun = crate::clock::Stopwatch::start();
    let response = router.oneshot(request).await.unwrap();
    let text = String::from_utf8(to_bytes(response.into_body(), usize::MAX).await.unwrap().to_vec()).unwrap();
    // Only who has no script is told so: the script reckons it.
    let told = text.split("<noscript>").nth(1).unwrap().split("</noscript>").next().unwrap();
    assert!(told.contains("more than a page waits for"), "{text}");
    assert!(text.contains(" data-later>") && !text.contains("data-asked"), "{text}");
    assert!(begun.elapsed() < Duration::from_secs(2), "{:?}", begun.elapsed());
    assert_eq!(desk.plans(), 0);
}

#[tokio::test]
async fn questions_fill_the_form_and_say_which_was_asked() {
    let page = get(whole(), "/plan?cows=40-80%2F5&parlour=2").await;
    let current = page.text.split("aria-current=\"true\">").nth(1).unwrap();
    assert!(current.starts_with("From a parlour, twice a day"), "{current}");
    // An hour more is written with a plus, which an address must not take for a space.
    assert!(page.text.contains("other-shortest=%2B1"), "{}", page.text);
    let longer = get(whole(), "/plan?cows=60&boxes=1&other-shortest=%2B1").await;
    assert!(longer.text.contains("shortest intervals 1.0 h longer"), "{}", longer.text);
}

#[tokio::test]
async fn it_fills_and_ends() {
    let (desk, router, request) = desk_and("/plan/events?cows=60&boxes=1");
    let response = router.oneshot(request).await.unwrap();
    assert_eq!(response.headers()["content-type"], "text/event-stream");
    let text = String::from_utf8(to_bytes(response.into_body(), usize::MAX).await.unwrap().to_vec()).unwrap();
    assert!(text.contains("event: plan"), "{text}");
    assert!(
        text.contains("Reckoning: 1 of at most 40"),
        "the first picture comes after one replicate: {text}"
    );
    assert!(text.trim_end().ends_with("data: done"), "{text}");
    assert_eq!(desk.plans(), 0);
}

#[tokio::test]
async fn whoever_goes_takes_the_plan_along() {
    // A plan of minutes.
    let (desk, router, request) = desk_and("/plan/events?cows=60-1200/10&boxes=12");
    let response = router.oneshot(request).await.unwrap();
    until("it never began", || desk.plans() == 1).await;
    drop(response);
    until("it still runs", || desk.plans() == 0).await;
}

#[tokio::test]
async fn a_stopping_server_waits_for_no_plan() {
    let (desk, router, request) = desk_and("/plan/events?cows=60-1200/10&boxes=12");
    let response = router.oneshot(request).await.unwrap();
    until("it never began", || desk.plans() == 1).await;
    desk.stop();
    // The line ends by itself.
    let read = to_bytes(response.into_body(), usize::MAX);
    tokio::time::timeout(Duration::from_secs(10), read).await.unwrap().unwrap();
    until("it still runs", || desk.plans() == 0).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn twenty_plans_keep_no_page_waiting() {
    let (desk, router, _) = desk_and("/plan");
    let mut held = Vec::new();
    for _ in 0..20 {
        let request =
            axum::http::Request::get("/plan/events?cows=60-1200/10&boxes=12").header("host", "localhost");
        held.push(router.clone().oneshot(request.body(axum::body::Body::empty()).unwrap()).await.unwrap());
    }
    until("twenty are in the line", || desk.plans() == 20).await;
    let begun = crate::clock::Stopwatch::start();
    let request = axum::http::Request::get("/herd").header("host", "localhost");
    let page = router.clone().oneshot(request.body(axum::body::Body::empty()).unwrap()).await.unwrap();
    assert_eq!(page.status(), 200);
    assert!(begun.elapsed() < Duration::from_secs(2), "{:?}", begun.elapsed());
    // Those that wait say so.
    let mut last = http_body_text(held.pop().unwrap());
    let waits = tokio::time::timeout(Duration::from_secs(10), last.next()).await.unwrap().unwrap();
    assert!(waits.contains("event: waiting") && waits.contains("data: 19"), "{waits}");
    drop((held, last));
    until("all of them are gone", || desk.plans() == 0).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_asks_while_others_are_reckoned_hears_it_within_a_second() {
    let (desk, router, request) = desk_and("/plan/events?cows=60-1200/10&boxes=12");
    let held = router.clone().oneshot(request).await.unwrap();
    until("it never began", || desk.plans() == 1).await;
    for (address, status) in [("/plan?cows=50-70/10&boxes=1", 200), ("/api/plan?cows=60&boxes=1", 503)] {
        let begun = crate::clock::Stopwatch::start();
        let request = axum::http::Request::get(address).header("host", "localhost");
        let answer = router.clone().oneshot(request.body(axum::body::Body::empty()).unwrap()).await.unwrap();
        // A fit of the farm's pens and the drawing of the page are in it.
        assert!(begun.elapsed() < Duration::from_secs(3), "{:?}", begun.elapsed());
        assert_eq!(answer.status(), status, "{address}");
        assert_eq!(answer.headers().contains_key("retry-after"), status == 503, "{address}");
        let text = to_bytes(answer.into_body(), usize::MAX).await.unwrap().to_vec();
        let text = String::from_utf8(text).unwrap().to_lowercase();
        assert!(text.contains("other plans are being reckoned"), "{text}");
        assert_eq!(text.contains(" data-later>"), status == 200);
    }
    assert_eq!(desk.plans(), 1, "nobody waits on");
    drop(held);
}

/// Reads a response piece by piece.
struct Pieces(axum::body::BodyDataStream);

impl Pieces {
    async fn next(&mut self) -> Option<String> {
        use futures_util::StreamExt;
        Some(String::from_utf8(self.0.next().await?.unwrap().to_vec()).unwrap())
    }
}

fn http_body_text(response: axum::response::Response) -> Pieces {
    Pieces(response.into_body().into_data_stream())
}
