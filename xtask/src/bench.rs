//! How fast is it, and how much memory does it take? `cargo xtask bench [--write] [NAME…]`
//!
//! Without a name all but the validation, which takes many minutes; `all` stands for every name.
//!
//! Figures and ratios of one run of the release program on simulated herds; nothing is asserted, and a miss is printed
//! like everything else. `COWPATH` names the program, else `target/release/cowpath`.
//!
//! What is asked is held against the clock. Beside it stands what the processor did: seconds of all threads together, and
//! of the busiest thread, which on a machine that does other work too tell more.

mod choices;
mod exchange;
mod herd;
mod import;
mod inbox;
mod measure;
mod pages;
mod rounds;
mod scoring;
mod served;
mod validate;

use std::{
    fmt::Write as _,
    path::{Path, PathBuf},
};

use anyhow::{Context as _, bail};

/// Every measurement, in the order they run.
const NAMES: [&str; 14] = [
    "import",
    "memory",
    "exchange",
    "scoring",
    "day",
    "inbox",
    "round-large",
    "round-year",
    "round-past",
    "round-cows",
    "choices",
    "pages",
    "large",
    VALIDATE,
];
/// Takes many minutes: only where it is named, or all are asked for by `all`.
const VALIDATE: &str = "validate";
/// Stands for every measurement.
const ALL: &str = "all";

/// One line of the table.
pub struct Line {
    /// What was measured.
    what: String,
    /// What came out.
    figure: String,
    /// What is asked.
    asked: String,
    /// Whether it is met; `None` where nothing is asked.
    met: Option<bool>,
}

/// A line of which something is asked.
pub fn line(what: impl Into<String>, figure: impl Into<String>, asked: impl Into<String>, met: bool) -> Line {
    Line { what: what.into(), figure: figure.into(), asked: asked.into(), met: Some(met) }
}

/// A line that only tells.
pub fn told(what: impl Into<String>, figure: impl Into<String>) -> Line {
    Line { what: what.into(), figure: figure.into(), asked: String::new(), met: None }
}

/// Runs the measurements named, or all; prints and returns the table as Markdown.
pub fn run(names: &[&str]) -> anyhow::Result<String> {
    if let Some(unknown) = names.iter().find(|name| !NAMES.contains(name) && **name != ALL) {
        bail!("`{unknown}` is not measured; known are {}, and {ALL}", NAMES.join(", "));
    }
    let is_asked = |name: &str| match names {
        [] => name != VALIDATE,
        _ => names.contains(&name) || names.contains(&ALL),
    };
    let program = program()?;
    let mut lines = Vec::new();
    for name in NAMES.into_iter().filter(|name| is_asked(name)) {
        eprintln!("{name} …");
        let own = match name {
            "import" => import::speed(&program)?,
            "memory" => import::memory(&program)?,
            "exchange" => exchange::speed(&program)?,
            "scoring" => scoring::from_scratch(&program)?,
            "day" => scoring::day(&program)?,
            "inbox" => inbox::heard(&program)?,
            "round-large" => rounds::large(&program)?,
            "round-year" => rounds::year(&program)?,
            "round-past" => rounds::past(&program)?,
            "round-cows" => rounds::by_cows(&program)?,
            "choices" => choices::speed(&program)?,
            VALIDATE => validate::twenty(&program)?,
            "pages" => pages::of_herd(&program, &herd::SMALL, 50.0)?,
            _ => pages::of_herd(&program, &herd::LARGE, 100.0)?,
        };
        for line in &own {
            println!("{}: {}  {}", line.what, line.figure, verdict(line));
        }
        lines.extend(own);
    }
    let mut text = String::from("| what | measured | asked | met |\n|---|---|---|---|\n");
    for line in &lines {
        let met = line.met.map_or("", |met| if met { "yes" } else { "**no**" });
        let _ = writeln!(text, "| {} | {} | {} | {met} |", line.what, line.figure, line.asked);
    }
    let _ = write!(text, "\n{}\n", measure::machine());
    Ok(text)
}

fn verdict(line: &Line) -> String {
    match line.met {
        None => String::new(),
        Some(true) => format!("(asked {}: met)", line.asked),
        Some(false) => format!("(asked {}: MISSED)", line.asked),
    }
}

/// The program under measurement.
fn program() -> anyhow::Result<PathBuf> {
    let named = std::env::var_os("COWPATH").map(PathBuf::from);
    let target =
        std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| super::root().join("target"), PathBuf::from);
    let program = named
        .unwrap_or_else(|| target.join("release").join(format!("cowpath{}", std::env::consts::EXE_SUFFIX)));
    program.canonicalize().with_context(|| {
        format!("{} is not there; build it first: cargo build --release -p cowpath", program.display())
    })
}

/// Where herds and farms lie; they are kept for the next run.
fn room() -> PathBuf {
    std::env::temp_dir().join("cowpath-bench")
}

/// A path as a word of a command line.
fn word(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}
