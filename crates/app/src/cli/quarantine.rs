//! `cowpath quarantine`: rows that could not be used yet, mended and taken in.

use std::{io::Write, process::ExitCode};

use clap::{Args, Subcommand};
use serde::Serialize;

use super::{Context, Format, show};
use crate::{
    ask::{
        mending::{self, Again, Mended},
        records::{self, Kept},
        taken::TakenFile,
    },
    trouble::{short, user},
};

/// Lists the rows that could not be used yet, mends one, or takes in what is understood by now
///
/// Example: cowpath quarantine mend 12 milk_kg=11.4
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Quarantine {
    #[command(subcommand)]
    act: Option<Act>,
    /// How they are printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum Act {
    Mend(Mend),
    Again(TakeAgain),
}

/// Mends one row and takes it in; if it still cannot be used it stays as it was
///
/// Example: cowpath quarantine mend 12 milk_kg=11.4 ended_at=2026-03-02T05:09
#[derive(Debug, Args)]
struct Mend {
    /// Number of the row, as `cowpath quarantine` lists it
    #[arg(value_name = "ENTRY")]
    entry: i64,
    /// What its cells should be, by the columns of its file; `column=` empties one
    #[arg(value_name = "COLUMN=VALUE", required = true)]
    cells: Vec<String>,
    /// How the outcome is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Takes in every row that is understood by now, as one of a time that was in the future
///
/// Example: cowpath quarantine again
#[derive(Debug, Args)]
struct TakeAgain {
    /// How the outcome is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// What came of mending.
#[derive(Serialize)]
struct Outcome {
    entry: i64,
    outcome: &'static str,
    column: Option<String>,
    reason: Option<String>,
    #[serde(rename = "do")]
    next: Option<String>,
}

/// Rows asked for at a time.
const AT_A_TIME: u64 = 1000;

impl Quarantine {
    /// Lists, mends, or takes in again.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        match &self.act {
            None => self.list(context),
            Some(Act::Mend(mend)) => mend.run(context),
            Some(Act::Again(again)) => {
                let mut barn = context.barn()?;
                print_again(&mending::again(&mut barn, context.now)?, again.format)?;
                Ok(ExitCode::SUCCESS)
            }
        }
    }

    fn list(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let barn = context.barn()?;
        let mut all = records::quarantine(&barn, 0, AT_A_TIME)?;
        loop {
            let page = records::quarantine(&barn, all.rows.len() as u64, AT_A_TIME)?;
            if page.rows.is_empty() {
                break;
            }
            all.rows.extend(page.rows);
        }
        match self.format {
            Format::Json => show::json(&all)?,
            Format::Csv => show::csv(
                &["entry", "file", "table", "line", "column", "value", "reason", "do", "row"],
                all.rows.iter().map(|row| {
                    let entry = row.entry.map(|entry| entry.to_string()).unwrap_or_default();
                    let line = row.line.to_string();
                    let cells = [&row.file, &row.table, &line, &row.column, &row.value, &row.reason];
                    let cells = cells.into_iter().chain([&row.next, &row.row]);
                    [entry].into_iter().chain(cells.map(|cell| show::guarded(cell))).collect()
                }),
            )?,
            Format::Text => text(&all)?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn text(all: &records::Quarantine) -> anyhow::Result<()> {
    let mut out = show::out();
    if all.rows.is_empty() {
        writeln!(out, "No row is in quarantine.")?;
    }
    for row in &all.rows {
        let Kept { file, line, column, value, reason, next, .. } = row;
        let what = if column.is_empty() { String::new() } else { format!("{column} \"{value}\": ") };
        let number = row.entry.map_or("aside".to_owned(), |entry| entry.to_string());
        writeln!(
            out,
            "{number:>5}  {}, line {line}: {}{}",
            show::plain(file),
            show::plain(&what),
            show::plain(reason)
        )?;
        writeln!(out, "       Do: {}", show::plain(next))?;
    }
    if all.rows.iter().any(|row| row.entry.is_some()) {
        writeln!(out, "\nMend one: `cowpath quarantine mend NUMBER column=value`")?;
    }
    out.flush()?;
    Ok(())
}

impl Mend {
    fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let changes = self.cells.iter().map(|word| split(word)).collect::<anyhow::Result<Vec<_>>>()?;
        let mut barn = context.barn()?;
        let mended =
            mending::mend(&mut barn, self.entry, &|cells| mending::by_column(cells, &changes), context.now)?;
        let (outcome, column, reason, next) = match mended {
            Mended::Taken(how, None) => (how, None, None, None),
            Mended::Taken(how, Some((why, next))) => (how, None, Some(why), Some(next)),
            Mended::Still(column, reason, next) => ("quarantined", column, Some(reason), Some(next)),
            Mended::Before => (
                "mended before",
                None,
                Some("this row was mended and taken in before".to_owned()),
                Some("nothing; `cowpath quarantine` lists what is left".to_owned()),
            ),
        };
        let told = Outcome { entry: self.entry, outcome, column, reason, next };
        match self.format {
            Format::Json => show::json(&told)?,
            Format::Csv => show::csv(
                &["entry", "outcome", "column", "reason", "do"],
                [vec![
                    told.entry.to_string(),
                    told.outcome.into(),
                    show::guarded(told.column.as_deref().unwrap_or_default()),
                    show::guarded(told.reason.as_deref().unwrap_or_default()),
                    told.next.clone().unwrap_or_default(),
                ]],
            )?,
            Format::Text => {
                let mut out = show::out();
                match told.outcome {
                    "quarantined" => {
                        writeln!(out, "The row still cannot be used, and stays in quarantine as it was.")?
                    }
                    "mended before" => {}
                    how if told.reason.is_none() => writeln!(out, "The row is taken in: {how}.")?,
                    how => writeln!(out, "The row is taken in, {how}, and set aside:")?,
                }
                if let Some(reason) = &told.reason {
                    let column = told.column.as_ref().map_or(String::new(), |column| format!("{column}: "));
                    writeln!(out, "{}", show::plain(&format!("{column}{reason}")))?;
                }
                if let Some(next) = &told.next {
                    writeln!(out, "Do: {}", show::plain(next))?;
                }
                out.flush()?;
            }
        }
        Ok(ExitCode::from(u8::from(told.outcome == "quarantined")))
    }
}

fn split(word: &str) -> anyhow::Result<(String, String)> {
    word.split_once('=').map(|(column, value)| (column.to_owned(), value.to_owned())).ok_or_else(|| {
        user(
            format!("`{}` does not say which column it is for", short(word)),
            "nothing was changed",
            "write column=value, like milk_kg=11.4",
        )
    })
}

fn print_again(told: &Again, format: Format) -> anyhow::Result<()> {
    match format {
        Format::Json => show::json(told),
        Format::Csv => show::csv(
            &["file", "table", "read", "new", "same", "replaced", "quarantined"],
            told.files.iter().map(|file| {
                let TakenFile { file, table, read, new, same, replaced, quarantined, .. } = file;
                let sums = [read, new, same, replaced, quarantined].map(ToString::to_string);
                [show::guarded(file), table.clone().unwrap_or_default()].into_iter().chain(sums).collect()
            }),
        ),
        Format::Text => {
            let mut out = show::out();
            writeln!(
                out,
                "{} of {} rows in quarantine are understood by now and were taken in; {} are left.",
                told.taken, told.looked_at, told.left
            )?;
            for file in &told.files {
                writeln!(
                    out,
                    "{}: {} new, {} same, {} replaced",
                    show::plain(&file.file),
                    file.new,
                    file.same,
                    file.replaced
                )?;
            }
            out.flush()?;
            Ok(())
        }
    }
}
