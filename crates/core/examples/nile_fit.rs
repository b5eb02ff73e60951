//! How fast is the local level fitted? `cargo run --release -p cowpath-core --example nile_fit`
//!
//! Prints fits a second of both variances to the Nile's hundred years, on one core.

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::hint::black_box;
use std::time::Instant;

use cowpath_core::level;

const NILE: &str = include_str!("../tests/cases/series/nile.csv");

fn main() {
    let series: Vec<Option<f64>> = NILE
        .lines()
        .filter(|line| line.starts_with(char::is_numeric))
        .map(|line| line.split(',').nth(1).and_then(|volume| volume.parse().ok()))
        .collect();
    let rounds = 20_000_u32;
    let begun = Instant::now();
    for _ in 0..rounds {
        black_box(level::fit(black_box(&series)));
    }
    let seconds = begun.elapsed().as_secs_f64();
    println!("{:.0} fits/s of {} years", f64::from(rounds) / seconds, series.len());
    println!("{:?}", level::fit(&series));
}
