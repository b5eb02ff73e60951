//! Laws over arbitrary rows and cows, broken ones too.

use proptest::prelude::*;

use crate::{
    minutes::{
        intervals::{Cow, NoUse, at_worth, best, least_minutes, left_over, off_by},
        ledger::{State, Stay, Use, ledger, whole_seconds},
        takeoff::{at_level, tail},
        terms::Terms,
    },
    tables::{Outcome, QuarterVisit},
};

fn outcomes() -> impl Strategy<Value = Option<Outcome>> {
    prop_oneof![
        6 => Just(Some(Outcome::Milked)),
        1 => Just(Some(Outcome::Incomplete)),
        1 => Just(Some(Outcome::Failed)),
        1 => Just(Some(Outcome::TurnedAway)),
        1 => Just(Some(Outcome::Fed)),
        2 => Just(None),
    ]
}

fn seconds() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        6 => (0.0..900.0f64).prop_map(Some),
        2 => Just(None),
        1 => Just(Some(f64::NAN)),
        1 => Just(Some(f64::INFINITY)),
        1 => Just(Some(-1e30)),
        1 => Just(Some(1e300)),
    ]
}

prop_compose! {
    /// A stay near a day of 24 hours, often a broken one.
    fn stays()(
        cow in 0..6u32, from in -20_000_000..100_000_000i64, long in -2_000_000..3_000_000i64,
        attached in prop::option::of(-3_000_000..4_000_000i64), outcome in outcomes(), gave: bool,
        flow_s in [seconds(), seconds(), seconds(), seconds()],
    ) -> Stay {
        Stay { cow, from, to: from + long, attached: attached.map(|after| from + after), outcome, gave, flow_s }
    }
}

prop_compose! {
    fn states()(what in 9..13usize, from in -20_000_000..100_000_000i64, long in -2_000_000..9_000_000i64) -> State {
        State { what: Use::ALL[what], from, to: from + long }
    }
}

prop_compose! {
    fn cows()(
        rate_kg_h in 0.2..3.0f64, kappa_per_h in 0.01..0.1f64, handling_min in 0.5..6.0f64,
        flow_kg_min in 0.8..5.0f64, low_h in 4.0..9.0f64, more_h in 0.0..8.0f64,
    ) -> Cow {
        Cow { rate_kg_h, kappa_per_h, handling_min, flow_kg_min, low_h, high_h: (low_h + more_h).min(14.0) }
    }
}

proptest! {
    #[test]
    fn a_day_adds_up_whatever_the_logs_say(
        rows in prop::collection::vec(stays(), 0..60), other in prop::collection::vec(states(), 0..12),
        hours in 23..26i64,
    ) {
        let cuts: Vec<i64> = (0..=hours).map(|hour| hour * 3_600_000).collect();
        let day = ledger(&cuts, &rows, &other, 7_200_000);
        for piece in &day.pieces {
            prop_assert_eq!(piece.total(), 3_600_000);
            prop_assert!(piece.0.iter().all(|ms| 0 <= *ms));
        }
        let whole = day.day();
        prop_assert_eq!(whole.total(), hours * 3_600_000);
        prop_assert_eq!(whole_seconds(whole.0).iter().sum::<i64>(), hours * 3600);
        // Cows have all that is neither a state's nor idle, each use by itself.
        for of in Use::ALL {
            let of_cows: i64 = day.cows.values().map(|own| own.of(of)).sum();
            let expected = if of < Use::Cleaning { whole.of(of) } else { 0 };
            prop_assert_eq!(of_cows, expected);
        }
        // Cut at other places it is the same day.
        prop_assert_eq!(ledger(&[0, hours * 3_600_000], &rows, &other, 7_200_000).day(), whole);
        // Nor does it hang on the order of rows that differ in time.
        let mut turned = rows.clone();
        turned.reverse();
        let distinct = rows.iter().enumerate().all(|(place, one)| {
            rows[place + 1..].iter().all(|two| (one.from, one.to) != (two.from, two.to))
        });
        if distinct {
            prop_assert_eq!(ledger(&cuts, &turned, &other, 7_200_000).day(), whole);
        }
        // Time that two rows claim is named: what rows claim is what was given and what is shared.
        let inside = |from: i64, to: i64| (to.min(hours * 3_600_000) - from.max(0)).max(0);
        let claimed: i64 = rows.iter().map(|row| inside(row.from, row.to))
            .chain(other.iter().map(|row| inside(row.from, row.to))).sum();
        let shared: i64 = day.shared.iter().map(|own| own.to - own.from).sum();
        prop_assert_eq!(claimed - shared, whole.total() - whole.of(Use::Idle));
    }

    #[test]
    fn minutes_are_met_and_no_neighbour_does_better(
        herd in prop::collection::vec(cows(), 1..40), share in 0.0..1.0f64, price in 0.05..1.0f64,
    ) {
        let (least, most) = (least_minutes(&herd), at_worth(&herd, price, 0.0).minutes);
        let minutes = least + share * (most - least);
        let found = best(&herd, price, minutes).unwrap();
        prop_assert!((found.minutes - minutes).abs() < 1e-6 * minutes, "{} of {minutes}", found.minutes);
        for (cow, day) in herd.iter().zip(&found.cows) {
            prop_assert!((cow.low_h..=cow.high_h).contains(&day.interval_h));
            // The Lagrangian is greatest there among intervals of her range: a grid, another way to the same.
            let own = left_over(day, price, found.worth);
            for step in 0..=60 {
                let at = cow.low_h + (cow.high_h - cow.low_h) * f64::from(step) / 60.0;
                prop_assert!(left_over(&cow.day(at), price, found.worth) <= own + 1e-7 * own.abs().max(1.0));
            }
            let within = cow.low_h + 1e-9 < day.interval_h && day.interval_h < cow.high_h - 1e-9;
            if within {
                prop_assert!(off_by(cow, day, price, found.worth).abs() < 1e-8);
            }
        }
    }

    #[test]
    fn the_worth_of_a_minute_is_what_a_minute_brings(herd in prop::collection::vec(cows(), 3..30), share in 0.05..0.95f64) {
        let (least, most) = (least_minutes(&herd), at_worth(&herd, 0.45, 0.0).minutes);
        prop_assume!(1.0 < most - least);
        let minutes = least + share * (most - least);
        let value = |minutes: f64| best(&herd, 0.45, minutes).unwrap().value;
        let step = 1e-3 * (most - least) * share.min(1.0 - share);
        let slope = (value(minutes + step) - value(minutes - step)) / (2.0 * step);
        let found = best(&herd, 0.45, minutes).unwrap();
        // λ falls as minutes grow: the slope across lies between the slopes at both ends.
        let ends = [best(&herd, 0.45, minutes - step).unwrap().worth, best(&herd, 0.45, minutes + step).unwrap().worth];
        prop_assert!(ends[1] - 1e-6 <= slope && slope <= ends[0] + 1e-6, "{slope} not in {ends:?}");
        prop_assert!(ends[1] <= found.worth + 1e-12 && found.worth <= ends[0] + 1e-12);
    }

    #[test]
    fn too_few_minutes_are_refused_and_the_least_are_met(herd in prop::collection::vec(cows(), 1..20)) {
        let least = least_minutes(&herd);
        let found = best(&herd, 0.45, least).unwrap();
        prop_assert!((found.minutes - least).abs() <= 1e-9 * least);
        let refused = best(&herd, 0.45, 0.999 * least);
        prop_assert_eq!(refused, Err(NoUse::TooFew { needed: least, given: 0.999 * least }));
        // Milk that is worth nothing: nobody is milked oftener than she must be.
        let idle = best(&herd, -0.1, 2.0 * least).unwrap();
        prop_assert!(idle.cows.iter().zip(&herd).all(|(day, cow)| day.interval_h == cow.high_h));
    }

    #[test]
    fn only_the_last_quarter_shortens_a_visit(
        flow_s in [60.0..600.0f64, 60.0..600.0f64, 60.0..600.0f64, 60.0..600.0f64],
        mean in 0.2..0.9f64, peak in 1.0..2.0f64, takeoff in 0.03..0.4f64, level in 0.0..0.6f64,
    ) {
        let quarters = flow_s.map(|flow_s| QuarterVisit {
            milk_kg: Some(peak * mean * flow_s / 60.0),
            flow_s: Some(flow_s),
            peak_kg_min: Some(peak),
            takeoff_kg_min: Some(takeoff),
            ..QuarterVisit::default()
        });
        let change = at_level(&quarters, level);
        let longest = flow_s.iter().copied().fold(0.0, f64::max);
        let after = flow_s.iter().zip(change.quarter_s).map(|(flow_s, saved)| flow_s - saved).fold(0.0, f64::max);
        prop_assert!((change.visit_s - (longest - after)).abs() < 1e-9);
        for (place, quarter) in quarters.iter().enumerate() {
            prop_assert!(0.0 <= change.quarter_s[place] && change.quarter_s[place] <= flow_s[place] + 1e-9);
            prop_assert!(0.0 <= change.left_kg[place] && change.left_kg[place] <= quarter.milk_kg.unwrap());
            if level <= takeoff {
                prop_assert_eq!(change.quarter_s[place], 0.0);
            }
            // What the form says came, added up by small steps, is what came.
            if let Some(tail) = tail(quarter) {
                let fall_s = tail.tau_s * (peak / takeoff).ln();
                let steps = 4000;
                let milk_kg: f64 = (0..steps).map(|step| {
                    let at = (f64::from(step) + 0.5) / f64::from(steps) * flow_s[place];
                    let since = (at - (flow_s[place] - fall_s)).max(0.0);
                    let flow = if tail.tau_s == 0.0 { peak } else { peak * (-since / tail.tau_s).exp() };
                    flow / 60.0 * flow_s[place] / f64::from(steps)
                }).sum();
                prop_assert!((milk_kg - quarter.milk_kg.unwrap()).abs() < 1e-4 * milk_kg);
            }
        }
    }

    #[test]
    fn terms_are_read_as_they_are_written(milk in 0.2..0.9f64, idle in 0..50u32, low in 2.0..9.0f64) {
        let words = format!("milk={milk} idle={idle} first={low}/7/9 currency=eur");
        let terms = Terms::default().with(&words).unwrap();
        prop_assert_eq!(&terms.with(&terms.words()).unwrap(), &terms);
        prop_assert_eq!(terms.limits(terms.group(Some(10.0), Some(true))).0, low);
    }
}

#[test]
fn contradicting_terms_are_refused_and_an_empty_herd_needs_nothing() {
    let stated = Terms::default();
    let why = stated.with("first=9/7/9 first-longest=8/14/14").unwrap_err();
    assert!(why.contains("first lactation, early") && why.contains("longer than the longest"), "{why}");
    assert!(stated.with("later=5/7/15").is_err() && stated.with("milk=0.1").is_err());
    assert!(stated.with("milk").is_err() && stated.with("cows=3").is_err() && stated.with("milk=x").is_err());
    let none = best(&[], 0.45, 100.0).unwrap();
    assert_eq!((none.worth, none.milk_kg, none.cows.len()), (0.0, 0.0, 0));
    assert_eq!(best(&[], f64::NAN, 100.0), Err(NoUse::NoFigure));
}
