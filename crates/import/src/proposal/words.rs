//! What may a header word or a word in a cell mean? The word lists of the trade, and how words are compared.
//!
//! Words are compared without marks on letters (ä, ae and a are one), without the case of letters, without quarter, unit
//! and filling words. A header that is then just a phrase of the list is *known*; one that holds a phrase beside other
//! words is *like* it, and never sure. Words that make a figure another one than what was measured (expected, average,
//! yesterday's) rule a likeness out.

use std::collections::BTreeMap;
use std::sync::LazyLock;

/// How well a header fits a phrase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fit {
    /// Holds the phrase, or part of a compound word is one.
    Like,
    /// Is the phrase.
    Known,
}

/// What a header may mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Meaning {
    pub concept: &'static str,
    pub fit: Fit,
    /// Letters of the phrase that fits: the longest of several counts.
    pub letters: usize,
}

struct Phrase {
    concept: &'static str,
    tokens: Vec<String>,
    joined: String,
    /// Joined without words like "number".
    numberless: String,
    /// Whether it has such a word.
    numbered: bool,
}

static PHRASES: LazyLock<Vec<Phrase>> = LazyLock::new(|| {
    let mut phrases: Vec<Phrase> = Vec::new();
    for (concept, words) in lists(include_str!("words.txt")) {
        for phrase in words.split(',') {
            let tokens: Vec<String> = tokens(phrase).into_iter().filter(|word| !is_filling(word)).collect();
            let joined = tokens.concat();
            if !joined.is_empty() {
                let numberless = without_numbers(tokens.iter().map(String::as_str)).concat();
                let numbered = numberless != joined;
                phrases.push(Phrase { concept, tokens, joined, numberless, numbered });
            }
        }
    }
    phrases
});

/// Words in cells: by list ("outcome"), our word for theirs.
static VALUES: LazyLock<BTreeMap<&'static str, BTreeMap<String, Vec<&'static str>>>> = LazyLock::new(|| {
    let mut all: BTreeMap<&str, BTreeMap<String, Vec<&str>>> = BTreeMap::new();
    for (head, words) in lists(include_str!("values.txt")) {
        let (list, ours) = head.split_once(' ').unwrap_or((head, ""));
        for word in words.split(',') {
            let known = all.entry(list).or_default().entry(joined(word)).or_default();
            if !known.contains(&ours) {
                known.push(ours);
            }
        }
    }
    all
});

fn lists(text: &'static str) -> impl Iterator<Item = (&'static str, &'static str)> {
    text.lines().filter(|line| !line.starts_with('#')).filter_map(|line| line.split_once(": "))
}

/// Our word for a word in a cell; none if the list does not know it, or knows it for two.
pub(crate) fn our_word(list: &str, word: &str) -> Option<&'static str> {
    match VALUES.get(list)?.get(&joined(word))?.as_slice() {
        [ours] => Some(ours),
        _ => None,
    }
}

/// Whether a cell says that nothing was measured.
pub(crate) fn says_nothing(word: &str) -> bool {
    let word = word.trim().to_lowercase();
    lists(include_str!("values.txt"))
        .filter(|(head, _)| *head == "missing")
        .any(|(_, words)| words.split(", ").any(|own| own == word))
}

/// Words that stand in headers and say nothing of what is meant.
fn is_filling(word: &str) -> bool {
    const FILLING: [&str; 31] = [
        "of", "the", "per", "a", "an", "for", "der", "die", "das", "des", "je", "pro", "le", "la", "les",
        "l", "d", "el", "los", "las", "del", "il", "lo", "dell", "della", "het", "total", "totale", "gesamt",
        "och", "og",
    ];
    FILLING.contains(&word)
}

/// Words for a number of an animal or box, left aside when what stays is a phrase.
const NUMBERS: [&str; 16] = [
    "number", "nr", "no", "num", "id", "nummer", "numero", "n", "name", "nombre", "nome", "navn", "namn",
    "naam", "nom", "code",
];

/// Words without those for a number, also where one ends in it: `konr`, `koenummer`.
fn without_numbers<'a>(words: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let cut = |word: &'a str| {
        ["nummer", "number", "nr"]
            .iter()
            .find_map(|end| word.strip_suffix(end))
            .filter(|stem| 2 <= stem.len())
            .unwrap_or(word)
    };
    words.filter(|word| !NUMBERS.contains(word)).map(cut).collect()
}

/// Words that make a figure something else than what was measured then and there.
const OTHERWISE: [&str; 78] = [
    "expected",
    "predicted",
    "forecast",
    "target",
    "planned",
    "estimated",
    "average",
    "avg",
    "mean",
    "median",
    "daily",
    "day",
    "days",
    "24h",
    "7d",
    "previous",
    "last",
    "yesterday",
    "deviation",
    "difference",
    "diff",
    "change",
    "trend",
    "cumulative",
    "sum",
    "305",
    "305d",
    "index",
    "rank",
    "erwartet",
    "erwartete",
    "soll",
    "durchschnitt",
    "mittel",
    "mittelwert",
    "schnitt",
    "tag",
    "tage",
    "vortag",
    "abweichung",
    "differenz",
    "attendu",
    "attendue",
    "prevu",
    "moyenne",
    "moyen",
    "jour",
    "jours",
    "ecart",
    "verwacht",
    "verwachte",
    "gemiddeld",
    "gemiddelde",
    "dag",
    "dagen",
    "afwijking",
    "esperado",
    "esperada",
    "media",
    "promedio",
    "dia",
    "dias",
    "desviacion",
    "atteso",
    "attesa",
    "giorno",
    "giorni",
    "scarto",
    "forventet",
    "gennemsnit",
    "dogn",
    "afvigelse",
    "forvantad",
    "genomsnitt",
    "medel",
    "dygn",
    "avvikelse",
    "since",
];

/// Whether a header has a word by which it is not what was measured.
pub(crate) fn is_otherwise(token: &str) -> bool {
    OTHERWISE.contains(&token)
}

/// A letter without its marks, small.
fn folded(letter: char, out: &mut String) {
    for small in letter.to_lowercase() {
        match small {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'æ' => out.push('a'),
            'è' | 'é' | 'ê' | 'ë' => out.push('e'),
            'ì' | 'í' | 'î' | 'ï' => out.push('i'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' => out.push('o'),
            'œ' => out.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => out.push('u'),
            'ç' => out.push('c'),
            'ñ' => out.push('n'),
            'ß' => out.push_str("ss"),
            other => out.push(other),
        }
    }
}

/// The words of a text: cut at signs and where small letters meet great ones, without marks.
pub(crate) fn tokens(text: &str) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    let mut words = vec![String::new()];
    for (at, &letter) in letters.iter().enumerate() {
        if !letter.is_alphanumeric() {
            words.push(String::new());
            continue;
        }
        let before = at.checked_sub(1).and_then(|at| letters.get(at)).copied().unwrap_or(' ');
        let next = letters.get(at + 1).copied().unwrap_or(' ');
        let starts = letter.is_uppercase()
            && (before.is_lowercase() || (before.is_uppercase() && next.is_lowercase()));
        if starts {
            words.push(String::new());
        }
        if let Some(word) = words.last_mut() {
            folded(letter, word);
        }
    }
    // ae, oe and ue are how a, o and u with marks are written without them.
    words
        .into_iter()
        .filter(|word| !word.is_empty())
        .map(|word| {
            if word.len() < 4 { word } else { word.replace("ae", "a").replace("oe", "o").replace("ue", "u") }
        })
        .collect()
}

fn joined(text: &str) -> String {
    tokens(text).concat()
}

/// What header words, without those of quarters and units, may mean: what fits best first.
pub(crate) fn meanings(words: &[String]) -> Vec<Meaning> {
    let words: Vec<&str> = words.iter().map(String::as_str).filter(|word| !is_filling(word)).collect();
    let joined = words.concat();
    if joined.is_empty() {
        return Vec::new();
    }
    let numberless = without_numbers(words.iter().copied()).concat();
    let numbered = numberless != joined;
    let otherwise = words.iter().any(|word| is_otherwise(word));
    let mut best: BTreeMap<&'static str, (Fit, usize)> = BTreeMap::new();
    let mut add = |concept: &'static str, fit: Fit, letters: usize| {
        let own = best.entry(concept).or_insert((fit, letters));
        *own = (*own).max((fit, letters));
    };
    for phrase in PHRASES.iter() {
        let letters = phrase.joined.len();
        // `Stall` is not `Stallnummer`.
        let but_for_numbers = !numberless.is_empty()
            && phrase.numberless == numberless
            && (numbered || !phrase.numbered)
            && ["animal", "official", "box", "pen"].contains(&phrase.concept);
        if phrase.joined == joined || but_for_numbers {
            add(phrase.concept, Fit::Known, letters);
        } else if otherwise {
            // Whatever it holds, it is not the measurement itself.
        } else if 3 <= letters && phrase.tokens.iter().all(|own| words.contains(&own.as_str())) {
            add(phrase.concept, Fit::Like, letters);
        } else if let [own] = phrase.tokens.as_slice()
            && 5 <= own.len()
            && words.iter().any(|word| {
                own.len() < word.len() && (word.starts_with(own.as_str()) || word.ends_with(own.as_str()))
            })
        {
            add(phrase.concept, Fit::Like, letters);
        }
    }
    let mut found: Vec<Meaning> =
        best.into_iter().map(|(concept, (fit, letters))| Meaning { concept, fit, letters }).collect();
    found.sort_by(|one, other| {
        (other.fit, other.letters, one.concept).cmp(&(one.fit, one.letters, other.concept))
    });
    // Beside a whole phrase a part of it says nothing.
    if found.first().is_some_and(|first| first.fit == Fit::Known) {
        found.retain(|meaning| meaning.fit == Fit::Known);
    }
    found
}
