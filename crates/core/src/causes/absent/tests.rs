//! Who is missed, and when.

use jiff::{SignedDuration, Timestamp};

use super::{HerdGaps, judge_absent};
use crate::{causes::Settings, herd::LifeKey};

fn hour(hour: f64) -> Timestamp {
    Timestamp::UNIX_EPOCH.checked_add(SignedDuration::from_secs((hour * 3600.0) as i64)).unwrap()
}

/// The chance of a cow that came every `every` hours or so until hour 200, seen `away` hours later.
fn chance(every: f64, away: f64) -> Option<f64> {
    let count = (200.0 / every) as usize;
    let seen: Vec<Timestamp> =
        (0..=count).map(|k| hour(200.0 - every * (count - k) as f64 + [0.0, 0.8, -0.6][k % 3])).collect();
    let last = *seen.last().unwrap();
    let at = last.checked_add(SignedDuration::from_secs((away * 3600.0) as i64)).unwrap();
    judge_absent(LifeKey(1), Some(100.0), &HerdGaps::default(), &seen, at, at, &Settings::default())
        .map(|finding| finding.probability)
}

#[test]
fn a_cow_that_comes_every_six_hours_is_missed_after_a_day_and_not_after_a_night() {
    assert_eq!(chance(6.0, 12.0), None);
    let (night, day, two) =
        (chance(6.0, 15.0).unwrap(), chance(6.0, 24.0).unwrap(), chance(6.0, 48.0).unwrap());
    assert!(night < 0.5 && 0.3 < day && night < day && day < two && 0.9 < two, "{night} {day} {two}");
}

#[test]
fn a_slow_cow_is_missed_later_and_one_without_habit_not_at_all() {
    assert!(chance(12.0, 24.0).unwrap_or(0.0) < chance(6.0, 24.0).unwrap());
    assert_eq!(chance(40.0, 60.0), None);
    assert_eq!(chance(6.0, 100.0), None);
}

#[test]
fn a_log_that_ends_earlier_tells_of_no_absence() {
    let seen: Vec<Timestamp> = (0..30).map(|k| hour(6.0 * f64::from(k))).collect();
    let ended = hour(176.0);
    let none =
        judge_absent(LifeKey(1), None, &HerdGaps::default(), &seen, ended, hour(210.0), &Settings::default());
    assert!(none.is_none());
}

/// The chance of a cow milked every twelve hours and away for 23, in a herd of which a cow missed so many of 60 milkings.
fn in_herd(missed: i64, days_in_milk: f64, tells_dry: bool) -> f64 {
    let came = (0..60).filter(|k| !(1..=missed).any(|gone| 15 * gone == *k));
    let herd: Vec<Timestamp> = came.map(|k| hour(12.0 * k as f64)).collect();
    let gaps = HerdGaps::of([herd.as_slice()].into_iter(), tells_dry);
    let seen: Vec<Timestamp> = (0..18).map(|k| hour(12.0 * f64::from(k))).collect();
    let at = hour(12.0 * 17.0 + 23.0);
    let finding = judge_absent(LifeKey(1), Some(days_in_milk), &gaps, &seen, at, at, &Settings::default());
    finding.unwrap().probability
}

#[test]
fn where_a_milking_is_missing_now_and_then_one_is_no_news() {
    let (never, now_and_then) = (in_herd(0, 100.0, true), in_herd(3, 100.0, true));
    assert!(now_and_then < 0.85 * never, "{now_and_then} {never}");
}

#[test]
fn late_in_lactation_she_may_be_dry_the_likelier_where_nobody_writes_it_down() {
    let (early, late, untold) = (in_herd(0, 100.0, true), in_herd(0, 300.0, true), in_herd(0, 300.0, false));
    assert!(untold < late && late < early, "{untold} {late} {early}");
}
