//! Who is missed, and when.

use jiff::{SignedDuration, Timestamp};

use super::{Absence, HerdGaps, away_h, judge_absent};
use crate::{causes::Settings, herd::LifeKey};

fn hour(hour: f64) -> Timestamp {
    Timestamp::UNIX_EPOCH.checked_add(SignedDuration::from_secs((hour * 3600.0) as i64)).unwrap()
}

/// Visits of a cow that came every `every` hours or so until hour 200.
fn visits(every: f64) -> Vec<Timestamp> {
    let count = (200.0 / every) as usize;
    (0..=count).map(|k| hour(200.0 - every * (count - k) as f64 + [0.0, 0.8, -0.6][k % 3])).collect()
}

fn chance(away_h: f64, stays: f64, days_in_milk: f64, herd: &HerdGaps) -> f64 {
    let seen = visits(6.0);
    let her = Absence {
        life: LifeKey(1),
        days_in_milk: Some(days_in_milk),
        seen: &seen,
        away_h,
        stays,
        a_day: 3.0,
    };
    judge_absent(&her, herd, hour(200.0 + away_h), &Settings::default()).unwrap().probability
}

#[test]
fn a_gap_that_is_long_beside_her_own_is_asked_about_and_a_night_is_not() {
    let after = |every: f64, away: f64| away_h(&visits(every), hour(200.8 + away));
    assert_eq!(after(4.0, 10.0), None);
    assert!(after(4.0, 13.0).is_some() && after(4.0, 400.0).is_some());
    // Milked twice a day: the longest of her nights is not long.
    assert_eq!(after(12.0, 12.5), None);
    assert!(after(12.0, 20.0).is_some());
    assert_eq!(away_h(&[], hour(200.0)), None);
}

#[test]
fn the_rarer_her_habit_has_it_the_surer_and_it_does_not_end_by_itself() {
    let herd = HerdGaps::default();
    let (like_her, rare, never) = (
        chance(14.0, 0.05, 100.0, &herd),
        chance(16.0, 1e-3, 100.0, &herd),
        chance(20.0, 1e-6, 100.0, &herd),
    );
    assert!(like_her < 0.02 && 0.25 < rare && rare < 0.6 && 0.95 < never, "{like_her} {rare} {never}");
    assert!(0.95 < chance(73.0, 1e-6, 100.0, &herd) && 0.95 < chance(600.0, 1e-6, 100.0, &herd));
}

#[test]
fn a_call_keeps_its_name_however_long_she_is_away() {
    let seen = visits(6.0);
    let of = |away_h: f64| {
        let her =
            Absence { life: LifeKey(1), days_in_milk: None, seen: &seen, away_h, stays: 1e-6, a_day: 3.0 };
        judge_absent(&her, &HerdGaps::default(), hour(200.0 + away_h), &Settings::default()).unwrap().episode
    };
    assert_eq!((of(20.0), of(200.0)), (*seen.last().unwrap(), *seen.last().unwrap()));
}

/// The chance of a cow away four times her own gap, in a herd of which a cow missed so many of 60 milkings.
fn in_herd(missed: i64, days_in_milk: f64, tells_dry: bool) -> f64 {
    let came = (0..60).filter(|k| !(1..=missed).any(|gone| 15 * gone <= *k && *k < 15 * gone + 3));
    let herd: Vec<Timestamp> = came.map(|k| hour(6.0 * k as f64)).collect();
    let gaps = HerdGaps::of([herd.as_slice()].into_iter(), tells_dry);
    chance(20.0, 1e-6, days_in_milk, &gaps)
}

#[test]
fn where_a_milking_is_missing_now_and_then_one_is_no_news() {
    let (never, now_and_then) = (in_herd(0, 100.0, true), in_herd(3, 100.0, true));
    assert!(now_and_then < 0.5 * never, "{now_and_then} {never}");
}

#[test]
fn late_in_lactation_she_may_be_dry_the_likelier_where_nobody_writes_it_down() {
    let (early, late, untold) = (in_herd(0, 100.0, true), in_herd(0, 300.0, true), in_herd(0, 300.0, false));
    assert!(untold < late && late < early, "{untold} {late} {early}");
}
