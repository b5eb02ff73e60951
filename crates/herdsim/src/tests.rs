//! Checks of the parts: each against a plainer way to the same figure.

use jiff::{Timestamp, civil::date, tz::TimeZone};

use crate::{
    chance::Stream,
    clock::FarmClock,
    course::{Course, Pace},
    curve::{Curve, filled_kg},
    cycle::Heat,
    season::Season,
    sickness::{Kind, begin},
    signs::Signs,
    stall::Stall,
};

fn clock() -> FarmClock {
    FarmClock::new(&TimeZone::get("America/New_York").unwrap(), date(2026, 3, 20), 200).unwrap()
}

#[test]
fn streams_differ_by_name_number_and_seed_and_repeat() {
    let first = |seed, name, index| Stream::new(seed, name, index).uniform();
    assert_eq!(first(1, "a", 0), first(1, "a", 0));
    let others = [first(1, "a", 0), first(1, "b", 0), first(1, "a", 1), first(2, "a", 0), first(0, "a", 1)];
    for (place, one) in others.iter().enumerate() {
        assert!(others[place + 1..].iter().all(|other| other != one), "{others:?}");
    }
    let mut mean = 0.0;
    for seed in 0..4000 {
        mean += first(seed, "seeds next to each other", 3) / 4000.0;
    }
    // Five standard errors of a mean of 4,000 uniform figures.
    assert!((mean - 0.5).abs() < 5.0 * (1.0_f64 / 12.0 / 4000.0).sqrt(), "{mean}");
}

/// The closed form of the slowing against small steps of the rate itself.
#[test]
fn a_filling_quarter_is_what_small_steps_say() {
    for (held, rate, hours, half, width) in [
        (0.3, 0.5, 8.0, 8.0, 2.1),
        (4.0, 0.7, 14.0, 8.0, 2.0),
        (9.0, 0.4, 30.0, 8.0, 2.3),
        (0.0, 0.2, 1.0, 6.0, 1.5),
    ] {
        let steps = 200_000;
        let mut u: f64 = held;
        for _ in 0..steps {
            u += rate / (1.0 + ((u - half) / width).exp()) * hours / f64::from(steps);
        }
        let closed = filled_kg(held, rate * hours, half, width);
        assert!((closed - u).abs() < 1e-3, "{closed} {u}");
    }
    assert_eq!(filled_kg(2.0, 0.0, 8.0, 2.0), 2.0);
}

#[test]
fn lactations_rise_and_fall_and_heifers_last_longer() {
    let mut chance = Stream::new(1, "curves", 0);
    let mut kept = [0.0, 0.0];
    for (place, parity) in [(0, 1), (1, 4)] {
        for _ in 0..200 {
            let curve = Curve::draw(&mut chance, parity, 1.0);
            let at = |d| curve.potential_kg_day(d, 0.0);
            let peak = (5..200).map(|d| at(f64::from(d))).fold(0.0, f64::max);
            assert!(at(1.0) < peak && at(300.0) < peak);
            assert!(curve.potential_kg_day(280.0, 220.0) < at(280.0));
            kept[place] += at(300.0) / peak / 200.0;
        }
    }
    // `sources.md` §3: first-parity cows are the more persistent (V, direction).
    assert!(kept[1] + 0.05 < kept[0], "{kept:?}");
}

#[test]
fn a_course_moves_nothing_before_it_begins_and_ends() {
    let mut chance = Stream::new(1, "courses", 0);
    let pace = Pace { from_h: 0.0, rise_h: 30.0, hold_h: 60.0, fall_h: 40.0 };
    let mut highest = Vec::new();
    for _ in 0..300 {
        let course = Course::draw(&mut chance, pace);
        assert_eq!(course.level(-0.1, None), 0.0);
        assert_eq!(course.level(0.0, None), 0.0);
        assert!(course.level(course.over_h(None), None) < 0.06);
        assert!(course.level(course.over_h(Some(20.0)), Some(20.0)) < 0.06);
        assert!(course.over_h(Some(20.0)) <= course.over_h(None));
        let most = (0..600).map(|h| course.level(f64::from(h), None)).fold(0.0, f64::max);
        assert!((0.5..1.3).contains(&most), "{most}");
        let when = (0..600).find(|h| 0.5 * most < course.level(f64::from(*h), None)).unwrap();
        highest.push(when);
        let left = course.leaving(0.4);
        assert!(0.2 < left.level(5000.0, None), "{left:?}");
    }
    highest.sort_unstable();
    // Courses of one pace are not copies of one another.
    assert!(highest[30] * 3 < highest[270], "{} {}", highest[30], highest[270]);
}

/// The simulator is to hold that one udder case in six has next to no rise of conductivity.
#[test]
fn one_udder_case_in_six_is_not_seen_by_the_probe() {
    let mut chance = Stream::new(5, "cases", 0);
    let (mut silent, count) = (0, 6000);
    for number in 0..count {
        let case = begin(&mut chance, number, Kind::Udder, 0, 2, false, false);
        let truth = case.truth(1, i64::MAX);
        assert!(truth.clinical && truth.quarter == Some(2));
        silent += usize::from(truth.conductivity_rise_ms_cm < 0.17);
    }
    let share = silent as f64 / f64::from(count);
    assert!((share - 1.0 / 6.0).abs() < 5.0 * (0.139 / f64::from(count)).sqrt(), "{share}");
}

#[test]
fn a_heat_lifts_activity_for_its_length_only() {
    let mut chance = Stream::new(5, "heats", 0);
    let mut milk = Vec::new();
    for number in 0..500 {
        let heat = Heat::draw(&mut chance, number, 1_000_000, false, 1.0);
        let at = |h: f64| {
            let mut signs = Signs::WELL;
            heat.act(heat.begins_s + (h * 3600.0) as i64, &mut signs);
            signs
        };
        assert_eq!(at(-1.0).activity, 1.0);
        assert_eq!(at(heat.length_h + 0.1).activity, 1.0);
        assert!((at(heat.length_h / 2.0).activity - heat.peak).abs() < 0.02);
        milk.push(heat.milk_loss());
    }
    milk.sort_by(f64::total_cmp);
    // `sources.md` §4.3: unchanged in one herd, elsewhere 0 to −10 %: small and of either sign.
    assert!(
        milk[50] < 0.0 && 0.0 < milk[250] && milk[450] < 0.16,
        "{} {} {}",
        milk[50],
        milk[250],
        milk[450]
    );
}

#[test]
fn a_drift_grows_to_its_size_and_stops_when_mended() {
    let clock = clock();
    let mut drifts = 0;
    for number in 1..=60 {
        let stall = Stall::draw(3, number, &clock);
        let own = stall.effects(clock.start_s - 1);
        for fault in stall.faults.iter().filter(|fault| fault.kind == "milk-meter") {
            let factor = |at_s: i64| stall.effects(at_s).meter / own.meter - 1.0;
            assert_eq!(factor(fault.from_s - 1), 0.0);
            assert_eq!(factor(fault.to_s), 0.0);
            if fault.form == "drift" && fault.full_s < fault.to_s {
                let middle_s = (fault.from_s + fault.full_s) / 2;
                assert!((factor(middle_s) - fault.size / 2.0).abs() < 1e-3);
                drifts += 1;
            }
            assert!((factor(fault.full_s.min(fault.to_s - 1)).abs()) <= fault.size.abs() + 1e-9);
        }
    }
    assert!(5 < drifts);
}

#[test]
fn the_clock_writes_what_the_zone_says() {
    let clock = clock();
    let zone = TimeZone::get("America/New_York").unwrap();
    let mut chance = Stream::new(1, "instants", 0);
    for _ in 0..3000 {
        let at_s = clock.start_s + (chance.uniform() * (clock.end_s - clock.start_s) as f64) as i64;
        let mut own = Vec::new();
        clock.write_time(at_s, &mut own);
        let zoned = Timestamp::from_second(at_s).unwrap().to_zoned_datetime(zone.clone());
        let theirs = zoned.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
        assert_eq!(String::from_utf8(own).unwrap(), theirs);
        assert_eq!(clock.day(at_s), clock.day(clock.at(clock.day(at_s), 12.0)));
    }
}

#[test]
fn summers_are_hot_and_bad_batches_cost_what_they_say() {
    let clock = FarmClock::new(&TimeZone::UTC, date(2027, 1, 1), 4000).unwrap();
    let first = clock.day(clock.start_s);
    let (season, happened) = Season::draw(2, first, 4000);
    let hot: Vec<_> = happened.iter().filter(|(truth, ..)| truth.kind == "heat-stress").collect();
    assert!(3 < hot.len());
    for (_, from, _) in &hot {
        let (_, month, _) = crate::clock::civil(*from);
        assert!((5..=9).contains(&month), "{month}");
    }
    let bad: Vec<_> = happened.iter().filter(|(truth, ..)| truth.kind == "bad-batch").collect();
    assert!(10 < bad.len());
    let fell = bad
        .iter()
        .filter(|(_, from, to)| season.day(*to - 2).feed_milk < season.day(*from - 1).feed_milk - 0.01)
        .count();
    // Batches differ for other reasons too, so not every bad one shows.
    assert!(bad.len() * 3 < fell * 4, "{fell} of {}", bad.len());
}
