//! Which crate may know which: what is absent matters most.

use super::rules::Faults;
use super::source::Source;

/// Folder, what its code may use of the house, and what else it must not pull in.
const ARROWS: [(&str, &[&str], &[&str]); 7] = [
    ("crates/core", &[], &["rusqlite", "tokio", "axum", "rand", "csv", "clap", "anyhow"]),
    ("crates/import", &["cowpath-core"], &["rusqlite", "tokio", "axum", "clap", "anyhow"]),
    ("crates/store", &["cowpath-core"], &["tokio", "axum", "clap", "anyhow"]),
    ("crates/herdsim", &["cowpath-core"], &["rusqlite", "tokio", "axum", "clap", "anyhow"]),
    ("crates/app", &["cowpath-core", "cowpath-import", "cowpath-store", "cowpath-herdsim"], &["rusqlite"]),
    ("crates/fleet", &["cowpath-core", "cowpath-store"], &[]),
    ("xtask", &["cowpath-core", "cowpath-import", "cowpath-store", "cowpath-herdsim", "cowpath"], &[]),
];

/// Arrows of one crate's `Cargo.toml`; its tests may also use the simulator and what shipped code may not.
pub fn arrows(source: &Source) -> Faults {
    let Some(folder) = source.path.strip_suffix("/Cargo.toml") else { return Vec::new() };
    let line_of = |word: &str| source.text.lines().position(|line| line.starts_with(word)).unwrap_or(0) + 1;
    let Some((_, known, never)) = ARROWS.into_iter().find(|(name, _, _)| *name == folder) else {
        return vec![format!(
            "{}:1: a crate without arrows; say in ARCHITECTURE.md and in tests/tidy/arrows.rs what it may know",
            source.path
        )];
    };
    let manifest: toml::Table = match source.text.parse() {
        Ok(manifest) => manifest,
        Err(error) => return vec![format!("{}:1: {error}", source.path)],
    };
    let names = |section: &str| -> Vec<String> {
        let table = manifest.get(section).and_then(toml::Value::as_table);
        table.map(|table| table.keys().cloned().collect()).unwrap_or_default()
    };
    let mut faults = Vec::new();
    for name in names("dependencies").into_iter().chain(names("build-dependencies")) {
        let ours = name.starts_with("cowpath");
        if (ours && !known.contains(&name.as_str())) || never.contains(&name.as_str()) {
            let may = if known.is_empty() { "nothing of the house".into() } else { known.join(", ") };
            faults.push(format!(
                "{}:{}: {folder} must not use {name}; it may know {may}: pass what it needs as an argument, or move the code to the crate that may",
                source.path,
                line_of(&name)
            ));
        }
    }
    for name in names("dev-dependencies") {
        if name.starts_with("cowpath") && !known.contains(&name.as_str()) && name != "cowpath-herdsim" {
            faults.push(format!(
                "{}:{}: tests of {folder} must not use {name}; put a test that joins them into crates/app/tests",
                source.path,
                line_of(&name)
            ));
        }
    }
    faults
}
