//! Cows that are milked though they are recorded as dried off, dead or sold, on twelve days of twelve cows.

use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use crate::ask::{farm::Barn, rounding, take_in, view};

fn at(hours: i64) -> Timestamp {
    "2026-02-01T00:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_hours(hours)
}

/// Every cow is milked every eight hours while `stays` says so; what a round at the end notes.
fn notes(events: &str, stays: impl Fn(i64, i64) -> bool) -> (Vec<String>, usize, Vec<String>) {
    let dir = tempfile::tempdir().unwrap();
    let mut visits = "animal,box,started_at,ended_at,outcome,milk_kg\n".to_owned();
    for turn in 0..36 {
        for cow in (0..12).filter(|cow| stays(*cow, turn * 8)) {
            let from = at(turn * 8) + SignedDuration::from_mins(cow * 10);
            let wave = ((turn * 7 + cow * 13) as f64).sin();
            let to = from + SignedDuration::from_mins(7);
            writeln!(visits, "{cow},1,{from},{to},milked,{:.2}", 9.0 + wave).unwrap();
        }
    }
    let files = [("visits.csv", visits), ("events.csv", format!("animal,at,kind\n{events}"))];
    let files = files.map(|(name, text)| {
        let file = dir.path().join(name);
        std::fs::write(&file, text).unwrap();
        file
    });
    let mut barn = Barn::found(&dir.path().join("farm"), at(400), "UTC").unwrap();
    take_in::take_in(&mut barn, &files, &TimeZone::UTC, at(400), &mut |_, _| {}).unwrap();
    let view = view::at(&barn, None).unwrap().unwrap();
    let judged = rounding::judged(&barn, &view).unwrap();
    let all = super::all(&barn, &view).unwrap();
    let notes = rounding::of_view(&barn, &view).unwrap().notes;
    assert!(all.iter().take(4).all(|(_, sentence)| notes.contains(sentence)), "{notes:?}");
    (all.into_iter().map(|(_, sentence)| sentence).collect(), judged.cows.len(), notes)
}

#[test]
fn who_is_milked_though_recorded_dry_or_gone_is_named_and_judged() {
    let events = format!("1,{},dried-off\n2,{},died\n3,{},left\n", at(96), at(96), at(120));
    let (all, judged, _) = notes(&events, |_, _| true);
    assert_eq!(
        all,
        [
            "1 is recorded as dried off 5 February, and is milked since as before, last milking 16:17: one of them is wrong, and she is judged as a cow in milk.",
            "2 is recorded to have died 5 February, and is milked since as before, last milking 16:27: one of them is wrong. Until it is mended she is judged as a new cow of that number.",
            "3 is recorded to have left Friday 00:00, and is milked since as before, last milking 16:37: one of them is wrong. Until it is mended she is judged as a new cow of that number.",
        ]
    );
    assert_eq!(judged, 12);
}

#[test]
fn who_was_dried_off_or_left_as_recorded_is_no_contradiction() {
    // Cow 1 is let run dry for two days; cow 2 is milked once more on the day that is noted.
    let events = format!("1,{},dried-off\n2,{},died\n", at(96), at(96));
    let gone = |cow: i64, hour: i64| !(cow == 1 && 144 < hour || cow == 2 && 112 < hour);
    let (all, judged, _) = notes(&events, gone);
    assert_eq!((all, judged), (Vec::new(), 10));
}

#[test]
fn of_many_the_round_names_the_cows() {
    let events: String = (1..8).map(|cow| format!("{cow},{},died\n", at(96))).collect();
    let (all, _, notes) = notes(&events, |_, _| true);
    assert_eq!(all.len(), 7);
    assert!(
        notes.iter().any(|note| note == "What else contradicts is of 5, 6 and 7: Records has each of it."),
        "{notes:?}"
    );
}
