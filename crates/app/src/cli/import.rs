//! `cowpath import`: reads logs.

use std::{io::IsTerminal, path::PathBuf, process::ExitCode, sync::Arc};

use clap::Args;
use cowpath_store::Farm;
use indicatif::{ProgressBar, ProgressStyle};

use super::{Context, Format, show};
use crate::{
    ask::{
        farm::{self, Barn},
        maps,
        take_in::{self, Taken},
    },
    clock,
    trouble::{short, user},
};

/// Reads logs: plain tables (.csv) and the open exchange standard (.json), also as .gz or .zst, told apart by content
///
/// A table of another form is read with a column map: the one named, or the one kept in the farm's folder whose header it
/// has. `cowpath map FILE` proposes one.
///
/// The same file twice changes nothing. A row that cannot be used goes to quarantine, with what to do about it.
///
/// Example: cowpath import logs/*.csv --zone America/Chicago
#[derive(Debug, Args)]
pub struct Import {
    /// Files to read, in this order
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Column map for all these files; without it each is a plain table, or of a form whose map is kept
    #[arg(long, value_name = "MAP.toml")]
    map: Option<PathBuf>,
    /// Time zone of wall times in these files that have no offset; without it the farm's
    #[arg(long, value_name = "ZONE")]
    zone: Option<String>,
    /// How the outcome is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Import {
    /// Reads the files; exit code 1 when one could not be read at all.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let named_zone = self.zone.as_deref().map(farm::zone).transpose()?;
        let map = self.map.as_deref().map(maps::load).transpose()?.map(Arc::new);
        // A slip of the pen in both names must not leave an empty farm behind.
        if let Some(first) = self.files.first()
            && !Farm::exists(&context.farm)
            && self.files.iter().all(|file| !file.exists())
        {
            return Err(user(
                format!("{}: there is no such file", short(&first.display().to_string())),
                "no farm was made",
                "look whether name and folder are right",
            ));
        }
        let founding = self.zone.clone().unwrap_or_else(clock::machine_zone_name);
        let mut barn = Barn::found(&context.farm, context.now, &founding)?;
        let ways = barn.ways()?;
        let zone = named_zone.unwrap_or(ways.zone);
        let bar = progress_bar();
        let mut watch = |path: &std::path::Path, progress: cowpath_import::Progress| {
            bar.set_length(progress.of_bytes.unwrap_or(progress.bytes).max(1));
            bar.set_position(progress.bytes);
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            bar.set_message(format!("{name}: {} rows", progress.rows));
        };
        let taken =
            take_in::take_in_with(&mut barn, &self.files, map.as_ref(), &zone, context.now, &mut watch)?;
        bar.finish_and_clear();
        print(&taken, self.format)?;
        let unread = taken.files.iter().any(|file| file.trouble.is_some());
        Ok(ExitCode::from(u8::from(unread)))
    }
}

/// A bar on a terminal, nothing elsewhere.
fn progress_bar() -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(1);
    if let Ok(style) =
        ProgressStyle::with_template("{bar:30} {percent:>3} %  {msg}, {bytes_per_sec}, {eta} left")
    {
        bar.set_style(style);
    }
    bar
}

/// Prints what came of it.
pub fn print(taken: &Taken, format: Format) -> anyhow::Result<()> {
    match format {
        Format::Json => show::json(taken),
        Format::Csv => show::csv(
            &["file", "table", "read", "new", "same", "replaced", "quarantined", "trouble"],
            taken.files.iter().map(|file| {
                vec![
                    show::guarded(&file.file),
                    file.table.clone().unwrap_or_default(),
                    file.read.to_string(),
                    file.new.to_string(),
                    file.same.to_string(),
                    file.replaced.to_string(),
                    file.quarantined.to_string(),
                    show::guarded(file.trouble.as_deref().unwrap_or_default()),
                ]
            }),
        ),
        Format::Text => text(taken),
    }
}

/// Issues of one run that a person reads in a terminal; more are counted.
const ISSUES_SHOWN: usize = 20;

fn text(taken: &Taken) -> anyhow::Result<()> {
    use std::io::Write;
    let mut out = show::out();
    for file in &taken.files {
        let name = show::plain(&file.file);
        match &file.trouble {
            Some(trouble) => {
                writeln!(out, "{name}: not read: {}", show::plain(trouble))?;
                writeln!(out, "  Do: {}", show::plain(file.next.as_deref().unwrap_or_default()))?;
            }
            None => {
                writeln!(
                    out,
                    "{name}: {}{}, {} read: {}",
                    file.table
                        .as_deref()
                        .map_or("nothing to keep".into(), |tables| tables.replace(',', " and ")),
                    file.map
                        .as_ref()
                        .map_or(String::new(), |map| format!(" by the map \"{}\"", show::plain(map))),
                    rows(file.read),
                    if file.read > 0 && file.read == file.same {
                        "nothing is new".to_owned()
                    } else {
                        format!(
                            "{} new, {} same, {} replaced, {} quarantined",
                            file.new, file.same, file.replaced, file.quarantined
                        )
                    }
                )?;
            }
        }
    }
    let resources: std::collections::BTreeSet<&str> =
        taken.files.iter().filter(|file| file.form.is_some()).map(|file| file.file.as_str()).collect();
    let issues: Vec<_> = taken
        .issues
        .iter()
        .filter(|issue| {
            issue.line.is_some() || issue.column.is_some() || resources.contains(issue.file.as_str())
        })
        .collect();
    for issue in issues.iter().take(ISSUES_SHOWN) {
        writeln!(out)?;
        let kind = if resources.contains(issue.file.as_str()) { "resource" } else { "line" };
        let place = issue.line.map_or(String::new(), |line| format!(", {kind} {line}"));
        let what = match (&issue.column, &issue.value) {
            (Some(column), Some(value)) => format!("{column} \"{value}\": "),
            (Some(column), None) => format!("{column}: "),
            _ => String::new(),
        };
        writeln!(
            out,
            "{}{place}: {}{}",
            show::plain(&issue.file),
            show::plain(&what),
            show::plain(&issue.reason)
        )?;
        writeln!(out, "  Do: {}", show::plain(&issue.next))?;
    }
    let untold = issues.len().saturating_sub(ISSUES_SHOWN) as u64 + taken.issues_not_listed;
    if 0 < untold {
        writeln!(out, "\n{untold} more like these; --format json lists them.")?;
    }
    out.flush()?;
    Ok(())
}

fn rows(count: u64) -> String {
    if count == 1 { "1 row".into() } else { format!("{count} rows") }
}
