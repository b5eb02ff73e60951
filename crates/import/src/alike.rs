//! A header word that is no column but looks like one: a slip of spelling, or a unit that is missing.

use cowpath_core::tables::Table;

/// The columns of a table that a word may mean, in their own spelling; none if it looks like none of them.
pub(crate) fn alike(table: &Table, word: &str) -> Vec<String> {
    let word = plain(word);
    if word.is_empty() {
        return Vec::new();
    }
    let spellings = |column: &cowpath_core::tables::Column| {
        [Some(column.name.to_owned()), column.imperial_name()].into_iter().flatten().collect::<Vec<String>>()
    };
    let names: Vec<String> = table.columns.iter().flat_map(spellings).collect();
    let same: Vec<String> = names.iter().filter(|name| plain(name) == word).cloned().collect();
    if !same.is_empty() {
        return same;
    }
    // `milk` for `milk_kg` or `milk_lb`: the unit is not ours to guess.
    let stem = format!("{word}_");
    let by_stem: Vec<&String> = names.iter().filter(|name| name.starts_with(&stem)).collect();
    if (1..=3).contains(&by_stem.len()) {
        return by_stem.into_iter().cloned().collect();
    }
    let near = |name: &String| {
        let slips = match name.len() {
            0..=4 => 0,
            5..=8 => 1,
            _ => 2,
        };
        edits(name.as_bytes(), word.as_bytes()) <= slips
    };
    names.into_iter().filter(near).take(1).collect()
}

/// Lower case, all that is neither letter nor digit one `_`, none at the ends.
fn plain(word: &str) -> String {
    let parts = word.split(|letter: char| !letter.is_alphanumeric()).filter(|part| !part.is_empty());
    parts.map(str::to_lowercase).collect::<Vec<_>>().join("_")
}

/// Letters to put in, take out or change to get from one to the other (V. I. Levenshtein, 1966).
fn edits(one: &[u8], other: &[u8]) -> usize {
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (at, &letter) in one.iter().enumerate() {
        let mut corner = at;
        row[0] = at + 1;
        for (place, &theirs) in other.iter().enumerate() {
            let changed = corner + usize::from(letter != theirs);
            corner = row[place + 1];
            row[place + 1] = changed.min(corner + 1).min(row[place] + 1);
        }
    }
    row[other.len()]
}
