//! `cowpath expected`: each milking beside what was expected before it.

use std::{io::Write, process::ExitCode};

use clap::Args;
use cowpath_core::{
    expect::Scored,
    say::{number, when},
    tables::Visit,
    units::{Kilograms, UnitSystem},
};
use serde::Serialize;

use super::{Context, Format, show};
use crate::ask::{
    expected::{self, Asked},
    farm::{self, Ways},
};

/// Each milking beside what was expected before it was seen
///
/// `expected` follows her; `baseline` is held from before a suspected onset. `scored` milkings count for the model's
/// own errors: milked out, from the third since calving.
///
/// Example: cowpath expected --animal 214 --from 2026-02-20 --format csv
#[derive(Debug, Args)]
pub struct Expected {
    /// Only this cow
    #[arg(long, value_name = "A")]
    animal: Option<String>,
    /// From this time on
    #[arg(long, value_name = "T")]
    from: Option<String>,
    /// Before this time
    #[arg(long, value_name = "T")]
    to: Option<String>,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Serialize)]
struct Row<'a> {
    animal: &'a str,
    started_at: String,
    observed_kg: Option<f64>,
    expected_kg: f64,
    low95_kg: f64,
    high95_kg: f64,
    baseline_kg: f64,
    scored: bool,
}

impl Expected {
    /// Prints the milkings asked for.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        let ways = barn.ways()?;
        let time =
            |words: &Option<String>| words.as_deref().map(|words| farm::time(words, &ways.zone)).transpose();
        let (from, to) = farm::in_order(time(&self.from)?, time(&self.to)?)?;
        if let Some(animal) = self.animal.as_ref().filter(|animal| !barn.knows(animal).unwrap_or(true)) {
            return Err(farm::unknown(animal));
        }
        let asked = Asked { animal: self.animal.clone(), from, to };
        match self.format {
            Format::Json => {
                let mut out = show::out();
                let mut first = true;
                out.write_all(b"[")?;
                expected::expected(&mut barn, &ways, &asked, &mut |animal, visit, scored| {
                    out.write_all(if first { b"\n" } else { b",\n" })?;
                    first = false;
                    serde_json::to_writer(&mut out, &row(animal, visit, scored, &ways))?;
                    Ok(())
                })?;
                out.write_all(b"\n]\n")?;
                out.flush()?;
            }
            Format::Csv => {
                let unit = number::mass_unit(ways.units);
                let mut writer = csv::Writer::from_writer(show::out());
                let measured = ["observed", "expected", "low95", "high95", "baseline"]
                    .map(|name| format!("{name}_{unit}"));
                let mut header = vec!["animal".to_owned(), "started_at".into()];
                header.extend(measured);
                header.push("scored".into());
                writer.write_record(&header)?;
                expected::expected(&mut barn, &ways, &asked, &mut |animal, visit, scored| {
                    writer.write_record(cells(animal, visit, scored, &ways))?;
                    Ok(())
                })?;
                writer.flush()?;
            }
            Format::Text => {
                let mut out = show::out();
                let unit = number::mass_unit(ways.units);
                writeln!(
                    out,
                    "cow         started                    milk  expected (95 %)      baseline   [{unit}]"
                )?;
                expected::expected(&mut barn, &ways, &asked, &mut |animal, visit, scored| {
                    let row = row(animal, visit, scored, &ways);
                    let mass = |kg: f64| number::mass_figure(Kilograms(kg), ways.units);
                    writeln!(
                        out,
                        "{:<11} {:<25} {:>6} {:>6} ({} to {}) {:>6}{}",
                        show::plain(row.animal),
                        row.started_at,
                        row.observed_kg.map_or("-".into(), mass),
                        mass(row.expected_kg),
                        mass(row.low95_kg),
                        mass(row.high95_kg),
                        mass(row.baseline_kg),
                        if row.scored { "" } else { "  not scored" }
                    )?;
                    Ok(())
                })?;
                out.flush()?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// Grams are finer than any meter; more digits would only say that we do not know it.
fn grams(kg: f64) -> f64 {
    (kg * 1000.0).round() / 1000.0
}

fn row<'a>(animal: &'a str, visit: &Visit, scored: &Scored, ways: &Ways) -> Row<'a> {
    Row {
        animal,
        started_at: when::rfc3339(visit.started_at, &ways.zone),
        observed_kg: scored.observed_kg,
        expected_kg: grams(scored.expected_kg),
        low95_kg: grams(scored.low95_kg),
        high95_kg: grams(scored.high95_kg),
        baseline_kg: grams(scored.baseline_kg),
        scored: scored.scored,
    }
}

fn cells(animal: &str, visit: &Visit, scored: &Scored, ways: &Ways) -> Vec<String> {
    let own = |kg: f64| match ways.units {
        UnitSystem::Metric => kg,
        UnitSystem::Us => Kilograms(kg).pounds(),
    };
    let row = row(animal, visit, scored, ways);
    let mut cells = vec![show::guarded(row.animal), row.started_at];
    cells.push(row.observed_kg.map_or(String::new(), |kg| grams(own(kg)).to_string()));
    cells.extend(
        [row.expected_kg, row.low95_kg, row.high95_kg, row.baseline_kg].map(|kg| grams(own(kg)).to_string()),
    );
    cells.push(row.scored.to_string());
    cells
}
