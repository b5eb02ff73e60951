//! A fit of pens from logs that were written down by hand, so that their truth is known.

#![allow(clippy::panic, clippy::unwrap_used, reason = "helpers of tests")]

use cowpath_core::traffic::{
    Cows,
    fit::{TooLittle, fit},
    fit_log::{Came, Known, Log, Open, Shown, Shut, Stay},
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
