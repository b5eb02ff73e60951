//! Shrinking beside a published worked example.

use super::kept;

#[test]
fn the_batting_averages_of_efron_and_morris() {
    // Hits of 18 players in 45 tries each, x = √45·arcsin(2p − 1), variance 1. Published: a share of 0.209 of what lies beyond
    // their mean is kept (Efron & Morris, J Am Stat Assoc 70:311, 1975, from memory); the mean takes one of 18.
    let hits: [f64; 18] = [
        18.0, 17.0, 16.0, 15.0, 14.0, 14.0, 13.0, 12.0, 11.0, 11.0, 10.0, 10.0, 10.0, 10.0, 10.0, 9.0, 8.0,
        7.0,
    ];
    let x = hits.map(|hits| 45.0_f64.sqrt() * (2.0 * hits / 45.0 - 1.0).asin());
    let mean = x.iter().sum::<f64>() / 18.0;
    let power: f64 = x.iter().map(|x| (x - mean).powi(2)).sum();
    assert!((kept(power, 17, 1.0) - 0.209).abs() < 5e-4, "{}", kept(power, 17, 1.0));
    // Nothing is kept of what chance alone would make.
    assert!(kept(15.0, 17, 1.0) <= 0.0);
}
