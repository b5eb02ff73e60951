//! What is called in time, what is not called, and what cannot be told.

use super::made::{ALL, CALM_D, Fitted, Made, What, Wrong, made, rounds, shown};
use crate::{
    causes::{
        Cause, Finding, Settings, Urgency,
        boxes::{
            BoxFault, BoxLog, Boxes, ClockOff, LogEnds, clock_off, clock_speaks, clocks::explains,
            judge_boxes, log_ends,
        },
    },
    expect::{Herd, Parameters, Scored, Signal},
    herd::{BoxKey, Quarter, Stage},
};

const STILL: &dyn Fn(f64) -> f64 = &|_| 0.0;

/// What a round so many days in shows.
fn round(made: &Made, at_d: f64) -> Vec<BoxFault> {
    rounds(made, &[24.0 * at_d]).remove(0)
}

/// The boxes and cups a cause is shown on.
fn shown_on(faults: &[BoxFault], cause: Cause) -> Vec<(BoxKey, Option<Quarter>)> {
    let own = shown(faults).into_iter().filter(|fault| fault.finding.cause == cause);
    own.filter_map(|fault| Some((fault.of_box()?, fault.finding.quarter))).collect()
}

fn wrong(at_box: u16, what: What, size: f64, grows_d: f64) -> Wrong {
    Wrong { at_box, what, size, grows_d, lasts_d: 20.0 }
}

#[test]
fn a_step_is_named_on_its_box_and_cup_within_a_day() {
    let cases = [
        (What::Meter, Cause::MilkMeter, -0.10, None),
        (What::Meter, Cause::MilkMeter, 0.10, None),
        (What::Probe(2), Cause::ConductivityProbe, 0.6, Some(Quarter::LeftRear)),
        (What::Probe(1), Cause::ConductivityProbe, -0.6, Some(Quarter::RightFront)),
        (What::Cup(3), Cause::Attachment, 0.25, Some(Quarter::RightRear)),
        (What::Dispenser, Cause::FeedDispenser, 0.3, None),
    ];
    let mut missed = Vec::new();
    for (what, cause, size, cup) in cases {
        for (boxes, seed) in [(2, 11), (3, 12)] {
            let made = made(seed, boxes, CALM_D + 1.05, wrong(1, what, size, 0.0), ALL, STILL);
            if shown_on(&round(&made, CALM_D + 1.0), cause) != [(BoxKey(1), cup)] {
                missed.push((cause, size, boxes));
            }
        }
    }
    assert!(missed.is_empty(), "{missed:?}");
}

#[test]
fn a_drift_is_named_within_a_day_of_reaching_six_per_cent() {
    for (what, cause, size, at_six) in
        [(What::Meter, Cause::MilkMeter, -0.10, 0.6), (What::Probe(0), Cause::ConductivityProbe, 0.8, 0.375)]
    {
        for (boxes, seed) in [(2, 21), (3, 22)] {
            let six_d = 8.0 * f64::powf(at_six, 1.0 / 1.5);
            let made = made(seed, boxes, CALM_D + six_d + 1.05, wrong(0, what, size, 8.0), ALL, STILL);
            let faults = round(&made, CALM_D + six_d + 1.0);
            let on: Vec<_> = shown_on(&faults, cause);
            assert_eq!(on.len(), 1, "{cause:?} {boxes}: {faults:?}");
            // Of two meters that drift apart either is named, with the other beside it; of a probe the right one.
            let named = shown(&faults).into_iter().find(|fault| fault.finding.cause == cause).unwrap();
            assert!(on[0].0 == BoxKey(0) || named.instead == Some(BoxKey(0)), "{cause:?} {boxes}: {named:?}");
        }
    }
}

#[test]
fn one_fault_is_one_call_from_its_first_to_its_last_round() {
    for (what, cause, size) in
        [(What::Probe(2), Cause::ConductivityProbe, 0.7), (What::Dispenser, Cause::FeedDispenser, 0.3)]
    {
        let made =
            made(31, 2, CALM_D + 15.0, Wrong { lasts_d: 9.0, ..wrong(0, what, size, 0.0) }, ALL, STILL);
        let at_h: Vec<f64> = (0..28).map(|half| 24.0 * (CALM_D + 0.5) + 12.0 * f64::from(half)).collect();
        let rounds = rounds(&made, &at_h);
        let mut names: Vec<_> = rounds
            .iter()
            .flat_map(|faults| shown(faults))
            .map(|fault| (fault.finding.cause, fault.of_box(), fault.finding.episode))
            .collect();
        let times = names.len();
        names.dedup();
        assert_eq!(names.len(), 1, "{names:?}");
        assert_eq!((names[0].0, names[0].1), (cause, Some(BoxKey(0))));
        // From the first or second round on, and no longer than two days after it was mended.
        assert!((16..=22).contains(&times), "{times}");
    }
}

#[test]
fn sound_boxes_are_left_alone() {
    let mut wrong_calls = Vec::new();
    for (boxes, seed) in [(1, 41), (2, 42), (3, 43)] {
        let made = made(seed, boxes, CALM_D + 20.0, Wrong::none(), ALL, STILL);
        let at_h: Vec<f64> = (0..40).map(|half| 24.0 * CALM_D + 12.0 * f64::from(half)).collect();
        for faults in rounds(&made, &at_h) {
            let own = shown(&faults).into_iter().filter(|fault| 0.3 < fault.finding.probability);
            wrong_calls.extend(own.map(|fault| (boxes, fault.finding.cause, fault.finding.episode)));
        }
    }
    wrong_calls.dedup();
    assert!(wrong_calls.is_empty(), "{wrong_calls:?}");
}

#[test]
fn a_herd_that_falls_is_no_box() {
    let heat = |hour: f64| if 24.0 * CALM_D <= hour { -0.10 } else { 0.0 };
    for boxes in [1, 2, 3] {
        let made = made(51, boxes, CALM_D + 2.05, Wrong::none(), ALL, &heat);
        let faults = round(&made, CALM_D + 2.0);
        assert!(shown_on(&faults, Cause::MilkMeter).is_empty(), "{boxes}: {faults:?}");
    }
}

#[test]
fn the_tank_says_which_of_two_meters_drifted_and_without_it_both_are_said() {
    let slow = Wrong { lasts_d: 40.0, ..wrong(1, What::Meter, -0.12, 10.0) };
    let made = made(61, 2, CALM_D + 16.1, slow, ALL, STILL);
    let with = round(&made, CALM_D + 16.0);
    assert_eq!(shown_on(&with, Cause::MilkMeter), [(BoxKey(1), None)], "{with:?}");
    let named = |faults: &[BoxFault]| {
        faults.iter().find(|fault| fault.finding.cause == Cause::MilkMeter).cloned().unwrap()
    };
    assert!(named(&with).tank_says);
    let without = Made { pickups: Vec::new(), ..made };
    let faults = round(&without, CALM_D + 16.0);
    let without = named(&faults);
    assert!(!without.tank_says);
    assert!(without.finding.probability < named(&with).finding.probability);
}

#[test]
fn one_meter_is_held_against_the_tank_alone() {
    let off = Wrong { lasts_d: 40.0, ..wrong(0, What::Meter, -0.12, 0.0) };
    let made = made(71, 1, CALM_D + 7.1, off, ALL, STILL);
    assert_eq!(shown_on(&round(&made, CALM_D + 7.0), Cause::MilkMeter), [(BoxKey(0), None)]);
    let without = Made { pickups: Vec::new(), ..made };
    assert!(shown_on(&round(&without, CALM_D + 7.0), Cause::MilkMeter).is_empty());
}

#[test]
fn what_is_not_measured_says_nothing() {
    let bare = Fitted { quarters: false, conductivity: false, feed: false, states: false, tank: false };
    for what in [What::Probe(1), What::Cup(1), What::Dispenser] {
        let made = made(81, 2, CALM_D + 2.05, wrong(0, what, 0.5, 0.0), bare, STILL);
        let faults = round(&made, CALM_D + 2.0);
        let silent = [Cause::ConductivityProbe, Cause::Attachment, Cause::FeedDispenser]
            .map(|cause| shown_on(&faults, cause));
        assert!(silent.iter().all(Vec::is_empty), "{silent:?}");
    }
}

#[test]
fn a_standstill_is_told_while_it_lasts_and_after() {
    let stands = |lasts_d| Wrong { lasts_d, ..wrong(1, What::Stands, 1.0, 0.0) };
    let hours = made(91, 2, CALM_D + 1.0, stands(0.2), ALL, STILL);
    let days = made(91, 2, CALM_D + 3.0, stands(2.0), ALL, STILL);
    for (made, hours, goes_on) in [(&hours, 4.0, true), (&hours, 14.0, false), (&days, 40.0, true)] {
        let faults = round(made, CALM_D + hours / 24.0);
        let shown: Vec<_> =
            shown(&faults).into_iter().filter(|fault| fault.finding.cause == Cause::IdleFault).collect();
        assert_eq!(shown.len(), 1, "{faults:?}");
        assert_eq!((shown[0].of_box(), shown[0].goes_on), (Some(BoxKey(1)), goes_on));
        assert!(0.5 < shown[0].finding.probability, "{}", shown[0].finding.probability);
        // Of visits its reason says how many a day the box has, however long it stands.
        let a_day = shown[0].finding.reasons[0].expected;
        assert!((100.0..200.0).contains(&a_day), "{a_day}");
        // Two days without a visit are as good as certain, and still have a weight.
        assert!(shown[0].finding.reasons.iter().all(|own| own.weight.is_finite()), "{faults:?}");
        // Nobody is sent out at once for a box that milks again.
        assert_eq!(shown[0].finding.urgency == Urgency::Now, goes_on, "{:?}", shown[0].finding.urgency);
    }
}

#[test]
fn a_meter_that_always_says_the_same_is_told_once() {
    let frozen = wrong(0, What::Frozen, 1.0, 0.0);
    let made = made(95, 2, CALM_D + 1.05, frozen, ALL, STILL);
    let faults = round(&made, CALM_D + 1.0);
    let meters: Vec<_> = faults
        .iter()
        .filter(|fault| fault.finding.cause == Cause::MilkMeter)
        .filter(|fault| 0.0 < fault.finding.worth)
        .collect();
    assert_eq!(meters.len(), 1, "{meters:?}");
    assert!(meters[0].frozen.is_some_and(|times| 50 < times), "{meters:?}");
    assert_eq!(meters[0].of_box(), Some(BoxKey(0)));
}

#[test]
fn a_probe_that_always_says_the_same_is_told_on_the_box_and_on_no_cow() {
    let mut made = made(98, 2, CALM_D + 2.05, Wrong::none(), ALL, STILL);
    let broke = super::made::hours_on(24.0 * CALM_D);
    for visit in &mut made.visits {
        if visit.at_box == BoxKey(0) && broke <= visit.started_at {
            visit.quarters[1].ms_cm = visit.quarters[1].ms_cm.map(|_| 4.2);
        }
    }
    let faults = round(&made, CALM_D + 2.0);
    let told = shown(&faults);
    let [one] = told.as_slice() else { panic!("{faults:?}") };
    assert_eq!((one.of_box(), one.finding.cause), (Some(BoxKey(0)), Cause::ConductivityProbe));
    assert_eq!((one.finding.quarter, one.level), (Some(Quarter::RightFront), 4.2));
    assert!(one.frozen.is_some_and(|times| 50 < times), "{one:?}");
    // Read as conductivity it would be the cows': of 4.2 in that quarter nothing is left but the first few.
    let mut herd = Herd::new(Parameters::prior());
    let mut visits: Vec<_> = made.visits.iter().collect();
    visits.sort_by_key(|visit| visit.ended_at);
    let stage = Stage { parity: Some(2), calved_at: None, days_in_milk: Some(100.0), dry: false };
    let read = |scored: &Scored| {
        let departures = scored.departures.iter();
        departures
            .filter(|own| own.signal == Signal::Conductivity && own.quarter == Some(Quarter::RightFront))
            .count()
    };
    let taken: Vec<Scored> = visits.iter().filter_map(|visit| herd.take(visit, &stage, 12.0)).collect();
    let of_it = taken.iter().filter(|own| own.at_box == BoxKey(0) && broke <= own.started_at);
    let left: usize = of_it.clone().map(read).sum();
    assert!(100 < of_it.count() && left < 10, "{left}");
}

#[test]
fn a_clock_that_is_off_is_told_and_a_right_one_is_not() {
    use jiff::SignedDuration;
    for (boxes, seed) in [(2, 96), (3, 97)] {
        let made = made(seed, boxes, 12.0, Wrong::none(), ALL, STILL);
        let log = |late_h: i64| {
            let mut log = BoxLog::new();
            for visit in &made.visits {
                let mut own = *visit;
                if own.at_box == BoxKey(1) && super::made::hours_on(216.0) < own.started_at {
                    own.started_at += SignedDuration::from_hours(late_h);
                    own.ended_at += SignedDuration::from_hours(late_h);
                }
                log.take(own.life, &own);
            }
            log
        };
        let at = super::made::hours_on(288.0);
        assert_eq!(clock_off(&log(0), None, at), None, "{boxes}");
        for late_h in [-3, 2, 5] {
            // Other rows go on to the end: who is behind seems to have ended.
            let off = clock_off(&log(late_h), Some(at), at).unwrap();
            assert!(off.at_box == BoxKey(1) || off.or == Some(BoxKey(1)), "{boxes} {late_h}: {off:?}");
            assert!(boxes < 3 || off.at_box == BoxKey(1) && off.or.is_none(), "{late_h}: {off:?}");
            let of_it = if off.at_box == BoxKey(1) { off.hours } else { -off.hours };
            assert!((of_it - late_h as f64).abs() < 0.6, "{boxes} {late_h}: {off:?}");
            let late = (off.from.as_second() - super::made::hours_on(216.0).as_second()) as f64 / 3600.0;
            assert!(late.abs() <= 12.0 && off.until.is_none(), "{boxes} {late_h}: {off:?}");
        }
    }
}

#[test]
fn of_one_box_without_a_tank_a_step_is_shared_with_the_herd() {
    let made = made(98, 1, CALM_D + 1.05, wrong(0, What::Meter, -0.12, 0.0), ALL, STILL);
    let without = Made { pickups: Vec::new(), ..made };
    let faults = round(&without, CALM_D + 1.0);
    let own = faults.iter().find(|fault| fault.finding.cause == Cause::MilkMeter).unwrap();
    // One meter in six such falls, by the stated rates; the rest is the herd's, and said beside it.
    assert!((0.05..0.3).contains(&own.finding.probability), "{own:?}");
    assert_eq!(own.finding.others[0].0, Cause::HerdMilk);
    assert!(own.finding.probability < own.finding.others[0].1);
}

#[test]
fn a_meter_that_is_off_makes_no_other_of_three_look_off() {
    let made = made(99, 3, CALM_D + 7.05, wrong(0, What::Meter, -0.16, 3.0), ALL, STILL);
    for days in [2.0, 4.0, 7.0] {
        let faults = round(&made, CALM_D + days);
        assert!(
            shown_on(&faults, Cause::MilkMeter).iter().all(|(key, _)| *key == BoxKey(0)),
            "{days}: {faults:?}"
        );
    }
    assert_eq!(shown_on(&round(&made, CALM_D + 7.0), Cause::MilkMeter), [(BoxKey(0), None)]);
}

/// The farm's boxes at hour 288, their visits but those `cut`, other rows known to the end.
fn known(made: &Made, cut: impl Fn(&crate::tables::Visit) -> bool) -> (Option<LogEnds>, Vec<BoxFault>) {
    let at = super::made::hours_on(288.0);
    let mut log = BoxLog::new();
    made.visits
        .iter()
        .filter(|visit| visit.ended_at <= at && !cut(visit))
        .for_each(|visit| log.take(visit.life, visit));
    let courses: Vec<_> = (0..made.boxes).map(|key| (BoxKey(key), Vec::new())).collect();
    let boxes = Boxes {
        at,
        known_until: at,
        courses: &courses,
        herd: &[],
        log: &log,
        stood: &made.stood,
        pickups: &[],
        stuck: &[],
    };
    let settings = Settings::default();
    let stands = judge_boxes(&boxes, None, &settings);
    let stands = stands
        .into_iter()
        .filter(|fault| fault.finding.cause == Cause::IdleFault && 0.5 < fault.finding.probability);
    (log_ends(&boxes, &settings), stands.collect())
}

#[test]
fn where_the_visits_of_all_boxes_end_together_no_box_is_blamed() {
    let made = made(96, 2, 12.0, Wrong::none(), ALL, STILL);
    let late = |visit: &crate::tables::Visit| super::made::hours_on(276.0) < visit.ended_at;
    let (ends, stands) = known(&made, |_| false);
    assert!(ends.is_none() && stands.is_empty(), "{ends:?} {stands:?}");
    let (ends, stands) = known(&made, late);
    assert!(ends.is_some() && stands.is_empty(), "{ends:?} {stands:?}");
    // One that stands still beside another that goes on is seen by it.
    let (ends, stands) = known(&made, |visit| visit.at_box == BoxKey(1) && late(visit));
    assert!(
        ends.is_none() && stands.len() == 1 && stands[0].of_box() == Some(BoxKey(1)),
        "{ends:?} {stands:?}"
    );
}

#[test]
fn what_a_clock_explains_is_no_fault_of_the_box() {
    let made = made(96, 2, 12.0, Wrong::none(), ALL, STILL);
    let behind = |visit: &crate::tables::Visit| {
        visit.at_box == BoxKey(1) && super::made::hours_on(284.0) < visit.ended_at
    };
    let (_, stands) = known(&made, behind);
    let off = |hours: f64| ClockOff {
        at_box: BoxKey(1),
        hours,
        or: None,
        from: super::made::hours_on(240.0),
        until: None,
    };
    let fault = stands.first().unwrap();
    assert!(explains(&off(-4.0), fault) && !explains(&off(-1.0), fault), "{fault:?}");
    assert!(!explains(&ClockOff { at_box: BoxKey(0), ..off(-4.0) }, fault));
    // Set right a day before: what began since is the box's own.
    let mended = ClockOff { until: Some(super::made::hours_on(260.0)), ..off(-4.0) };
    assert!(!explains(&mended, fault));
    // And so for a cow: milk alone tells nothing while the clock is off, and all again afterwards.
    let told = |signal| Finding {
        subject: crate::causes::Subject::Cow(crate::herd::LifeKey(1)),
        reasons: vec![crate::causes::Reason {
            signal,
            quarter: None,
            observed: 8.0,
            expected: 12.0,
            weight: 3.0,
        }],
        ..fault.finding.clone()
    };
    assert!(clock_speaks(&off(-4.0), &told(Signal::Milk)) && !clock_speaks(&mended, &told(Signal::Milk)));
    assert!(!clock_speaks(&off(-4.0), &told(Signal::Conductivity)));
}
