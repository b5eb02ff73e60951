//! A fit of pens from logs that were written down by hand, so that their truth is known.

#![allow(clippy::panic, clippy::unwrap_used, reason = "helpers of tests")]

use cowpath_core::traffic::{
    Cows,
    drive::smooth,
    fit::{TooLittle, fit},
    fit_log::{Came, Known, Log, Open, Shown, Shut, Stay, hour_errors},
    streams::Stream,
};

/// Cows that come every `every` minutes by turns, are milked for `minutes`, and give a kg an hour.
fn orderly(cows: u32, days: u32, every: f64, minutes: f64) -> Log {
    let end = 1440.0 * f64::from(days);
    let mut stays = Vec::new();
    for cow in 0..cows {
        let mut at = every * f64::from(cow) / f64::from(cows);
        while at + minutes < end {
            let kg = every / 60.0;
            stays.push(Stay {
                cow,
                at_box: 0,
                from: at,
                to: at + minutes,
                came: Came::Milked,
                milk_kg: Some(kg),
            });
            at += every;
        }
    }
    stays.sort_by(|one, other| one.from.total_cmp(&other.from));
    let known = Known { first: Some(false), days: Some(120.0) };
    Log {
        cows: vec![known; cows as usize],
        boxes: 1,
        span: (0.0, end),
        stays,
        tells_shut: true,
        ..Log::default()
    }
}

#[test]
fn cows_that_come_late_still_make_a_pen() {
    // Every fifteen hours, never turned away: later than the hours after which people bring them.
    let setup = fit(&orderly(20, 14, 900.0, 7.0)).unwrap();
    assert!(setup.clone().scenario().is_ok(), "{:?}", setup.scenario().err());
    let mut both = setup.clone();
    both.set_shortest([13.0; 3]);
    assert!(both.scenario().is_err(), "limits that a person sets against each other are refused");
    let mut longer = setup;
    longer.shortest_by_h = 1.0;
    assert!(longer.scenario().is_ok());
    longer.shortest_by_h = 12.0;
    assert!(longer.scenario().is_err(), "a change of half a day contradicts");
}

#[test]
fn too_little_is_said() {
    assert_eq!(fit(&orderly(20, 5, 480.0, 7.0)).unwrap_err(), TooLittle::Days(5.0));
    assert!(matches!(fit(&orderly(3, 10, 480.0, 7.0)).unwrap_err(), TooLittle::Milkings(..)));
    assert!(matches!(fit(&Log::default()).unwrap_err(), TooLittle::Days(_)));
}

#[test]
fn a_box_stands_open_two_minutes_after_it_was_left() {
    let mut log = orderly(1, 1, 480.0, 10.0);
    log.shut.push(Shut { at_box: 0, from: 100.0, to: 160.0, kind: 0 });
    let open = Open::of(&log);
    // Visits 0 to 10, 480 to 490, 960 to 970; closed 100 to 160.
    assert!(!open.at(11.0) && open.at(12.0) && open.at(100.0) && !open.at(130.0) && !open.at(161.0));
    assert!((open.within(0.0, 480.0) - (88.0 + 318.0)).abs() < 1e-9, "{}", open.within(0.0, 480.0));
    assert!(open.at(480.0), "who enters a box that stood open found it so");
}

#[test]
fn what_a_log_shows_is_what_was_written() {
    let shown = Shown::of(&orderly(40, 20, 480.0, 8.0));
    assert!((shown.interval_h - 8.0).abs() < 1e-9 && (shown.milkings - 3.0).abs() < 0.06, "{shown:?}");
    assert!((shown.idle - (1.0 - 40.0 * 3.0 * 8.0 / 1440.0)).abs() < 0.01, "{shown:?}");
    assert!((shown.by_hour.iter().sum::<f64>() - 120.0).abs() < 1.0, "{shown:?}");
}

#[test]
fn a_visit_is_taken_apart_into_handling_and_flow() {
    // Minutes = 3 + kg / flow, flows of 2 and 4 kg/min by turns, kg scattered about 10.
    let mut log = orderly(20, 30, 500.0, 7.0);
    for (place, stay) in log.stays.iter_mut().enumerate() {
        let kg = 10.0 + 3.0 * ((place * 37 % 100) as f64 / 50.0 - 1.0);
        stay.milk_kg = Some(kg);
        stay.to = stay.from + 3.0 + kg / if stay.cow % 2 == 0 { 2.0 } else { 4.0 };
    }
    let setup = fit(&log).unwrap();
    assert!((setup.service.handling_min - 3.0).abs() < 0.15, "{:?}", setup.service);
    let Cows::Own(cows) = &setup.herd else { panic!("drawn cows") };
    let slow = cows.iter().filter(|cow| (cow.flow_kg_min - 2.0).abs() < 0.1).count();
    let fast = cows.iter().filter(|cow| (cow.flow_kg_min - 4.0).abs() < 0.25).count();
    assert_eq!((slow, fast), (10, 10), "{cows:?}");
}

#[test]
fn shortest_intervals_are_those_that_part_milked_from_turned_away() {
    let mut log = orderly(20, 30, 480.0, 7.0);
    // Each also tries three and five hours after a milking, and is turned away.
    let tries: Vec<Stay> = log
        .stays
        .iter()
        .flat_map(|stay| {
            [180.0, 300.0].map(|later| Stay {
                from: stay.from + later,
                to: stay.from + later + 1.0,
                came: Came::NotDue,
                milk_kg: None,
                ..*stay
            })
        })
        .collect();
    log.stays.extend(tries);
    log.stays.retain(|stay| stay.to < log.span.1);
    log.stays.sort_by(|one, other| one.from.total_cmp(&other.from));
    let setup = fit(&log).unwrap();
    let Cows::Own(cows) = &setup.herd else { panic!("drawn cows") };
    assert!(cows.iter().all(|cow| 5.0 < cow.minimum_h && cow.minimum_h < 8.0), "{cows:?}");
    assert!((setup.service.turned_away_min - 1.0).abs() < 1e-9);
}

#[test]
fn hours_at_which_people_fetch_are_seen() {
    // Half the cows come every 9 hours; the others only when they are fetched at six and seventeen.
    let mut log = orderly(20, 40, 540.0, 4.0);
    log.stays.retain(|stay| stay.cow < 10);
    for day in 0..40 {
        for (hour, turn) in [(6.0, 0), (17.0, 1)] {
            for cow in (10..20).filter(|cow| (cow + day + turn) % 3 != 0) {
                let from = 1440.0 * f64::from(day) + 60.0 * hour + 5.0 * f64::from(cow - 10) + 5.0;
                log.stays.push(Stay {
                    cow,
                    at_box: 0,
                    from,
                    to: from + 4.0,
                    came: Came::Milked,
                    milk_kg: Some(12.0),
                });
            }
        }
    }
    log.stays.sort_by(|one, other| one.from.total_cmp(&other.from));
    let setup = fit(&log).unwrap();
    assert_eq!(setup.fetching.rounds_h, [6.0, 17.0]);
    assert!(setup.scenario().is_ok());
}

#[test]
fn rounds_at_half_past_and_whom_they_bring_are_seen() {
    // Half the cows come every nine hours, and the others every ten or fourteen by turns; whoever is thirteen hours past a
    // milking is brought at half past six and half past sixteen.
    let mut log = orderly(40, 40, 540.0, 3.0);
    log.stays.retain(|stay| stay.cow < 20);
    let mut chance = Stream::named(1, "cows", 0, 0);
    for cow in 20..40 {
        let mut last = 600.0 * chance.unit();
        loop {
            let own = last + 60.0 * (8.0 + 16.0 * chance.unit());
            let round = [390.0, 990.0, 1830.0, 2430.0].map(|at| (last / 1440.0).floor() * 1440.0 + at);
            let brought = round.into_iter().find(|at| last + 780.0 <= *at).unwrap_or(f64::INFINITY);
            let from = own.min(brought + 20.0 * chance.unit());
            if log.span.1 - 10.0 < from {
                break;
            }
            let (came, milk_kg) = (Came::Milked, Some(12.0));
            log.stays.push(Stay { cow, at_box: 0, from, to: from + 3.0, came, milk_kg });
            last = from;
        }
    }
    log.stays.sort_by(|one, other| one.from.total_cmp(&other.from));
    let setup = fit(&log).unwrap();
    assert_eq!(setup.fetching.rounds_h, [6.5, 16.5]);
    let Cows::Own(cows) = &setup.herd else { panic!("drawn cows") };
    assert!(cows.iter().all(|cow| (cow.longest_h - 13.0).abs() < 0.6), "{:?}", cows[0]);
    // Rounds outside of the usual working hours are made too.
    let mut late = log.clone();
    for stay in &mut late.stays {
        (stay.from, stay.to) = (stay.from + 360.0, stay.to + 360.0);
    }
    late.span.1 += 360.0;
    let setup = fit(&late).unwrap();
    assert_eq!(setup.fetching.rounds_h, [12.5, 22.5]);
    assert!(22.5 <= setup.fetching.working_h.1);
}

#[test]
fn cows_let_in_again_soon_are_told_from_a_short_shortest_interval() {
    // Each tries after three hours and is turned away, but for one time in eleven: of twenty cows each has her turn.
    let mut log = orderly(20, 30, 480.0, 7.0);
    let tries: Vec<Stay> = log
        .stays
        .iter()
        .enumerate()
        .map(|(place, stay)| {
            let from = stay.from + 180.0;
            let is_in = place % 11 == 3;
            let came = if is_in { Came::Milked } else { Came::NotDue };
            Stay {
                from,
                to: from + if is_in { 5.0 } else { 1.0 },
                came,
                milk_kg: is_in.then_some(2.0),
                ..*stay
            }
        })
        .collect();
    log.stays.extend(tries);
    log.stays.retain(|stay| stay.to < log.span.1);
    log.stays.sort_by(|one, other| one.from.total_cmp(&other.from));
    let setup = fit(&log).unwrap();
    assert!((setup.service.again_share - 1.0 / 11.0).abs() < 0.003, "{:?}", setup.service);
    let Cows::Own(cows) = &setup.herd else { panic!("drawn cows") };
    assert!(cows.iter().all(|cow| 3.0 < cow.minimum_h), "{cows:?}");
}

#[test]
fn how_far_apart_boxes_are_cleaned_is_seen_whichever_is_first() {
    for (first, second) in [(0, 1), (1, 0)] {
        let mut log = orderly(20, 20, 480.0, 7.0);
        log.boxes = 2;
        for day in 0..20 {
            for hour in [4.0, 20.0] {
                for (at_box, turn) in [(first, 0.0), (second, 40.0)] {
                    let from = 1440.0 * f64::from(day) + 60.0 * hour + turn;
                    log.shut.push(Shut { at_box, from, to: from + 15.0, kind: 0 });
                }
            }
        }
        let closures = fit(&log).unwrap().closures;
        assert_eq!(closures.cleaned_h, [4.0, 20.0]);
        assert!((closures.cleaned_apart_min - 40.0).abs() < 1e-9, "{closures:?}");
        assert!((closures.cleaning_min - 15.0).abs() < 1e-9, "{closures:?}");
    }
}

#[test]
fn what_counting_puts_into_a_day_is_shrunk_away_and_what_the_day_has_is_kept() {
    let wave = |place: usize, harmonic: f64| (harmonic * place as f64 * std::f64::consts::TAU / 48.0).cos();
    let far = |one: &[f64], other: &[f64]| -> f64 {
        one.iter().zip(other).map(|(one, other)| (one - other).powi(2)).sum::<f64>() / 48.0
    };
    let noise = 0.05_f64;
    let (mut kept, mut rough_kept) = (0.0, 0.0);
    for seed in 0..40 {
        let mut chance = Stream::named(seed, "noise", 0, 0);
        let mut with_noise = |day: &[f64]| -> Vec<f64> {
            // Twelve uniforms make a normal near enough.
            let mut normal = || (0..12).map(|_| chance.unit()).sum::<f64>() - 6.0;
            day.iter().map(|own| own + noise * normal()).collect()
        };
        let calm: Vec<f64> = (0..48).map(|place| 0.3 * wave(place, 1.0) + 0.2 * wave(place, 2.0)).collect();
        let rough: Vec<f64> =
            calm.iter().enumerate().map(|(place, own)| own + 0.4 * wave(place, 12.0)).collect();
        kept += far(&smooth(&with_noise(&calm), noise * noise), &calm) / 40.0;
        rough_kept += far(&smooth(&with_noise(&rough), noise * noise), &rough) / 40.0;
    }
    // Five of 48 coefficients carry the calm day: most of the noise of the others goes.
    assert!(kept < 0.35 * noise * noise, "{kept}");
    // The rough day is no worse than left alone, and its wave stands.
    assert!(rough_kept < noise * noise, "{rough_kept}");
    // Without noise nothing changes.
    let day: Vec<f64> = (0..48).map(|place| wave(place, 5.0) + 0.1 * wave(place, 24.0)).collect();
    assert!(far(&smooth(&day, 0.0), &day) < 1e-20);
}

#[test]
fn how_much_chance_moves_an_hour_is_told_by_its_days() {
    let mut log = orderly(1, 20, 1440.0, 5.0);
    let one = log.stays[0];
    // Alternately ten and twenty visits from five to six.
    log.stays = (0..20_i32)
        .flat_map(|day| (0..10 + 10 * (day % 2)).map(move |turn| (day, turn)))
        .map(|(day, turn)| {
            let from = 1440.0 * f64::from(day) + 300.0 + 2.0 * f64::from(turn);
            Stay { from, to: from + 1.0, ..one }
        })
        .collect();
    let errors = hour_errors(&log);
    // Standard deviation 5·√(20/19), of a mean of 15, over √20 days.
    assert!(
        (errors[5] - 5.0 * (20.0_f64 / 19.0).sqrt() / 20.0_f64.sqrt() / 15.0).abs() < 1e-12,
        "{errors:?}"
    );
    log.span.1 = 1440.0;
    assert!(hour_errors(&log).is_empty());
}
