//! Parts: onset cells, shapes, discount, worth, the herd's milk.

use super::made::{Chance, hours_on, settings};
use crate::{
    causes::{
        Cause, Noise, Urgency, cut, gate,
        grid::{onsets, read_at},
        judge_herd, judge_intake,
        likelihood::Ready,
        noise,
        series::Series,
        templates::TEMPLATES,
    },
    expect::{HerdPoint, Signal},
};

#[test]
fn onset_cells_cover_the_days_without_gap_or_overlap() {
    let milked: Vec<f64> = (0..28).map(|index| -238.0 + 8.7 * f64::from(index)).collect();
    let cells = onsets(&milked, -240.0);
    let days: f64 = cells.iter().map(|cell| cell.width_days).sum();
    let last = milked[milked.len() - 1];
    assert!((days - (240.0 + last) / 24.0).abs() < 1e-9, "{days}");
    for pair in cells.windows(2) {
        let (end, start) =
            (pair[0].hours + 12.0 * pair[0].width_days, pair[1].hours - 12.0 * pair[1].width_days);
        assert!((end - start).abs() < 1e-9);
    }
    for milking in milked.iter().filter(|hours| -48.0 <= **hours) {
        assert!(cells.iter().any(|cell| (cell.hours + 12.0 * cell.width_days - milking).abs() < 1e-9));
    }
    // She calved three days ago: nothing began before.
    let fresh = onsets(&milked, -72.0);
    assert!(fresh.iter().all(|cell| -72.0 <= cell.hours));
    assert!(onsets(&[], -240.0).is_empty());
}

#[test]
fn onset_cells_go_on_where_other_signals_do() {
    let milked: Vec<f64> = (0..26).map(|index| -238.0 + 8.7 * f64::from(index)).collect();
    let last = milked[milked.len() - 1];
    // Blocks of 4, 8 and 12 h: what lies less than three hours from the one before bounds no cell.
    let read = read_at(&milked, [-2.0, -6.0, -4.0, -12.0, -10.0, -100.0].into_iter());
    assert_eq!(read[milked.len()..], [-12.0, -6.0, -2.0]);
    let cells = onsets(&read, -240.0);
    let days: f64 = cells.iter().map(|cell| cell.width_days).sum();
    assert!((days - (240.0 - 2.0) / 24.0).abs() < 1e-9, "{days}");
    assert!(cells.iter().any(|cell| last < cell.hours));
    // Nothing after the last milking, and none at all.
    assert_eq!(read_at(&milked, std::iter::empty()), milked);
    assert!(read_at(&[], [-2.0].into_iter()).is_empty());
}

#[test]
fn every_template_is_whole() {
    for template in TEMPLATES {
        let one = |weights: &[(f64, f64)]| {
            (weights.iter().map(|(_, weight)| weight).sum::<f64>() - 1.0).abs() < 1e-12
        };
        assert!(one(template.severities) && one(template.paces), "{}", template.name);
        for course in template.courses {
            assert!(one(course.share), "{} {:?}", template.name, course.signal);
            assert!(!course.source.is_empty());
            assert!(course.shape.windows(2).all(|pair| pair[0].0 < pair[1].0));
        }
        let named: Vec<Signal> = template
            .courses
            .iter()
            .map(|course| course.signal)
            .chain(template.silent.iter().copied())
            .collect();
        // What the rough look has room for.
        assert!(template.severities.len() <= gate::MOST_SEVERITIES, "{}", template.name);
        assert!(template.courses.len() <= gate::MOST_COURSES, "{}", template.name);
        for course in template.courses {
            let amplitudes = Ready::new(course, template.severities).amplitudes.len();
            assert!(amplitudes <= gate::MOST_AMPLITUDES, "{} {:?}", template.name, course.signal);
        }
        // No signal twice, and those of a quarter are spoken of by every cause.
        for signal in Signal::ALL {
            let times = named.iter().filter(|one| **one == signal).count();
            assert!(times <= 1, "{} {signal:?}", template.name);
            if matches!(signal, Signal::QuarterMilk | Signal::Conductivity | Signal::Kicks) {
                assert_eq!(times, 1, "{} {signal:?}", template.name);
            }
        }
    }
}

#[test]
fn one_signal_is_not_discounted_and_many_are() {
    let noise = Noise::default();
    assert_eq!(noise.discount(&[5.0, 0.0, 0.0]), 1.0);
    let three = noise.discount(&[4.0, 4.0, 4.0]);
    assert!((three - 1.0 / 1.3).abs() < 1e-12, "{three}");
    assert_eq!(noise.discount(&[0.0, 0.0]), 1.0);
}

/// The noise of a herd keeps its sums in that order.
#[test]
fn every_signal_stands_in_its_own_place() {
    for (place, signal) in Signal::ALL.into_iter().enumerate() {
        assert_eq!(signal as usize, place, "{signal:?}");
    }
}

#[test]
fn a_herds_wandering_is_found_from_its_own_rows() {
    let made: Vec<Vec<crate::expect::Scored>> = (0..60)
        .map(|cow| {
            let mut chance = Chance::new(500 + cow);
            let mut making = super::made::Making::well(12.0);
            making.memory = 0.5;
            super::made::made(&mut chance, &making)
        })
        .collect();
    let noise = noise::estimate(made.iter().map(Vec::as_slice), std::iter::empty(), &Noise::default());
    let milk = noise.of(Signal::Milk);
    // Heavy tails clipped: a little under the 0.5 it was made with.
    assert!((0.38..0.55).contains(&milk.memory), "{milk:?}");
    assert!((1.0..1.2).contains(&milk.spread), "{milk:?}");
}

#[test]
fn a_sample_of_a_large_herd_tells_its_noise() {
    // As many as a round asks (`NOISE_COWS` of the round), of three times as many.
    let made: Vec<Vec<crate::expect::Scored>> = (0..1800)
        .map(|cow| super::made::made(&mut Chance::new(10_000 + cow), &super::made::Making::well(10.0)))
        .collect();
    let noise = |every: usize| {
        let cows = made.iter().step_by(every).map(Vec::as_slice);
        noise::estimate(cows, std::iter::empty(), &Noise::default())
    };
    let (all, sample) = (noise(1), noise(3));
    for signal in [Signal::Milk, Signal::QuarterMilk, Signal::Conductivity] {
        let (all, sample) = (all.of(signal), sample.of(signal));
        assert!((sample.spread / all.spread - 1.0).abs() < 0.01, "{signal:?}: {sample:?} of {all:?}");
        assert!((sample.memory - all.memory).abs() < 0.01, "{signal:?}: {sample:?} of {all:?}");
    }
    assert!((sample.between_signals - all.between_signals).abs() < 0.01);
}

/// Twice a day for 25 days, falling by `fall` from day 20 on.
fn herd_points(fall: f64, seed: u64) -> Vec<HerdPoint> {
    let mut chance = Chance::new(seed);
    (0..50)
        .map(|index| {
            let hour = 12.0 * f64::from(index);
            let log_effect = 0.006 * chance.normal() - if 480.0 <= hour { fall } else { 0.0 };
            HerdPoint { at: hours_on(hour), log_effect, sd: 0.008 }
        })
        .collect()
}

#[test]
fn a_herds_fall_is_found_and_a_steady_herd_is_left_alone() {
    let at = hours_on(600.0);
    let found = judge_herd(&herd_points(0.05, 1), at, &settings()).unwrap();
    assert_eq!(found.cause, Cause::HerdMilk);
    assert!(0.8 < found.probability, "{found:?}");
    assert!(hours_on(456.0) < found.since && found.since < hours_on(504.0), "{found:?}");
    let reason = found.reasons[0];
    assert!((reason.expected - reason.observed - 5.0).abs() < 1.0, "{reason:?}");
    for seed in 0..40 {
        let steady = judge_herd(&herd_points(0.0, 100 + seed), at, &settings());
        assert!(steady.is_none_or(|finding| finding.probability < 0.2), "{seed}");
    }
    assert!(judge_herd(&[], at, &settings()).is_none());
}

#[test]
fn a_herd_that_chews_less_is_found_the_same_way() {
    let at = hours_on(600.0);
    let found = judge_intake(Signal::Eating, &herd_points(0.10, 1), at, &settings()).unwrap();
    assert_eq!((found.cause, found.reasons[0].signal), (Cause::HerdIntake, Signal::Eating));
    assert!(0.8 < found.probability, "{found:?}");
    for seed in 0..40 {
        let steady = judge_intake(Signal::Eating, &herd_points(0.0, 300 + seed), at, &settings());
        assert!(steady.is_none_or(|finding| finding.probability < 0.2), "{seed}");
    }
}

#[test]
fn a_herds_call_keeps_its_name_while_its_onset_moves() {
    let points = herd_points(0.05, 1);
    let named: Vec<_> = (0..10)
        .map(|round| judge_herd(&points, hours_on(500.0 + 12.0 * f64::from(round)), &settings()).unwrap())
        .collect();
    assert!(named.iter().all(|finding| 0.0 < finding.worth), "shown at every round: {named:?}");
    assert!(named.iter().all(|finding| finding.episode == named[0].episode), "{named:?}");
    assert!(hours_on(456.0) < named[0].episode && named[0].episode < hours_on(504.0), "{named:?}");
}

#[test]
fn calls_are_cut_by_worth_and_urgent_ones_never() {
    let at = hours_on(600.0);
    let mut found = judge_herd(&herd_points(0.05, 1), at, &settings()).unwrap();
    let mut settings = settings();
    settings.most_calls_a_day = 1;
    let mut urgent = found.clone();
    urgent.urgency = Urgency::Now;
    urgent.worth = 1.0;
    let mut dear = found.clone();
    dear.worth = 200.0;
    dear.urgency = Urgency::Today;
    found.worth = -1.0;
    let shown = cut(vec![urgent, found, dear], &settings);
    assert_eq!(shown.iter().map(|one| one.worth).collect::<Vec<_>>(), [200.0, 1.0]);
}

/// Six milkings of a cow who gives 2 kg less than expected since the third last, and as expected at the last.
fn milk_of(hours: [f64; 6]) -> Series {
    let shown = vec![(12.0, 12.0), (12.2, 12.0), (12.0, 12.1), (10.0, 12.0), (9.0, 11.0), (11.9, 12.1)];
    Series {
        signal: Signal::Milk,
        quarter: None,
        hours: hours.to_vec(),
        gap: shown.iter().map(|(observed, expected): &(f64, f64)| (observed / expected).ln()).collect(),
        per_spread: vec![8.0; 6],
        memory: vec![0.0; 6],
        error: vec![0.0; 6],
        wide: false,
        tail: 5.0,
        shown,
    }
}

#[test]
fn a_long_case_is_told_by_its_mean_and_a_short_one_by_its_last_telling_reading() {
    // The onset 60 h ago: (10.0 + 9.0 + 11.9) / 3 and (12.0 + 11.0 + 12.1) / 3.
    let (observed, expected) =
        milk_of([-130.0, -100.0, -80.0, -50.0, -30.0, -5.0]).telling(-60.0, true).unwrap();
    assert!((observed - 10.3).abs() < 1e-9 && (expected - 11.7).abs() < 1e-9, "{observed} of {expected}");
    // A reading of twice the spread counts a quarter: (64 · 10.0 + 16 · 9.0 + 64 · 11.9) / 144.
    let mut wider = milk_of([-130.0, -100.0, -80.0, -50.0, -30.0, -5.0]);
    wider.per_spread[4] = 4.0;
    let (observed, _) = wider.telling(-60.0, true).unwrap();
    assert!((observed - 10.733).abs() < 1e-3, "{observed}");
    let short = milk_of([-60.0, -44.0, -40.0, -24.0, -14.0, -5.0]);
    assert_eq!(short.telling(-30.0, true), Some((11.9, 12.1)), "the last one below what was expected");
    assert_eq!(short.telling(-30.0, false), Some((11.9, 12.1)), "none is above: the last one");
    assert_eq!(short.telling(-45.0, false), Some((12.2, 12.0)), "the last one above");
}
