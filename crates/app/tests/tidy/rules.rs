//! What must hold of each line of the tree; every fault names file, line, and what to write instead.

use super::source::Source;

/// `path:line: what is wrong; what to write instead`.
pub type Faults = Vec<String>;

fn fault(source: &Source, line: usize, what: &str) -> String {
    format!("{}:{}: {what}", source.path, line + 1)
}

/// Every line of `text` that holds one of the words, with the advice beside it.
fn lines_with(source: &Source, text: &str, words: &[(&str, &str)]) -> Faults {
    let mut faults = Vec::new();
    for (number, line) in text.lines().enumerate() {
        for (word, instead) in words {
            if line.contains(word) {
                faults.push(fault(source, number, &format!("`{}` {instead}", word.trim())));
            }
        }
    }
    faults
}

pub fn no_panics(source: &Source) -> Faults {
    if !source.is_rust() || source.is_test() {
        return Vec::new();
    }
    let words = [
        (".unwrap()", "outside tests; make the state impossible by type, or return an error"),
        (".expect(", "outside tests; make the state impossible by type, or return an error"),
        (".unwrap_err()", "outside tests; match on the result"),
        ("panic!(", "outside tests; return an error that says what happened"),
        ("unreachable!(", "outside tests; make the state impossible by type"),
        ("todo!(", "outside tests; write it, or leave the function out"),
        ("unimplemented!(", "outside tests; write it, or leave the function out"),
        ("clippy::unwrap_used", "is not to be allowed outside tests; return an error"),
        ("clippy::expect_used", "is not to be allowed outside tests; return an error"),
    ];
    lines_with(source, &source.code, &words)
}

pub fn short_files(source: &Source) -> Faults {
    let lines = source.text.lines().count();
    if source.is_rust() && 400 < lines {
        return vec![fault(
            source,
            400,
            &format!("{lines} lines; look for the second question and split there"),
        )];
    }
    Vec::new()
}

pub fn top_doc(source: &Source) -> Faults {
    let opens = source.text.lines().find(|line| !line.trim().is_empty());
    if source.is_rust() && !opens.is_some_and(|line| line.starts_with("//! ")) {
        return vec![fault(source, 0, "no top doc; open the file with `//! ` and the question it answers")];
    }
    Vec::new()
}

pub fn tests_apart(source: &Source) -> Faults {
    if !source.is_rust() {
        return Vec::new();
    }
    let lines: Vec<&str> = source.code.lines().collect();
    (0..lines.len())
        .filter(|&number| lines[number].contains("#[cfg(test)]"))
        .filter(|&number| {
            lines[number..].iter().take(3).any(|line| line.contains("mod ") && line.contains('{'))
        })
        .map(|number| {
            fault(source, number, "tests inside the file; write `mod tests;` and a file `tests.rs`")
        })
        .collect()
}

pub fn sql_in_store_only(source: &Source) -> Faults {
    let allowed = source.path.starts_with("crates/store/");
    if allowed || source.path.starts_with("crates/app/tests/tidy") {
        return Vec::new();
    }
    let instead = "is SQL outside `store`; add a function there and call it";
    if source.path.ends_with(".sql") {
        return vec![fault(source, 0, &format!("a file of SQL {instead}"))];
    }
    let mut faults = lines_with(source, &source.code, &[("rusqlite", instead)]);
    let words = ["SELECT ", "INSERT INTO", "INSERT OR", "DELETE FROM", "CREATE TABLE", "PRAGMA ", "ATTACH "];
    faults.extend(lines_with(source, &source.strings, &words.map(|word| (word, instead))));
    faults
}

pub fn no_clock(source: &Source) -> Faults {
    let mut faults = Vec::new();
    if ["core", "import", "store", "herdsim"].iter().any(|name| source.is_of(name)) && !source.is_test() {
        let instead = "is the machine's clock or zone; take `at` or the zone as an argument";
        let words = ["Timestamp::now", "SystemTime", "Instant", "ZonedDateTime::now", "TimeZone::system"];
        faults.extend(lines_with(source, &source.code, &words.map(|word| (word, instead))));
    }
    if source.is_of("app") && !source.is_test() && source.path != "crates/app/src/clock.rs" {
        let instead =
            "outside crates/app/src/clock.rs, the one file that asks the clock; take `now` as an argument";
        let words = ["Timestamp::now", "SystemTime::now", "ZonedDateTime::now"];
        faults.extend(lines_with(source, &source.code, &words.map(|word| (word, instead))));
    }
    faults
}

pub fn core_is_pure(source: &Source) -> Faults {
    if !source.is_of("core") || source.is_test() {
        return Vec::new();
    }
    let instead =
        "in `core`, which touches no file, network, environment or chance; take what it gives as an argument";
    let words = [
        "std::fs",
        "std::net",
        "std::env",
        "std::io",
        "std::process",
        "std::thread",
        "rand::",
        "println!",
        "eprintln!",
    ];
    lines_with(source, &source.code, &words.map(|word| (word, instead)))
}

pub fn herdsim_knows_tables_only(source: &Source) -> Faults {
    if !source.is_of("herdsim") || source.is_test() {
        return Vec::new();
    }
    let mut faults = Vec::new();
    for (number, line) in source.code.lines().enumerate() {
        let others = line.split("cowpath_core").skip(1).any(|rest| {
            let path: String = rest.chars().filter(|letter| !letter.is_whitespace()).collect();
            !(path.starts_with("::tables") || path.starts_with("::{tables"))
        });
        if others {
            let what = "names more of core than `cowpath_core::tables`; the simulator shares no code or constants with the models it tests: write its own";
            faults.push(fault(source, number, what));
        }
    }
    faults
}

pub fn no_machine_paths(source: &Source) -> Faults {
    // Put together here, so that this file does not hold them.
    let words: Vec<String> = ["ho|me/", "ro|ot/", "wo|rk/", "Us|ers/", "t|mp/"]
        .map(|word| format!("/{}", word.replace('|', "")))
        .to_vec();
    let mut faults = Vec::new();
    for (number, line) in source.text.lines().enumerate() {
        for word in &words {
            // A path starts here and does not go on from a folder of the tree or an address.
            let starts = line.match_indices(word.as_str()).any(|(place, _)| {
                !line[..place]
                    .chars()
                    .next_back()
                    .is_some_and(|letter| letter.is_alphanumeric() || "._-})$~/".contains(letter))
            });
            if starts {
                faults.push(fault(source, number, &format!("`{word}…` is a path of one machine; write it from the root of the tree, or make a folder with tempfile or mktemp")));
            }
        }
        if source.path.ends_with("package-lock.json") && line.contains("\"resolved\": \"http") {
            faults.push(fault(
                source,
                number,
                "a registry's host; write the lockfile with `npm install --omit-lockfile-registry-resolved`",
            ));
        }
    }
    faults
}

/// Cases: `source` and `kind` in every row; series: a first line `# Source: …` that ends in its kind.
pub fn cases_have_sources(source: &Source) -> Faults {
    let Some((_, name)) = source.path.split_once("/tests/cases/") else { return Vec::new() };
    if !name.ends_with(".csv") {
        return Vec::new();
    }
    let kinds = ["published", "derived", "common practice", "from memory"];
    if name.contains('/') {
        let first = source.text.lines().next().unwrap_or_default();
        let sound = first.starts_with("# Source: ") && kinds.iter().any(|kind| first.ends_with(kind));
        let what = "write `# Source: who says so; published` (or another kind) as the first line";
        return if sound { Vec::new() } else { vec![fault(source, 0, what)] };
    }
    let mut faults = Vec::new();
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(source.text.as_bytes());
    for (number, record) in reader.records().enumerate() {
        let record = match record {
            Ok(record) => record,
            Err(error) => return vec![fault(source, number, &error.to_string())],
        };
        let (who, kind) = (record.get(1).unwrap_or_default(), record.get(2).unwrap_or_default());
        if number == 0 && (who, kind) != ("source", "kind") {
            faults.push(fault(
                source,
                0,
                "write name,source,kind,inputs,expected,unit,tolerance as the header",
            ));
        }
        if number != 0 && who.trim().is_empty() {
            faults.push(fault(source, number, "no source; write who says so"));
        }
        if number != 0 && !kinds.contains(&kind) {
            faults.push(fault(source, number, &format!("kind `{kind}`; write one of {}", kinds.join(", "))));
        }
    }
    faults
}
