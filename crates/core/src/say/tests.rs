//! Snapshots of the sentences, metric and US.

use insta::assert_snapshot;
use jiff::{Timestamp, tz::TimeZone};

use super::{
    Facts, Said, call, number, reason,
    summary::{self, Counts, NotJudged},
    when,
};
use crate::{
    causes::{Cause, Finding, Reason, Subject, Urgency},
    expect::Signal,
    herd::{LifeKey, Quarter, Stage},
    units::{Celsius, Kilograms, UnitSystem},
};

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn zone() -> TimeZone {
    TimeZone::get("America/New_York").unwrap()
}

fn udder(probability: f64, urgency: Urgency) -> Finding {
    let quarter = Some(Quarter::LeftRear);
    Finding {
        subject: Subject::Cow(LifeKey(3)),
        cause: Cause::Udder,
        quarter,
        probability,
        others: vec![(Cause::Well, 0.05), (Cause::Unclear, 0.02)],
        urgency,
        since: time("2026-03-02T14:10:00-05:00"),
        since_between: (time("2026-03-02T09:00:00-05:00"), time("2026-03-02T16:00:00-05:00")),
        episode: time("2026-03-02T14:10:00-05:00"),
        worth: 90.0,
        severity: 1.1,
        reasons: vec![
            Reason { signal: Signal::Conductivity, quarter, observed: 7.1, expected: 5.2, weight: 6.1 },
            Reason { signal: Signal::QuarterMilk, quarter, observed: 17.6, expected: 26.3, weight: 3.4 },
            Reason { signal: Signal::Milk, quarter: None, observed: 9.9, expected: 11.5, weight: 0.9 },
            Reason { signal: Signal::Kicks, quarter, observed: 0.5, expected: 0.02, weight: 0.2 },
            Reason { signal: Signal::Interval, quarter: None, observed: 8.4, expected: 8.4, weight: -0.4 },
        ],
    }
}

fn said(finding: &Finding, units: UnitSystem, tank: &[&str], logged: bool) -> Said {
    let zone = zone();
    let tank: Vec<Timestamp> = tank.iter().map(|text| time(text)).collect();
    call(
        finding,
        &Facts {
            animal: matches!(finding.subject, Subject::Cow(_)).then_some("214"),
            box_name: None,
            at: time("2026-03-03T05:30:00-05:00"),
            zone: &zone,
            units,
            days_in_milk: Some(87.0),
            may_be_in_tank: &tank,
            held_by_log: &[],
            destination_logged: logged,
            diagnosed_at: None,
            in_calf: false,
            inseminated_at: None,
            noted_at: None,
        },
    )
}

/// No-break spaces as plain ones, so that a snapshot reads as the farmer does.
fn whole(said: &Said) -> String {
    let reasons: Vec<String> =
        said.reasons.iter().map(|reason| format!("{} | {}", reason.name, reason.value)).collect();
    [
        said.sentence.clone(),
        said.action.clone(),
        said.why.clone(),
        format!("{} {}", said.others, said.decide),
        said.cautions.join(" / "),
        reasons.join("\n"),
    ]
    .join("\n")
    .replace(number::SPACE, " ")
}

#[test]
fn milkings_that_were_held_are_named_and_many_are_counted() {
    let (zone, finding) = (zone(), udder(0.86, Urgency::Now));
    let every_six_hours: Vec<Timestamp> = (0..9)
        .map(|index| time("2026-03-01T00:10:00-05:00") + jiff::SignedDuration::from_hours(6 * index))
        .collect();
    let facts = Facts {
        animal: Some("<b>7</b>"),
        box_name: None,
        at: time("2026-03-03T05:30:00-05:00"),
        zone: &zone,
        units: UnitSystem::Metric,
        days_in_milk: Some(4.0),
        may_be_in_tank: &every_six_hours,
        held_by_log: &every_six_hours[8..],
        destination_logged: true,
        diagnosed_at: Some(time("2026-03-02T17:05:00-05:00")),
        in_calf: false,
        inseminated_at: None,
        noted_at: None,
    };
    let said = call(&finding, &facts);
    assert_snapshot!(said.sentence.replace(number::SPACE, " "), @"<b>7</b>: left rear looks inflamed, 86 % sure.");
    assert_snapshot!(said.why.replace(number::SPACE, " "), @"Since yesterday 14:10, maybe since yesterday 09:00; diagnosed by a person yesterday 17:05; her 9 milkings from Sunday 00:10 to today 00:10 went to the tank; the milking of 00:10 was held. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.");
    assert_snapshot!(said.cautions.join(" / "), @"A hot, hard quarter or a cow that will not eat: call the veterinarian now. / Watery, bloody or clotted milk is not sold. Treated milk stays out of the tank as the label and the veterinarian say. / A fresh cow with cold ears, unsteady, or down: milk fever kills within hours, call the veterinarian. Off feed with a hollow left side: today.");
}

const TANK: [&str; 2] = ["2026-03-02T16:40:00-05:00", "2026-03-03T01:05:00-05:00"];

#[test]
fn an_urgent_udder_call() {
    assert_snapshot!(whole(&said(&udder(0.93, Urgency::Now), UnitSystem::Metric, &TANK, true)), @r"
214: left rear looks inflamed, 93 % sure.
Keep her milk out of the tank until someone has looked. Bring her in and strip left rear.
Since yesterday 14:10, maybe since yesterday 09:00; the milkings of yesterday 16:40 and today 01:05 went to the tank. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.
Other causes: nothing wrong 5 %, ill without a clear cause 2 %. What would decide: the foremilk of left rear.
A hot, hard quarter or a cow that will not eat: call the veterinarian now. / Watery, bloody or clotted milk is not sold. Treated milk stays out of the tank as the label and the veterinarian say.
left rear conductivity | 7.1, usually 5.2 mS/cm
left rear share of milk | 18, usually 26 %
milk | 9.9, usually 11.5 kg
left rear cup kicked off | at 50 % of milkings, usually 2 %
time between milkings | 8.4 h, as expected
");
    assert_snapshot!(whole(&said(&udder(0.93, Urgency::Now), UnitSystem::Us, &TANK, false)), @r"
214: left rear looks inflamed, 93 % sure.
Keep her milk out of the tank until someone has looked. Bring her in and strip left rear.
Since yesterday 14:10, maybe since yesterday 09:00; the milkings of yesterday 16:40 and today 01:05 may be in the tank: the log does not say. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 21.8, usually 25.4 lb.
Other causes: nothing wrong 5 %, ill without a clear cause 2 %. What would decide: the foremilk of left rear.
A hot, hard quarter or a cow that will not eat: call the veterinarian now. / Watery, bloody or clotted milk is not sold. Treated milk stays out of the tank as the label and the veterinarian say.
left rear conductivity | 7.1, usually 5.2 mS/cm
left rear share of milk | 18, usually 26 %
milk | 21.8, usually 25.4 lb
left rear cup kicked off | at 50 % of milkings, usually 2 %
time between milkings | 8.4 h, as expected
");
}

/// Two days after its onset a case is told by its mean, and the words say so.
#[test]
fn a_long_case_says_that_its_figures_are_means() {
    let from = |since: &str| Finding {
        since: time(since),
        since_between: (time(since), time(since)),
        ..udder(0.93, Urgency::Today)
    };
    let long = said(&from("2026-02-24T14:10:00-05:00"), UnitSystem::Metric, &[], true);
    assert_snapshot!(long.why.replace(number::SPACE, " "), @"Since 24 February. On average conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.");
    assert_snapshot!(long.reasons[0].value.replace(number::SPACE, " "), @"7.1 on average, usually 5.2 mS/cm");
    // An hour short of two days: the last telling value.
    let short = said(&from("2026-03-01T06:30:00-05:00"), UnitSystem::Metric, &[], true);
    assert_snapshot!(short.why.replace(number::SPACE, " "), @"Since Sunday 06:30. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.");
}

#[test]
fn less_certain_udder_calls() {
    let words = |probability, urgency| {
        let said = said(&udder(probability, urgency), UnitSystem::Metric, &[], true);
        format!("{} {} {}", said.sentence, said.action, said.why).replace(number::SPACE, " ")
    };
    assert_snapshot!(words(0.62, Urgency::Today), @"214: left rear may be inflamed, 62 % sure. Strip left rear today and feel it. Clots, watery or bloody milk: keep her milk out of the tank. Since yesterday 14:10, maybe since yesterday 09:00. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.");
    assert_snapshot!(words(0.12, Urgency::Watch), @"214: left rear could be inflamed, 12 % sure. Look at the foremilk of left rear when you pass her. Since yesterday 14:10, maybe since yesterday 09:00. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.");
    assert_snapshot!(words(0.9996, Urgency::Now), @"214: left rear looks inflamed, over 99 % sure. Keep her milk out of the tank until someone has looked. Bring her in and strip left rear. Since yesterday 14:10, maybe since yesterday 09:00. Conductivity 7.1, usually 5.2 mS/cm; a third of that quarter's share of the milk is missing; milk 9.9, usually 11.5 kg.");
}

#[test]
fn an_unclear_call() {
    let finding = Finding {
        cause: Cause::Unclear,
        quarter: None,
        others: vec![(Cause::Udder, 0.12), (Cause::Well, 0.1)],
        since: time("2026-02-28T22:00:00-05:00"),
        reasons: vec![
            Reason { signal: Signal::Milk, quarter: None, observed: 9.1, expected: 11.5, weight: 3.1 },
            Reason { signal: Signal::Interval, quarter: None, observed: 11.4, expected: 8.4, weight: 1.2 },
        ],
        ..udder(0.78, Urgency::Today)
    };
    assert_snapshot!(whole(&said(&finding, UnitSystem::Metric, &[], true)), @r"
214: may be unwell, less milk and longer between milkings; 78 % sure.
Look at her today: appetite, dung, feet, temperature; strip all four quarters.
Since Saturday 22:00. On average milk 9.1, usually 11.5 kg; time between milkings 11.4, usually 8.4 h.
Other causes: an inflamed quarter 12 %, nothing wrong 10 %. What would decide: whether she eats, and the foremilk of all four quarters.
A cow that cannot rise or will not eat: call the veterinarian now.
milk | 9.1 on average, usually 11.5 kg
time between milkings | 11.4 on average, usually 8.4 h
");
    assert_snapshot!(whole(&said(&finding, UnitSystem::Us, &[], true)), @r"
214: may be unwell, less milk and longer between milkings; 78 % sure.
Look at her today: appetite, dung, feet, temperature; strip all four quarters.
Since Saturday 22:00. On average milk 20.1, usually 25.4 lb; time between milkings 11.4, usually 8.4 h.
Other causes: an inflamed quarter 12 %, nothing wrong 10 %. What would decide: whether she eats, and the foremilk of all four quarters.
A cow that cannot rise or will not eat: call the veterinarian now.
milk | 20.1 on average, usually 25.4 lb
time between milkings | 11.4 on average, usually 8.4 h
");
}

#[test]
fn a_herd_call() {
    let finding = Finding {
        subject: Subject::Herd,
        cause: Cause::HerdMilk,
        quarter: None,
        others: vec![(Cause::Well, 0.12)],
        since: time("2026-02-28T12:00:00-05:00"),
        reasons: vec![Reason {
            signal: Signal::Milk,
            quarter: None,
            observed: -3.2,
            expected: 0.1,
            weight: 5.0,
        }],
        ..udder(0.88, Urgency::Today)
    };
    assert_snapshot!(whole(&said(&finding, UnitSystem::Metric, &[], true)), @r"
All pens: 3 % less milk since Saturday, 88 % sure.
Look at what concerns all: feed and water, heat, the boxes. See whether the tank fell as much.
Since Saturday 12:00.
Other causes: nothing wrong 12 %. What would decide: the tank. If it fell as much it is the cows, if not it is a milk meter.

milk of all cows against their own levels | −3.2, before 0.1 %
");
}

#[test]
fn where_she_was_moved_to() {
    assert_eq!(summary::moved_to("1"), "to pen 1");
    assert_eq!(summary::moved_to("straw"), "to straw");
}

#[test]
fn a_round_as_a_whole() {
    let round = |calls, quiet, too_new, not_judged| {
        summary::round(Counts { calls, quiet, too_new, not_judged, looked_at: 0, open: 0 })
    };
    assert_snapshot!(round(6, 118, 3, 0), @"Six things to look at. Nothing seen on 118 cows; 3 are too new to judge.");
    assert_snapshot!(round(1, 1, 1, 2), @"One thing to look at. Nothing seen on 1 cow; 1 is too new to judge; 2 could not be judged.");
    assert_snapshot!(round(0, 121, 0, 0), @"Nothing to look at. Nothing seen on 121 cows.");
    assert_snapshot!(round(14, 1986, 0, 1), @"14 things to look at. Nothing seen on 1,986 cows; 1 could not be judged.");
    assert_snapshot!(round(0, 0, 4, 0), @"Nothing to look at. 4 cows are too new to judge.");
    assert_snapshot!(round(0, 0, 0, 0), @"Nothing to look at. No cow is on record as being in milk then.");
    let open = Counts { calls: 2, quiet: 9, too_new: 0, not_judged: 0, looked_at: 0, open: 1 };
    assert_snapshot!(summary::round(open), @"Two things to look at. One earlier call without an answer. Nothing seen on 9 cows.");
}

#[test]
fn states_of_a_cow() {
    let stage =
        |parity, days_in_milk, dry| summary::stage(Stage { parity, calved_at: None, days_in_milk, dry });
    assert_snapshot!(stage(Some(3), Some(87.6), false), @"third lactation, day 87");
    assert_snapshot!(stage(Some(1), Some(0.2), false), @"first lactation, day 0");
    assert_snapshot!(stage(None, None, false), @"lactation not recorded, calving not recorded");
    assert_snapshot!(stage(Some(2), Some(330.0), true), @"second lactation, dry");
    assert_eq!(summary::ordinal(13), "13th");
    assert_eq!(summary::ordinal(21), "21st");
    assert_eq!(summary::ordinal(11), "eleventh");
    assert_eq!(summary::ordinal(112), "112th");
    let (at, zone) = (time("2026-03-20T05:30:00-04:00"), zone());
    assert_snapshot!(
        summary::settled(0.91_f64.ln(), time("2026-03-03T09:00:00-05:00"), at, &zone).replace(number::SPACE, " "),
        @"has settled 9 % lower since 3 March"
    );
    let why = |why| summary::not_judged(why, at, &zone);
    assert_snapshot!(why(NotJudged::TooNew), @"fewer than 3 milkings since calving");
    assert_snapshot!(why(NotJudged::NoMilking(Some(time("2026-03-17T22:15:00-04:00")))), @"not milked since Tuesday 22:15");
}

#[test]
fn times_are_said_from_where_one_stands() {
    let (at, zone) = (time("2026-03-09T05:30:00-04:00"), zone());
    let words = |text: &str| when::instant(time(text), at, &zone);
    assert_eq!(words("2026-03-09T01:05:00-04:00"), "01:05");
    assert_eq!(words("2026-03-08T14:10:00-04:00"), "yesterday 14:10");
    // The clock was set forward at 02:00 on the 8th; the wall still decides the day.
    assert_eq!(words("2026-03-07T23:59:00-05:00"), "Saturday 23:59");
    assert_eq!(words("2026-03-03T00:00:00-05:00"), "Tuesday 00:00");
    assert_eq!(words("2026-03-02T23:00:00-05:00"), "2 March");
    assert_eq!(words("2025-03-02T23:00:00-05:00"), "2 March 2025");
    assert_eq!(words("2026-03-10T05:00:00-04:00"), "tomorrow 05:00");
    assert_eq!(when::heading(at, at, &zone), "Monday 9 March, 05:30");
    let a_year_on = at + jiff::SignedDuration::from_hours(365 * 24);
    assert_eq!(when::heading(at, a_year_on, &zone), "Monday 9 March 2026, 05:30");
    assert_eq!(when::rfc3339(at, &zone), "2026-03-09T05:30:00-04:00");
    assert_eq!(when::day(time("2026-03-09T01:05:00-04:00"), at, &zone), "today");
}

#[test]
fn a_weight_is_said_in_words_however_large_it_grew() {
    let said = [0.0, -0.9, 1.0, -2.9, 3.0, 5.0, 191.0, -191.0].map(reason::speaks);
    assert_eq!(
        said,
        [
            "hardly for",
            "hardly against",
            "rather for",
            "rather against",
            "strongly for",
            "very strongly for",
            "very strongly for",
            "very strongly against"
        ]
    );
}

#[test]
fn figures_carry_sign_and_unit() {
    assert_eq!(number::plain(-0.04, 1), "0.0");
    assert_eq!(number::plain(-0.9, 1), "−0.9");
    assert_eq!(number::signed(6.06, 1), "+6.1");
    assert_eq!(number::signed(-0.94, 1), "−0.9");
    assert_eq!(number::percent(0.934), "93\u{a0}%");
    assert_eq!(number::chance(0.002), "under 1\u{a0}%");
    assert_eq!(number::chance(0.9996), "over 99\u{a0}%");
    assert_eq!(number::mass(Kilograms(11.5), UnitSystem::Metric), "11.5\u{a0}kg");
    assert_eq!(number::mass(Kilograms(11.5), UnitSystem::Us), "25.4\u{a0}lb");
    assert_eq!(number::temperature(Celsius(38.6), UnitSystem::Us), "101.5\u{a0}°F");
    assert_eq!(number::count(1_234_567), "1,234,567");
    assert_eq!(number::count(310), "310");
    assert_eq!(number::things(1, "cow", "cows"), "one cow");
}

#[test]
fn what_belies_a_sentence_is_no_reason_in_it() {
    // The share of an inflamed quarter as expected, and a little above.
    for above in [0.0, 0.7] {
        let mut finding = udder(0.93, Urgency::Today);
        finding.reasons[1].observed = finding.reasons[1].expected + above;
        let said = said(&finding, UnitSystem::Metric, &[], true);
        assert!(!said.why.contains("share of the milk") && said.why.contains("milk 9.9"), "{}", said.why);
        assert!(said.reasons.iter().any(|reason| reason.name.contains("share")), "it stands in the table");
    }
}

fn heat(probability: f64, milk: (f64, f64), others: Vec<(Cause, f64)>) -> Finding {
    let reason =
        |signal, observed, expected, weight| Reason { signal, quarter: None, observed, expected, weight };
    Finding {
        cause: Cause::Heat,
        quarter: None,
        others,
        reasons: vec![reason(Signal::Activity, 260.0, 100.0, 5.0), reason(Signal::Milk, milk.0, milk.1, 0.8)],
        ..udder(probability, Urgency::Today)
    }
}

#[test]
fn heat_and_milk_are_one_sentence_and_its_window_says_how_uncertain_it_is() {
    let said =
        whole(&said(&heat(0.86, (9.9, 11.5), vec![(Cause::Well, 0.1)]), UnitSystem::Metric, &[], true));
    assert!(said.starts_with("214: looks in heat since yesterday 14:10, 86 % sure; that explains 14 % less milk, expected back by tomorrow 02:10."), "{said}");
    assert!(said.contains("best between 03:10 and 14:10, give or take 4 h."), "{said}");
}

#[test]
fn a_heat_does_not_explain_milk_that_a_likelier_illness_explains() {
    let others = vec![(Cause::Udder, 0.99), (Cause::Well, 0.0)];
    let said = whole(&said(&heat(0.4, (9.9, 11.5), others), UnitSystem::Metric, &[], true));
    assert!(said.starts_with("214: could be in heat since yesterday 14:10, 40 % sure.\n"), "{said}");
}

#[test]
fn what_goes_the_other_way_is_no_sign_of_being_unwell() {
    let reason =
        |signal, observed, expected, weight| Reason { signal, quarter: None, observed, expected, weight };
    let reasons = vec![reason(Signal::Milk, 12.4, 11.5, 2.0), reason(Signal::Rumination, 38.0, 45.0, 1.0)];
    let unclear = Finding { cause: Cause::Unclear, quarter: None, reasons, ..udder(0.52, Urgency::Today) };
    let said = whole(&said(&unclear, UnitSystem::Metric, &[], true));
    assert!(said.starts_with("214: may be unwell, less rumination; 52 % sure."), "{said}");
}
