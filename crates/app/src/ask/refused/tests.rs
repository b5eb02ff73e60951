//! A farm of two boxes and twelve cows whose visits to box 2 are refused for one cell from the seventh day on.

use std::fmt::Write as _;

use cowpath_core::expect::Signal;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use crate::ask::{cast::Cast, farm::Barn, rounding, silence, take_in, view};

fn at(minutes: i64) -> Timestamp {
    "2026-02-01T00:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minutes)
}

const DAYS: i64 = 10;

/// Every cow is milked every eight hours, in either box by turns; from the seventh day box 2 writes `milk_c` and a weight that
/// cannot be.
fn farm() -> (tempfile::TempDir, Barn) {
    let dir = tempfile::tempdir().unwrap();
    let mut visits = "animal,box,started_at,ended_at,outcome,milk_kg,milk_c,weight_kg\n".to_owned();
    for step in 0..DAYS * 72 {
        for place in 0..2_i64 {
            let (cow, turn) = ((step % 12) * 2 + place, step / 12);
            let name = if (turn + cow) % 2 == 0 { "1" } else { "2" };
            let wave = ((step * 7 + cow * 13) as f64).sin();
            let (warm, weight) =
                if name == "2" && 6 * 72 <= step { ("101.3", "0") } else { ("38.4", "610.5") };
            let (from, to) = (at(step * 20 + place * 9), at(step * 20 + place * 9 + 8));
            writeln!(visits, "{cow},{name},{from},{to},milked,{:.2},{warm},{weight}", 9.0 + wave).unwrap();
        }
    }
    let file = dir.path().join("visits.csv");
    std::fs::write(&file, visits).unwrap();
    let mut barn = Barn::found(&dir.path().join("farm"), at(20_000), "UTC").unwrap();
    let taken = take_in::take_in(&mut barn, &[file], &TimeZone::UTC, at(20_000), &mut |_, _| {}).unwrap();
    assert!(100 < taken.files[0].quarantined, "{taken:?}");
    (dir, barn)
}

#[test]
fn a_box_whose_visits_were_refused_did_not_stand_still_nor_did_its_cows_stay_away() {
    let (_dir, barn) = farm();
    let now = at(DAYS * 1440);
    let cast = Cast::read(&barn, &TimeZone::UTC).unwrap();
    let refused = super::visits(&barn, &cast, now).unwrap();
    assert!(
        refused
            .iter()
            .all(|visit| cast.boxes[usize::from(visit.at_box.0)] == "2" && at(6 * 1440) <= visit.started_at)
    );
    // Nothing that comes later is known.
    let then = at(8 * 1440);
    assert!(super::visits(&barn, &cast, then).unwrap().iter().all(|visit| visit.ended_at <= then));
    let view = view::at(&barn, Some(now)).unwrap().unwrap();
    let round = rounding::of_view(&barn, &view).unwrap();
    let blamed: Vec<&str> = round.calls.iter().map(|call| call.sentence.as_str()).collect();
    assert!(blamed.iter().all(|sentence| !sentence.contains("stood still")), "{blamed:?}");
    let milkings = || view.milkings.values().flatten().filter(|own| at(7 * 1440) <= own.started_at);
    assert!(0 < milkings().count());
    let of_interval =
        |own: &cowpath_core::expect::Departure| matches!(own.signal, Signal::Interval | Signal::Milk);
    assert!(milkings().all(|own| !own.departures.iter().any(of_interval)), "a milking was between");
    let silent = silence::stopped(&barn, &cast, &TimeZone::UTC, now).unwrap();
    assert!(silent.iter().all(|one| one.signal != "visits"), "{silent:?}");
    assert!(round.notes.iter().any(|note| note.contains("are in quarantine")), "{:?}", round.notes);
}
