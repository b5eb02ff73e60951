//! The command `cowpath`: reads a farm's logs, keeps them, and says who needs a person today.

mod ask;
mod cli;
mod clock;
mod trouble;
mod web;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run(std::env::args_os())
}
