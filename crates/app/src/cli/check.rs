//! `cowpath check`: whether the farm's file is whole.

use std::{io::Write, process::ExitCode};

use clap::Args;
use serde::Serialize;

use super::{Context, Format, show};

/// Whether the farm's file is whole and its sums agree
///
/// Example: cowpath check
#[derive(Debug, Args)]
pub struct Check {
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Serialize)]
struct Answer {
    whole: bool,
    faults: Vec<Line>,
    remarks: Vec<Line>,
}

#[derive(Serialize)]
struct Line {
    what: String,
    #[serde(rename = "do")]
    next: String,
}

impl Check {
    /// Prints what was found; exit code 1 when a sum does not agree or the file is damaged.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let found = context.barn()?.store.check()?;
        let (faults, remarks): (Vec<_>, Vec<_>) = found.into_iter().partition(|fault| fault.serious);
        let line = |fault: cowpath_store::Fault| Line { what: fault.what, next: fault.remedy };
        let answer = Answer {
            whole: faults.is_empty(),
            faults: faults.into_iter().map(line).collect(),
            remarks: remarks.into_iter().map(line).collect(),
        };
        let lines = || answer.faults.iter().map(|line| ("fault", line)).chain(answer.remarks.iter().map(|line| ("remark", line)));
        match self.format {
            Format::Json => show::json(&answer)?,
            Format::Csv => show::csv(
                &["kind", "what", "do"],
                lines().map(|(kind, line)| vec![kind.to_owned(), show::guarded(&line.what), show::guarded(&line.next)]),
            )?,
            Format::Text => {
                let mut out = show::out();
                writeln!(out, "{}", if answer.whole { "The file is whole and its sums agree." } else { "The file is not whole:" })?;
                for (kind, line) in lines() {
                    writeln!(out, "{kind}: {}\n  Do: {}", show::plain(&line.what), show::plain(&line.next))?;
                }
                out.flush()?;
            }
        }
        Ok(ExitCode::from(u8::from(!answer.whole)))
    }
}
