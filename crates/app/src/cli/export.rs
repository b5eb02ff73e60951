//! `cowpath export`: calls and heats for other programs, in the open exchange standard.

use std::{
    io::Write,
    path::{Path, PathBuf},
    process::ExitCode,
};

use clap::{Args, ValueEnum};

use super::{Context, show};
use crate::{
    ask::{
        export::{self, SOURCE, What},
        farm, ways,
    },
    trouble::user,
};

/// Writes the round's calls of cows, or heats, for other programs: JSON of the open exchange standard (ICAR ADE)
///
/// The file appears whole, and only once it is as the standard's schemas want it.
///
/// Example: cowpath export attention calls.json --at 2026-03-02T05:30
#[derive(Debug, Args)]
pub struct Export {
    /// What is written
    #[arg(value_enum)]
    what: Kind,
    /// The file to write; - for standard output
    file: PathBuf,
    /// The time of the round it rests on; without it the time of the newest row
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The name other programs know this farm's documents by: a domain written backwards; without it that of the settings,
    /// else local.cowpath
    #[arg(long, value_name = "NAME")]
    source: Option<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Kind {
    /// Calls of cows, as attention events
    Attention,
    /// Heats; none are called yet, so the page is empty
    Heats,
}

impl Export {
    /// Writes the file and says what is in it.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        if let Some(source) = &self.source {
            ways::check_exchange_name(source)?;
        }
        let barn = context.barn()?;
        let source = match &self.source {
            Some(source) => source.clone(),
            None => barn.store.settings()?.exchange_name.unwrap_or_else(|| SOURCE.into()),
        };
        let zone = barn.ways()?.zone;
        let at = self.at.as_deref().map(|words| farm::time(words, &zone)).transpose()?;
        let what = match self.what {
            Kind::Attention => What::Attention,
            Kind::Heats => What::Heats,
        };
        let export = export::export(&barn, what, at, context.now, &source)?;
        let mut text = serde_json::to_string_pretty(&export.page)?;
        text.push('\n');
        if self.file == Path::new("-") {
            let mut out = show::out();
            out.write_all(text.as_bytes())?;
            out.flush()?;
            return Ok(ExitCode::SUCCESS);
        }
        write_whole(&self.file, text.as_bytes())?;
        let events =
            if export.resources == 1 { "1 event".into() } else { format!("{} events", export.resources) };
        println!("{events} written to {}.", self.file.display());
        if 0 < export.left_out {
            let calls =
                if export.left_out == 1 { "1 call".into() } else { format!("{} calls", export.left_out) };
            println!(
                "{calls} on boxes or the herd left out: the standard has attention events of animals only."
            );
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// Writes beside the place and puts it there by a rename, so that nobody ever reads half of it.
fn write_whole(file: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let refused = |error: std::io::Error| {
        user(
            format!("{} could not be written: {error}", file.display()),
            "what was there before is unchanged",
            "look at the folder, its rights and the room on the disk",
        )
    };
    let Some(name) = file.file_name().filter(|_| !file.is_dir()) else {
        return Err(user(
            format!("{} is a folder", file.display()),
            "nothing was written",
            "name a file in it",
        ));
    };
    let mut beside = std::ffi::OsString::from(".");
    beside.push(name);
    beside.push(format!(".{}.part", std::process::id()));
    let beside = file.with_file_name(beside);
    let written = std::fs::File::create(&beside)
        .and_then(|mut part| part.write_all(bytes).and_then(|()| part.sync_all()))
        .and_then(|()| std::fs::rename(&beside, file));
    if let Err(error) = written {
        // The half is of no use to anybody.
        let _ = std::fs::remove_file(&beside);
        return Err(refused(error));
    }
    Ok(())
}
