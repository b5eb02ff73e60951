//! What is offered to be typed in.

use super::*;
use crate::ask::{
    intervals::{Figure, GroupInterval},
    settling,
};

fn change(milk_money: (f64, f64), labour: (f64, f64)) -> Changes {
    let figure = |(low90, high90): (f64, f64)| Figure { mean: f64::midpoint(low90, high90), low90, high90 };
    let money = figure((milk_money.0 + labour.0, milk_money.1 + labour.1));
    Changes {
        milk_kg: figure((milk_money.0 / 0.33, milk_money.1 / 0.33)),
        by_setting_kg: 0.0,
        minutes: Figure::default(),
        milkings: 0.0,
        fetches: Figure::default(),
        milk_money: figure(milk_money),
        labour_money: figure(labour),
        money,
        enough_days: true,
        words: Vec::new(),
        verdict: String::new(),
    }
}

fn answer(by_group: Changes, by_cow: Changes) -> Intervals {
    let words = ["7.0 h", "5.0 h", "9.0 kg", "8.0 h"].map(str::to_owned);
    let group = GroupInterval {
        group: "later lactations, early".into(),
        days_words: "to day 100".into(),
        cows: 20,
        interval_h: Some(7.0),
        shortest_h: Some(5.0),
        expected_kg: Some(9.0),
        now_h: Some(8.0),
        limits_h: (5.0, 14.0),
        words,
    };
    let mut answer = Intervals {
        groups: vec![group],
        change: Some(by_cow),
        change_by_group: Some(by_group),
        ..settling::nothing(String::new(), Terms::default())
    };
    advise(&mut answer);
    answer
}

fn said(answer: &Intervals) -> String {
    let minutes = Minutes { days: 14.0, ..Minutes::default() };
    let best = Best { cows: Vec::new(), worth: 0.1, milk_kg: 4000.0, minutes: 2000.0, value: 0.0 };
    summary(answer, &minutes, &best, &Terms::default(), UnitSystem::Metric)
}

#[test]
fn a_table_that_loses_for_sure_is_not_offered() {
    // Milk less feed −2.11 to −0.75, as one farm had it; by cow nothing is lost.
    let told = answer(change((-2.11, -0.75), (-3.0, 3.0)), change((-1.0, 1.4), (-3.0, 3.0)));
    assert_eq!(told.advice, Some(Advice::ByCow));
    assert_eq!(told.groups[0].words, ["8.0 h", "leave", "leave", "8.0 h"].map(str::to_owned));
    assert!(
        said(&told)
            .starts_with("Leave the groups as they are: with one interval for each group it would be 4.3")
    );
    let told = answer(change((-2.11, -0.75), (-3.0, 3.0)), change((-2.0, -0.1), (-3.0, 3.0)));
    assert_eq!(told.advice, Some(Advice::Leave));
}

#[test]
fn the_first_sentence_is_of_the_table_that_is_shown() {
    let told = answer(change((2.0, 4.0), (0.0, 1.0)), change((8.0, 9.0), (0.0, 1.0)));
    assert_eq!(told.advice, Some(Advice::ByGroup));
    assert_eq!(told.groups[0].words[1], "5.0 h");
    assert!(said(&told).starts_with("An interval for each group: 9.1"), "{}", said(&told));
    // Less milk, but the work that is spared is surely worth more.
    let told = answer(change((-2.0, -1.0), (5.0, 6.0)), change((0.0, 1.0), (0.0, 1.0)));
    assert_eq!(told.advice, Some(Advice::ByGroup));
}
