//! The tree's files as the tidy rules read them: which part of a line is code, which is text, which is comment.

use std::fs;
use std::path::{Path, PathBuf};

/// One text file of the tree.
pub struct Source {
    /// From the root, with `/`.
    pub path: String,
    /// As it stands.
    pub text: String,
    /// Rust only: code with comments and the insides of string literals blanked out, line for line.
    pub code: String,
    /// Rust only: the insides of string literals, the rest blanked out.
    pub strings: String,
    /// Rust only: comments and doc comments, the rest blanked out.
    pub comments: String,
}

impl Source {
    pub fn new(path: &str, text: &str) -> Source {
        let [code, strings, comments] =
            if path.ends_with(".rs") { parts(text) } else { [const { String::new() }; 3] };
        Source { path: path.into(), text: text.into(), code, strings, comments }
    }

    pub fn is_rust(&self) -> bool {
        self.path.ends_with(".rs")
    }

    /// Tests, benches and examples may do what shipped code may not.
    pub fn is_test(&self) -> bool {
        let name = self.path.rsplit('/').next().unwrap_or_default();
        name == "tests.rs"
            || ["/tests/", "/benches/", "/examples/"].iter().any(|part| self.path.contains(part))
    }

    /// Lines of a crate's own source: `crates/NAME/src/…`.
    pub fn is_of(&self, crate_name: &str) -> bool {
        self.path.starts_with(&format!("crates/{crate_name}/src/"))
    }
}

/// The tree's root: as the runner says, else as it was when this test was built.
pub fn root() -> PathBuf {
    let own = std::env::var_os("CARGO_MANIFEST_DIR").unwrap_or(env!("CARGO_MANIFEST_DIR").into());
    Path::new(&own).join("../..")
}

/// Every text file of the tree, sorted; what builds, packages and farms leave behind is not looked at.
pub fn tree() -> Vec<Source> {
    let root = root();
    let mut paths = Vec::new();
    let mut folders = vec![root.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if path.is_dir() {
                let left_out = ["target", "node_modules", ".git"].contains(&name.as_str())
                    || name.ends_with(".farm")
                    || path.join("CACHEDIR.TAG").exists();
                if !left_out {
                    folders.push(path);
                }
            } else if name != ".git" {
                paths.push(path);
            }
        }
    }
    paths.sort();
    paths
        .iter()
        .filter_map(|path| {
            let text = String::from_utf8(fs::read(path).unwrap()).ok()?;
            let name = path.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
            Some(Source::new(&name, &text))
        })
        .collect()
}

#[derive(Clone, Copy, PartialEq)]
enum Part {
    Code,
    Text,
    Comment,
}

/// Code, insides of strings, comments; each as long as the file, with blanks for the others' letters.
fn parts(text: &str) -> [String; 3] {
    let letters: Vec<char> = text.chars().collect();
    let mut kinds = vec![Part::Code; letters.len()];
    let mut at = 0;
    while at < letters.len() {
        let (end, part) = next(&letters, at);
        kinds[at..end].fill(part);
        at = end;
    }
    [Part::Code, Part::Text, Part::Comment].map(|wanted| {
        letters
            .iter()
            .zip(&kinds)
            .map(|(&letter, &kind)| if kind == wanted || letter == '\n' { letter } else { ' ' })
            .collect()
    })
}

/// Where the piece that starts at a letter ends, and what it is.
fn next(letters: &[char], at: usize) -> (usize, Part) {
    let peek = |ahead: usize| letters.get(at + ahead).copied().unwrap_or(' ');
    let find = |from: usize, ends: &dyn Fn(usize) -> bool| {
        (from..letters.len()).find(|&place| ends(place)).unwrap_or(letters.len())
    };
    match (letters[at], peek(1)) {
        ('/', '/') => (find(at, &|place| letters[place] == '\n'), Part::Comment),
        ('/', '*') => (block_comment_end(letters, at), Part::Comment),
        ('"', _) => {
            let mut end = at + 1;
            while end < letters.len() && letters[end] != '"' {
                end += if letters[end] == '\\' { 2 } else { 1 };
            }
            ((end + 1).min(letters.len()), Part::Text)
        }
        ('r', '"' | '#') if at == 0 || !is_word(letters[at - 1]) || letters[at - 1] == 'b' => {
            let marks = (1..).take_while(|&ahead| peek(ahead) == '#').count();
            if peek(1 + marks) != '"' {
                return (at + 1, Part::Code);
            }
            let closes = |place: usize| {
                letters[place] == '"' && (1..=marks).all(|ahead| letters.get(place + ahead) == Some(&'#'))
            };
            ((find(at + 2 + marks, &closes) + 1 + marks).min(letters.len()), Part::Text)
        }
        // 'x' and '\n' are letters; 'a without a closing mark is a lifetime.
        ('\'', '\\') => (find(at + 3, &|place| letters[place] == '\'') + 1, Part::Code),
        ('\'', _) if peek(2) == '\'' => (at + 3, Part::Code),
        _ => (at + 1, Part::Code),
    }
}

fn block_comment_end(letters: &[char], at: usize) -> usize {
    let (mut depth, mut place) = (0, at);
    while place < letters.len() {
        match (letters[place], letters.get(place + 1)) {
            ('/', Some('*')) => (depth, place) = (depth + 1, place + 2),
            ('*', Some('/')) => (depth, place) = (depth - 1, place + 2),
            _ => place += 1,
        }
        if depth == 0 {
            break;
        }
    }
    place.min(letters.len())
}

fn is_word(letter: char) -> bool {
    letter.is_alphanumeric() || letter == '_'
}

#[test]
fn code_text_and_comments_are_told_apart() {
    let source = Source::new(
        "a.rs",
        "let a = \"x // y \\\" z\"; // say \"hi\"\nlet b = r#\"raw \" k\"#; /* c /* d */ e */ let c = '\"';\nfn f<'a>(s: &'a str) {}",
    );
    assert!(source.code.contains("let a =") && !source.code.contains('x') && !source.code.contains("say"));
    assert!(source.strings.contains("x // y") && source.strings.contains("raw \" k"));
    assert!(source.comments.contains("say \"hi\"") && source.comments.contains("c /* d */ e"));
    assert!(source.code.contains("let c =") && source.code.contains("fn f<'a>(s: &'a str) {}"));
    assert_eq!(source.code.lines().count(), 3);
}
