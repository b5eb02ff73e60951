//! `cowpath cow`: one cow.

use std::{io::Write, process::ExitCode};

use clap::Args;
use cowpath_core::{say::reason::speaks, units::UnitSystem};

use super::{Context, Format, show, words};
use crate::ask::{
    answered::{self, Told},
    cowing::{self, Span},
    farm, rounding, view,
};

/// One cow: her stage, her calls, what was expected of her, and all rows behind
///
/// Example: cowpath cow 214 --at 2026-03-02T05:30
#[derive(Debug, Args)]
pub struct Cow {
    /// Her herd number or name
    animal: String,
    /// As known at this time; without it the time of the newest row
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// First day of the span; without it ten days before its end
    #[arg(long, value_name = "DAY", value_parser = words::day)]
    from: Option<jiff::civil::Date>,
    /// Last day of the span; without it the day of `--at`
    #[arg(long, value_name = "DAY", value_parser = words::day)]
    to: Option<jiff::civil::Date>,
    /// How it is printed; csv prints her visits
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Cow {
    /// Prints one cow.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let barn = context.barn()?;
        let zone = barn.ways()?.zone;
        let at = self.at.as_deref().map(|words| farm::time(words, &zone)).transpose()?;
        let unknown = || farm::unknown(&self.animal);
        let view = view::at(&barn, at)?.ok_or_else(unknown)?;
        let round = rounding::of_view(&barn, &view)?;
        let told = Told::read(&barn.store, view.at, at)?;
        let round = answered::joined(round, &told, view.at, &zone);
        let (from, to) = farm::in_order(self.from, self.to)?;
        let span = Span { from, to };
        let units = if self.format == Format::Json { UnitSystem::Metric } else { view.ways.units };
        let mut cow =
            cowing::cow(&barn, &view, None, &round, &self.animal, None, span, units)?.ok_or_else(unknown)?;
        let ids: Vec<String> = cow.calls.iter().map(|call| call.id.clone()).collect();
        cow.past = answered::past(&barn.store, &told, &cow.animal, &ids, view.at, &zone)?;
        match self.format {
            Format::Json => show::json(&cow.json(&zone)?)?,
            Format::Csv => {
                let head: Vec<&str> = cow.row_head.iter().map(String::as_str).collect();
                show::csv(
                    &head,
                    cow.rows.iter().map(|row| row.iter().map(|cell| show::guarded(cell)).collect()),
                )?;
            }
            Format::Text => {
                let mut out = show::out();
                writeln!(
                    out,
                    "{}, {}: {}",
                    show::plain(&cow.animal),
                    cow.at_words,
                    show::plain(&cow.stage_words)
                )?;
                writeln!(out, "{}", show::plain(&cow.summary))?;
                for call in &cow.calls {
                    writeln!(out, "  [{}] {}", call.urgency, show::plain(&call.action))?;
                    writeln!(out, "        {}", show::plain(&call.why))?;
                    for reason in &call.reasons {
                        writeln!(
                            out,
                            "        {:<21}  {}: {}",
                            speaks(reason.weight),
                            reason.name_words,
                            reason.value_words
                        )?;
                    }
                    let found = call.found.as_ref().map_or("", |found| found.words.as_str());
                    for said in [call.asked.as_str(), found].into_iter().filter(|said| !said.is_empty()) {
                        writeln!(out, "        {}", show::plain(said))?;
                    }
                    for caution in &call.cautions {
                        writeln!(out, "        ! {caution}")?;
                    }
                }
                for settled in &cow.settled {
                    writeln!(out, "{}", settled)?;
                }
                writeln!(out)?;
                for lane in &cow.lanes.lanes {
                    writeln!(out, "{:<14} {:<22} {:>8}  {}", lane.name, lane.unit, lane.last, lane.usual)?;
                }
                for past in &cow.past {
                    writeln!(out, "{}: {}", past.when, show::plain(&past.sentence))?;
                    if !past.found.is_empty() {
                        writeln!(out, "        {}", show::plain(&past.found))?;
                    }
                }
                if !cow.calendar.is_empty() {
                    writeln!(out)?;
                }
                for (when, what, details) in cow.calendar.iter().take(12) {
                    writeln!(out, "{when:<16} {what:<16} {}", show::plain(details))?;
                }
                out.flush()?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}
