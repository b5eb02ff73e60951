//! How long does the best use of box minutes take for so many cows? `cargo run --release --example intervals_speed -- 2000`
//!
//! Prints the median of 21 runs of the pure choice, at a quarter, half and three quarters of the span between the least
//! minutes and those of the shortest intervals.
#![allow(clippy::print_stdout, reason = "an example that prints")]

use std::time::Instant;

use cowpath_core::minutes::intervals::{Cow, at_worth, best, least_minutes};

fn main() {
    let asked: Vec<usize> = std::env::args().skip(1).filter_map(|word| word.parse().ok()).collect();
    let sizes = if asked.is_empty() { vec![60, 180, 2_000, 20_000] } else { asked };
    for cows in sizes {
        // Spread evenly over plausible ranges, by irrational steps: no chance, and no two alike.
        let at =
            |cow: usize, step: f64, low: f64, high: f64| low + (high - low) * (cow as f64 * step).fract();
        let herd: Vec<Cow> = (0..cows)
            .map(|cow| Cow {
                rate_kg_h: at(cow, 0.618_033_988, 0.7, 2.2),
                kappa_per_h: 0.038,
                handling_min: at(cow, 0.414_213_562, 1.8, 4.0),
                flow_kg_min: at(cow, 0.732_050_808, 1.4, 3.6),
                low_h: at(cow, 0.236_067_977, 4.0, 9.0),
                high_h: 14.0,
            })
            .collect();
        let (least, most) = (least_minutes(&herd), at_worth(&herd, 0.33, 0.0).minutes);
        for share in [0.25, 0.5, 0.75] {
            let minutes = least + share * (most - least);
            let mut took: Vec<f64> = (0..21)
                .map(|_| {
                    let begun = Instant::now();
                    let found = best(&herd, 0.33, minutes);
                    assert!(found.is_ok_and(|found| (found.minutes - minutes).abs() < 1e-6 * minutes));
                    begun.elapsed().as_secs_f64() * 1e3
                })
                .collect();
            took.sort_by(f64::total_cmp);
            println!("{cows} cows, {minutes:.0} minutes: {:.2} ms (median of 21)", took[10]);
        }
    }
}
