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
    place: String,
    times: u64,
    #[serde(rename = "do")]
    next: String,
}

impl Check {
    /// Prints what was found; exit code 1 when a sum does not agree or the file is damaged.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let found = context.barn()?.store.check()?;
        let (faults, remarks): (Vec<_>, Vec<_>) = found.into_iter().partition(|fault| fault.kind.is_broken());
        let line = |fault: cowpath_store::Fault| Line {
            what: fault.says.clone(),
            place: fault.place.clone(),
            times: fault.times,
            next: next(&fault),
        };
        let answer = Answer {
            whole: faults.is_empty(),
            faults: faults.into_iter().map(line).collect(),
            remarks: remarks.into_iter().map(line).collect(),
        };
        let lines = || {
            answer
                .faults
                .iter()
                .map(|line| ("fault", line))
                .chain(answer.remarks.iter().map(|line| ("remark", line)))
        };
        match self.format {
            Format::Json => show::json(&answer)?,
            Format::Csv => show::csv(
                &["kind", "place", "times", "what", "do"],
                lines().map(|(kind, line)| {
                    let times = line.times.to_string();
                    vec![
                        kind.to_owned(),
                        show::guarded(&line.place),
                        times,
                        show::guarded(&line.what),
                        line.next.clone(),
                    ]
                }),
            )?,
            Format::Text => {
                let mut out = show::out();
                writeln!(
                    out,
                    "{}",
                    if answer.whole {
                        "The file is whole and its sums agree."
                    } else {
                        "The file is not whole:"
                    }
                )?;
                for (kind, line) in lines() {
                    let (place, what) = (show::plain(&line.place), show::plain(&line.what));
                    writeln!(out, "{kind}: {place}: {what} ({} times)\n  Do: {}", line.times, line.next)?;
                }
                out.flush()?;
            }
        }
        Ok(ExitCode::from(u8::from(!answer.whole)))
    }
}

/// What to do about a finding.
fn next(fault: &cowpath_store::Fault) -> String {
    use cowpath_store::FaultKind;
    match fault.kind {
        FaultKind::Damage => "restore the newest backup: `cowpath restore FILE`; the damaged file is kept beside it",
        FaultKind::Reference | FaultKind::Sums | FaultKind::Rows | FaultKind::TwoPlaces => {
            "this is our fault: restore the newest backup, read the logs since then again, and report this sentence"
        }
        FaultKind::Quarters => "look at the milk meters of that box; the models go by the whole udder",
        FaultKind::SharedBox => "look at the clock of that box, or whether an exit was not logged",
    }
    .into()
}
