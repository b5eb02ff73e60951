//! `docs/cli.md` against the program's own help, and that help against the house's rules.

#![allow(clippy::unwrap_used, reason = "tests")]

#[path = "cli_page/page.rs"]
mod page;

use std::path::Path;

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."))
}

#[test]
fn commands_page_is_fresh() {
    let written = std::fs::read_to_string(root().join("docs/cli.md")).unwrap();
    let now = page::page(Path::new(env!("CARGO_BIN_EXE_cowpath"))).unwrap();
    assert!(written == now, "docs/cli.md is stale: run `cargo xtask cli` and commit it");
}

#[test]
fn every_command_has_an_example() {
    let written = std::fs::read_to_string(root().join("docs/cli.md")).unwrap();
    let mut sections = written.split("\n## ").skip(1);
    let without: Vec<&str> = sections
        .by_ref()
        .filter(|section| !section.contains("Example"))
        .filter_map(|section| section.lines().next())
        .collect();
    assert!(
        without.is_empty(),
        "no example in the help of {without:?}; write `Example: cowpath …` into its doc comment"
    );
}

#[test]
fn names_of_commands_are_read_from_a_help() {
    let help = "Cowpath\n\nCommands:\n  demo    Makes a herd and\n            reads it\n  import  Reads\n  help    Print\n\nOptions:\n  --farm\n";
    assert_eq!(page::commands(help), ["demo", "import"]);
}
