//! `docs/cli.md`: the help of every command, as the program itself prints it.

use std::path::Path;
use std::process::Command;

const OPENING: &str = "# Commands

Written by `cargo xtask cli` from the program's own help; change it in `crates/app/src/cli`.
Exit code 0: done, also when rows went to quarantine. 1: the words or the data are wrong. 2: our fault.
";

/// The whole page, asked of the program at `cowpath`.
pub fn page(cowpath: &Path) -> Result<String, String> {
    let mut text = String::from(OPENING);
    let all = help(cowpath, &[])?;
    text.push_str(&section("cowpath", &all));
    for command in commands(&all) {
        text.push_str(&section(&format!("cowpath {command}"), &help(cowpath, &[command])?));
    }
    Ok(text)
}

/// Names of the commands that a help lists.
pub fn commands(help: &str) -> Vec<&str> {
    help.lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| line.starts_with("  "))
        // What a name means may run over several lines, set further in.
        .filter(|line| !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect()
}

fn section(title: &str, help: &str) -> String {
    let lines: Vec<&str> = help.lines().map(str::trim_end).collect();
    format!("\n## {title}\n\n```text\n{}\n```\n", lines.join("\n").trim_end())
}

fn help(cowpath: &Path, words: &[&str]) -> Result<String, String> {
    let asked = Command::new(cowpath)
        .args(words)
        .arg("--help")
        .env("COLUMNS", "100")
        .output()
        .map_err(|error| format!("{} could not be started: {error}", cowpath.display()))?;
    if !asked.status.success() {
        return Err(format!("cowpath {} --help failed: {}", words.join(" "), asked.status));
    }
    String::from_utf8(asked.stdout).map_err(|error| error.to_string())
}
