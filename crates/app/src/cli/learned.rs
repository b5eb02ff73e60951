//! `cowpath missed` and `cowpath learned`: cases that no call named, and what the farm's answers have taught.

use std::{io::Write, process::ExitCode};

use clap::Args;

use super::{Context, Format, show};
use crate::{
    ask::{farm, missed, record},
    trouble::user,
};

/// Tells of a case that no call named: it counts as missed, and teaches how often the cause begins here
///
/// CAUSE is udder, heat, metabolic, gut, feet, fever or unclear.
///
/// Example: cowpath missed 214 udder --quarter LR --at 2026-03-02T04:00 --by Ann
#[derive(Debug, Args)]
pub struct Missed {
    /// Number of the cow
    #[arg(value_name = "ANIMAL", required_unless_present = "undo")]
    animal: Option<String>,
    /// What she had
    #[arg(value_name = "CAUSE", required_unless_present = "undo")]
    cause: Option<String>,
    /// In which quarter: LF, RF, LR or RR
    #[arg(long, value_name = "Q")]
    quarter: Option<String>,
    /// When she was found ill; without it now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// More of it, in your own words
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Who tells it
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Takes a case back, by its number; it stays on record as taken back
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["animal", "cause"])]
    undo: Option<i64>,
    /// How the case is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Missed {
    /// Keeps the case.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        if self.format == Format::Csv {
            return Err(user(
                "one case is not a table",
                "nothing was kept",
                "leave --format out, or write `--format json`",
            ));
        }
        if let Some(id) = self.undo {
            missed::take_back(&mut barn, id, context.now, self.by.as_deref())?;
            show::line(&format!("Taken back: case {id}"))?;
            return Ok(ExitCode::SUCCESS);
        }
        let given = missed::GivenMissed {
            animal: self.animal.clone().unwrap_or_default(),
            cause: self.cause.clone().unwrap_or_default(),
            quarter: self.quarter.clone(),
            at: self.at.clone(),
            note: self.note.clone(),
            by: self.by.clone(),
        };
        let case = missed::tell(&mut barn, &given, context.now)?;
        if self.format == Format::Json {
            show::json(&case)?;
        } else {
            let mut out = show::out();
            writeln!(out, "{}", show::plain(&case.words))?;
            if let Some(id) = case.id {
                writeln!(out, "Taken back by: cowpath missed --undo {id}")?;
            }
            out.flush()?;
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// What the farm's own answers have taught: how much oftener each cause is taken to begin here, since when and why
///
/// Example: cowpath learned --take-back udder
#[derive(Debug, Args)]
pub struct Learned {
    /// What was taught until then; without it everything
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// What was learned of a cause so far no longer counts; what is answered from now on does
    #[arg(long, value_name = "CAUSE")]
    take_back: Option<String>,
    /// It counts again, by the number of the taking back
    #[arg(long, value_name = "NUMBER", conflicts_with = "take_back")]
    undo: Option<i64>,
    /// Who takes it back
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Learned {
    /// Prints what was learned, after taking back what is to be.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        if let Some(cause) = &self.take_back {
            let id = missed::unlearn(&mut barn, cause, context.now, self.by.as_deref())?;
            show::aside(&format!("Taken back. It counts again by: cowpath learned --undo {id}"));
        } else if let Some(id) = self.undo {
            missed::learn_again(&mut barn, id, context.now, self.by.as_deref())?;
        }
        let zone = barn.ways()?.zone;
        let at = self.at.as_deref().map(|words| farm::time(words, &zone)).transpose()?;
        let until = at.unwrap_or(jiff::Timestamp::MAX);
        let learned = record::record(&barn.store, until, at.unwrap_or(context.now), &zone)?.learned;
        match self.format {
            Format::Json => show::json(&learned)?,
            Format::Csv => show::csv(
                &["cause", "since", "before", "factor", "words"],
                learned.steps.iter().map(|step| {
                    vec![
                        step.cause.into(),
                        step.since.clone(),
                        format!("{:.1}", step.before),
                        format!("{:.1}", step.factor),
                        step.words.clone(),
                    ]
                }),
            )?,
            Format::Text => {
                let mut out = show::out();
                if learned.causes.is_empty() {
                    writeln!(
                        out,
                        "Nothing is learned yet: every cause is taken to begin as often as stated."
                    )?;
                }
                for row in &learned.causes {
                    writeln!(out, "{}", row.words)?;
                }
                for step in &learned.steps {
                    writeln!(out, "  {}", step.words)?;
                }
                for back in &learned.taken_back {
                    let undone = if back.undone { " (counts again)" } else { "" };
                    writeln!(out, "{:>5}  {}{undone}", back.id, show::plain(&back.words))?;
                }
                out.flush()?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}
