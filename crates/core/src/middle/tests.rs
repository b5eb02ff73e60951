//! The middle of few.

use super::median;

#[test]
fn half_lie_below_and_half_above() {
    assert_eq!(median(&mut []), None);
    assert_eq!(median(&mut [3.0]), Some(3.0));
    assert_eq!(median(&mut [9.0, 1.0, 2.0]), Some(2.0));
    assert_eq!(median(&mut [9.0, 1.0, 4.0, 2.0]), Some(3.0));
    assert_eq!(median(&mut [1.0, f64::INFINITY, 1.0, 2.0, f64::NEG_INFINITY]), Some(1.0));
}
