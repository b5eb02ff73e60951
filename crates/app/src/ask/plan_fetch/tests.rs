//! Hours of fetching: from marks, and what is said where nothing tells them.

use std::sync::atomic::AtomicBool;

use cowpath_core::traffic::{Bounds, Change};

use super::*;
use crate::ask::{plan_words, planning};

#[test]
fn marks_tell_the_hours_of_walks() {
    // Four walks a day for a week, some of them into the next hour, and one cow brought at night.
    let mut marks: Vec<f64> =
        (0..7).flat_map(|_| [6.1, 6.4, 6.9, 11.2, 11.8, 16.6, 16.9, 17.2, 21.4, 21.5]).collect();
    marks.push(2.5);
    assert_eq!(hours_of_marks(&marks), [6.0, 11.0, 16.0, 21.0]);
    assert!(hours_of_marks(&marks[..7]).is_empty(), "seven marks tell no hours");
    let mut setup = Setup::usual(60, 1);
    set(&mut setup, vec![4.0, 22.0]);
    assert_eq!(
        setup.fetching.working_h,
        (4.0, 22.0),
        "no round that was walked is left out as outside of work"
    );
}

fn asked(change: &str, instead: Option<&str>) -> AskedPlan {
    let read = |words: &str| Change::read(words).unwrap();
    AskedPlan {
        cows: vec![40],
        change: read(change),
        instead: instead.map(read),
        replicates: Some(2),
        seed: 1,
        days: 10.0,
        bounds: Bounds::default(),
        terms: Default::default(),
        parlour: None,
    }
}

fn plan(ground: &Ground, asked: &AskedPlan) -> Plan {
    let never = AtomicBool::new(false);
    planning::prepare(ground, asked).unwrap().run(1, &never, &mut |_| {}).unwrap()
}

#[test]
fn fetching_that_nobody_knows_is_not_worthless() {
    let mut ground = Ground { fitted: true, cows_now: Some(40), ..Ground::stated() };
    ground.setup.fetching.rounds_h.clear();
    let asked_now = asked("", None);
    let told = plan(&ground, &asked_now);
    assert!(!told.fetching_known && told.scenarios[0].fetched_unknown);
    let said = told.sentences.join(" ");
    assert!(said.contains("The work of fetching is left out of all figures"), "{said}");
    assert!(said.contains("6/11/16/21"), "{said}");

    // Hours instead of what nobody knows: no difference is told, neither in words nor in figures.
    let asked_instead = asked("", Some("fetch=6/11/16/21"));
    let told = plan(&ground, &asked_instead);
    let said = told.sentences.join(" ");
    assert!(told.differences.is_empty());
    assert!(said.contains("What these hours of fetching bring or cost is not told"), "{said}");
    assert!(!said.contains("instead people fetch at 06:00"), "{said}");

    // Hours beside hours are told as ever.
    let both = asked("fetch=6/11/16/21", Some("fetch=6/18"));
    let told = plan(&ground, &both);
    assert_eq!(told.differences.len(), 1);
    assert!(!told.scenarios[0].fetched_unknown);

    // Known: nothing of it is said.
    ground.setup.fetching.rounds_h = vec![6.0, 17.0];
    let told = plan(&ground, &asked_instead);
    assert_eq!(told.differences.len(), 1);
    assert!(told.fetching_known);
    let said = plan_words::sentences(&told, &asked_instead, &ground).join(" ");
    assert!(!said.contains("not known"), "{said}");
}
