//! Box minutes of a farm with fixed answers: a farm of three makes, and no cow known by a model.

use std::sync::Arc;

use cowpath_core::minutes::terms::Terms;

use axum::{body::Body, http::Request};

use super::{Answered, box_days, farm, farm::FixedFarm, get, send_to, whole};
use crate::{
    ask::{
        box_minutes::{AskedMinutes, BoxMinutes},
        intervals::{AskedIntervals, Intervals},
        live::Live,
    },
    web::Minding,
};

impl Minding for FixedFarm {
    fn box_minutes(&self, asked: &AskedMinutes) -> anyhow::Result<Arc<BoxMinutes>> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let (_folder, farm) = box_days::read(&box_days::three_makes());
        farm.box_minutes(asked)
    }

    fn intervals(&self, asked: &AskedIntervals) -> anyhow::Result<Arc<Intervals>> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let (_folder, farm) = box_days::read(&box_days::three_makes());
        farm.intervals(asked)
    }

    fn try_terms(&self, words: &str) -> anyhow::Result<Terms> {
        Terms::default()
            .with(words)
            .map_err(|why| crate::trouble::user(why, "nothing was changed", "mend it"))
    }

    fn keep_terms(&self, _words: &str) -> anyhow::Result<()> {
        Ok(())
    }
}

async fn ask(farm: &Arc<Live>, address: &str) -> Answered {
    let request = Request::get(address).header("host", "localhost").body(Body::empty()).unwrap();
    send_to(Arc::<Live>::clone(farm), request).await
}

async fn post(farm: &Arc<Live>, body: &str) -> Answered {
    let request = Request::post("/boxes/intervals")
        .header("host", "localhost")
        .header("content-type", "application/x-www-form-urlencoded");
    send_to(Arc::<Live>::clone(farm), request.body(Body::from(body.to_owned())).unwrap()).await
}

#[tokio::test]
async fn an_empty_farm_is_told_what_is_missing() {
    let (_folder, empty) = box_days::farm_of(&[]);
    let minutes = ask(&empty, "/boxes/minutes").await;
    assert_eq!(minutes.status, 200);
    assert!(minutes.text.contains("No box has a row in these days"), "{}", minutes.text);
    let intervals = ask(&empty, "/boxes/intervals").await;
    assert_eq!(intervals.status, 200);
    assert!(
        intervals.text.contains("No rows have been read yet") && intervals.text.contains("cowpath import")
    );
    // Terms can be set before there are rows.
    assert_eq!(post(&empty, "act=keep&milk=0.5").await.status, 303);
    assert!(ask(&empty, "/boxes/intervals").await.text.contains("value=\"0.5\""));
}

#[tokio::test]
async fn names_are_text_and_what_fails_is_said() {
    let rows = "animal,box,started_at,ended_at,outcome,milk_kg\n\
         <b>7,\"1<i>\",2026-03-02T05:00:00-06:00,2026-03-02T05:09:00-06:00,milked,9\n\
         <b>8,\"1<i>\",2026-03-02T05:08:00-06:00,2026-03-02T05:16:00-06:00,milked,9\n";
    let (_folder, farm) = box_days::farm_of(&[rows]);
    for address in ["/boxes", "/boxes/minutes?from=2026-03-02&to=2026-03-02", "/boxes/intervals"] {
        let page = ask(&farm, address).await;
        assert_eq!(page.status, 200, "{address}");
        assert!(!page.text.contains("<b>7") && !page.text.contains("1<i>"), "{address}");
    }
    for (address, status) in [
        ("/boxes/minutes?from=soon", 400),
        ("/boxes/minutes?from=2026-03-02&to=2026-03-01", 400),
        ("/boxes/intervals?minutes=many", 400),
        ("/boxes/intervals?minutes=-4", 400),
    ] {
        let page = ask(&farm, address).await;
        assert_eq!(page.status.as_u16(), status, "{address}: {}", page.text);
    }
    let broken = || FixedFarm { broken: Some("the farm\u{2019}s file is locked"), ..whole() };
    for address in ["/boxes/minutes", "/boxes/intervals"] {
        assert_eq!(get(broken(), address).await.status, 500, "{address}");
        assert_eq!(get(FixedFarm::of(farm::full()), address).await.status, 200, "{address}");
    }
}

#[tokio::test]
async fn terms_of_a_farm_in_pounds_are_by_the_pound() {
    let (folder, farm) = box_days::farm_of(&[]);
    let mut barn = crate::ask::farm::Barn::open(folder.path()).unwrap();
    let us = crate::ask::ways::Wanted {
        units: Some(cowpath_core::units::UnitSystem::Us),
        ..crate::ask::ways::Wanted::default()
    };
    crate::ask::ways::change(&mut barn, &us).unwrap();
    let page = ask(&farm, "/boxes/intervals").await.text;
    assert!(page.contains("Milk, USD a lb") && page.contains("value=\"0.2041\""), "0.45 a kg is 0.2041 a lb");
    assert_eq!(post(&farm, "act=keep&milk=0.25").await.status, 303);
    let kept = farm.try_terms("").unwrap().milk_kg;
    assert!((kept - 0.25 / 0.453_592_37).abs() < 1e-12, "{kept}");
    // A name that no term has is refused, not kept in silence.
    let refused = post(&farm, "act=keep&mlik=0.25").await;
    assert_eq!(refused.status, 422);
    assert!(refused.text.contains("mlik"), "{}", refused.text);
    // What contradicts itself is refused, said, and what was typed stands.
    let refused = post(&farm, "act=keep&later=13%2F7%2F9&later-longest=12%2F14%2F14").await;
    assert_eq!(refused.status, 422);
    assert!(refused.text.contains("longer than the longest") && refused.text.contains("value=\"13/7/9\""));
}
