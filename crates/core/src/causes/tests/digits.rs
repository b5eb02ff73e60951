//! Held against the standard library's, over the range they are asked for.

use crate::causes::{
    digits::{Logarithms, exp, ln, ln_each},
    registers::InEight,
};

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

#[test]
fn fifteen_digits_of_ln() {
    let figures = (-57_000..=57_000).map(|step| (f64::from(step) / 100.0).exp());
    let near_one = (-1000..=1000).map(|step| 1.0 + f64::from(step) * 1e-9);
    let figures: Vec<f64> = figures.chain(near_one).chain([1.0, f64::MIN_POSITIVE, f64::MAX]).collect();
    let mut told = figures.clone();
    ln_each(&mut told);
    for (x, told) in figures.iter().zip(&told) {
        let right = x.ln();
        assert!((told - right).abs() <= 1e-15 * right.abs(), "ln {x}: {told} for {right}");
    }
    // Whatever registers there are.
    let mut plain = figures;
    Logarithms(&mut plain).reckon(pulp::Scalar256b);
    assert!(plain.iter().zip(&told).all(|(a, b)| a.to_bits() == b.to_bits()));
}
