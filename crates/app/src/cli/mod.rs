//! The command line: one file a command, each a thin showing of what `ask` answers.

mod boxes;
mod bring_in;
mod check;
mod costs;
mod cow;
mod demo;
mod expected;
mod export;
mod found;
mod import;
mod intervals;
mod keep;
mod learned;
mod manual;
mod map;
mod plan;
mod quarantine;
mod round;
mod serve;
mod settings;
mod show;
mod validate;
mod words;

use std::{ffi::OsString, io::ErrorKind, path::PathBuf, process::ExitCode, sync::LazyLock};

use clap::{Parser, Subcommand, ValueEnum};
use jiff::Timestamp;

use crate::{
    ask::farm::{self, Barn},
    clock, trouble,
};

/// Reads the logs of milking boxes and says who needs a person today, for what, and how sure that is.
///
/// Example: cowpath import logs/*.csv && cowpath round
#[derive(Debug, Parser)]
#[command(name = "cowpath", version, long_version = long_version(), about, max_term_width = 100)]
pub struct Words {
    /// Folder of the farm; without it the platform's own data folder
    #[arg(long, global = true, value_name = "DIR")]
    farm: Option<PathBuf>,
    /// What counts as now, for refusing rows of the future; without it the machine's clock
    #[arg(long, global = true, value_name = "TIME", value_parser = words::instant)]
    now: Option<Timestamp>,
    #[command(subcommand)]
    command: Command,
}

/// Version, build and model: what the report of a fault must name. A package names its build as it is made
/// (`COWPATH_BUILD`).
fn long_version() -> &'static str {
    static WORDS: LazyLock<String> = LazyLock::new(|| {
        let build = option_env!("COWPATH_BUILD").unwrap_or("from source");
        format!("{}\nbuild: {build}\nmodel: {}", env!("CARGO_PKG_VERSION"), crate::ask::model::MODEL)
    });
    &WORDS
}

/// How a list is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum Format {
    /// Words for people, in the farm's units.
    #[default]
    Text,
    /// For programs; always metric.
    Json,
    /// For spreadsheets, in the farm's units, which the header names.
    Csv,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Demo),
    Import(import::Import),
    Map(map::Map),
    Round(round::Round),
    Expected(expected::Expected),
    Cow(cow::Cow),
    BringIn(bring_in::BringInCommand),
    Boxes(boxes::BoxesCommand),
    Intervals(intervals::IntervalsCommand),
    Plan(plan::PlanCommand),
    Found(found::Found),
    Record(found::Record),
    Missed(learned::Missed),
    Learned(learned::Learned),
    Costs(costs::Costs),
    Export(export::Export),
    Check(check::Check),
    Backup(keep::Backup),
    Restore(keep::Restore),
    Quarantine(quarantine::Quarantine),
    Settings(settings::Settings),
    Serve(serve::Serve),
    Validate(validate::Validate),
    Completions(manual::Completions),
    Manual(manual::Manual),
}

/// What every command is given.
pub struct Context {
    /// Folder of the farm.
    pub farm: PathBuf,
    /// Whether the user named the folder.
    pub farm_named: bool,
    /// What counts as now.
    pub now: Timestamp,
    /// Whether the user named it: while pages are served the machine's clock goes on.
    pub now_named: bool,
}

impl Context {
    /// The farm, which must be there.
    pub fn barn(&self) -> anyhow::Result<Barn> {
        Barn::open(&self.farm)
    }
}

/// Runs the words of a command line and gives the exit code: 0 done, 1 the user's data or words are wrong, 2 our fault.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args: Vec<OsString> = args.into_iter().collect();
    let words = match Words::try_parse_from(&args) {
        Ok(words) => words,
        Err(error) => return without_words(&error, &args),
    };
    match answer(words) {
        Ok(code) => code,
        // Whoever read our output has heard enough (`cowpath expected | head`): not an error.
        Err(error) if trouble::io_kind(&error) == Some(ErrorKind::BrokenPipe) => ExitCode::SUCCESS,
        Err(error) => {
            let words = trouble::in_words(&error);
            show::aside(&words.to_string());
            ExitCode::from(words.code)
        }
    }
}

/// Help and version are answers, not errors; everything else the parser refuses is the user's words.
fn without_words(error: &clap::Error, args: &[OsString]) -> ExitCode {
    use clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand;
    if !error.use_stderr() || error.kind() == DisplayHelpOnMissingArgumentOrSubcommand {
        let _ = error.print();
        return ExitCode::from(u8::from(error.use_stderr()));
    }
    let args: Vec<String> = args.iter().map(|arg| arg.to_string_lossy().into_owned()).collect();
    let words = words::refused(error, &args);
    show::aside(&words.to_string());
    ExitCode::from(words.code)
}

fn answer(words: Words) -> anyhow::Result<ExitCode> {
    let context = Context {
        farm_named: words.farm.is_some(),
        farm: match words.farm {
            Some(dir) => dir,
            None => farm::usual_folder()?,
        },
        now: words.now.unwrap_or_else(clock::now),
        now_named: words.now.is_some(),
    };
    match words.command {
        Command::Demo(demo) => demo.run(&context),
        Command::Import(import) => import.run(&context),
        Command::Map(map) => map.run(&context),
        Command::Round(round) => round.run(&context),
        Command::Expected(expected) => expected.run(&context),
        Command::Cow(cow) => cow.run(&context),
        Command::BringIn(bring) => bring.run(&context),
        Command::Boxes(boxes) => boxes.run(&context),
        Command::Intervals(intervals) => intervals.run(&context),
        Command::Plan(plan) => plan.run(&context),
        Command::Found(found) => found.run(&context),
        Command::Record(record) => record.run(&context),
        Command::Missed(missed) => missed.run(&context),
        Command::Learned(learned) => learned.run(&context),
        Command::Costs(costs) => costs.run(&context),
        Command::Export(export) => export.run(&context),
        Command::Check(check) => check.run(&context),
        Command::Backup(backup) => backup.run(&context),
        Command::Restore(restore) => restore.run(&context),
        Command::Quarantine(quarantine) => quarantine.run(&context),
        Command::Settings(settings) => settings.run(&context),
        Command::Serve(serve) => serve.run(&context),
        Command::Validate(validate) => validate.run(&context),
        Command::Completions(completions) => completions.run(&context),
        Command::Manual(manual) => manual.run(&context),
    }
}
