//! Figures from outside the project against what the code gives, and the pages that say so against the code.

#![allow(clippy::panic, reason = "helpers of tests")]

mod cases;
mod pages;

use std::path::PathBuf;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn outcomes() -> Vec<cases::Outcome> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/cases");
    cases::run(&folder).unwrap_or_else(|faults| panic!("cases that cannot be read:\n{faults}"))
}

#[test]
fn every_published_and_derived_figure_is_met() {
    let outcomes = outcomes();
    assert!(300 < outcomes.len(), "only {} cases were found", outcomes.len());
    let misses: Vec<String> = outcomes
        .iter()
        .filter(|outcome| outcome.case.kind.decides() && outcome.misses())
        .map(|miss| {
            let case = &miss.case;
            format!(
                "{}: {}({}) = {:?}, expected {} {} (off by {:e}, allowed {:?}); {}",
                case.at,
                case.name,
                case.inputs,
                miss.got,
                case.expected,
                case.unit,
                miss.error(),
                case.tolerance,
                case.source
            )
        })
        .collect();
    assert!(misses.is_empty(), "{} of {} missed:\n{}", misses.len(), outcomes.len(), misses.join("\n"));
}

#[test]
fn validation_page_is_fresh() {
    let page = std::fs::read_to_string(root().join("docs/validation.md")).unwrap();
    let written =
        pages::put(&page, pages::validation::PLACE, &pages::validation::published(&outcomes())).unwrap();
    assert!(page == written, "docs/validation.md is stale: run `cargo xtask validation` and commit it");
}

#[test]
fn tables_page_is_fresh() {
    let page = std::fs::read_to_string(root().join("docs/tables.md")).unwrap();
    assert!(page == pages::tables::page(), "docs/tables.md is stale: run `cargo xtask tables` and commit it");
}

#[test]
fn a_miss_is_seen() {
    // One whose source bears more than a hundredth.
    let mut outcome =
        outcomes().into_iter().find(|outcome| outcome.case.name == "kilograms_from_pounds").unwrap();
    assert!(!outcome.misses());
    outcome.case.expected *= 1.01;
    assert!(outcome.misses(), "1 % off must be a miss of {}", outcome.case.name);
    outcome.got = Err("no figure".into());
    assert!(outcome.misses());
}

#[test]
fn only_its_own_place_of_a_page_is_replaced() {
    let page = "a\n<!-- x: begin, by y -->\nold\n<!-- x: end -->\nb\n";
    assert_eq!(pages::put(page, "x", "new\n").unwrap(), page.replace("old", "new"));
    assert!(pages::put(page, "z", "new").is_err());
}
