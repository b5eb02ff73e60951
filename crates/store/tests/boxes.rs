//! What boxes were doing: states that share time with a span, outcomes told, and the nearest rows before and after.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{farm, minute, read, row, visit};
use cowpath_core::{
    herd::BoxKey,
    tables::{Cell, Outcome},
};
use proptest::prelude::*;

fn state(milking_box: &str, from_min: i64, to_min: i64, state: &str) -> Vec<Cell> {
    let (from, to) = (minute(from_min).to_string(), minute(to_min).to_string());
    row("box-states", &[("box", milking_box), ("from", &from), ("to", &to), ("state", state)])
}

#[test]
fn a_state_is_found_by_any_time_it_shares() {
    let (_folder, mut farm) = farm();
    assert!(!farm.tells_box_states().unwrap());
    let rows =
        [state("2", -50_000, 90, "off"), state("1", 100, 120, "cleaning"), state("1", 200, 200, "fault")];
    assert_eq!(read(&mut farm, "box-states", &rows).sums.new, 3);
    assert!(farm.tells_box_states().unwrap());
    let found = |from: i64, to: i64| -> Vec<String> {
        farm.box_states(minute(from)..minute(to)).unwrap().into_iter().map(|state| state.state).collect()
    };
    assert_eq!(found(0, 300), ["off", "cleaning", "fault"], "in order of begin");
    assert_eq!(found(119, 120), ["cleaning"]);
    assert!(found(120, 200).is_empty() && found(90, 100).is_empty(), "ends that touch share nothing");
    assert_eq!(found(200, 201), ["fault"], "a state of no length has a place");
    let all = farm.box_states(minute(0)..minute(300)).unwrap();
    assert_eq!(all.iter().map(|state| state.at_box).collect::<Vec<_>>(), [BoxKey(1), BoxKey(0), BoxKey(0)]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// The nearest rows and what was told are those that a plain look through all visits finds.
    #[test]
    fn nearest_rows_and_outcomes_are_those_of_a_plain_look(
        begins in prop::collection::vec((-9_000_i64..9_000, 0_usize..6, 1_u8..4), 0..40),
        at in -10_000_i64..10_000,
    ) {
        let words = ["milked", "incomplete", "failed", "turned-away", "fed", ""];
        let (_folder, mut farm) = farm();
        // Each visit of a cow of its own: none overlaps another of hers.
        let rows: Vec<Vec<Cell>> = begins
            .iter()
            .enumerate()
            .map(|(place, (from, outcome, milking_box))| {
                let mut cells = visit(&format!("{place}"), &format!("{milking_box}"), *from, 5, 8.0);
                cells[5] = match words[*outcome] {
                    "" => Cell::Missing,
                    word => Cell::Text(word.into()),
                };
                cells
            })
            .collect();
        read(&mut farm, "visits", &rows);
        let before = begins.iter().map(|(from, ..)| *from).filter(|from| *from < at).max();
        let after = begins.iter().map(|(from, ..)| *from).filter(|from| at <= *from).min();
        prop_assert_eq!(farm.box_row_before(minute(at)).unwrap(), before.map(minute));
        prop_assert_eq!(farm.box_row_from(minute(at)).unwrap(), after.map(minute));
        let told = farm.outcomes_told(minute(at)..minute(at + 3_000)).unwrap();
        let within = begins.iter().filter(|(from, ..)| at <= *from && *from < at + 3_000);
        prop_assert_eq!(told.iter().map(|told| told.visits).sum::<u64>(), within.clone().count() as u64);
        let boxes = farm.boxes().unwrap();
        for own in told {
            let name = &boxes[usize::from(own.at_box.0)];
            let same = within.clone().filter(|(_, outcome, milking_box)| {
                milking_box.to_string() == *name && Outcome::from_word(words[*outcome]) == own.outcome
            });
            prop_assert_eq!(own.visits, same.count() as u64);
        }
    }
}
