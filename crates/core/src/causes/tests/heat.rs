//! Heat on made lines of activity and rumination.

use jiff::SignedDuration;

use super::made::{Chance, Making, known, line, made, settings};
use crate::{
    causes::{Background, Cause, CowCourse, Rates, judge_cow},
    expect::{Scored, Signal},
    herd::Stage,
    signals::Line,
};

/// Twelve hours of `up` more activity, and less rumination, before the time of judging.
fn heat_lines(chance: &mut Chance, at: jiff::Timestamp, up: f64) -> Vec<Line> {
    let on = |by: f64| move |back: f64| if back < 12.0 { by } else { 0.0 };
    vec![
        line(chance, at, Signal::Activity, 4, 0.25, on(up)),
        line(chance, at, Signal::Rumination, 8, 0.15, on(-0.2 * up)),
    ]
}

fn heat_in(course: &CowCourse) -> f64 {
    let findings = judge_cow(course, &settings());
    findings.iter().find(|one| one.cause == Cause::Heat).map_or(0.0, |one| one.probability)
}

fn chance_of_heat(seed: u64, up: f64) -> f64 {
    let mut chance = Chance::new(seed);
    let milkings = made(&mut chance, &Making::well(16.0));
    let course = known(&milkings, 300.0);
    let lines = heat_lines(&mut chance, course.at, up);
    heat_in(&CowCourse { lines: &lines, ..course })
}

#[test]
fn twelve_hours_of_twice_her_activity_look_like_heat_and_none_do_not() {
    let called = |up: f64| (0..20).filter(|seed| 0.5 < chance_of_heat(300 + seed, up)).count();
    let (strong, plain, none) = (called(1.1), called(0.7), called(0.0));
    println!("heat: {strong} of 20 at 3.0 times, {plain} at twice, {none} at her own");
    assert!(18 <= strong && 12 <= plain && none == 0);
}

#[test]
fn a_heat_that_her_activity_showed_three_weeks_ago_tells_of_the_next_as_far_as_it_is_sure() {
    let rates = Rates::default();
    let stage = Stage { parity: Some(2), calved_at: None, days_in_milk: Some(80.0), dry: false };
    let her = Background::of_stage(stage);
    let rate = |her: Background| rates.a_day(Cause::Heat, &her);
    let seen = |days, sure| rate(Background { heat_seen: Some((days, sure)), ..her });
    assert!(2.0 * rate(her) < seen(21.0, 0.95));
    assert!(seen(12.0, 0.95) < 0.5 * rate(her));
    assert!(seen(21.0, 0.4) < seen(21.0, 0.95) && rate(her) < seen(21.0, 0.4));
    // Somebody noted one since then: that one tells.
    let noted = Background { days_since_heat: Some(12.0), ..her };
    assert_eq!(rate(noted), rate(Background { heat_seen: Some((33.0, 0.9)), ..noted }));
}

/// Of 20 cows in heat at three times their activity, how many are called where her milkings and lines are changed so.
fn called_of_20(
    seed: u64,
    change: impl Fn(&mut Chance, jiff::Timestamp, &mut Vec<Scored>, &mut Vec<Line>),
) -> usize {
    let called = (0..20).filter(|cow| {
        let mut chance = Chance::new(seed + cow);
        let mut milkings = made(&mut chance, &Making::well(16.0));
        let at = known(&milkings, 300.0).at;
        let mut lines = heat_lines(&mut chance, at, 1.1);
        change(&mut chance, at, &mut milkings, &mut lines);
        let course = CowCourse { at, lines: &lines, ..known(&milkings, 300.0) };
        0.5 < heat_in(&course)
    });
    called.count()
}

#[test]
fn a_cow_in_heat_that_stays_away_from_the_box_is_seen() {
    let milked = called_of_20(500, |_, _, _, _| {});
    let away = called_of_20(500, |_, at, milkings, _| {
        let since = at.checked_sub(SignedDuration::from_hours(13)).unwrap();
        milkings.retain(|own| own.ended_at <= since);
    });
    println!("heat: {milked} of 20 milked meanwhile, {away} of 20 that stayed away for 13 h");
    assert!(18 <= milked && 18 <= away);
}

#[test]
fn a_signal_that_strays_by_itself_hides_no_heat() {
    let feed = |left: f64| {
        move |chance: &mut Chance, at, _: &mut Vec<Scored>, lines: &mut Vec<Line>| {
            let stray = |back: f64| if back < 192.0 { -left } else { 0.0 };
            lines.push(line(chance, at, Signal::Feed, 12, 0.1, stray));
        }
    };
    // Five spreads less eaten in the box for eight days, and nothing else.
    let (plain, strayed) = (called_of_20(600, feed(0.0)), called_of_20(600, feed(0.5)));
    println!("heat: {plain} of 20 with nothing else, {strayed} of 20 beside feed that strays");
    assert!(18 <= plain && 18 <= strayed);
}

#[test]
fn a_heat_noted_today_speaks_for_itself_and_one_of_last_week_against() {
    let chance_with = |noted_now: Option<f64>, before: Option<f64>| {
        let mut chance = Chance::new(700);
        let milkings = made(&mut chance, &Making::well(16.0));
        let course = known(&milkings, 300.0);
        let lines = heat_lines(&mut chance, course.at, 0.35);
        let her = Background { noted_now, days_since_heat: before, ..course.her };
        heat_in(&CowCourse { lines: &lines, her, ..course })
    };
    let (plain, now, last_week) =
        (chance_with(None, None), chance_with(Some(0.3), None), chance_with(None, Some(7.0)));
    println!("heat: {plain:.3} with no note, {now:.3} noted today, {last_week:.3} noted a week ago");
    let odds = |chance: f64| chance / (1.0 - chance);
    assert!(4.0 * odds(plain) < odds(now) && 2.0 * odds(last_week) < odds(plain));
}

#[test]
fn onsets_noted_are_counted_about_the_note_once() {
    let stage = Stage { parity: Some(2), calved_at: None, days_in_milk: Some(80.0), dry: false };
    let her = Background { noted_now: Some(0.5), ..Background::of_stage(stage) };
    let of = |cause, from, to| Rates::in_span(cause, &her, (from, to), 0.05);
    // Derived: 0.05 a day over ten days, and a note that is right in 85 of 100.
    assert!((of(Cause::Heat, 10.0, 0.0) - (0.5 + 0.85)).abs() < 1e-12);
    assert!((of(Cause::Heat, 10.0, 1.5) - 0.05 * 8.5).abs() < 1e-12);
    assert!((of(Cause::Udder, 10.0, 0.0) - 0.5).abs() < 1e-12);
    let cells: f64 =
        (0..40).map(|cell| f64::from(cell) * 0.25).map(|to| of(Cause::Heat, to + 0.25, to)).sum();
    assert!((cells - 1.35).abs() < 1e-9, "{cells}");
}
