//! How long does a validation of twenty herds take?

use std::path::Path;

use super::{Line, herd, line, measure, word};

/// `validate --herds 20`, each 120 cows × 120 days, from simulating to the table.
pub fn twenty(program: &Path) -> anyhow::Result<Vec<Line>> {
    let farm = word(&herd::fresh("validate")?);
    let took = measure::run(program, &["--farm", &farm, "validate", "--herds", "20"])?;
    Ok(vec![line(
        "`validate --herds 20`, 120 cows × 120 days each",
        format!("{}; {:.0} MB at its peak", took.words(), took.peak_mb),
        "≤ 300 s on two processors",
        took.clock_s <= 300.0,
    )])
}
