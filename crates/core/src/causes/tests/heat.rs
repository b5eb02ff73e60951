//! Heat on made lines of activity and rumination.

use jiff::SignedDuration;

use super::made::{Chance, Making, known, made, settings};
use crate::{
    causes::{Background, Cause, Rates, judge_cow},
    expect::Signal,
    herd::Stage,
    signals::{Line, Point},
};

/// A line of blocks of `block_h` hours up to `at`, scattered by `noise`; `moved` is added by hours before `at`.
fn line(
    chance: &mut Chance,
    at: jiff::Timestamp,
    signal: Signal,
    block_h: i64,
    noise: f64,
    moved: impl Fn(f64) -> f64,
) -> Line {
    let points = (1..=240 / block_h)
        .rev()
        .map(|back| {
            let from = at.checked_sub(SignedDuration::from_hours(back * block_h)).unwrap();
            let to = from.checked_add(SignedDuration::from_hours(block_h)).unwrap();
            let gap = noise * chance.normal() + moved(((back - 1) * block_h) as f64);
            Point {
                from,
                to,
                observed: 100.0 * gap.exp(),
                expected: 100.0,
                gap,
                noise_sd: noise,
                error: 0.05,
            }
        })
        .collect();
    Line { signal, quarter: None, points }
}

fn chance_of_heat(seed: u64, up: f64) -> f64 {
    let mut chance = Chance::new(seed);
    let milkings = made(&mut chance, &Making::well(16.0));
    let course = known(&milkings, 300.0);
    let lines = [
        line(&mut chance, course.at, Signal::Activity, 4, 0.25, |back| if back < 12.0 { up } else { 0.0 }),
        line(
            &mut chance,
            course.at,
            Signal::Rumination,
            8,
            0.15,
            |back| if back < 12.0 { -0.2 * up } else { 0.0 },
        ),
    ];
    let course = crate::causes::CowCourse { lines: &lines, ..course };
    let findings = judge_cow(&course, &settings());
    findings.iter().find(|one| one.cause == Cause::Heat).map_or(0.0, |one| one.probability)
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
