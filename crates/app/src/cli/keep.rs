//! `cowpath backup` and `cowpath restore`: the whole farm into one file, and back, while pages are being served.

use std::{path::PathBuf, process::ExitCode};

use clap::Args;
use cowpath_store::Farm;

use super::{Context, show};

/// Writes the whole farm into one file, also while pages are served
///
/// Example: cowpath backup /media/stick/farm-2026-03-02.cowpath
#[derive(Debug, Args)]
pub struct Backup {
    /// The file to write
    file: PathBuf,
}

/// Puts a farm back from a file that `backup` wrote
///
/// What was there before stays beside it, and is named.
///
/// Example: cowpath restore /media/stick/farm-2026-03-02.cowpath
#[derive(Debug, Args)]
pub struct Restore {
    /// The file to read
    file: PathBuf,
}

impl Backup {
    /// Writes the file and says where.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        context.barn()?.store.backup(&self.file)?;
        show::line(&format!("The whole farm is in {}.", self.file.display()))?;
        Ok(ExitCode::SUCCESS)
    }
}

impl Restore {
    /// Puts the farm back and says where the old one is.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let before = Farm::restore(&context.farm, &self.file)?;
        show::line(&format!(
            "The farm in {} is as {} holds it.",
            context.farm.display(),
            self.file.display()
        ))?;
        if let Some(before) = before {
            show::line(&format!("What was there before is kept in {}.", before.display()))?;
        }
        Ok(ExitCode::SUCCESS)
    }
}
