//! What it costs and what was learned: the pages, their forms, and what programs send.

use axum::{body::Body, http::Request};
use serde_json::Value;

use super::{Answered, FixedFarm, farm, get, send, whole};

fn post(address: &str, kind: &str, body: &str) -> Request<Body> {
    Request::post(address)
        .header("host", "localhost:8423")
        .header("origin", "http://localhost:8423")
        .header("sec-fetch-site", "same-origin")
        .header("content-type", kind)
        .body(Body::from(body.to_owned()))
        .unwrap()
}

async fn form(address: &str, body: &str) -> Answered {
    send(whole(), post(address, "application/x-www-form-urlencoded", body)).await
}

async fn json(address: &str, body: &str) -> Answered {
    send(whole(), post(address, "application/json", body)).await
}

#[tokio::test]
async fn every_figure_stands_with_its_source_and_its_year() {
    let page = get(whole(), "/costs").await;
    assert_eq!(page.status, 200);
    for word in [
        "The farm&#39;s own, version 2, since yesterday",
        "520\u{a0}USD of 2026",
        "the farm’s own: case, year",
        "Rollin et al.",
        "money of 6 years from 2005 to 2026",
        "name=\"udder.case\"",
        "value=\"520\"",
        "name=\"most_calls_a_day\"",
        "Show what would change",
        "All the stated figures again",
    ] {
        assert!(page.text.contains(word), "{word}: {}", page.text);
    }
    // Every cause can be changed.
    assert_eq!(page.text.matches(".case\"").count(), 3 * 14, "label, id and name of each");
    for address in ["/round", "/records"] {
        assert!(get(whole(), address).await.text.contains("href=\"/costs\""), "{address}");
    }
}

#[tokio::test]
async fn what_would_change_is_shown_before_anything_is_kept() {
    let page = form("/costs", "act=try&udder.case=1%20000&udder.saved=25&heat.case=").await;
    assert_eq!(page.status, 200, "{}", page.text);
    for word in [
        "1 comes, 1 goes, 1 changes its urgency",
        "Would come",
        "Would go",
        "Would be of another urgency",
        "1 would stay as it is",
        "300: could be &#60;i&#62;inflamed",
        "Keep these costs",
        "Nothing is kept yet",
        "value=\"1 000\"",
    ] {
        assert!(page.text.contains(word), "{word}: {}", page.text);
    }
    let kept = form("/costs", "act=keep&udder.case=900").await;
    assert_eq!((kept.status.as_u16(), kept.headers["location"].to_str().unwrap()), (303, "/costs?done=kept"));
    assert!(get(whole(), "/costs?done=kept").await.text.contains("Kept. The next round"));
    assert_eq!(form("/costs", "act=reset").await.status, 303);
}

#[tokio::test]
async fn a_figure_that_cannot_be_is_said_and_the_form_stays_as_typed() {
    for (body, says) in [
        ("act=keep&udder.case=lots&feet.case=77", "`lots` is no figure"),
        ("act=try&udder.saved=120&feet.case=77", "saved of udder cannot be 1.2"),
        ("act=keep&udder.currency=EUR&udder.case=1&feet.case=77", "would mix two currencies"),
        ("act=keep&most_calls_a_day=2.5&feet.case=77", "no whole number"),
        ("act=keep&ghosts.case=2&feet.case=77", "is no cause"),
        ("act=keep&udder.price=2&feet.case=77", "`udder.price` is no cost"),
        ("act=keep&price=2&feet.case=77", "`price` is no cost"),
    ] {
        let page = form("/costs", body).await;
        let words = page.text.replace("<code>", "`").replace("</code>", "`");
        assert_eq!(page.status, 422, "{body}: {words}");
        assert!(words.contains(says), "{body}: {words}");
        assert!(words.contains("value=\"77\""), "{body}: what was typed is still there");
    }
    let broken = FixedFarm { broken: Some("the disk is gone"), ..FixedFarm::of(farm::full()) };
    assert_eq!(get(broken, "/costs").await.status, 500);
}

#[tokio::test]
async fn programs_try_and_keep_costs() {
    let tried = json("/api/costs?try=1", r#"{"costs":{"udder":{"case":900}}}"#).await;
    assert_eq!(tried.status, 200, "{}", tried.text);
    let tried: Value = serde_json::from_str(&tried.text).unwrap();
    assert_eq!(tried["comes"][0]["after"], "watch");
    let kept = json("/api/costs", r#"{"costs":{"udder":{"case":900}},"errand":12}"#).await;
    let kept: Value = serde_json::from_str(&kept.text).unwrap();
    assert_eq!((&kept["errand"], &kept["causes"][0]["case"]), (&12.0.into(), &900.0.into()));
    for (body, status) in [
        ("{", 400),
        (r#"{"cost":{}}"#, 400),
        (r#"{"costs":{"ghosts":{"case":1}}}"#, 400),
        (r#"{"costs":{"udder":{"case":-1}}}"#, 422),
    ] {
        let answer = json("/api/costs", body).await;
        assert_eq!(answer.status, status, "{body}: {}", answer.text);
        assert!(answer.text.contains("\"do\""), "{body}: {}", answer.text);
    }
}

#[tokio::test]
async fn records_tell_how_often_the_calls_were_right_and_what_was_learned() {
    let page = get(whole(), "/records").await;
    for word in [
        "Of 11 answered calls 9 were right: 82 %",
        "2 cases are known that no call named",
        "A call named 82\u{a0}%, 95 % interval 48\u{a0}% to 98\u{a0}%",
        "214 &#60;b&#62;: udder, left rear",
        "1.4 times as often here as stated",
        "name=\"act\" value=\"take-back\"",
        "name=\"act\" value=\"undo-missed\"",
        "name=\"act\" value=\"learn-again\"",
        "name=\"act\" value=\"missed\"",
    ] {
        assert!(page.text.contains(word), "{word}: {}", page.text);
    }
    let done = form("/records/learned", "act=take-back&cause=udder").await;
    assert_eq!(
        (done.status.as_u16(), done.headers["location"].to_str().unwrap()),
        (303, "/records?done=learned#right")
    );
    assert_eq!(form("/records/learned", "act=missed&animal=214&cause=udder").await.status, 422);
    assert_eq!(json("/api/learned", r#"{"act":"take-back","cause":"udder"}"#).await.status, 200);
    assert_eq!(json("/api/learned", r#"{"deed":"take-back"}"#).await.status, 400);
}
