//! `cowpath found` and `cowpath record`: what a call turned out to be, and how often calls were right.

use std::{io::Write, process::ExitCode};

use clap::Args;

use super::{Context, Format, show};
use crate::{
    ask::{farm, found, record, rounding},
    trouble::user,
};

/// Says what a person found who looked after a call; it stays with the call for ever
///
/// CALL is the id of a call (`cowpath round --format json`), or the number of a cow with one call in the newest round.
/// OUTCOME is confirmed, other-quarter (with --quarter), other-cause (with --cause), nothing, or look-again.
///
/// Example: cowpath found 214 confirmed --sign clots --by Ann
#[derive(Debug, Args)]
pub struct Found {
    /// Id of the call, or the number of a cow with one call
    #[arg(value_name = "CALL", required_unless_present = "undo")]
    call: Option<String>,
    /// confirmed, other-quarter, other-cause, nothing or look-again
    #[arg(value_name = "OUTCOME", required_unless_present = "undo")]
    outcome: Option<String>,
    /// The quarter that it was: LF, RF, LR or RR
    #[arg(long, value_name = "Q")]
    quarter: Option<String>,
    /// The cause that it was, where it was another
    #[arg(long, value_name = "CAUSE")]
    cause: Option<String>,
    /// What was seen, in a word or two
    #[arg(long, value_name = "TEXT")]
    sign: Option<String>,
    /// More of it, in your own words
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Who looked
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Takes an answer back, by its number; it stays on record as taken back
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["call", "outcome"])]
    undo: Option<i64>,
    /// How the answer is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Found {
    /// Keeps the answer.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        if let Some(id) = self.undo {
            found::take_back(&mut barn, id, context.now, self.by.as_deref())?;
            let mut out = show::out();
            writeln!(out, "Taken back: answer {id}")?;
            out.flush()?;
            return Ok(ExitCode::SUCCESS);
        }
        let given = found::Given {
            call: self.call.clone().unwrap_or_default(),
            outcome: self.outcome.clone().unwrap_or_default(),
            cause: self.cause.clone(),
            quarter: self.quarter.clone(),
            sign: self.sign.clone(),
            note: self.note.clone(),
            by: self.by.clone(),
            sent_as: None,
        };
        let newest = rounding::round(&barn, None, context.now)?;
        let answer = found::give(&mut barn, &newest, &given, context.now)?;
        match self.format {
            Format::Json => show::json(&answer)?,
            Format::Csv => return Err(no_csv()),
            Format::Text => {
                let mut out = show::out();
                writeln!(out, "{}", show::plain(&answer.words))?;
                writeln!(out, "Taken back by: cowpath found --undo {}", answer.id)?;
                out.flush()?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn no_csv() -> anyhow::Error {
    user("one answer is not a table", "the answer was kept", "leave --format out, or write `--format json`")
}

/// How often the calls were right, by what was found, with every answer
///
/// Example: cowpath record --format csv
#[derive(Debug, Args)]
pub struct Record {
    /// What was answered until then; without it everything
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// How it is printed; csv prints the causes
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Record {
    /// Prints the record.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let barn = context.barn()?;
        let zone = barn.ways()?.zone;
        let at = self.at.as_deref().map(|words| farm::time(words, &zone)).transpose()?;
        let until = at.unwrap_or(jiff::Timestamp::MAX);
        let record = record::record(&barn.store, until, at.unwrap_or(context.now), &zone)?;
        match self.format {
            Format::Json => show::json(&record)?,
            Format::Csv => show::csv(
                &[
                    "cause",
                    "shown",
                    "answered",
                    "right",
                    "other_quarter",
                    "other_cause",
                    "nothing",
                    "low95",
                    "high95",
                    "missed",
                    "caught_low95",
                    "caught_high95",
                ],
                record.causes.iter().map(|row| {
                    let counts =
                        [row.shown, row.answered, row.right, row.other_quarter, row.other_cause, row.nothing];
                    let mut cells = vec![row.cause.clone()];
                    cells.extend(counts.iter().map(u32::to_string));
                    cells.extend([row.low, row.high].map(|end| format!("{end:.4}")));
                    cells.push(row.missed.to_string());
                    cells.extend([row.caught_low, row.caught_high].map(|end| format!("{end:.4}")));
                    cells
                }),
            )?,
            Format::Text => text(&record)?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn text(record: &record::Record) -> anyhow::Result<()> {
    let mut out = show::out();
    if record.causes.is_empty() {
        writeln!(out, "No round has shown a call yet.")?;
    }
    for row in &record.causes {
        writeln!(out, "{}: {} {}", row.cause, shown(row.shown), row.words)?;
        if 0 < row.missed {
            writeln!(out, "    {}", row.missed_words)?;
        }
    }
    for step in &record.learned.steps {
        writeln!(out, "{}", step.words)?;
    }
    for case in &record.missed {
        match case.id {
            Some(id) => writeln!(out, "{id:>5}  never called: {}", show::plain(&case.words))?,
            None => writeln!(out, "       never called: {}", show::plain(&case.words))?,
        }
    }
    for answer in &record.answers {
        let back = if answer.taken_back { " (taken back)" } else { "" };
        writeln!(
            out,
            "{:>5}  {}  {}{back}",
            answer.id,
            show::plain(&answer.call),
            show::plain(&answer.words)
        )?;
    }
    out.flush()?;
    Ok(())
}

fn shown(calls: u32) -> String {
    format!("{calls} {} shown as now or today.", if calls == 1 { "call" } else { "calls" })
}
