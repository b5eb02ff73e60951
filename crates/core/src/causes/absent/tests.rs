//! Who is missed, and when.

use jiff::{SignedDuration, Timestamp};

use super::judge_absent;
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
    judge_absent(LifeKey(1), &seen, at, at, &Settings::default()).map(|finding| finding.probability)
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
    assert!(judge_absent(LifeKey(1), &seen, ended, hour(210.0), &Settings::default()).is_none());
}
