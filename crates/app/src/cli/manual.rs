//! `cowpath completions` and `cowpath manual`: what a shell and `man` know of the commands, made from their own words.

use std::{path::PathBuf, process::ExitCode};

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use super::{Context, Words, show};
use crate::trouble::user;

/// Prints the completions of commands and options for a shell
///
/// Example: cowpath completions bash > /etc/bash_completion.d/cowpath
#[derive(Debug, Args)]
pub struct Completions {
    /// Which shell
    #[arg(value_enum)]
    shell: Shell,
}

impl Completions {
    /// Prints them.
    pub fn run(&self, _: &Context) -> anyhow::Result<ExitCode> {
        // Into memory first: the maker of completions would panic where nobody listens any more.
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut Words::command(), "cowpath", &mut text);
        let mut out = show::out();
        std::io::Write::write_all(&mut out, &text)?;
        std::io::Write::flush(&mut out)?;
        Ok(ExitCode::SUCCESS)
    }
}

/// Writes the manual pages of all commands into a folder, for `man`
///
/// Example: cowpath manual /usr/local/share/man/man1
#[derive(Debug, Args)]
pub struct Manual {
    /// The folder; it is made where there is none
    folder: PathBuf,
}

impl Manual {
    /// Writes them.
    pub fn run(&self, _: &Context) -> anyhow::Result<ExitCode> {
        let written = std::fs::create_dir_all(&self.folder)
            .and_then(|()| clap_mangen::generate_to(Words::command(), &self.folder));
        written.map_err(|why| {
            user(
                format!("manual pages cannot be written to {}: {why}", self.folder.display()),
                "no farm was touched",
                "name a folder that can be written to",
            )
        })?;
        Ok(ExitCode::SUCCESS)
    }
}
