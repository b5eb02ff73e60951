//! `cowpath validate`: how often the program is right, on simulated herds whose truth is known.

use std::{path::PathBuf, process::ExitCode};

use clap::Args;
use serde::Serialize;

use super::{Context, Format, show};
use crate::{
    ask::validate::{self, Asked, Report, heard::Heard, page, without::Dropped, words},
    trouble::user,
};

/// The place of the page that `--write` fills.
const PLACE: &str = "simulated-herds";
/// The place that `--write` fills with rounds after every milking.
const PLACE_EVERY: &str = "every-milking";
/// The place that `--write` fills with herds that lack sensors.
const PLACE_ABLATION: &str = "ablation";

/// How often the calls are right: simulated herds, read and judged round by round, held against their truth
///
/// The herds lie in folders of their own that are removed again; no farm is touched.
///
/// Example: cowpath validate --herds 4 --seed 1
#[derive(Debug, Args)]
pub struct Validate {
    /// Herds
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=1000))]
    herds: u32,
    /// Seed of the first herd, the others follow; templates may be looked at on 1 to 9, figures are reported on 101 and on
    #[arg(long, default_value_t = validate::REPORTED_FROM)]
    seed: u64,
    /// Cows of each herd
    #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(2..=5000))]
    cows: u32,
    /// Boxes of each herd
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=60))]
    boxes: u32,
    /// Days of logs of each herd
    #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(6..=1500))]
    days: u32,
    /// A signal whose columns are left out of the logs; may be given more than once
    #[arg(long, value_name = "SIGNAL")]
    without: Vec<String>,
    /// A round after every milking, instead of two a day
    #[arg(long)]
    every_milking: bool,
    /// The same herds without each signal and without sensors that farms lack: what each adds
    #[arg(long, conflicts_with = "without")]
    ablation: bool,
    /// Write the figures into their place of this page too
    #[arg(long, value_name = "PAGE", num_args = 0..=1, default_missing_value = "docs/validation.md")]
    write: Option<PathBuf>,
    /// How they are printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Validate {
    /// Prints the figures.
    pub fn run(&self, _context: &Context) -> anyhow::Result<ExitCode> {
        let dropped = Dropped::of(&self.without).map_err(|word| {
            user(
                format!("`{word}` is no signal that can be left out"),
                "nothing was done",
                format!("name one of: {}", Dropped::known().join(", ")),
            )
        })?;
        let asked = Asked {
            herds: self.herds,
            seed: self.seed,
            cows: self.cows,
            boxes: self.boxes,
            days: self.days,
            every_milking: self.every_milking,
        };
        let place = match (self.ablation, self.every_milking) {
            (true, _) => PLACE_ABLATION,
            (false, true) => PLACE_EVERY,
            (false, false) => PLACE,
        };
        if let Some(path) = &self.write {
            page::ready(path, place)?;
        }
        let text = if self.ablation {
            let reports = validate::ablation(&asked, &told)?;
            let text = words::ablation(&reports);
            print(&reports, &reports, &text, self.format)?;
            text
        } else {
            let report = validate::validate(&asked, dropped, &told)?;
            let text = words::page(&report);
            print(&report, std::slice::from_ref(&report), &text, self.format)?;
            text
        };
        if let Some(path) = &self.write {
            page::fill(path, place, &text)?;
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// A herd that is done, on standard error.
fn told(heard: &Heard) {
    let took = heard.took;
    show::aside(&format!(
        "Herd of seed {}: made and read in {:.1} s, {} rounds rolled in {:.1} s and judged in {:.1} s",
        heard.seed,
        took.reading.as_secs_f64(),
        heard.rounds.len(),
        took.rolling.as_secs_f64(),
        took.judging.as_secs_f64()
    ));
}

fn print(whole: &impl Serialize, reports: &[Report], text: &str, format: Format) -> anyhow::Result<()> {
    match format {
        Format::Text => show::line(text.trim_end()),
        Format::Json => show::json(whole),
        Format::Csv => show::csv(
            &[
                "without",
                "what",
                "figure",
                "low95",
                "high95",
                "count",
                "n",
                "unit",
                "asked",
                "rule",
                "rule_figure",
                "rule_low95",
                "rule_high95",
            ],
            reports.iter().flat_map(|report| {
                report.rows.iter().map(|line| words::cells(&report.herds, line)).collect::<Vec<_>>()
            }),
        ),
    }
}
