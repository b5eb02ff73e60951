//! Is it counted as stated? Hand-made truth and calls, one for each rule of counting.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use cowpath_core::causes::Urgency;
use jiff::{SignedDuration, Timestamp};

use super::{
    Asked, calibration,
    count::{self, Excuse, Figure},
    curve, faults,
    heard::{Heard, Said},
    report,
    rows::{self, Row},
    rules::Mark,
    truth::{Case, Fault, Happening},
    without::Dropped,
};

mod logs;

/// So many hours after the first round of the hand-made herd.
fn h(hours: f64) -> Timestamp {
    "2026-01-01T05:30:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs((hours * 3600.0) as i64)
}

/// Rounds every 12 h over 30 days, ten cow-days a day; cow 7 is judged at each.
fn herd() -> Heard {
    let rounds: Vec<(Timestamp, f64)> = (0..=60).map(|round| (h(12.0 * f64::from(round)), 5.0)).collect();
    let judged = rounds.iter().map(|round| round.0).collect();
    Heard { rounds, judged: [("7".to_owned(), judged)].into(), ..Heard::default() }
}

fn case(kind: &str, began_h: f64, ended_h: f64) -> Case {
    Case {
        animal: "7".into(),
        kind: kind.into(),
        form: "fast".into(),
        quarter: (kind == "udder").then(|| "LR".into()),
        began: h(began_h),
        first_sign: h(began_h + 10.0),
        noticed: Some(h(began_h + 50.0)),
        ended: h(ended_h),
        clinical: true,
        milk_loss: 0.3,
    }
}

fn say(heard: &mut Heard, id: &str, cause: &'static str, at_h: f64, shown: Option<Urgency>) {
    let quarter = (cause == "udder").then_some("LR");
    let said = Said { at: h(at_h), id: id.into(), cause, quarter, probability: 0.8, shown };
    heard.said.entry(("cow", "7".into())).or_default().push(said);
}

fn say_box(heard: &mut Heard, cause: &'static str, at_h: f64, quarter: Option<&'static str>) {
    let said = Said {
        at: h(at_h),
        id: format!("1~{cause}"),
        cause,
        quarter,
        probability: 0.8,
        shown: Some(Urgency::Today),
    };
    heard.said.entry(("box", "1".into())).or_default().push(said);
}

/// False calls now or today, as counted.
fn false_calls(heard: &Heard, excuse: Excuse, urgent: bool) -> u32 {
    count::false_calls(std::slice::from_ref(heard), excuse, urgent, |_| true).n()
}

/// The row that begins so.
fn row_of(heard: Heard, what: &str) -> Row {
    let herds = [heard];
    let beside = curve::beside(&herds);
    rows::rows(&herds, 1, &beside).into_iter().find(|row| row.what.starts_with(what)).unwrap()
}

/// What a row says: so many of so many.
fn share_of(heard: Heard, what: &str) -> (u32, u32) {
    match row_of(heard, what).figure {
        Figure::Share { part, whole } => (part, whole),
        other => panic!("{other:?}"),
    }
}

const UDDER_24: &str = "clinical udder cases called within 24 h";
const NOW: Option<Urgency> = Some(Urgency::Now);

#[test]
fn a_call_is_false_three_days_from_any_case_and_not_before() {
    for (began_h, ended_h, counted) in
        [(10.0, 200.0 - 71.9, 0), (10.0, 200.0 - 72.1, 1), (224.0 + 71.9, 400.0, 0), (224.0 + 72.1, 400.0, 1)]
    {
        let mut heard = herd();
        // Three rounds, one call: a case is near its last round as well as its first.
        [200.0, 212.0, 224.0].iter().for_each(|at_h| say(&mut heard, "a", "udder", *at_h, NOW));
        heard.truth.cases = vec![case("udder", began_h, ended_h)];
        assert_eq!(false_calls(&heard, Excuse::Kind, true), counted, "{began_h} to {ended_h}");
    }
}

#[test]
fn a_call_counts_once_and_two_identities_twice() {
    let mut heard = herd();
    (0..5).for_each(|round| say(&mut heard, "a", "udder", 200.0 + 12.0 * f64::from(round), NOW));
    assert_eq!(false_calls(&heard, Excuse::Kind, true), 1);
    say(&mut heard, "b", "udder", 272.0, NOW);
    assert_eq!(false_calls(&heard, Excuse::Kind, true), 2);
    assert_eq!(count::false_calls(&[heard], Excuse::Kind, true, |_| true).value(), Some(100.0 * 2.0 / 305.0));
}

#[test]
fn a_look_in_passing_is_no_false_call_but_beside_them() {
    let mut heard = herd();
    say(&mut heard, "a", "udder", 200.0, Some(Urgency::Watch));
    say(&mut heard, "b", "udder", 200.0, None);
    assert_eq!(false_calls(&heard, Excuse::Kind, true), 0);
    assert_eq!(false_calls(&heard, Excuse::Kind, false), 1);
    say(&mut heard, "a", "udder", 212.0, Some(Urgency::Today));
    assert_eq!(false_calls(&heard, Excuse::Kind, true), 1);
}

#[test]
fn a_heat_excuses_a_heat_call_and_an_illness_any_other() {
    for (kind, cause, by_kind) in [
        ("heat", "heat", 0),
        ("heat", "gut", 1),
        ("feet", "gut", 0),
        ("feet", "heat", 1),
        ("feet", "unclear", 0),
    ] {
        let mut heard = herd();
        heard.truth.cases = vec![case(kind, 195.0, 210.0)];
        say(&mut heard, "a", cause, 200.0, NOW);
        assert_eq!(false_calls(&heard, Excuse::Kind, true), by_kind, "{kind} {cause}");
        assert_eq!(false_calls(&heard, Excuse::Any, true), 0, "{kind} {cause}");
    }
    let mut heard = herd();
    heard.truth.cases = vec![Case { animal: "8".into(), ..case("udder", 195.0, 210.0) }];
    say(&mut heard, "a", "udder", 200.0, NOW);
    assert_eq!(false_calls(&heard, Excuse::Any, true), 1, "another cow's case");
}

#[test]
fn called_in_time_is_by_a_round_not_later_than_a_day_after_the_first_sign() {
    // First departure at 200, first sign at 210.
    let counted = |at_h: f64, cause: &'static str, shown: Option<Urgency>, quarter: &str| {
        let mut heard = herd();
        heard.truth.cases = vec![Case { quarter: Some(quarter.into()), ..case("udder", 200.0, 300.0) }];
        say(&mut heard, "a", cause, at_h, shown);
        share_of(heard, UDDER_24)
    };
    assert_eq!(counted(234.0, "udder", NOW, "LR"), (1, 1));
    assert_eq!(counted(234.1, "udder", NOW, "LR"), (0, 1));
    assert_eq!(counted(200.0, "udder", Some(Urgency::Watch), "LR"), (1, 1));
    assert_eq!(counted(199.9, "udder", NOW, "LR"), (0, 1), "before anything was to be seen");
    assert_eq!(counted(234.0, "udder", None, "LR"), (0, 1), "not shown");
    assert_eq!(counted(234.0, "gut", NOW, "LR"), (0, 1), "another cause");
    assert_eq!(counted(234.0, "udder", NOW, "RF"), (0, 1), "another quarter");
}

#[test]
fn cases_are_asked_for_while_rounds_are_made_and_two_days_longer() {
    for (began_h, asked) in [(-10.1, 0), (-10.0, 1), (720.0 - 58.0, 1), (720.0 - 57.9, 0)] {
        let mut heard = herd();
        heard.truth.cases = vec![case("udder", began_h, 800.0)];
        assert_eq!(share_of(heard, UDDER_24).1, asked, "{began_h}");
    }
    let mut heard = herd();
    heard.truth.cases = vec![Case { clinical: false, ..case("udder", 200.0, 300.0) }];
    assert_eq!(share_of(heard, UDDER_24).1, 0, "nothing to be seen at the cow");
}

#[test]
fn a_heat_is_called_within_a_day_of_the_rise_of_activity() {
    for (at_h, part) in [(224.0, 1), (224.1, 0)] {
        let mut heard = herd();
        heard.truth.cases = vec![Case { clinical: false, ..case("heat", 200.0, 212.0) }];
        say(&mut heard, "a", "heat", at_h, NOW);
        let silent = share_of(heard, "… silent heats");
        assert_eq!(silent, (part, 1));
    }
}

#[test]
fn early_is_a_day_before_people_notice_and_unnoticed_is_not_asked() {
    // Noticed at 250.
    for (at_h, noticed, counted) in [(226.0, true, (1, 1)), (226.1, true, (0, 1)), (210.0, false, (0, 0))] {
        let mut heard = herd();
        let noticed = noticed.then(|| h(250.0));
        heard.truth.cases = vec![Case { noticed, ..case("gut", 200.0, 300.0) }];
        say(&mut heard, "a", "gut", at_h, Some(Urgency::Watch));
        assert_eq!(share_of(heard, "metabolic, gut, feet called"), counted);
    }
    let mut heard = herd();
    heard.truth.cases = vec![case("gut", 200.0, 300.0)];
    say(&mut heard, "a", "unclear", 210.0, NOW);
    let any = share_of(heard, "… called as any illness");
    assert_eq!(any, (1, 1));
}

#[test]
fn heat_is_told_from_illness_by_the_likeliest_of_the_first_round() {
    let told = |milk_loss: f64, first: &'static str| {
        let mut heard = herd();
        heard.truth.cases = vec![Case { milk_loss, ..case("heat", 200.0, 212.0) }];
        say(&mut heard, "a", first, 204.0, NOW);
        say(&mut heard, "b", "heat", 216.0, NOW);
        share_of(heard, "heat told from illness")
    };
    assert_eq!(told(0.1, "heat"), (1, 1));
    assert_eq!(told(0.1, "gut"), (0, 1));
    assert_eq!(told(0.09, "gut"), (0, 0), "not down in milk");
}

#[test]
fn one_case_under_two_identities_is_seen() {
    let mut heard = herd();
    heard.truth.cases = vec![case("udder", 200.0, 300.0)];
    say(&mut heard, "a", "udder", 150.0, NOW);
    say(&mut heard, "a", "udder", 204.0, NOW);
    say(&mut heard, "b", "udder", 216.0, NOW);
    say(&mut heard, "c", "udder", 301.0, NOW);
    assert_eq!(count::identities(&heard, &heard.truth.cases[0]), ["a", "b"]);
    let standing = share_of(heard, "udder cases called under an identity");
    assert_eq!(standing, (1, 1));
}

#[test]
fn calibration_takes_what_was_shown_while_the_case_holds() {
    let mut heard = herd();
    heard.truth.cases = vec![case("gut", 200.0, 300.0)];
    for (cause, at_h, holds) in [
        ("gut", 300.0, true),
        ("gut", 300.1, false),
        ("unclear", 250.0, true),
        ("heat", 250.0, false),
        ("gut", 199.9, false),
    ] {
        let said = Said { at: h(at_h), id: "a".into(), cause, quarter: None, probability: 0.8, shown: NOW };
        assert_eq!(calibration::held(&heard, "cow", "7", &said), holds, "{cause} {at_h}");
    }
    say(&mut heard, "a", "gut", 212.0, NOW);
    say(&mut heard, "a", "gut", 312.0, NOW);
    say(&mut heard, "a", "gut", 324.0, None);
    let tenths = calibration::tenths(&heard)[&("cow", "gut")];
    assert_eq!(tenths[8], (1.6, 1.0, 2.0));
    // Two stated at 0.8, one held: |1.6 − 1| / 2.
    assert!((calibration::error(&tenths).unwrap() - 0.3).abs() < 1e-12);
}

#[test]
fn the_error_of_calibration_adds_over_tenths() {
    let mut tenths = calibration::Tenths::default();
    tenths[2] = (2.0, 4.0, 8.0);
    tenths[9] = (1.9, 1.0, 2.0);
    // (|2 − 4| + |1.9 − 1|) / 10: errors of one sign and the other do not make up for each other.
    assert!((calibration::error(&tenths).unwrap() - 0.29).abs() < 1e-12);
    assert_eq!(calibration::error(&calibration::Tenths::default()), None);
    let Figure::Number { between: Some((low, high)), .. } = calibration::figure(&[tenths, tenths, tenths])
    else {
        panic!("no interval")
    };
    assert!(
        (low - 0.29).abs() < 1e-12 && (high - 0.29).abs() < 1e-12,
        "equal herds leave no doubt: {low} to {high}"
    );
}

#[test]
fn marks_of_one_cow_less_than_five_days_apart_are_one_call() {
    let times = [0.0, 12.0, 131.9, 252.0];
    let stretches = curve::stretches(times.map(h));
    assert_eq!(stretches, [(h(0.0), h(131.9)), (h(252.0), h(252.0))]);
}

#[test]
fn the_curve_finds_as_many_false_calls_and_as_many_cases() {
    let mut heard = herd();
    heard.truth.cases = vec![case("udder", 200.0, 220.0)];
    let mark = |at_h: f64, strength: f64| Mark {
        at: h(at_h),
        animal: "7".into(),
        quarter: Some("LR".into()),
        strength,
    };
    // The rule calls the case, and falsely once.
    heard.rules[0] = vec![mark(212.0, 0.2), mark(500.0, 0.2)];
    // The program is surer of the case than of two other stretches.
    for (at_h, probability) in [(212.0, 0.9), (400.0, 0.5), (600.0, 0.2)] {
        say(&mut heard, &at_h.to_string(), "udder", at_h, None);
        heard.said.values_mut().next().unwrap().last_mut().unwrap().probability = probability;
    }
    let beside = &curve::beside(&[heard])[0];
    assert_eq!(beside.stands.within_24h, Figure::Share { part: 1, whole: 1 });
    assert_eq!(beside.stands.false_calls.n(), 1);
    let equal_false = beside.at_equal_false(24).unwrap();
    assert_eq!((equal_false.within_24h.value(), equal_false.false_calls.n() <= 1), (Some(1.0), true));
    assert_eq!(beside.at_equal_called(24).unwrap().false_calls.n(), 0);
    let all = beside.ours.first().unwrap();
    assert_eq!(all.false_calls.n(), 2, "from {}", all.from);
}

#[test]
fn a_fault_is_named_on_its_box_within_a_day_of_falling_due() {
    let fault = |kind: &str| Fault {
        at_box: "1".into(),
        kind: kind.into(),
        quarter: Some("RR".into()),
        drifts: true,
        from: h(200.0),
        to: h(500.0),
        due: Some(h(300.0)),
    };
    for (cause, at_h, part) in [
        ("milk-meter", 324.0, 1),
        ("milk-meter", 324.1, 0),
        ("attachment", 320.0, 0),
        ("milk-meter", 199.0, 0),
    ] {
        let mut heard = herd();
        heard.truth.faults = vec![fault("milk-meter")];
        say_box(&mut heard, cause, at_h, None);
        assert_eq!(share_of(heard, "box or probe fault named"), (part, 1), "{cause} {at_h}");
    }
    let mut heard = herd();
    heard.truth.faults = vec![fault("conductivity-probe")];
    say_box(&mut heard, "conductivity-probe", 310.0, Some("LF"));
    assert_eq!(share_of(heard, "… with the right cup"), (0, 1));
    let mut heard = herd();
    heard.truth.faults = vec![Fault { due: None, ..fault("milk-meter") }];
    assert_eq!(share_of(heard, "box or probe fault named"), (0, 0), "never grown to 6 %");
    let mut heard = herd();
    heard.truth.faults = vec![fault("milk-meter")];
    say_box(&mut heard, "milk-meter", 600.0, None);
    assert_eq!(faults::false_box_calls(&[heard], 1).0, 1, "four days after its end");
}

#[test]
fn calls_while_a_fault_is_on_are_held_against_those_while_none_is() {
    let mut heard = herd();
    // On for a quarter of the 720 h: two calls on, three off.
    heard.truth.faults = vec![Fault {
        at_box: "1".into(),
        kind: "milk-meter".into(),
        quarter: None,
        drifts: false,
        from: h(0.0),
        to: h(174.0),
        due: Some(h(0.0)),
    }];
    for (place, at_h) in [24.0, 120.0, 204.0, 300.0, 600.0].into_iter().enumerate() {
        say(&mut heard, &place.to_string(), "udder", at_h, NOW);
    }
    let meanwhile = faults::meanwhile(&[heard], &["milk-meter"], true);
    assert_eq!((meanwhile.on.n(), meanwhile.off.n()), (2, 3));
    // 2 over 15 rounds against 3 over 46.
    let up = meanwhile.up().value().unwrap();
    assert!((up - (2.0 / 75.0 / (3.0 / 230.0) - 1.0)).abs() < 1e-9, "{up}");
}

#[test]
fn a_false_call_that_falls_on_a_decoy_is_told() {
    let mut heard = herd();
    let lost = |animal: Option<&str>, from_h: f64| Happening {
        kind: "tag-lost".into(),
        animal: animal.map(str::to_owned),
        from: h(from_h),
        to: h(from_h + 10.0),
    };
    heard.truth.happenings = vec![lost(Some("7"), 200.0), lost(Some("8"), 400.0)];
    // Within a day after hers; a day and more after; during another cow's.
    [(230.0, "a"), (300.0, "b"), (404.0, "c")]
        .iter()
        .for_each(|(at_h, id)| say(&mut heard, id, "udder", *at_h, NOW));
    let fell = faults::fell(&[heard], "tag-lost", 0.0);
    assert_eq!((fell.spans, fell.calls), (2, 1));
}

#[test]
fn figures_of_nothing_are_unknown() {
    let asked = Asked { herds: 0, seed: 1, cows: 2, boxes: 1, days: 6, every_milking: false };
    let report = report::of(&asked, &Dropped::default(), &[]);
    assert!(report.rows.iter().all(|line| line.figure.value.is_none()), "{:?}", report.rows);
}
