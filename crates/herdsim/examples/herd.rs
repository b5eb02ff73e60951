//! Writes a simulated herd's logs and truth: `herd FOLDER [cows boxes days seed]`.

use std::path::PathBuf;

use cowpath_herdsim::{Scenario, write};

fn main() -> Result<(), cowpath_herdsim::SimError> {
    let mut words = std::env::args().skip(1);
    let folder = PathBuf::from(words.next().unwrap_or_else(|| "herd".to_owned()));
    let given: Vec<u64> = words.filter_map(|word| word.parse().ok()).collect();
    let at = |place: usize, or: u64| given.get(place).copied().unwrap_or(or);
    let scenario =
        Scenario::demo(at(0, 120) as u32, at(1, 2) as u32, at(2, 120) as u32, at(3, Scenario::DEMO_SEED));
    let begun = std::time::Instant::now();
    let written = write(&scenario, &folder.join("logs"), Some(&folder.join("truth")))?;
    for (table, rows) in written.rows.iter().chain(&written.truth_rows) {
        println!("{table:12} {rows:>9}");
    }
    println!("{:.2} s", begun.elapsed().as_secs_f64());
    Ok(())
}
