//! The house's rules that a machine can hold: arrows between crates, lines, words, sources. `CONTRIBUTING.md` says why.

#![allow(clippy::unwrap_used, reason = "helpers of tests")]

#[path = "tidy/arrows.rs"]
mod arrows;
#[path = "tidy/rules.rs"]
mod rules;
#[path = "tidy/source.rs"]
mod source;
#[path = "tidy/words.rs"]
mod words;

use rules::Faults;
use source::{Source, tree};

fn none(faults: Faults) {
    assert!(faults.is_empty(), "{} to mend:\n{}", faults.len(), faults.join("\n"));
}

fn every(rule: fn(&Source) -> Faults) {
    none(tree().iter().flat_map(rule).collect());
}

#[test]
fn arrows_between_crates() {
    none(tree().iter().flat_map(arrows::arrows).collect());
}

#[test]
fn no_unwrap_or_panic_outside_tests() {
    every(rules::no_panics);
}

#[test]
fn files_of_at_most_400_lines() {
    every(rules::short_files);
}

#[test]
fn every_file_opens_with_its_question() {
    every(rules::top_doc);
}

#[test]
fn tests_stand_in_files_of_their_own() {
    every(rules::tests_apart);
}

#[test]
fn sql_in_store_only() {
    every(rules::sql_in_store_only);
}

#[test]
fn no_clock_but_the_one_of_app() {
    every(rules::no_clock);
}

#[test]
fn core_is_pure() {
    every(rules::core_is_pure);
}

#[test]
fn herdsim_knows_tables_only() {
    every(rules::herdsim_knows_tables_only);
}

#[test]
fn no_path_of_one_machine() {
    every(rules::no_machine_paths);
}

#[test]
fn every_case_has_source_and_kind() {
    every(rules::cases_have_sources);
}

#[test]
fn our_words_where_a_user_reads() {
    every(words::our_words);
}

#[test]
fn every_table_stands_in_the_docs() {
    let page = std::fs::read_to_string(source::root().join("docs/tables.md")).unwrap();
    for table in cowpath_core::tables::TABLES {
        let heading = format!("## {}\n", table.name);
        assert!(page.contains(&heading), "docs/tables.md: no `{}`; run `cargo xtask tables`", heading.trim());
    }
}

#[test]
fn each_rule_sees_its_fault() {
    let faults = |rule: fn(&Source) -> Faults, path: &str, text: &str| rule(&Source::new(path, text));
    let seen = [
        faults(rules::no_panics, "crates/core/src/a.rs", "//! A.\nlet x = y.unwrap();"),
        faults(rules::short_files, "crates/core/src/a.rs", &"//! A.\n".repeat(401)),
        faults(rules::top_doc, "crates/core/src/a.rs", "fn a() {}"),
        faults(rules::tests_apart, "crates/core/src/a.rs", "#[cfg(test)]\nmod tests {\n}"),
        faults(rules::sql_in_store_only, "crates/app/src/a.rs", "let a = \"SELECT x FROM y\";"),
        faults(rules::no_clock, "crates/store/src/a.rs", "let a = Timestamp::now();"),
        faults(rules::no_clock, "crates/app/src/ask/a.rs", "let a = Timestamp::now();"),
        faults(rules::core_is_pure, "crates/core/src/a.rs", "use std::fs::File;"),
        faults(
            rules::herdsim_knows_tables_only,
            "crates/herdsim/src/a.rs",
            "use cowpath_core::units::KG_PER_LB;",
        ),
        faults(rules::no_machine_paths, "README.md", &["see /ho", "me/me/farm"].concat()),
        faults(rules::no_machine_paths, "browser/package-lock.json", "\"resolved\": \"https://x/y.tgz\""),
        faults(
            rules::cases_have_sources,
            "crates/core/tests/cases/a.csv",
            "name,source,kind,inputs\na,,published,",
        ),
        faults(arrows::arrows, "crates/core/Cargo.toml", "[dependencies]\ncowpath-store.workspace = true\n"),
    ];
    for (rule, seen) in seen.iter().enumerate() {
        assert_eq!(seen.len(), 1, "rule {rule}: {seen:?}");
        assert!(seen[0].contains(':'), "{}", seen[0]);
    }
    let sound = [
        faults(rules::no_panics, "crates/core/tests/a.rs", "let x = y.unwrap();"),
        faults(
            rules::no_panics,
            "crates/core/src/a.rs",
            "//! `x.unwrap()` is not for us.\nlet x = \".unwrap()\";",
        ),
        faults(rules::tests_apart, "crates/core/src/a.rs", "#[cfg(test)]\nmod tests;\n"),
        faults(rules::sql_in_store_only, "crates/store/src/a.rs", "let a = \"SELECT x FROM y\";"),
        faults(
            rules::herdsim_knows_tables_only,
            "crates/herdsim/src/a.rs",
            "use cowpath_core::tables::TABLES;",
        ),
        faults(rules::no_machine_paths, "README.md", &["https://x.org/ho", "me/page"].concat()),
        faults(arrows::arrows, "crates/import/Cargo.toml", "[dependencies]\ncowpath-core.workspace = true\n"),
    ];
    assert!(sound.iter().all(Vec::is_empty), "{sound:?}");
}
