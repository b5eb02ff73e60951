//! Sensors that changed their scale, on ten days of twelve cows whose readings were changed on the seventh.

use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use crate::ask::{
    cast::Cast,
    farm::Barn,
    silence::{Silent, stopped},
    stuck, take_in, view,
};

/// Day from whose begin on readings are changed.
const CHANGED: i64 = 6;
const DAYS: i64 = 10;

fn at(minutes: i64) -> Timestamp {
    "2026-02-01T00:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minutes)
}

/// Readings of one visit: milk, temperature, weight; and of one bin: activity, rumination.
#[derive(Clone, Copy)]
pub struct Told {
    pub milk: f64,
    pub temperature: f64,
    pub weight: f64,
    pub activity: f64,
    pub rumination: f64,
}

/// What Records tells of ten days; `change` is given box or cow, and readings from the seventh day on.
pub fn told(change: impl Fn(&str, i64, &mut Told)) -> Vec<Silent> {
    let dir = tempfile::tempdir().unwrap();
    let mut visits = "animal,box,started_at,ended_at,outcome,milk_kg,milk_c,weight_kg\n".to_owned();
    let mut movement = "animal,from,minutes,activity,rumination_min\n".to_owned();
    for step in 0..DAYS * 24 {
        for cow in 0..12_i64 {
            // Nothing repeats to the last digit, and nobody is like another.
            let wave = ((step * 7 + cow * 13) as f64).sin();
            let mut told = Told {
                milk: 10.0 + wave,
                temperature: 38.4 + 0.2 * wave,
                weight: 600.0 + 5.0 * cow as f64 + 3.0 * wave,
                activity: 200.0 + 60.0 * wave,
                rumination: 40.0 + 8.0 * wave,
            };
            let name = if cow % 2 == 0 { "1" } else { "2" };
            if CHANGED * 24 <= step {
                change(name, cow, &mut told);
            }
            let from = at(step * 60);
            if step % 8 == cow % 8 {
                let (from, to) = (at(step * 60 + cow / 8 * 30), at(step * 60 + cow / 8 * 30 + 7));
                let Told { milk, temperature, weight, .. } = told;
                writeln!(visits, "{cow},{name},{from},{to},milked,{milk:.3},{temperature:.3},{weight:.2}")
                    .unwrap();
            }
            if step % 2 == 0 {
                writeln!(movement, "{cow},{from},120,{:.2},{:.3}", told.activity, told.rumination).unwrap();
            }
        }
    }
    let files = [("visits.csv", visits), ("movement.csv", movement)].map(|(name, text)| {
        let file = dir.path().join(name);
        std::fs::write(&file, text).unwrap();
        file
    });
    let mut barn = Barn::found(&dir.path().join("farm"), at(20_000), "UTC").unwrap();
    let taken = take_in::take_in(&mut barn, &files, &TimeZone::UTC, at(20_000), &mut |_, _| {}).unwrap();
    assert!(taken.files.iter().all(|file| file.quarantined == 0), "{taken:?}");
    let cast = Cast::read(&barn, &TimeZone::UTC).unwrap();
    let mut silent = stopped(&barn, &cast, &TimeZone::UTC, at(DAYS * 1440)).unwrap();
    silent.extend(stuck::told(&view::at(&barn, Some(at(DAYS * 1440))).unwrap().unwrap()));
    silent
}

fn sentences(silent: &[Silent]) -> Vec<&str> {
    silent.iter().map(|one| one.sentence.as_str()).collect()
}

#[test]
fn nothing_is_told_of_sensors_that_go_on_as_they_did() {
    assert_eq!(told(|_, _, _| {}), []);
    // A herd that gives a fifth less, moves a fifth more and chews a fifth less is no matter of sensors.
    let restless = told(|_, _, told| {
        told.milk *= 0.8;
        told.activity *= 1.2;
        told.rumination *= 0.8;
    });
    assert_eq!(restless, []);
}

#[test]
fn pounds_in_place_of_kilograms_are_named_once_for_all_boxes() {
    let silent = told(|_, _, told| told.milk /= 0.453_592_37);
    let [one] = silent.as_slice() else { panic!("{silent:?}") };
    assert_eq!((one.signal.as_str(), one.box_name.as_deref()), ("milk", None));
    assert!(
        one.sentence.starts_with("Milk at every box is 2.2 times what it was since about"),
        "{}",
        one.sentence
    );
    assert!(one.sentence.contains("as if pounds stood where kilograms did"), "{}", one.sentence);
    assert!(one.since.starts_with("2026-02-07"), "{}", one.since);
}

#[test]
fn a_scale_of_one_box_and_a_stuck_thermometer_are_named_on_the_box() {
    let silent = told(|name, _, told| {
        if name == "2" {
            told.weight *= 1.3;
        } else {
            told.temperature = 38.5;
        }
    });
    let said = sentences(&silent);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said.iter().any(|words| words.starts_with("Weight at box 2 is 1.30 times")), "{said:?}");
    assert!(
        said.iter()
            .any(|words| words.starts_with("Milk temperature at box 1 is exactly 38.5 at every milking")),
        "{said:?}"
    );
}

#[test]
fn a_tag_of_another_scale_is_named_with_its_cow_and_a_dull_cow_is_not() {
    let silent = told(|_, cow, told| {
        if cow == 5 {
            told.activity *= 100.0;
        } else if cow == 6 {
            told.rumination *= 0.3;
        }
    });
    let [one] = silent.as_slice() else { panic!("{silent:?}") };
    assert_eq!(one.animals, ["5"]);
    assert!(one.sentence.contains("as if the decimal sign had moved"), "{}", one.sentence);
    let silent = told(|_, _, told| told.rumination /= 60.0);
    let [one] = silent.as_slice() else { panic!("{silent:?}") };
    assert!(one.sentence.contains("Rumination of the herd is 0.017 times"), "{}", one.sentence);
    assert!(one.sentence.contains("as if hours stood where minutes did"), "{}", one.sentence);
}
