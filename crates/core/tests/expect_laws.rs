//! Laws of the expectation, on small herds whose truth is known.

mod herds;

use cowpath_core::expect::{Herd, Scored, Signal};
use cowpath_core::herd::{BoxKey, LifeKey, Quarter};
use cowpath_core::tables::{Outcome, QuarterVisit, Visit};
use herds::*;
use proptest::prelude::*;

#[test]
fn a_steady_herd_is_calm_and_its_bands_hold() {
    let (herd, scored) = run(&rows(STEADY, 1));
    let late: Vec<&Scored> = scored.iter().filter(|own| 15.0 < days(own)).collect();
    let within = mean(late.iter().map(|own| {
        let kg = own.observed_kg.unwrap();
        f64::from(u8::from(own.low95_kg <= kg && kg <= own.high95_kg))
    }));
    assert!((0.93..0.975).contains(&within), "95 % interval holds {within}");
    let bias = mean(late.iter().map(|own| own.observed_kg.unwrap() / own.expected_kg - 1.0));
    assert!(bias.abs() < 0.01, "bias {bias}");
    for signal in [Signal::Milk, Signal::QuarterMilk, Signal::Conductivity] {
        let own = late.iter().flat_map(|own| &own.departures).filter(|own| own.signal == signal);
        let squares = mean(own.map(|own| own.z * own.z));
        assert!((0.15..2.0).contains(&squares), "{signal:?}: mean z² {squares}");
    }
    let unsettled = (0..40).filter(|&cow| herd.unsettled_since(LifeKey(cow)).is_some()).count();
    assert!(unsettled <= 6, "{unsettled} of 40 steady cows unsettled");
}

#[test]
fn one_quarter_s_fall_is_that_quarter_s_alone() {
    let quarter = |cow, q, hours| if cow == 7 && q == 2 && 24.0 * 30.0 < hours { 0.6 } else { 1.0 };
    let (herd, scored) = run(&rows(Story { quarter, ..STEADY }, 2));
    for quarter in Quarter::ALL {
        let after = between(&scored, 7, 30.0, 34.0, Signal::QuarterMilk, Some(quarter));
        assert!(8 <= after.len());
        let gap = mean(after.iter().map(|own| own.gap));
        if quarter == Quarter::LeftRear {
            assert!((gap - 0.6_f64.ln()).abs() < 0.12, "left rear fell by {gap}");
        } else {
            assert!(gap.abs() < 0.08, "{quarter:?} blamed by {gap}");
        }
    }
    let onset = herd.unsettled_since(LifeKey(7)).unwrap();
    let day = cowpath_core::time::hours_between(start(), onset) / 24.0;
    assert!((29.0..31.5).contains(&day), "onset on day {day}");
}

#[test]
fn a_whole_cow_s_fall_blames_no_quarter() {
    let quarter = |cow, _, hours| if cow == 3 && 24.0 * 30.0 < hours { 0.7 } else { 1.0 };
    let (_, scored) = run(&rows(Story { quarter, ..STEADY }, 3));
    for quarter in Quarter::ALL {
        let z =
            mean(between(&scored, 3, 30.0, 33.0, Signal::QuarterMilk, Some(quarter)).iter().map(|own| own.z));
        assert!(z.abs() < 1.0, "{quarter:?}: {z}");
    }
    let gap = mean(between(&scored, 3, 30.0, 33.0, Signal::Milk, None).iter().map(|own| own.gap));
    assert!((gap - 0.7_f64.ln()).abs() < 0.08, "milk fell by {gap}");
}

#[test]
fn a_herd_s_fall_is_the_herd_s() {
    let fall = |hours| if 24.0 * 30.0 < hours { 0.94 } else { 1.0 };
    let (herd, scored) = run(&rows(Story { cows: 80, herd: fall, ..STEADY }, 4));
    let effect =
        |day: f64| herd.herd_course().iter().rfind(|point| point.at < at(24.0 * day)).unwrap().log_effect;
    let moved = effect(31.5) - effect(30.0);
    assert!((moved - 0.94_f64.ln()).abs() < 0.025, "herd moved by {moved}");
    let far = (0..80)
        .filter(|&cow| {
            1.5 < mean(between(&scored, cow, 31.0, 33.0, Signal::Milk, None).iter().map(|own| own.z)).abs()
        })
        .count();
    assert!(far <= 4, "{far} of 80 cows stand out");
}

#[test]
fn a_drifting_meter_is_the_box_s() {
    let meter = |at_box, hours: f64| {
        if at_box == 1 { 1.0 - 0.10 * ((hours / 24.0 - 25.0) / 5.0).clamp(0.0, 1.0) } else { 1.0 }
    };
    let (herd, scored) = run(&rows(Story { meter, ..STEADY }, 5));
    let (first, _) = herd.box_effect(BoxKey(0)).unwrap();
    let (second, _) = herd.box_effect(BoxKey(1)).unwrap();
    assert!((second - first - 0.90_f64.ln()).abs() < 0.035, "boxes differ by {}", second - first);
    let far = (0..40)
        .filter(|&cow| {
            1.5 < mean(between(&scored, cow, 30.0, 40.0, Signal::Milk, None).iter().map(|own| own.z)).abs()
        })
        .count();
    assert!(far <= 3, "{far} of 40 cows stand out");
}

#[test]
fn a_drifting_probe_is_the_cup_s() {
    let salt = |_, at_box, q, hours| if at_box == 0 && q == 1 && 24.0 * 25.0 < hours { 0.6 } else { 0.0 };
    let (herd, scored) = run(&rows(Story { salt, ..STEADY }, 6));
    let (_, cups) = herd.cup_effects(BoxKey(0)).unwrap();
    assert!((cups[1] - 0.6).abs() < 0.2, "cup moved by {}", cups[1]);
    let far = (0..40)
        .filter(|&cow| {
            let own = between(&scored, cow, 30.0, 40.0, Signal::Conductivity, Some(Quarter::RightFront));
            1.0 < mean(own.iter().map(|own| own.z)).abs()
        })
        .count();
    assert!(far <= 3, "{far} of 40 cows' right front quarters stand out");
}

#[test]
fn saltier_milk_of_a_quarter_shows_in_that_quarter() {
    let salt = |cow, _, q, hours| if cow == 9 && q == 3 && 24.0 * 30.0 < hours { 1.0 } else { 0.0 };
    let (herd, scored) = run(&rows(Story { days: 36.0, salt, ..STEADY }, 7));
    let after = between(&scored, 9, 30.0, 33.0, Signal::Conductivity, Some(Quarter::RightRear));
    let gap = mean(after.iter().map(|own| own.gap));
    assert!((gap - 1.0).abs() < 0.25, "right rear saltier by {gap}");
    assert!(herd.unsettled_since(LifeKey(9)).is_some());
}

#[test]
fn a_lasting_change_settles() {
    let quarter = |cow, _, hours| if cow == 5 && 24.0 * 25.0 < hours { 0.85 } else { 1.0 };
    let (herd, _) = run(&rows(Story { days: 60.0, quarter, ..STEADY }, 8));
    let settled = herd.settled(LifeKey(5));
    assert_eq!(settled.len(), 1, "{settled:?}");
    assert!((settled[0].log_change - 0.85_f64.ln()).abs() < 0.06, "{settled:?}");
    let day = cowpath_core::time::hours_between(start(), settled[0].since) / 24.0;
    assert!((23.0..27.0).contains(&day), "since day {day}");
}

#[test]
fn a_fresh_cow_is_judged_from_her_third_milking() {
    let starts_at_day = |cow| if cow == 0 { -20.0 } else { 60.0 + f64::from(cow) };
    let (_, scored) = run(&rows(Story { starts_at_day, ..STEADY }, 9));
    let hers: Vec<&Scored> = scored.iter().filter(|own| own.life == LifeKey(0)).collect();
    assert_eq!(hers.iter().take(4).map(|own| own.scored).collect::<Vec<_>>(), [false, false, true, true]);
    assert!(of(hers[2], Signal::Milk, None).is_some());
    assert!(hers[1].departures.is_empty());
    let off = mean(hers[2..8].iter().map(|own| (own.observed_kg.unwrap() / own.expected_kg).ln().abs()));
    assert!(off < 0.25, "off by {off} in milkings 3 to 8");
}

#[test]
fn what_an_incomplete_milking_left_is_expected_next() {
    let mut rows = rows(STEADY, 10);
    let places: Vec<usize> = (0..rows.len()).filter(|&k| rows[k].visit.life == LifeKey(4)).collect();
    let (cut, next) = (places[80], places[81]);
    let plain = run(&rows).1;
    let whole_kg = rows[cut].visit.milk_kg.unwrap();
    rows[cut].visit.outcome = Some(Outcome::Incomplete);
    rows[cut].visit.milk_kg = Some(0.4 * whole_kg);
    let scored = run(&rows).1;
    assert!(!scored[cut].scored);
    assert!(of(&scored[cut], Signal::Milk, None).is_none());
    assert!(of(&scored[cut], Signal::QuarterMilk, Some(Quarter::LeftFront)).is_none());
    let more = scored[next].expected_kg - plain[next].expected_kg;
    assert!((0.3 * whole_kg..0.6 * whole_kg).contains(&more), "{more} kg more of {whole_kg}");
}

#[test]
fn a_failed_visit_leaves_her_udder_as_full_as_it_was() {
    let rows = rows(STEADY, 15);
    let places: Vec<usize> = (0..rows.len()).filter(|&k| rows[k].visit.life == LifeKey(8)).collect();
    let (last, next) = (places[70], places[71]);
    let (mut herd, _) = run(&rows[..next]);
    let plain = herd.clone().take(&rows[next].visit, &rows[next].stage, rows[next].hour).unwrap();
    let between = rows[last].visit.ended_at + jiff::SignedDuration::from_hours(2);
    let failed = Visit {
        outcome: Some(Outcome::Failed),
        milk_kg: Some(0.4),
        quarters: [QuarterVisit { kicked: Some(true), ..QuarterVisit::default() }; 4],
        started_at: between,
        ended_at: between,
        ..rows[last].visit
    };
    let scored = herd.take(&failed, &rows[last].stage, rows[last].hour).unwrap();
    assert!(!scored.scored && scored.observed_kg == Some(0.4) && 0.5 < scored.expected_kg);
    assert!(scored.departures.iter().all(|own| own.signal == Signal::Kicks) && scored.departures.len() == 4);
    let after = herd.take(&rows[next].visit, &rows[next].stage, rows[next].hour).unwrap();
    assert!((plain.expected_kg - after.expected_kg - 0.4).abs() < 0.05 * plain.expected_kg);
    let interval = of(&after, Signal::Interval, None).unwrap().observed;
    assert_eq!(Some(interval), of(&plain, Signal::Interval, None).map(|own| own.observed));
}

#[test]
fn a_three_quarter_cow_is_a_normal_cow() {
    let mut rows = rows(STEADY, 11);
    for row in rows.iter_mut().filter(|row| row.visit.life == LifeKey(2)) {
        row.visit.quarters[1] = QuarterVisit::default();
        row.visit.milk_kg =
            row.visit.quarters.iter().filter_map(|quarter| quarter.milk_kg).reduce(|a, b| a + b);
    }
    let (_, scored) = run(&rows);
    assert!(between(&scored, 2, 0.0, 40.0, Signal::QuarterMilk, Some(Quarter::RightFront)).is_empty());
    let own = between(&scored, 2, 15.0, 40.0, Signal::QuarterMilk, Some(Quarter::LeftRear));
    let z = mean(own.iter().map(|own| own.z.abs()));
    assert!((0.1..1.5).contains(&z), "mean size of z {z}");
    assert!(20 < between(&scored, 2, 15.0, 40.0, Signal::Conductivity, Some(Quarter::LeftRear)).len());
}

#[test]
fn visits_without_milking_say_nothing_and_change_nothing() {
    let rows = rows(Story { cows: 10, days: 12.0, ..STEADY }, 12);
    let (mut herd, _) = run(&rows);
    let before = herd.clone();
    let last = &rows[rows.len() - 1];
    for outcome in [Some(Outcome::TurnedAway), Some(Outcome::Fed), None] {
        let visit = Visit { outcome, milk_kg: None, quarters: [QuarterVisit::default(); 4], ..last.visit };
        assert_eq!(herd.take(&visit, &last.stage, 3.0), None);
    }
    assert_eq!(herd, before);
}

#[test]
fn kept_and_read_again_it_goes_on_the_same() {
    let rows = rows(Story { cows: 12, days: 14.0, ..STEADY }, 13);
    let half = rows.len() / 2;
    let (whole, scored) = run(&rows);
    let (first, _) = run(&rows[..half]);
    let kept = serde_json::to_value(&first).unwrap();
    let mut again: Herd = serde_json::from_value(kept).unwrap();
    let mut later = Vec::new();
    for row in &rows[half..] {
        later.extend(again.take(&row.visit, &row.stage, row.hour));
    }
    assert_eq!(later, scored[half..]);
    assert_eq!(again, whole);
}

#[test]
fn under_other_keys_it_is_the_same_herd() {
    let mut rows = rows(Story { cows: 12, days: 14.0, ..STEADY }, 14);
    let half = rows.len() / 2;
    let expected = run(&rows).1;
    let (first, _) = run(&rows[..half]);
    let mut turned = first
        .rekey(&|LifeKey(key)| (key != 3).then(|| LifeKey(40 - key)), &|BoxKey(key)| Some(BoxKey(key + 5)));
    assert_eq!(turned.last_milking(LifeKey(37)), None);
    for (k, row) in rows[half..].iter_mut().enumerate() {
        row.visit.life = LifeKey(40 - row.visit.life.0);
        row.visit.at_box = BoxKey(row.visit.at_box.0 + 5);
        let scored = turned.take(&row.visit, &row.stage, row.hour).unwrap();
        if k < 5 && row.visit.life != LifeKey(37) {
            assert_eq!(scored.expected_kg, expected[half + k].expected_kg);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn later_rows_change_nothing_earlier(seed in 0_u64..1_000, cut in 0.05_f64..0.95, spoil in 0.1_f64..3.0) {
        let mut rows = rows(Story { cows: 9, days: 12.0, ..STEADY }, seed);
        let cut = (cut * rows.len() as f64) as usize;
        let before = run(&rows).1;
        for row in &mut rows[cut..] {
            row.visit.milk_kg = row.visit.milk_kg.map(|kg| kg * spoil);
            row.visit.quarters.swap(0, 2);
        }
        let after = run(&rows).1;
        prop_assert_eq!(&before[..cut], &after[..cut]);
    }

    #[test]
    fn missing_is_not_zero(seed in 0_u64..1_000, quarter in 0_usize..4) {
        let mut rows = rows(Story { cows: 9, days: 12.0, ..STEADY }, seed);
        for row in &mut rows {
            row.visit.quarters[quarter] = QuarterVisit::default();
        }
        let (_, scored) = run(&rows);
        let missing = Some(Quarter::ALL[quarter]);
        prop_assert!(scored.iter().flat_map(|own| &own.departures).all(|own| own.quarter != missing));
        // The others are judged, and no band or expectation is nonsense.
        let salt = |own: &Scored| own.departures.iter().any(|own| own.signal == Signal::Conductivity);
        prop_assert!(scored.iter().any(salt));
        for own in &scored {
            prop_assert!(own.expected_kg.is_finite() && own.low95_kg <= own.high95_kg);
            prop_assert!(own.departures.iter().all(|own| own.z.is_finite() && own.low95 <= own.high95));
        }
    }
}
