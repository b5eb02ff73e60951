//! Held against the standard library's, over the range they are asked for.

use crate::causes::digits::{exp, ln};

#[test]
fn five_digits_of_exp() {
    for step in -8_000..=8_000 {
        let x = f64::from(step) / 100.0;
        let told = f64::from(exp(x as f32));
        assert!((told / x.exp() - 1.0).abs() < 2e-5, "exp {x}: {told} for {}", x.exp());
    }
    assert_eq!((exp(1e9), exp(-1e9)), (exp(80.0), exp(-80.0)));
    assert_eq!(exp(0.0), 1.0);
}

#[test]
fn five_digits_of_ln() {
    for step in -8_000..=8_000 {
        let x = (f64::from(step) / 100.0).exp() as f32;
        let told = f64::from(ln(x));
        let right = f64::from(x).ln();
        assert!((told - right).abs() < 1e-5 * right.abs().max(1.0), "ln {x}: {told} for {right}");
    }
    assert_eq!(ln(1.0), 0.0);
}
