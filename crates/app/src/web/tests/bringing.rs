//! The Bring in page over a fixed list: what is on it, marks by form and by program, and what is refused.

use axum::{body::Body, http::Request};
use jiff::Timestamp;

use std::sync::Arc;

use super::{Answered, farm::FixedFarm, get, send, whole};
use crate::{
    ask::bring_in::{BringIn, Brings, ByHour, Done, Expected, Marked, Missing, Waits},
    web::Fetching,
};

fn waits(animal: &str, hours: f64, alone_2h: f64) -> Waits {
    Waits {
        animal: animal.into(),
        place: "Pen 1".into(),
        since: "2026-03-02T16:00:00-06:00".into(),
        hours,
        limit_h: 10.0,
        limit_why: "stage",
        expected_kg: Some(16.8),
        first_lactation: Some(false),
        alone_2h,
        alone_4h: alone_2h + 0.2,
        alone_8h: alone_2h + 0.5,
        milked_2h: alone_2h,
        milked_4h: alone_2h + 0.2,
        milked_8h: alone_2h + 0.5,
        by: Some("2026-03-03T14:00:00-06:00".into()),
    }
}

fn brings(animal: &str, from_words: &str, done: Option<Done>) -> Brings {
    let says = "13.4 h since she was milked; her limit is 10 h.".to_owned();
    Brings {
        cow: waits(animal, 13.4, 0.18),
        from: "2026-03-03T05:30:00-06:00".into(),
        from_words: from_words.into(),
        sentence: format!("{animal}: {says}"),
        says,
        reasons: vec!["second lactation, day 45".into(), "18 % that she comes by herself by 07:30".into()],
        call: (animal == "214").then(|| "left rear looks inflamed, 93 % sure".into()),
        done,
    }
}

/// Three to bring in, one of them brought, one to look for, one expected.
pub fn list(at: Option<Timestamp>) -> BringIn {
    let done = Done { id: 3, at: "2026-03-03T05:50:00-06:00".into(), words: "Brought 05:50.".into() };
    let says = "no row in any box since yesterday 03:10 (26 h). Look for her: shut in, or down.".to_owned();
    BringIn {
        farm: "Hollow Ash".into(),
        at: at.map_or("2026-03-03T05:30:00-06:00".into(), |at| at.to_string()),
        at_words: "Tuesday 3 March, 05:30".into(),
        last_row_words: "05:21".into(),
        model: "fitted to 4,000 milkings".into(),
        summary: "Three cows to bring in, one of them later, when the boxes have room.".into(),
        bring: vec![
            brings("214", "now", None),
            brings("<b>9</b>", "now", Some(done)),
            brings("31", "from 06:30", None),
        ],
        missing: vec![Missing {
            animal: "88".into(),
            place: "Pen 2".into(),
            seen: None,
            sentence: format!("88: {says}"),
            says,
        }],
        rest: vec![Expected { cow: waits("12", 6.0, 0.4), by_words: "14:00".into() }],
        by_hour: vec![ByHour { words: "by 14:00".into(), animals: vec!["12".into()] }],
        cautions: cowpath_core::say::bring_in::CAUTIONS.to_vec(),
        notes: Vec::new(),
    }
}

impl Fetching for FixedFarm {
    fn bring_in(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<BringIn>> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        Ok(Arc::new(list(at)))
    }

    fn mark_brought(&self, marked: &Marked) -> anyhow::Result<Done> {
        anyhow::ensure!(marked.animal == "214", "no cow `{}` is on record", marked.animal);
        Ok(Done { id: 3, at: "2026-03-03T05:50:00-06:00".into(), words: "Brought 05:50.".into() })
    }

    fn unmark_brought(&self, id: i64, _by: Option<&str>) -> anyhow::Result<()> {
        anyhow::ensure!(id == 3, "there is no mark {id} that still stands");
        Ok(())
    }

    fn units(&self) -> cowpath_core::units::UnitSystem {
        cowpath_core::units::UnitSystem::Metric
    }
}

async fn post(address: &str, kind: &str, body: &str) -> Answered {
    let request = Request::post(address).header("host", "localhost:8423").header("content-type", kind);
    send(whole(), request.body(Body::from(body.to_owned())).unwrap()).await
}

const FORM: &str = "application/x-www-form-urlencoded";

#[tokio::test]
async fn the_walk_stands_on_the_page_by_pen_and_hour() {
    let page = get(whole(), "/bring-in").await.text;
    let order =
        ["Look for", "Pen 1, now", "data-animal=\"214\"", "Pen 1, from 06:30", "Expected by themselves"];
    let places: Vec<usize> = order.iter().map(|word| page.find(word).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(page.matches("action=\"/bring-in/done\"").count(), 2);
    assert_eq!(page.matches("action=\"/bring-in/undo\"").count(), 1, "who was brought can be taken back");
    assert!(page.contains("1 of 3 brought."));
    assert!(!page.contains("<b>9</b>"), "a herd number is text");
    assert!(page.contains("left rear looks inflamed"), "what the round says of her");
    for caution in cowpath_core::say::bring_in::CAUTIONS {
        assert!(page.contains(caution), "{caution}");
    }
    assert!(page.contains("aria-current=\"page\">Bring in"));
}

#[tokio::test]
async fn a_list_of_the_past_takes_no_marks() {
    let page = get(whole(), "/bring-in?at=2026-03-02T16:00").await.text;
    assert!(!page.contains("action=\"/bring-in/done\""));
    assert!(page.contains("To the newest list"));
}

#[tokio::test]
async fn marks_by_form_lead_back_and_by_program_are_answered() {
    let marked = post("/bring-in/done", FORM, "animal=214&since=2026-03-02T16%3A00%3A00-06%3A00").await;
    assert_eq!((marked.status.as_u16(), marked.headers["location"].to_str().unwrap()), (303, "/bring-in"));
    let undone = post("/bring-in/undo", FORM, "id=3&animal=214").await;
    assert_eq!(undone.status.as_u16(), 303);
    let marked = post("/api/bring-in/done", "application/json", r#"{"animal":"214"}"#).await;
    assert_eq!(marked.status.as_u16(), 201);
    assert!(marked.text.contains("\"id\":3"));
    assert_eq!(post("/api/bring-in/3/undo", "application/json", "{}").await.status.as_u16(), 204);
}

#[tokio::test]
async fn an_unknown_cow_is_refused_with_what_was_kept() {
    for (address, kind, body) in [
        ("/bring-in/done", FORM, "animal=999"),
        ("/api/bring-in/done", "application/json", r#"{"animal":"999"}"#),
        ("/bring-in/undo", FORM, "id=44"),
        ("/api/bring-in/done", "application/json", "{"),
    ] {
        let refused = post(address, kind, body).await;
        assert_ne!(refused.status.as_u16() / 100, 2, "{address} {body}");
        assert!(
            refused.text.contains("no mark was added or changed") || refused.status == 400,
            "{}",
            refused.text
        );
    }
}
