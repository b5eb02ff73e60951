//! Which quarter does a header name? Words in eight languages, and codes of two or three letters.
//!
//! A code is believed only where all four of its kind stand in the file: `AD` alone may be anything, but beside `AG`, `PG`
//! and `PD` it is the right front one.

use std::collections::BTreeSet;

/// LF, RF, LR, RR as places 0 to 3: bit 0 right, bit 1 rear.
pub(crate) const NAMES: [&str; 4] = ["lf", "rf", "lr", "rr"];

/// Codes in use, each in the order LF, RF, LR, RR.
const CODES: [[&str; 4]; 16] = [
    ["lf", "rf", "lr", "rr"],
    ["fl", "fr", "rl", "rr"],
    ["lf", "rf", "lh", "rh"],
    ["lf", "rf", "lb", "rb"],
    ["fl", "fr", "bl", "br"],
    ["fl", "fr", "hl", "hr"],
    ["vl", "vr", "hl", "hr"],
    ["lv", "rv", "lh", "rh"],
    ["lv", "rv", "la", "ra"],
    ["avg", "avd", "arg", "ard"],
    ["ag", "ad", "pg", "pd"],
    ["di", "dd", "ti", "td"],
    ["ai", "ad", "pi", "pd"],
    ["as", "ad", "ps", "pd"],
    ["asx", "adx", "psx", "pdx"],
    ["vf", "hf", "vb", "hb"],
];

const LEFT: [&str; 14] = [
    "left",
    "links",
    "linker",
    "linke",
    "linkes",
    "gauche",
    "izquierdo",
    "izquierda",
    "izq",
    "sinistro",
    "sinistra",
    "sx",
    "venstre",
    "vanster",
];
const RIGHT: [&str; 14] = [
    "right", "rechts", "rechter", "rechte", "rechtes", "droit", "droite", "derecho", "derecha", "destro",
    "destra", "dx", "hojre", "hoger",
];
const FRONT: [&str; 17] = [
    "front",
    "fore",
    "vorne",
    "vorn",
    "vorderes",
    "vorder",
    "avant",
    "voor",
    "delantero",
    "delantera",
    "anterior",
    "anteriore",
    "ant",
    "foran",
    "for",
    "fram",
    "framre",
];
const REAR: [&str; 18] = [
    "rear",
    "hind",
    "back",
    "hinten",
    "hinteres",
    "hinter",
    "arriere",
    "achter",
    "trasero",
    "trasera",
    "posterior",
    "posteriore",
    "post",
    "bag",
    "bagest",
    "bak",
    "bakre",
    "hint",
];

/// The codes whose four all stand in a file; none, or two of different meaning, are believed by none.
pub(crate) fn codes_of(files_words: &BTreeSet<String>) -> Vec<[&'static str; 4]> {
    CODES.into_iter().filter(|codes| codes.iter().all(|code| files_words.contains(*code))).collect()
}

/// What a header says of quarters.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Said {
    /// Quarters in the order the header names them.
    pub quarters: Vec<usize>,
    /// The header's words without those of quarters.
    pub rest: Vec<String>,
    /// Whether it only counts them: `teat 3`.
    pub counted: bool,
}

/// Takes the quarters out of a header's words.
pub(crate) fn said(words: &[String], codes: &[[&'static str; 4]]) -> Said {
    let mut said = Said::default();
    let mut sides: Vec<(usize, bool, usize)> = Vec::new();
    for word in words {
        let code = codes.iter().find_map(|own| own.iter().position(|code| code == word));
        if let Some(quarter) = code {
            said.quarters.push(quarter);
        } else if let Some((bit, set)) = side(word) {
            sides.push((bit, set, said.rest.len()));
        } else if let Some(quarter) = compound(word) {
            said.quarters.push(quarter);
        } else {
            said.rest.push(word.clone());
        }
    }
    // A side and an end beside each other are one quarter.
    let pairs: Vec<_> = sides.chunks(2).collect();
    let whole =
        !sides.is_empty() && sides.len().is_multiple_of(2) && pairs.iter().all(|pair| pair[0].0 != pair[1].0);
    if whole && said.quarters.is_empty() {
        for pair in pairs {
            let quarter = pair.iter().map(|&(bit, set, _)| if set { bit } else { 0 }).sum();
            said.quarters.push(quarter);
        }
    } else if !sides.is_empty() {
        // One word of a pair alone is none of a quarter.
        said.rest = words.to_vec();
        said.quarters.clear();
    }
    const OF_UDDER: [&str; 10] =
        ["quarter", "viertel", "quartier", "kwartier", "cuarto", "quarto", "kirtel", "juverdel", "teat", "q"];
    if said.quarters.is_empty() {
        let number = said.rest.iter().find_map(|word| {
            let digit = OF_UDDER.iter().find_map(|own| word.strip_prefix(own)).unwrap_or(word);
            digit.parse::<usize>().ok().filter(|number| (1..=4).contains(number))
        });
        let names_udder = said.rest.iter().any(|word| OF_UDDER.iter().any(|own| word.starts_with(own)));
        if let (Some(number), true) = (number, names_udder) {
            said.quarters.push(number - 1);
            said.counted = true;
        }
    }
    if !said.quarters.is_empty() {
        said.rest.retain(|word| {
            !OF_UDDER.contains(&word.trim_end_matches(|letter: char| letter.is_ascii_digit()))
                && word.parse::<u8>().is_err()
        });
    }
    said
}

/// Which bit of a quarter a word is, and whether it sets it.
fn side(word: &str) -> Option<(usize, bool)> {
    let groups: [(&[&str], usize, bool); 4] =
        [(&LEFT, 1, false), (&RIGHT, 1, true), (&FRONT, 2, false), (&REAR, 2, true)];
    groups.into_iter().find(|(words, ..)| words.contains(&word)).map(|(_, bit, set)| (bit, set))
}

/// `linksvoor`, `vorderlinks`.
fn compound(word: &str) -> Option<usize> {
    (3..word.len().saturating_sub(2)).filter(|&at| word.is_char_boundary(at)).find_map(|at| {
        let (one, other) = word.split_at(at);
        let ((bit, set), (other_bit, other_set)) = (side(one)?, side(other)?);
        (bit != other_bit).then(|| usize::from(set) * bit + usize::from(other_set) * other_bit)
    })
}
