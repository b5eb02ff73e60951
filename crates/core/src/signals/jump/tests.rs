//! Steps that are jumps, and ups and downs that are none.

use super::{Unit, jump};

fn days(values: &[f64]) -> Vec<Option<f64>> {
    values.iter().map(|value| (0.0 < *value).then_some(*value)).collect()
}

#[test]
fn a_change_of_unit_is_told_with_its_day_and_its_unit() {
    let kilograms = [612.0, 615.0, 611.0, 613.0, 616.0];
    let pounds = [613.0 / 0.453_592_37, 615.0 / 0.453_592_37];
    let all = days(&[&kilograms[..], &pounds[..]].concat());
    let found = jump(&all, 1.12, 1).expect("a jump");
    assert_eq!((found.block, found.unit()), (5, Some(Unit::Pounds)));
    assert!((found.before - 613.0).abs() < 1.0 && (found.times() - 2.2046).abs() < 0.02, "{found:?}");
    let back: Vec<Option<f64>> = all.iter().rev().copied().chain(all.iter().rev().take(2).copied()).collect();
    assert!(jump(&back[..2], 1.12, 1).is_none(), "too short to tell");
}

#[test]
fn ups_and_downs_a_drift_and_one_odd_day_are_no_jump() {
    assert!(jump(&days(&[10.0, 11.0, 9.0, 10.5, 9.8, 10.2]), 1.4, 1).is_none());
    // A drift has no place where it steps by so much.
    assert!(jump(&days(&[10.0, 10.8, 11.7, 12.6, 13.6, 14.7]), 1.4, 1).is_none());
    // It went up and came back: what is read now lies where it lay.
    assert!(jump(&days(&[10.0, 10.0, 10.0, 25.0, 10.0, 10.0]), 1.4, 1).is_none());
    // One day alone is not believed where two are asked for.
    assert!(jump(&days(&[10.0, 10.0, 10.0, 10.0, 25.0]), 1.4, 2).is_none());
    assert!(jump(&days(&[10.0, 10.0, 10.0, 10.0, 25.0]), 1.4, 1).is_some());
}

#[test]
fn days_without_readings_are_left_out_and_a_mixed_day_does_not_hide_the_jump() {
    let all = days(&[10.0, 0.0, 10.2, 9.9, 10.1, 14.0, 22.0, 21.8, 0.0, 22.3]);
    let found = jump(&all, 1.5, 1).expect("a jump");
    assert_eq!((found.block, found.unit()), (6, Some(Unit::Pounds)));
    // Falls as well as rises.
    let found = jump(&days(&[300.0, 310.0, 290.0, 305.0, 5.0, 5.1]), 1.5, 1).expect("a jump");
    assert_eq!((found.block, found.unit()), (4, Some(Unit::Hours)));
    assert!(jump(&[], 1.5, 1).is_none() && jump(&[None; 14], 1.5, 1).is_none());
}
