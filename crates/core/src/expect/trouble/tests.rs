//! A stretch of trouble: where it begins, what keeps it up, when it is forgotten.

use super::Trouble;

const HOURS_8: i64 = 8 * 3_600_000;

/// Since when, after each of a row of milkings eight hours apart, counted in milkings.
fn sinces(said: &[f64]) -> Vec<Option<i64>> {
    let mut trouble = None;
    (0..)
        .zip(said)
        .map(|(milking, said)| {
            trouble = Trouble::after(trouble, *said, milking * HOURS_8);
            trouble.map(|trouble: Trouble| trouble.since_ms / HOURS_8)
        })
        .collect()
}

#[test]
fn a_case_that_comes_and_goes_keeps_its_beginning() {
    let mut said = vec![0.0, 3.0, 6.0, 9.0];
    said.extend([0.5; 12]);
    said.extend([2.6, 5.0]);
    let since = sinces(&said);
    assert_eq!(since[0], None);
    assert!(since[1..].iter().all(|since| *since == Some(1)), "{since:?}");
}

#[test]
fn whispers_do_not_keep_it_up_and_the_next_case_is_another() {
    let mut said = vec![5.0];
    said.extend([2.6; 17]);
    let since = sinces(&said);
    assert_eq!(since[15], Some(0), "five days");
    assert_eq!(since[16], Some(16), "the next word after five quiet days begins another");
}

#[test]
fn it_is_forgotten_when_its_days_are_no_longer_judged() {
    let mut said = vec![5.0];
    said.extend([0.0; 40]);
    let since = sinces(&said);
    assert_eq!(since[36], Some(0));
    assert_eq!(since[37], None);
}
