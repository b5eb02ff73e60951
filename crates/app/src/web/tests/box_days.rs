//! Days of boxes, from plain tables to the page: what is counted, what is not known, odd days, and each state.

use std::{fmt::Write, sync::Arc};

use axum::{body::Body, http::Request};
use jiff::{Timestamp, tz::TimeZone};
use serde_json::Value;
use tempfile::TempDir;

use super::{Answered, get, send_to, whole};
use crate::ask::{boxes::AskedBoxes, farm::Barn, live::Live, take_in};

const HEAD: &str = "animal,box,started_at,ended_at,outcome,milk_kg\n";

/// A farm in Chicago's zone into which these tables were read.
pub fn farm_of(tables: &[&str]) -> (TempDir, Arc<Live>) {
    let folder = tempfile::tempdir().unwrap();
    let now: Timestamp = "2026-12-01T00:00:00Z".parse().unwrap();
    let mut barn = Barn::found(folder.path(), now, "America/Chicago").unwrap();
    let zone = TimeZone::get("America/Chicago").unwrap();
    for (place, text) in tables.iter().enumerate() {
        let file = folder.path().join(format!("table{place}.csv"));
        std::fs::write(&file, text).unwrap();
        let taken = take_in::take_in(&mut barn, &[file], &zone, now, &mut |_, _| {}).unwrap();
        assert!(taken.files.iter().all(|file| file.quarantined == 0), "{taken:?}");
    }
    (folder, Arc::new(Live::new(barn).unwrap()))
}

async fn ask(farm: &Arc<Live>, address: &str) -> Answered {
    let request = Request::get(address).header("host", "localhost").body(Body::empty()).unwrap();
    send_to(Arc::<Live>::clone(farm), request).await
}

async fn json(farm: &Arc<Live>, address: &str) -> Value {
    let answer = ask(farm, address).await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    serde_json::from_str(&answer.text).unwrap()
}

/// Box 1 tells everything; box 2 tells of no outcome; box 10 tells of milkings only.
pub fn three_makes() -> Vec<String> {
    let one = "87,1,2026-03-01T22:00:00,2026-03-01T22:06:00,milked,11.0\n\
         214,1,2026-03-01T23:58:00,2026-03-02T00:05:00,milked,9.0\n\
         87,1,2026-03-02T05:02:10,2026-03-02T05:09:31,milked,9.5\n\
         214,1,2026-03-02T06:00:00,2026-03-02T06:08:00,incomplete,4.5\n\
         151,1,2026-03-02T07:00:00,2026-03-02T07:03:00,failed,0\n\
         87,1,2026-03-02T07:10:00,2026-03-02T07:10:40,turned-away,\n\
         87,1,2026-03-02T08:10:00,2026-03-02T08:10:40,turned-away,\n\
         87,1,2026-03-02T09:10:00,2026-03-02T09:11:40,fed,\n\
         151,1,2026-03-02T12:00:00,2026-03-02T12:07:00,milked,\n";
    let two = "300,2,2026-03-02T05:00:00,2026-03-02T05:06:00,7.5\n\
         301,2,2026-03-02T06:00:00,2026-03-02T06:01:00,\n";
    let ten = "214,10,2026-03-02T16:00:00,2026-03-02T16:08:00,milked,8.0\n\
         214,10,2026-03-02T20:30:00,2026-03-02T20:38:00,milked,7.0\n";
    let states = "1,2026-03-02T04:00:00,2026-03-02T04:14:00,cleaning\n\
         1,2026-03-02T05:05:00,2026-03-02T05:20:00,fault\n\
         2,2026-02-27T00:00:00,2026-03-02T04:00:00,off\n\
         10,2026-03-02T10:00:00,2026-03-02T11:30:00,service\n";
    vec![
        format!("{HEAD}{one}"),
        format!("animal,box,started_at,ended_at,milk_kg\n{two}"),
        format!("{HEAD}{ten}"),
        format!("box,from,to,state\n{states}"),
    ]
}

pub fn read(tables: &[String]) -> (TempDir, Arc<Live>) {
    farm_of(&tables.iter().map(String::as_str).collect::<Vec<_>>())
}

#[tokio::test]
async fn a_day_is_counted_by_hand() {
    let (_folder, farm) = read(&three_makes());
    let day = json(&farm, "/api/boxes").await;
    assert_eq!(day["date"], "2026-03-02", "the day of the newest row");
    let names: Vec<&str> =
        day["boxes"].as_array().unwrap().iter().map(|one| one["box"].as_str().unwrap()).collect();
    assert_eq!(names, ["1", "2", "10"], "as people look them up");
    let one = &day["boxes"][0]["counts"];
    // The visit that began the evening before is drawn and not counted.
    assert_eq!(day["boxes"][0]["visits"].as_array().unwrap().len(), 8);
    assert_eq!(
        *one,
        serde_json::json!({"visits": 7, "milkings": 3, "incomplete": 1, "failed": 1, "turned_away": 2,
            "fed_only": 1, "not_said": 0, "milk_kg": 14.0, "not_measured": 1})
    );
    let two = &day["boxes"][1]["counts"];
    assert_eq!((&two["milkings"], &two["not_said"]), (&Value::from(1), &Value::from(2)));
    for unknown in ["incomplete", "failed", "turned_away", "fed_only"] {
        assert!(two[unknown].is_null(), "{unknown} of a log that tells no outcomes: {two}");
        assert!(day["boxes"][2]["counts"][unknown].is_null(), "{unknown} of a log of milkings");
    }
    assert_eq!(day["logs_end"], "2026-03-02T20:38:00-06:00");
    assert_eq!(day["earlier"], "2026-03-01");
    assert!(day["later"].is_null());
    // The day before, whose milkings count in box 1 and whose box 2 was off all day.
    let before = json(&farm, "/api/boxes?date=2026-03-01").await;
    assert_eq!(before["boxes"][0]["counts"]["milkings"], 2);
    assert!(before["boxes"][0]["counts"]["turned_away"].is_null(), "not told of up to that day");
    assert_eq!(before["boxes"][1]["states"][0]["state"], "off");
    assert_eq!(before["later"], "2026-03-02");
}

#[tokio::test]
async fn what_overlaps_is_named() {
    let (_folder, farm) = read(&three_makes());
    let day = json(&farm, "/api/boxes?date=2026-03-02").await;
    let shared = day["boxes"][0]["overlaps"].as_array().unwrap();
    assert_eq!(shared.len(), 1);
    assert_eq!(shared[0]["words"], "87 05:02–05:09 and fault 05:05–05:20");
    assert_eq!(shared[0]["from"], "2026-03-02T05:05:00-06:00");
    assert_eq!(shared[0]["to"], "2026-03-02T05:09:31-06:00");
    assert!(ask(&farm, "/boxes").await.text.contains("87 05:02–05:09 and fault 05:05–05:20"));
}

#[tokio::test]
async fn a_cow_is_marked_and_listed_over_all_boxes() {
    let (_folder, farm) = read(&three_makes());
    let day = json(&farm, "/api/boxes?animal=214").await;
    let hers: Vec<(&str, &str)> = day["hers"]["visits"]
        .as_array()
        .unwrap()
        .iter()
        .map(|visit| (visit["box"].as_str().unwrap(), visit["started_at"].as_str().unwrap()))
        .collect();
    let wanted = [
        ("1", "2026-03-01T23:58:00-06:00"),
        ("1", "2026-03-02T06:00:00-06:00"),
        ("10", "2026-03-02T16:00:00-06:00"),
        ("10", "2026-03-02T20:30:00-06:00"),
    ];
    assert_eq!(hers, wanted);
    let page = ask(&farm, "/boxes?animal=214").await.text;
    // One mark a visit on the desk's bands: two in box 1, two in box 10, and the sign of the legend.
    let marks = page
        .split("pointer-her\" d=\"")
        .skip(1)
        .map(|path| path[..path.find('"').unwrap()].matches('z').count());
    assert!(marks.sum::<usize>() >= 5, "desk and phone");
    assert!(page.contains("<td>10</td>") && page.contains("href=\"/cow/214\""));
    assert!(ask(&farm, "/boxes?animal=nobody").await.text.contains("No row names a cow “nobody”"));
    assert!(
        ask(&farm, "/boxes?animal=300&date=2026-03-01").await.text.contains("She was in no box on this day")
    );
}

#[tokio::test]
async fn days_of_23_and_of_25_hours_are_as_long_as_they_are() {
    // Spring: 8 March has no 02:xx. Autumn: 2 November 2025 has 01:xx twice.
    let spring = format!("{HEAD}214,1,2026-03-08T01:55:00-06:00,2026-03-08T03:02:00-05:00,milked,9\n");
    let autumn = format!(
        "{HEAD}214,1,2025-11-02T01:30:00-05:00,2025-11-02T01:37:00-05:00,milked,9\n\
         87,1,2025-11-02T01:30:00-06:00,2025-11-02T01:36:00-06:00,milked,8\n"
    );
    let (_folder, farm) = farm_of(&[&spring, &autumn]);
    for (date, day_s, hours, longest) in [("2026-03-08", 82_800, 23, 6), ("2025-11-02", 90_000, 25, 7)] {
        let asked = AskedBoxes { date: Some(date.parse().unwrap()), ..AskedBoxes::default() };
        let day = farm.boxes(&asked).unwrap();
        assert_eq!(day.day_s, day_s);
        assert_eq!(day.axis.hours.len(), hours, "{date}");
        let pieces = day.axis.cuts.windows(2).map(|two| (two[1].as_second() - two[0].as_second()) / 3600);
        assert_eq!(pieces.clone().sum::<i64>(), hours as i64);
        assert_eq!(pieces.max().unwrap(), longest, "{date}");
        assert!(day.notes.iter().any(|note| note.contains(&format!("{hours} hours"))), "{:?}", day.notes);
    }
    let page = ask(&farm, "/boxes?date=2025-11-02").await.text;
    assert!(page.contains("01:30 before the clock was set back"));
    assert!(page.contains("01:30 after the clock was set back"));
    // 67 minutes by the clock, 7 minutes of time: the two are not one bar.
    assert!(ask(&farm, "/boxes?date=2026-03-08").await.text.contains("until 03:02"));
}

#[tokio::test]
async fn each_state_of_the_page_says_what_to_do() {
    let (_folder, empty) = farm_of(&[]);
    let page = ask(&empty, "/boxes").await;
    assert_eq!(page.status, 200);
    assert!(page.text.contains("No row of a box has been read yet.") && page.text.contains("cowpath import"));
    let (_folder, farm) = read(&three_makes()[..1]);
    let page = ask(&farm, "/boxes?date=2026-04-01").await.text;
    assert!(page.contains("the newest one is of Monday 2 March 2026"), "{page}");
    assert!(page.contains("/boxes?date=2026-03-02"), "leads to the nearest day");
    assert!(ask(&farm, "/boxes?date=2020-04-01").await.text.contains("the logs begin after it"));
    assert!(
        ask(&farm, "/boxes").await.text.contains("cleaning, service, faults and times off are not logged")
    );
    for (address, says) in [
        ("/boxes?date=2026-02-30", "is not a day of the calendar"),
        ("/boxes?date=9999-12-31", "No farm has logs of 9999-12-31"),
        ("/boxes?date=1&date=2", "was not understood"),
    ] {
        let page = ask(&farm, address).await;
        assert_eq!(page.status, 400, "{address}");
        assert!(page.text.contains(says), "{address}: {}", page.text);
    }
    assert_eq!(ask(&farm, "/api/boxes?date=tomorrow").await.headers["content-type"], "application/json");
}

#[tokio::test]
async fn sixty_boxes_are_one_page_that_a_phone_can_load() {
    let mut visits = String::from(HEAD);
    for milking_box in 1..=60 {
        for visit in 0..130 {
            let at = 11 * visit;
            let _ = writeln!(
                visits,
                "{},{milking_box},2026-03-02T{:02}:{:02}:00Z,2026-03-02T{:02}:{:02}:00Z,{},9.1",
                milking_box * 1000 + visit,
                at / 60,
                at % 60,
                (at + 7) / 60,
                (at + 7) % 60,
                if visit % 5 == 0 { "turned-away" } else { "milked" }
            );
        }
    }
    let (_folder, farm) = farm_of(&[&visits]);
    let page = ask(&farm, "/boxes?date=2026-03-02").await.text;
    assert!(page.contains("60 boxes:") && page.contains("href=\"#box60\""));
    assert!(!page.contains("The same in figures"), "the tables stand on each box's own page");
    assert!(page.len() < 1_500_000, "{} bytes", page.len());
    let own = ask(&farm, "/boxes?date=2026-03-02&box=7").await.text;
    assert!(own.contains("The same in figures") && own.contains("<h2 id=\"box1-head\">Box 7</h2>"));
    assert!(!own.contains("<h2 id=\"box2-head\">"));
}

#[tokio::test]
async fn names_that_are_hard_to_write_stay_words() {
    let log =
        format!("{HEAD}\"<b>1&\",\"\"\"><script>\",2026-03-02T05:00:00Z,2026-03-02T05:07:00Z,milked,9\n");
    let (_folder, farm) = farm_of(&[&log]);
    let page = ask(&farm, "/boxes?date=2026-03-01&animal=%3Cb%3E1%26").await.text;
    assert!(!page.contains("<b>1&") && !page.contains("\"><script>"), "{page}");
    assert!(page.contains("&lt;b&gt;1&amp;"));
    assert!(page.contains("href=\"/cow/%3Cb%3E1%26\""));
}

#[tokio::test]
async fn each_outcome_has_a_shape_and_each_state_a_hatch_of_its_own() {
    let (_folder, farm) = read(&three_makes());
    let page = ask(&farm, "/boxes").await.text;
    for class in ["filled", "hollow", "turned", "crossed", "unsaid", "overlap"] {
        assert!(page.contains(&format!("<path class=\"{class}\" d=\"M")), "{class}");
    }
    for state in ["cleaning", "fault", "service"] {
        assert!(page.contains(&format!("fill=\"url(#hatch-{state})\"")), "{state}");
        assert!(page.contains(&format!("id=\"hatch-{state}\"")), "{state}");
    }
    let legend = page.split("class=\"legend\"").nth(1).unwrap().split("</ul>").next().unwrap();
    for word in
        ["milked", "incomplete", "failed", "turned away", "fed only", "outcome not logged", "cleaning"]
    {
        assert!(legend.contains(&format!("</svg> {word}</li>")), "{word}: {legend}");
    }
    // A phone has four rows of six hours, of which the last ends with the logs; nothing is shrunk.
    assert_eq!(page.matches("class=\"lanes band desk\"").count(), 3);
    assert_eq!(page.matches("class=\"lanes band phone\"").count(), 12);
    assert!(get(whole(), "/boxes").await.text.contains("Box 1"));
}
