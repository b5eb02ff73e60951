//! What was wrong with a row, a column or a file, and how a bad value is shown.

/// One thing the person should know about a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue {
    /// Line of the file, from 1 (the header); the first, where a row spans several.
    pub line: Option<u64>,
    /// Column as the file's header writes it.
    pub column: Option<String>,
    /// The cell as the file writes it, shortened if long.
    pub value: Option<String>,
    /// What is wrong, in words that can follow column and value: "outside 0 to 60 kg".
    pub reason: String,
    /// What to do.
    pub remedy: String,
    /// Whether a row was refused.
    pub kind: IssueKind,
    /// The row's text as the file writes it, so that it can be mended and read later; whole, except of a row over the
    /// length limit. Bytes that are not UTF-8 stand as the Latin-1 letters of the same number.
    pub raw: Option<String>,
}

/// What an issue means for the rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IssueKind {
    /// The row cannot be used yet: it belongs in quarantine.
    RowRefused,
    /// A column of the file is not one of the table's; its rows are read without it.
    ColumnNotUsed,
    /// Read, but on an assumption that the person should know.
    Note,
}

impl IssueKind {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            IssueKind::RowRefused => "row refused",
            IssueKind::ColumnNotUsed => "column not used",
            IssueKind::Note => "note",
        }
    }
}

/// Why a cell or row cannot be used, and what to do; built only once something is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Wrong {
    pub reason: String,
    pub remedy: String,
}

impl Wrong {
    pub fn new(reason: impl Into<String>, remedy: impl Into<String>) -> Wrong {
        Wrong { reason: reason.into(), remedy: remedy.into() }
    }
}

/// Longest value shown, in characters.
const SHOWN_LETTERS: usize = 80;

/// A cell as an issue shows it: shortened, and control characters by their pictures.
pub(crate) fn shown(cell: &[u8]) -> String {
    let text: String = as_text(cell).chars().map(picture).collect();
    if text.chars().count() <= SHOWN_LETTERS {
        return text;
    }
    let mut short: String = text.chars().take(SHOWN_LETTERS - 1).collect();
    short.push('…');
    short
}

fn picture(letter: char) -> char {
    match letter {
        '\0'..='\x1F' => char::from_u32(0x2400 + letter as u32).unwrap_or(letter),
        '\x7F' => '␡',
        _ => letter,
    }
}

/// Bytes as text without losing any: UTF-8 where they are, else each byte as the Latin-1 letter of its number.
pub(crate) fn as_text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
    }
}
