//! `cowpath map`: proposes how a table of another form is read, and shows ten rows read so.

use std::{io::Write, path::PathBuf, process::ExitCode};

use clap::{Args, ValueEnum};

use super::{Context, show};
use crate::{
    ask::{
        farm::{self, Barn},
        mapping::{self, Input, Shown},
        maps,
    },
    clock,
};

/// Proposes how a table of another form is read, with a reason for each column, and shows ten rows read so
///
/// Nothing is read into the farm. Look at what is marked unsure, mend the saved map in a text editor where it is wrong, see
/// again with --with, then keep it: `cowpath import` finds it by the file's header.
///
/// Example: cowpath map export.csv --save export.toml
#[derive(Debug, Args)]
pub struct Map {
    /// The file to look at
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Reads ten rows with this map instead of proposing one
    #[arg(long, value_name = "MAP.toml")]
    with: Option<PathBuf>,
    /// Writes the map into a new file
    #[arg(long, value_name = "MAP.toml")]
    save: Option<PathBuf>,
    /// Keeps the map in the farm's folder, so that files with this header are read with it
    #[arg(long)]
    keep: bool,
    /// Time zone of wall times without an offset; without it the farm's
    #[arg(long, value_name = "ZONE")]
    zone: Option<String>,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: MapFormat,
}

/// How a map is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
enum MapFormat {
    /// Words for people.
    #[default]
    Text,
    /// For programs.
    Json,
}

impl Map {
    /// Shows a file and a map for it; exit code 1 when the map lacks what no row can do without.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let zone = match &self.zone {
            Some(zone) => farm::zone(zone)?,
            None => match context.barn() {
                Ok(barn) => barn.ways()?.zone,
                Err(_) => farm::zone(&clock::machine_zone_name())?,
            },
        };
        let input = Input::Path(&self.file);
        let shown = match &self.with {
            Some(map) => mapping::with(input, &maps::load(map)?, &zone, context.now)?,
            None => mapping::propose(input, &zone, context.now)?,
        };
        match self.format {
            MapFormat::Json => show::json(&shown)?,
            MapFormat::Text => text(&shown)?,
        }
        if let Some(path) = &self.save {
            maps::save(path, &shown.map)?;
            eprintln!("The map is in {}", path.display());
        }
        if self.keep {
            Barn::found(&context.farm, context.now, &clock::machine_zone_name())?;
            let path = maps::keep(&context.farm, &shown.name, &shown.map)?;
            eprintln!("The map is kept in {}", path.display());
        }
        Ok(ExitCode::from(u8::from(!shown.lacks.is_empty())))
    }
}

fn text(shown: &Shown) -> anyhow::Result<()> {
    let mut out = show::out();
    let plain = show::plain;
    writeln!(out, "{}: {}, each row {}", plain(&shown.file), shown.table, shown.row_is)?;
    writeln!(out, "  {}", plain(&shown.form.join("; ")))?;
    for column in &shown.columns {
        let name = column
            .column
            .as_deref()
            .map_or("(not in the file)".to_owned(), |name| format!("\"{}\"", plain(name)));
        let to = if column.to.is_empty() { "-".to_owned() } else { column.to.join(", ") };
        let how = if column.how.is_empty() { String::new() } else { format!(" ({})", plain(&column.how)) };
        writeln!(out, "\n{name}: {to}{how}")?;
        let reason =
            if column.reason.is_empty() { String::new() } else { format!(": {}", plain(&column.reason)) };
        writeln!(out, "  {}{reason}", column.mark)?;
        if !column.examples.is_empty() && column.column.is_some() {
            let cells: Vec<String> = column.examples.iter().map(|cell| plain(cell)).collect();
            writeln!(out, "  cells: {}", cells.join(" | "))?;
        }
    }
    if !shown.warnings.is_empty() {
        writeln!(out, "\nLook at:")?;
        for warning in &shown.warnings {
            writeln!(out, "  {}", plain(warning))?;
        }
    }
    writeln!(out)?;
    rows(&mut out, shown)?;
    for refused in &shown.quarantined {
        let place = refused.line.map_or(String::new(), |line| format!("line {line}: "));
        let column = refused.column.as_deref().map_or(String::new(), |column| format!("{column} "));
        let value = refused.value.as_deref().map_or(String::new(), |value| format!("\"{value}\" "));
        writeln!(out, "{place}{}{}{}", plain(&column), plain(&value), plain(&refused.reason))?;
        writeln!(out, "  Do: {}", plain(&refused.next))?;
    }
    out.flush()?;
    Ok(())
}

/// The first rows, one below the other: a table of 30 columns is wider than a terminal.
fn rows(out: &mut impl Write, shown: &Shown) -> anyhow::Result<()> {
    if shown.rows.is_empty() {
        writeln!(out, "No row could be read with this map.")?;
        return Ok(());
    }
    writeln!(
        out,
        "{} read with this map:",
        if shown.rows.len() == 1 { "One row".into() } else { format!("{} rows", shown.rows.len()) }
    )?;
    for row in &shown.rows {
        let cells: Vec<String> = shown
            .headings
            .iter()
            .zip(&row.cells)
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(heading, cell)| format!("{heading} {}", show::plain(cell)))
            .collect();
        writeln!(out, "  line {}: {}", row.line, cells.join(", "))?;
    }
    Ok(())
}
