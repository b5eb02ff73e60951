//! Laws of learning from what was found, and of the farm's own costs.

use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;

use crate::causes::{
    Cause, Settings,
    costs::{OwnCost, OwnCosts, moneys},
    learned::{How, LEAST, Learned, MISSED_WEIGHT, MOST, Told, WORTH_CASES, learn},
};

fn told(day: i64, stated: f64, was: bool, how: How) -> Told {
    let at = Timestamp::UNIX_EPOCH + SignedDuration::from_hours(24 * day + 6);
    Told { cause: Cause::Udder, at, stated, learned: 1.0, was, how }
}

fn of(told: &[Told]) -> Option<Learned> {
    learn(told, |at| at.as_second().div_euclid(86_400)).0.get(&Cause::Udder).copied()
}

fn factor(told: &[Told]) -> f64 {
    of(told).map_or(1.0, |learned| learned.factor)
}

fn any_told() -> impl Strategy<Value = Told> {
    let how = prop_oneof![Just(How::Called), Just(How::Beside), Just(How::Missed)];
    (0_i64..60, 0.0..=1.0_f64, any::<bool>(), how).prop_map(|(day, stated, was, how)| {
        // A case that no call named is always one.
        told(day, stated, was || how == How::Missed, how)
    })
}

#[test]
fn nobody_has_answered_and_nothing_changes() {
    let (learned, steps) = learn(&[], |at| at);
    assert!(learned.is_empty() && steps.is_empty());
}

#[test]
fn a_rate_twice_as_high_is_found_and_a_right_one_is_left_alone() {
    // Calls whose stated odds are half of what is so: of those stated at 1/3 half are right.
    let answers = |stated: f64, right: i64, of: i64| -> Vec<Told> {
        (0..of).map(|day| told(day, stated, day % of < right, How::Called)).collect()
    };
    let twice = of(&answers(1.0 / 3.0, 200, 400)).unwrap();
    assert!((1.8..=2.0).contains(&twice.factor), "{twice:?}");
    assert!(twice.between.0 < 2.0 && 2.0 < twice.between.1, "{twice:?}");
    assert_eq!(factor(&answers(0.5, 200, 400)), 1.0);
    assert!(factor(&answers(0.8, 200, 400)) < 0.5);
}

#[test]
fn what_was_learned_is_not_learned_again() {
    // The same cows under the same truth, told before and after the rate was doubled: the same is learned.
    let before: Vec<Told> = (0..100).map(|day| told(day, 1.0 / 3.0, day % 2 == 0, How::Called)).collect();
    let after: Vec<Told> = before.iter().map(|one| Told { stated: 0.5, learned: 2.0, ..*one }).collect();
    assert_eq!(factor(&before), factor(&after));
    assert!((before[0].under_stated() - after[0].under_stated()).abs() < 1e-12);
}

#[test]
fn steps_lead_from_one_to_what_is_learned() {
    let all: Vec<Told> = (0..40).map(|day| told(day, 0.3, day % 4 != 0, How::Called)).collect();
    let (learned, steps) = learn(&all, |at| at.as_second().div_euclid(86_400));
    assert!(!steps.is_empty());
    let mut before = 1.0;
    for step in &steps {
        assert_eq!(step.before, before);
        assert_ne!(step.now.factor, before);
        before = step.now.factor;
    }
    assert_eq!(before, learned[&Cause::Udder].factor);
    // No step knows what was told after it.
    for step in &steps {
        let by_then: Vec<Told> = all.iter().copied().filter(|one| one.at <= step.at).collect();
        assert_eq!(of(&by_then).unwrap(), step.now);
    }
}

proptest! {
    #[test]
    fn no_order_of_answers_changes_what_is_learned(
        all in prop::collection::vec(any_told(), 0..30).prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle())),
    ) {
        let (one, other) = all;
        let day = |at: Timestamp| at.as_second().div_euclid(86_400);
        prop_assert_eq!(learn(&one, day), learn(&other, day));
    }

    #[test]
    fn one_that_was_so_never_lowers_and_one_that_was_not_never_raises(
        all in prop::collection::vec(any_told(), 0..20),
        one in any_told(),
    ) {
        let mut more = all.clone();
        more.push(one);
        if one.was {
            prop_assert!(factor(&all) <= factor(&more));
        } else {
            prop_assert!(factor(&more) <= factor(&all));
        }
    }

    #[test]
    fn answers_never_move_a_rate_more_than_they_are_worth(all in prop::collection::vec(any_told(), 0..40)) {
        let worth = |was: bool| -> f64 {
            let of_kind = all.iter().filter(|one| one.was == was);
            of_kind.map(|one| if one.how == How::Missed { MISSED_WEIGHT } else { 1.0 }).sum()
        };
        let factor = factor(&all);
        let (low, high) = ((WORTH_CASES - worth(false)) / WORTH_CASES, (WORTH_CASES + worth(true)) / WORTH_CASES);
        // Told in tenths.
        prop_assert!(low.max(LEAST) - 0.051 <= factor && factor <= high.min(MOST) + 0.051, "{low} {factor} {high}");
    }
}

#[test]
fn a_right_answer_that_was_sure_teaches_nothing_and_one_that_was_not_does() {
    let five = |stated: f64| (0..5).map(|day| told(day, stated, true, How::Called)).collect::<Vec<_>>();
    assert_eq!(factor(&five(1.0)), 1.0);
    assert!(1.0 < factor(&five(0.1)));
}

#[test]
fn own_costs_stand_over_the_stated_ones_and_nothing_else_moves() {
    let stated = Settings::default();
    let own = OwnCosts {
        costs: [(Cause::Udder, OwnCost { case: Some(800.0), year: Some(2026), ..OwnCost::default() })].into(),
        most_calls_a_day: Some(5),
        ..OwnCosts::default()
    };
    own.check().unwrap();
    let over = own.over(stated.clone());
    assert_eq!(over.cost(Cause::Udder).unwrap().case, 800.0);
    assert_eq!(over.miss(Cause::Udder), 200.0);
    assert_eq!(over.most_calls_a_day, 5);
    for cost in stated.costs.iter().filter(|cost| cost.cause != Cause::Udder) {
        assert_eq!(over.cost(cost.cause), Some(cost));
    }
    assert!(moneys(&over)["USD"].contains(&2026));
    assert_eq!(OwnCosts::default().over(stated.clone()), stated);
    // What is said as it is stated is not the farm's own word.
    let same = OwnCost { case: Some(stated.cost(Cause::Udder).unwrap().case), ..OwnCost::default() };
    let same =
        OwnCosts { costs: [(Cause::Udder, same)].into(), errand: Some(stated.errand), ..OwnCosts::default() };
    assert_eq!(same.beyond(&stated), OwnCosts::default());
}

#[test]
fn figures_that_cannot_be_are_refused() {
    let udder = |own: OwnCost| OwnCosts { costs: [(Cause::Udder, own)].into(), ..OwnCosts::default() };
    let wrong = [
        udder(OwnCost { case: Some(-1.0), ..OwnCost::default() }),
        udder(OwnCost { case: Some(f64::NAN), ..OwnCost::default() }),
        udder(OwnCost { saved: Some(1.01), ..OwnCost::default() }),
        udder(OwnCost { hours: Some(0.0), ..OwnCost::default() }),
        udder(OwnCost { look: Some(f64::INFINITY), ..OwnCost::default() }),
        udder(OwnCost { year: Some(1889), ..OwnCost::default() }),
        udder(OwnCost { currency: Some("usd".into()), ..OwnCost::default() }),
        OwnCosts { walk_hours: Some(0.0), ..OwnCosts::default() },
        OwnCosts { errand: Some(-0.1), ..OwnCosts::default() },
        OwnCosts { most_calls_a_day: Some(1001), ..OwnCosts::default() },
    ];
    for own in wrong {
        assert!(own.check().is_err(), "{own:?}");
    }
}
