//! The program under test: built where none is named, and asked with the words of a command line.

use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::bail;

/// The program under test: `COWPATH` names it, else it is built.
pub fn program() -> anyhow::Result<PathBuf> {
    if let Some(named) = std::env::var_os("COWPATH") {
        return Ok(named.into());
    }
    let built = Command::new(env!("CARGO")).args(["build", "--release", "--package", "cowpath"]).status()?;
    if !built.success() {
        bail!("the program could not be built");
    }
    Ok(crate::root().join("target/release/cowpath"))
}

/// What the program prints; an error where it does not exit with 0.
pub fn asked(program: &Path, farm: &Path, words: &[&str]) -> anyhow::Result<Vec<u8>> {
    let out = Command::new(program).arg("--farm").arg(farm).args(words).output()?;
    if !out.status.success() {
        bail!("`cowpath {}`: {}", words.join(" "), String::from_utf8_lossy(&out.stderr));
    }
    Ok(out.stdout)
}
