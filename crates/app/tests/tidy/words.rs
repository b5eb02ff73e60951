//! Labels we do without, in what a user reads: pages, sentences, commands.

use super::rules::Faults;
use super::source::Source;

/// Word or words, and what we say instead. Looked for as whole words, letters' case aside, also with an s.
const LABELS: [(&str, &str); 19] = [
    ("alert", "call"),
    ("alarm", "call"),
    ("attention", "call, or say what to do"),
    ("health index", "name the signal and its unit"),
    ("heat index", "name the signal and its unit"),
    ("rumination index", "name the signal and its unit"),
    ("activity index", "name the signal and its unit"),
    ("score", "linear score or body condition score, or say what is meant"),
    ("kpi", "name the figure"),
    ("dashboard", "name the page"),
    ("tile", "name the part"),
    ("widget", "name the part"),
    ("refusal", "turned away"),
    ("refused", "turned away"),
    ("report number", "name the page"),
    ("traffic light", "write the word"),
    ("feed matrix", "feed table"),
    ("matrix", "feed table"),
    ("fetch list", "Bring in"),
];

/// Ways to say them that are the trade's or a standard's own.
const ALLOWED: [&str; 9] = [
    "attention event",
    "export attention",
    "linear score",
    "body condition score",
    "condition score",
    "brier score",
    "calibration score",
    "locomotion score",
    "role alert",
];

pub fn our_words(source: &Source) -> Faults {
    let shown = match () {
        () if source.path.starts_with("crates/app/src/web/") && source.path.ends_with(".html") => {
            visible(&source.text)
        }
        () if source.is_test() => return Vec::new(),
        // A doc comment of a command is its help.
        () if source.is_of("app") && source.path.contains("/cli/") => {
            merge(&source.strings, &doc_comments(&source.comments))
        }
        () if source.is_of("app") || source.path.starts_with("crates/core/src/say/") => {
            source.strings.clone()
        }
        () => return Vec::new(),
    };
    let mut faults = Vec::new();
    for (number, line) in shown.lines().enumerate() {
        for (label, instead) in labels_of(line) {
            faults.push(format!(
                "{}:{}: `{label}` is not one of our words; write: {instead}",
                source.path,
                number + 1
            ));
        }
    }
    faults
}

/// Labels of a line that stand for themselves.
fn labels_of(line: &str) -> Vec<(&'static str, &'static str)> {
    let words: String =
        line.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { ' ' }).collect();
    let mut words = format!(" {} ", words.split_whitespace().collect::<Vec<_>>().join(" "));
    for allowed in ALLOWED {
        words = words.replace(&format!(" {allowed}s "), " ").replace(&format!(" {allowed} "), " ");
    }
    LABELS
        .into_iter()
        .filter(|(label, _)| words.contains(&format!(" {label} ")) || words.contains(&format!(" {label}s ")))
        .collect()
}

/// A template without its own expressions, line for line: `{{ call.score }}` is a name of ours, not a label.
fn visible(template: &str) -> String {
    let mut shown = String::new();
    let mut rest = template;
    while let Some(begin) = rest.find("{{").into_iter().chain(rest.find("{%")).chain(rest.find("{#")).min() {
        shown.push_str(&rest[..begin]);
        let close = match &rest[begin..begin + 2] {
            "{{" => "}}",
            "{%" => "%}",
            _ => "#}",
        };
        let end = rest[begin..].find(close).map_or(rest.len(), |end| begin + end + 2);
        shown.extend(rest[begin..end].chars().map(|letter| if letter == '\n' { '\n' } else { ' ' }));
        rest = &rest[end..];
    }
    shown + rest
}

fn doc_comments(comments: &str) -> String {
    comments
        .lines()
        .map(|line| if line.trim_start().starts_with("///") { line } else { "" })
        .collect::<Vec<_>>()
        .join("\n")
}

fn merge(one: &str, other: &str) -> String {
    let others = other.lines().chain(std::iter::repeat(""));
    one.lines().zip(others).map(|(one, other)| format!("{one} {other}")).collect::<Vec<_>>().join("\n")
}

#[test]
fn labels_are_seen_where_a_user_reads_them() {
    let faults = |path: &str, text: &str| our_words(&Source::new(path, text)).len();
    assert_eq!(faults("crates/app/src/web/templates/a.html", "<h1>Alerts</h1>\n<p>{{ alert }}"), 1);
    assert_eq!(faults("crates/app/src/web/templates/a.html", "<p role=\"alert\">linear score 4</p>"), 0);
    assert_eq!(faults("crates/app/src/cli/a.rs", "/// Prints the score.\nfn score() {} // score"), 1);
    assert_eq!(faults("crates/core/src/say/call.rs", "let x = \"traffic-light\";"), 1);
    assert_eq!(faults("crates/core/src/expect/a.rs", "let x = \"alarm\";"), 0);
}
