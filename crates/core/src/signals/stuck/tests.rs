//! Rows of equal readings against chances reckoned by hand.

use super::{super::columns::Column, BoxSensors, Run, Whose};
use crate::{
    herd::{BoxKey, LifeKey, Quarter},
    tables::{Outcome, QuarterVisit, Visit},
};

fn minute(minute: i64) -> jiff::Timestamp {
    jiff::Timestamp::from_millisecond(1_770_000_000_000 + minute * 60_000).unwrap()
}

/// A run after `readings` that repeat the one before every `each`-th time, and then `same` of one figure.
fn run(readings: u32, each: u32, same: u32, cows: u32) -> Run {
    let mut run = Run::default();
    let mut value = 0.0;
    for number in 0..readings {
        value += f64::from(u32::from(number % each != 0));
        run.take(value, LifeKey(number % 7), i64::from(number), i64::from(number) + 1);
    }
    for number in readings..readings + same {
        run.take(-1.0, LifeKey(number % cows), i64::from(number), i64::from(number) + 1);
    }
    run
}

#[test]
fn a_row_of_equal_readings_is_told_when_chance_does_not_explain_it() {
    // Nothing ever repeated in 100 readings: p = 1/101 at most, 10^-9 at the fifth repeat; but eight readings are the least.
    assert_eq!(run(100, 1000, 7, 7).stuck(), None);
    assert!(run(100, 1000, 8, 7).stuck().is_some_and(|row| row.began && row.value == -1.0));
    // Every other one repeats: p is about a half, and 2^-29 > 10^-9 > 2^-30.
    assert_eq!(run(400, 2, 30, 7).stuck(), None);
    assert!(run(400, 2, 33, 7).stuck().is_some());
    // One cow again and again is a matter of her.
    assert_eq!(run(100, 1000, 40, 1).stuck(), None);
    // What never changed is told later, and has no begin.
    assert_eq!(run(0, 2, 30, 7).stuck(), None);
    assert!(run(0, 2, 31, 7).stuck().is_some_and(|row| !row.began));
}

fn visit(number: i64) -> Visit {
    let reading = |of: i64| 4.8 + 0.01 * ((number * 7 + of * 13) % 89) as f64;
    Visit {
        life: LifeKey((number % 12) as u32),
        at_box: BoxKey((number % 2) as u16),
        started_at: minute(number * 10),
        ended_at: minute(number * 10 + 7),
        attached_at: None,
        outcome: Some(Outcome::Milked),
        milk_kg: Some(10.0 + reading(9)),
        quarters: [0, 1, 2, 3].map(|of| QuarterVisit { ms_cm: Some(reading(of)), ..QuarterVisit::default() }),
        blood_ppm: Some(0.0),
        milk_c: Some(33.0 + reading(5)),
        fat_pct: None,
        protein_pct: None,
        lactose_pct: None,
        scc_k: None,
        feed_offered_kg: Some(1.0),
        feed_eaten_kg: Some(1.0),
        weight_kg: None,
        destination: None,
    }
}

#[test]
fn one_cup_that_is_stuck_is_told_by_box_and_quarter_and_taken_out() {
    let mut sensors = BoxSensors::default();
    let mut left = 0;
    for number in 0..400 {
        let mut own = visit(number);
        if own.at_box == BoxKey(1) && (200..300).contains(&number) {
            own.quarters[2].ms_cm = Some(4.9);
        }
        sensors.take(&mut own);
        left += u32::from(
            own.at_box == BoxKey(1) && (200..300).contains(&number) && own.quarters[2].ms_cm.is_some(),
        );
        // Nothing else is: no milk has blood in it, and who eats up what is offered eats the same each time.
        assert!(own.blood_ppm.is_some() && own.feed_eaten_kg.is_some() && own.quarters[0].ms_cm.is_some());
    }
    let stuck = sensors.end();
    let [one] = stuck.as_slice() else { panic!("{stuck:?}") };
    assert_eq!((one.whose, one.column), (Whose::Box(BoxKey(1)), Column::Conductivity(Quarter::LeftRear)));
    assert_eq!((one.from, one.to, one.value), (minute(2010), minute(2997), Some(4.9)));
    assert!(one.began && one.mended && left < 10, "{left}");
}

#[test]
fn feed_that_is_never_eaten_in_any_box_is_told() {
    let mut sensors = BoxSensors::default();
    for number in 0..400 {
        let mut own = visit(number);
        own.feed_eaten_kg = Some(if number < 200 { own.milk_kg.unwrap() / 20.0 } else { 0.0 });
        sensors.take(&mut own);
    }
    let stuck = sensors.end();
    assert_eq!(stuck.len(), 2, "{stuck:?}");
    assert!(stuck.iter().all(|one| one.column == Column::FeedEaten && one.zero() && !one.mended));
}
