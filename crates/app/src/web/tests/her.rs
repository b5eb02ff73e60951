//! One cow with fixed answers: her call, her lanes, her calendar and the rows behind.

use super::{
    farm::urgent,
    strips::{lanes, wall, zone},
};
use crate::ask::{cow::Cow, lanes::Strip};

/// A cow over `days` days.
pub fn cow(animal: &str, days: i32) -> Cow {
    let to = jiff::civil::date(2026, 3, 3);
    let day = |back: i64| to.checked_sub(jiff::Span::new().days(back)).unwrap().to_string();
    let lanes = lanes(&format!("Cow {animal}, last {days} days"), days, wall("2026-03-02T14:10"), true);
    let milkings = match &lanes.lanes[0].strip {
        Strip::Points(points) => points.clone(),
        Strip::Ticks(_) => Vec::new(),
    };
    let rows = milkings.iter().rev().map(|point| {
        let when = zone().to_datetime(point.at).strftime("%Y-%m-%d %H:%M").to_string();
        let milk = point.observed.map_or_else(String::new, |milk| format!("{milk:.1}"));
        [when.as_str(), "1", "milked", &milk, "5.2", "5.3", "7.1", "5.2", "26", "23", "18", "26", "412", "0"]
            .map(String::from)
            .to_vec()
    });
    Cow {
        farm: "Hollow Ash farm".into(),
        animal: animal.into(),
        at: "2026-03-03T05:30:00-06:00".into(),
        at_words: "Tuesday 3 March, 05:30".into(),
        stage_words: "third lactation, day 87, pen 2, Holstein".into(),
        summary: "Left rear looks inflamed, 93 % sure.".into(),
        calls: vec![urgent()],
        from: day(i64::from(days) - 1),
        to: to.to_string(),
        spans: vec![
            ("10 days".into(), day(9), day(0)),
            ("30 days".into(), day(29), day(0)),
            ("whole lactation".into(), day(299), day(0)),
        ],
        settled: vec!["has settled 9 % lower since 3 February".into()],
        past: Vec::new(),
        calendar: vec![
            ("25 February".into(), "heat".into(), "seen by a person; not served".into()),
            ("6 December".into(), "calved".into(), "third lactation".into()),
            ("12 October".into(), "dried off".into(), String::new()),
        ],
        row_head: [
            "went in",
            "box",
            "outcome",
            "milk, kg",
            "LF mS/cm",
            "RF mS/cm",
            "LR mS/cm",
            "RR mS/cm",
            "LF %",
            "RF %",
            "LR %",
            "RR %",
            "in the box, s",
            "kicks",
        ]
        .map(String::from)
        .to_vec(),
        rows: rows.collect(),
        lanes,
    }
}
