//! Signals that stopped, against binomial chances reckoned by hand and a herd whose probe was taken away.

use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{Coming, Silent, stopped};
use crate::ask::{cast::Cast, farm::Barn, take_in};

fn at(minutes: i64) -> Timestamp {
    "2026-02-01T00:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minutes)
}

/// A signal that came with every `each`-th of `with` milkings and with none of `without` more.
fn coming(each: u32, with: u32, without: u32) -> Coming {
    let mut coming = Coming::default();
    for number in 0..with {
        coming.visit(number % each == each - 1, at(i64::from(number)));
    }
    for number in 0..without {
        coming.visit(false, at(i64::from(with + number)));
    }
    coming
}

#[test]
fn missing_is_told_when_chance_does_not_explain_it() {
    // At every milking: (1 - 20/21)^5 = 2.4e-7. Five missing are the fewest that are told.
    assert_eq!(coming(1, 20, 4).stopped(), None);
    assert_eq!(coming(1, 20, 5).stopped(), Some(at(19)));
    // One in four, 80 milkings: (1 - 20/81)^m < 1e-4 from m = 33 on (e^(-33 * 0.28367) = 8.6e-5, at 32 it is 1.1e-4).
    assert_eq!(coming(4, 80, 32).stopped(), None);
    assert_eq!(coming(4, 80, 33).stopped(), Some(at(79)));
    // Nine times is too seldom to say that it came, and what never came did not stop.
    assert_eq!(coming(1, 9, 500).stopped(), None);
    assert_eq!(coming(1, 0, 500).stopped(), None);
}

/// Visits every 20 minutes to two boxes by twelve cows over six days; `cell` writes the conductivities of a visit.
fn farm(
    cell: impl Fn(i64, &str) -> [&'static str; 4],
    also: impl Fn(i64, &str) -> bool,
) -> (tempfile::TempDir, Barn) {
    let dir = tempfile::tempdir().unwrap();
    let mut text =
        "animal,box,started_at,ended_at,outcome,milk_kg,lf_ms_cm,rf_ms_cm,lr_ms_cm,rr_ms_cm\n".to_owned();
    for step in 0..6 * 72 {
        for (place, name) in ["1", "2"].into_iter().enumerate() {
            let minute = step * 20;
            if also(minute, name) {
                let cow = (step % 6) * 2 + place as i64;
                let [lf, rf, lr, rr] = cell(minute, name);
                let (from, to) = (at(minute), at(minute + 7));
                writeln!(text, "{cow},{name},{from},{to},milked,10,{lf},{rf},{lr},{rr}").unwrap();
            }
        }
    }
    let file = dir.path().join("visits.csv");
    std::fs::write(&file, text).unwrap();
    let mut barn = Barn::found(&dir.path().join("farm"), at(9000), "UTC").unwrap();
    let taken = take_in::take_in(&mut barn, &[file], &TimeZone::UTC, at(9000), &mut |_, _| {}).unwrap();
    assert_eq!(taken.files[0].quarantined, 0, "{taken:?}");
    (dir, barn)
}

fn told(barn: &Barn, minute: i64) -> Vec<Silent> {
    let cast = Cast::read(barn, &TimeZone::UTC).unwrap();
    stopped(barn, &cast, &TimeZone::UTC, at(minute)).unwrap()
}

const ALL: [&str; 4] = ["5.1", "5.2", "5.0", "5.3"];

#[test]
fn a_probe_that_fell_silent_is_named_with_its_box_and_since_when() {
    // The fourth day, 14:00.
    let broke = 3 * 1440 + 14 * 60;
    let (_dir, barn) =
        farm(|minute, name| if name == "2" && broke < minute { [""; 4] } else { ALL }, |_, _| true);
    let silent = told(&barn, 6 * 1440);
    assert_eq!(silent.len(), 1, "{silent:?}");
    assert_eq!(
        silent[0].sentence,
        "Conductivity of box 2: none since Wednesday 14:07; before, one at every milking."
    );
    assert_eq!(
        (silent[0].since.as_str(), silent[0].box_name.as_deref()),
        ("2026-02-04T14:07:00+00:00", Some("2"))
    );
    // As it was known before it broke, and just after: nothing.
    assert!(told(&barn, broke).is_empty());
    assert!(told(&barn, broke + 61).is_empty());
    // One quarter's probe alone is named by its quarter.
    let (_dir, barn) = farm(
        |minute, name| if name == "2" && broke < minute { ["5.1", "5.2", "", "5.3"] } else { ALL },
        |_, _| true,
    );
    let silent = told(&barn, 6 * 1440);
    assert_eq!(silent.len(), 1, "{silent:?}");
    assert!(
        silent[0].sentence.starts_with("Left rear conductivity of box 2: none since Wednesday 14:07"),
        "{silent:?}"
    );
}

#[test]
fn a_box_that_logs_nothing_more_is_told_and_a_farm_without_probes_is_not() {
    let (_dir, barn) = farm(|_, _| [""; 4], |minute, name| name == "1" || minute < 4 * 1440);
    assert!(told(&barn, 4 * 1440).is_empty(), "no probe was ever there");
    let silent = told(&barn, 6 * 1440);
    assert_eq!(silent.len(), 1, "{silent:?}");
    assert_eq!(
        silent[0].sentence,
        "Visits of box 2: none since Wednesday 23:47; before, one every 19 minutes."
    );
}

#[test]
fn a_cows_sensor_that_stopped_is_told_by_her_number() {
    let (dir, mut barn) = farm(|_, _| ALL, |_, _| true);
    let mut text = "animal,from,minutes,activity\n".to_owned();
    for bin in 0..6 * 12 {
        for cow in 0..12 {
            if !(cow == 3 && 4 * 12 <= bin) {
                writeln!(text, "{cow},{},120,30", at(bin * 120)).unwrap();
            }
        }
    }
    let file = dir.path().join("movement.csv");
    std::fs::write(&file, text).unwrap();
    take_in::take_in(&mut barn, &[file], &TimeZone::UTC, at(9000), &mut |_, _| {}).unwrap();
    let silent = told(&barn, 6 * 1440);
    assert_eq!(silent.len(), 1, "{silent:?}");
    assert_eq!(
        silent[0].sentence,
        "Movement of 3: none since Thursday 00:00; before, a reading every 2 hours."
    );
    assert_eq!(silent[0].animals, ["3"]);
}

/// Six weeks of bins of twelve cows and of visits of the last six days, with events; what is told of sensors on cows.
fn tags(sends: impl Fn(i64, i64) -> bool, events: &str) -> Vec<String> {
    let (dir, mut barn) =
        farm(|_, _| ALL, |minute, name| !(name == "1" && minute % 120 == 0 && 4320 <= minute));
    let mut text = "animal,from,minutes,activity\n".to_owned();
    for bin in -36 * 12..6 * 12 {
        for cow in (0..12).filter(|cow| sends(*cow, bin)) {
            writeln!(text, "{cow},{},120,{}", at(bin * 120), 30 + (bin * 7 + cow * 11).rem_euclid(43))
                .unwrap();
        }
    }
    let events = format!("animal,at,kind\n{events}");
    let files = [("movement.csv", text), ("events.csv", events)].map(|(name, text)| {
        let file = dir.path().join(name);
        std::fs::write(&file, text).unwrap();
        file
    });
    take_in::take_in(&mut barn, &files, &TimeZone::UTC, at(9000), &mut |_, _| {}).unwrap();
    told(&barn, 6 * 1440).into_iter().map(|one| one.sentence).collect()
}

#[test]
fn a_sensor_of_a_cow_in_milk_is_missed_until_it_is_mended() {
    let silent = tags(|cow, bin| !(cow == 5 && -20 * 12 <= bin), "");
    assert_eq!(silent, ["Movement of 5: none since 12 January; before, a reading every 2 hours."]);
    // One that never had a sensor has lost none.
    assert_eq!(tags(|cow, _| cow != 5, ""), [""; 0]);
}

#[test]
fn who_died_or_left_is_not_sought() {
    // Cow 0 is in no visit of the last three days; her tag goes on for half a day after she was noted as dead.
    let dead = |cow: i64, bin: i64| !(cow == 0 && 3 * 12 + 6 <= bin);
    assert_eq!(tags(dead, &format!("0,{},died\n", at(3 * 1440))), [""; 0]);
    assert_eq!(tags(dead, "").len(), 1, "without the note she is missed");
}
