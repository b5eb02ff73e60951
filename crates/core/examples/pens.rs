//! Figures and speed of pens of which nothing is known: `cargo run --release --example pens -- COWS BOXES [YIELD] [DAYS]`.

use std::sync::atomic::AtomicBool;
use std::time::Instant;

use cowpath_core::traffic::{Days, Drawn, Figure, Pen, Room, Spread, Tables, Traffic, run};

fn main() {
    let words: Vec<f64> = std::env::args().skip(1).filter_map(|word| word.parse().ok()).collect();
    let word = |place: usize, usual: f64| words.get(place).copied().unwrap_or(usual);
    let about = Drawn { yield_kg: word(2, 37.3), ..Drawn::default() };
    let days = Days { counted: word(3, 60.0), ..Days::default() };
    for traffic in [Traffic::Free, Traffic::Guided] {
        let pen = Pen::usual(word(0, 115.0) as usize, word(1, 2.0) as usize, traffic, about.clone());
        let (tables, mut room, stop) = (Tables::of(&pen), Room::default(), AtomicBool::new(false));
        let mut spreads = [Spread::default(); Figure::ALL.len()];
        let mut visits = 0;
        let begun = Instant::now();
        for replicate in 0..20 {
            if let Some(counted) = run(&pen, &tables, days, (1, replicate), &mut room, &stop) {
                visits += counted.visits;
                for (spread, value) in spreads.iter_mut().zip(counted.figures()) {
                    spread.add(value);
                }
            }
        }
        let taken = begun.elapsed().as_secs_f64();
        println!("{traffic:?}: {visits} visits, {:.0} ns a visit", 1e9 * taken / visits as f64);
        for (figure, spread) in Figure::ALL.iter().zip(&spreads) {
            println!("  {figure:?}: {:.4} ± {:.4}", spread.mean().mean, spread.mean().half());
        }
    }
}
