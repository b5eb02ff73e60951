//! The picture of the lanes: what is in it, what it leaves out, and how large it grows.

use jiff::{SignedDuration, tz::TimeZone};

use super::{
    farm::{self, FixedFarm},
    get, whole,
};
use crate::{
    ask::lanes::{Lane, Lanes, Strip},
    web::lanes::{Phone, picture},
};

/// The drawings of a figure: desk, phone.
fn drawings(figure: &str) -> (&str, &str) {
    let mut parts = figure.split("<svg ").skip(1).map(|part| &part[..part.find("</svg>").unwrap()]);
    (parts.next().unwrap(), parts.next().unwrap())
}

fn of_214(days: i32, phone: Phone) -> (Lanes, String) {
    let lanes = super::her::cow("214", days).lanes;
    let figure = picture(&lanes, "k", phone, &TimeZone::get("America/Chicago").unwrap());
    (lanes, figure)
}

fn points(lanes: &Lanes) -> usize {
    lanes
        .lanes
        .iter()
        .map(|lane| match &lane.strip {
            Strip::Points(points) => points.iter().filter(|point| point.observed.is_some()).count(),
            Strip::Ticks(_) => 0,
        })
        .sum()
}

#[test]
fn ten_days_show_every_milking_as_a_dot_and_the_phone_the_last_four() {
    let (lanes, figure) = of_214(10, Phone::LastFourDays);
    let (desk, phone) = drawings(&figure);
    assert_eq!(desk.matches("<circle").count(), points(&lanes));
    let four = lanes.to - SignedDuration::from_hours(96);
    let mut late = lanes.clone();
    for lane in &mut late.lanes {
        if let Strip::Points(points) = &mut lane.strip {
            points.retain(|point| four <= point.at);
        }
    }
    assert_eq!(phone.matches("<circle").count(), points(&late));
    assert!(points(&late) < points(&lanes) / 2);
}

#[test]
fn what_lies_outside_its_band_is_hollow_and_said_in_the_table() {
    let (lanes, figure) = of_214(10, Phone::Whole);
    let outside: usize = lanes
        .lanes
        .iter()
        .map(|lane| match &lane.strip {
            Strip::Points(points) => points.iter().filter(|point| point.outside()).count(),
            Strip::Ticks(_) => 0,
        })
        .sum();
    assert!(4 <= outside);
    let (desk, _) = drawings(&figure);
    assert_eq!(desk.matches("dot outside").count(), outside);
    assert_eq!(figure.matches(", outside</span>").count(), outside);
    assert!(figure.contains("not measured"));
    assert!(desk.contains("class=\"tick dashed\""));
    assert!(desk.contains("<title id=\"k-desk-title\">"));
    assert!(desk.contains("<desc id=\"k-desk-desc\">Left rear conductivity rose"));
}

#[test]
fn ids_are_the_page_s_own() {
    let (_, figure) = of_214(10, Phone::Whole);
    let mut ids: Vec<&str> =
        figure.split(" id=\"").skip(1).map(|part| &part[..part.find('"').unwrap()]).collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all);
}

#[test]
fn a_whole_lactation_stays_under_sixty_kilobytes_with_nine_strips() {
    let (mut lanes, _) = of_214(300, Phone::Whole);
    // Four quarters, share and conductivity, beside milk: as many strips as a cow has.
    let quarter: Vec<Lane> = lanes.lanes.iter().filter(|lane| lane.speaks).cloned().collect();
    for _ in 0..3 {
        lanes.lanes.extend(quarter.iter().cloned());
    }
    assert!(6 * 800 < points(&lanes), "{} points", points(&lanes));
    let figure = picture(&lanes, "k", Phone::Whole, &TimeZone::UTC);
    let (desk, phone) = drawings(&figure);
    assert!(desk.len() < 60_000, "desk {} bytes", desk.len());
    assert!(phone.len() < 60_000, "phone {} bytes", phone.len());
    assert!(desk.contains("class=\"measured\""));
}

#[test]
fn many_visits_become_bars_of_a_day_and_a_cut_day_is_left_out() {
    let (lanes, figure) = of_214(300, Phone::Whole);
    let (desk, _) = drawings(&figure);
    assert!(!desk.contains("class=\"tick\""));
    let bars = desk.split("class=\"visits\" d=\"").nth(1).unwrap();
    let bars = &bars[..bars.find('"').unwrap()];
    // 300 days over 472 px: three days a bar, every bar with milkings in it.
    assert_eq!(bars.matches('M').count(), 100);
    let cut = Lanes { to: lanes.to - SignedDuration::from_hours(30), ..lanes };
    let figure = picture(&cut, "k", Phone::Whole, &TimeZone::UTC);
    let bars = figure.split("class=\"visits\" d=\"").nth(1).unwrap();
    assert_eq!(bars[..bars.find('"').unwrap()].matches('M').count(), 99);
}

#[test]
fn nothing_is_drawn_off_the_strip() {
    let (_, figure) = of_214(10, Phone::LastFourDays);
    let (desk, phone) = drawings(&figure);
    for (drawing, left, right) in [(desk, 160.0, 632.0), (phone, 4.0, 324.0)] {
        for part in drawing.split("cx=\"").skip(1) {
            let x: f64 = part[..part.find('"').unwrap()].parse().unwrap();
            assert!((left..=right).contains(&x), "{x}");
        }
    }
}

#[test]
fn the_mark_of_the_onset_keeps_clear_of_words() {
    let (lanes, figure) = of_214(10, Phone::LastFourDays);
    let (_, phone) = drawings(&figure);
    // The mark is drawn in as many pieces as there are strips; between them, where the last values stand, is none.
    let mark = phone.split("class=\"mark onset\" d=\"").nth(1).unwrap();
    let path = &mark[..mark.find('"').unwrap()];
    assert_eq!(path.matches('M').count(), lanes.lanes.len());
    let word = phone.split("<text class=\"mark onset\" x=\"").nth(1).unwrap();
    let y: f64 = word.split("y=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
    assert!(y < 16.0, "its word stands above the first strip's words");
}

#[test]
fn an_onset_before_the_phone_s_days_is_told_at_the_edge() {
    let (mut lanes, _) = of_214(10, Phone::LastFourDays);
    lanes.marks[0].at = lanes.from + SignedDuration::from_hours(30);
    let figure = picture(&lanes, "k", Phone::LastFourDays, &TimeZone::UTC);
    let (desk, phone) = drawings(&figure);
    assert!(phone.contains("← since 14:10"));
    assert!(!phone.contains("path class=\"mark onset\""));
    assert!(desk.contains("path class=\"mark onset\""));
}

#[test]
fn a_long_gap_breaks_the_band() {
    let (mut lanes, _) = of_214(10, Phone::Whole);
    let gap = lanes.from + SignedDuration::from_hours(72)..lanes.from + SignedDuration::from_hours(144);
    for lane in &mut lanes.lanes {
        if let Strip::Points(points) = &mut lane.strip {
            points.retain(|point| !gap.contains(&point.at));
        }
    }
    let figure = picture(&lanes, "k", Phone::Whole, &TimeZone::UTC);
    let (desk, _) = drawings(&figure);
    let band = desk.split("class=\"band\" d=\"").nth(1).unwrap();
    assert_eq!(band[..band.find('"').unwrap()].matches('M').count(), 2);
}

#[test]
fn odd_strips_draw_without_trouble() {
    let (lanes, _) = of_214(10, Phone::Whole);
    let mut odd = lanes.clone();
    for (index, lane) in odd.lanes.iter_mut().enumerate() {
        match &mut lane.strip {
            Strip::Points(points) => points.truncate(index),
            Strip::Ticks(ticks) => ticks.clear(),
        }
        lane.high = lane.low;
    }
    odd.days.clear();
    let figure = picture(&odd, "k", Phone::Whole, &TimeZone::UTC);
    assert!(!figure.contains("NaN") && !figure.contains("inf"));
    let none = Lanes { lanes: Vec::new(), ..lanes.clone() };
    assert!(picture(&none, "k", Phone::Whole, &TimeZone::UTC).contains("No picture"));
    let nowhere = Lanes { to: lanes.from, ..lanes };
    assert!(picture(&nowhere, "k", Phone::Whole, &TimeZone::UTC).contains("No picture"));
}

#[tokio::test]
async fn a_box_without_a_conductivity_probe_has_one_strip_less() {
    let mut round = farm::full();
    round.calls[0].lanes = round.calls[1].lanes.clone();
    let page = get(FixedFarm::of(round), "/round").await.text;
    let first = &page[page.find("id=\"call1\"").unwrap()..page.find("id=\"call2\"").unwrap()];
    let (desk, _) = drawings(&first[first.find("<figure").unwrap()..first.find("</figure>").unwrap()]);
    assert_eq!(desk.matches("data-lane=").count(), 3);
}

#[tokio::test]
async fn pages_stay_light() {
    let round = get(whole(), "/round").await.text;
    assert!(round.len() < 200_000, "round {} bytes", round.len());
    let cow = get(whole(), "/cow/214?from=2025-05-08&to=2026-03-03").await.text;
    assert!(cow.contains("class=\"measured\""));
}
