//! The head of a file and some stretches of its middle and end: enough to see how it is written, in no time.

use std::io::{self, Read, Seek, SeekFrom};

use crate::Reading;
use crate::stream::{self, Encoding};
use crate::trouble::Unreadable;
use crate::windows1252;

/// Bytes read from the beginning.
const HEAD: u64 = 256 << 10;
/// Stretches read behind it, evenly spread, the last at the end.
const STRETCHES: u64 = 8;
/// Bytes of one.
const STRETCH: u64 = 32 << 10;

/// Parts of a file, as text.
#[derive(Debug)]
pub(crate) struct Sample {
    /// The beginning; its last line may be cut.
    pub head: String,
    /// Parts further on, from the first line that begins in them; the last line may be cut.
    pub stretches: Vec<String>,
    pub encoding: Encoding,
    /// Whether `head` is the whole file.
    pub whole: bool,
}

/// Takes parts of a file. A compressed file can be looked at from its beginning only.
///
/// # Errors
/// When it cannot be read, or is no text.
pub(crate) fn take<S: Read + Seek>(mut source: S, reading: &Reading) -> Result<Sample, Unreadable> {
    let io = |why: io::Error| Unreadable::Io { why };
    let length = source.seek(SeekFrom::End(0)).map_err(io)?;
    source.rewind().map_err(io)?;
    let mut first = Vec::new();
    source.by_ref().take(4).read_to_end(&mut first).map_err(io)?;
    source.rewind().map_err(io)?;
    let packed = matches!(first.as_slice(), [0x1F, 0x8B, ..] | [0x28, 0xB5, 0x2F, 0xFD, ..]);
    let wide = match first.as_slice() {
        [0xFF, 0xFE, ..] | [1..=255, 0, 1..=255, 0] => Some(false),
        [0xFE, 0xFF, ..] | [0, 1..=255, 0, 1..=255] => Some(true),
        _ => None,
    };
    let mut head = Vec::new();
    {
        let text = stream::open(&mut source, reading.most_unpacked_bytes, Encoding::Unicode)?;
        let form = text.form;
        // A little less than all of a packed file may be there: what came before is looked at.
        let read = text.bytes.take(HEAD).read_to_end(&mut head);
        if head.is_empty() {
            read.map_err(|why| stream::trouble_of(why, form))?;
        }
    }
    if head.iter().all(u8::is_ascii_whitespace) {
        return Err(Unreadable::Empty);
    }
    if head.contains(&0) {
        return Err(Unreadable::NotText);
    }
    let whole = (head.len() as u64) < HEAD && (packed || wide.is_some() || length <= HEAD);
    let mut parts: Vec<Vec<u8>> = Vec::new();
    if !packed && HEAD < length {
        let step = (length - HEAD) / STRETCHES;
        for number in 1..=STRETCHES {
            let from = (HEAD + step * number).min(length).saturating_sub(STRETCH).max(HEAD);
            // A unit of UTF-16 begins at an even place.
            source.seek(SeekFrom::Start(from - from % 2)).map_err(io)?;
            let mut part = Vec::new();
            source.by_ref().take(STRETCH).read_to_end(&mut part).map_err(io)?;
            parts.push(part);
        }
    }
    let wide_text = |part: &[u8], big_endian: bool| {
        let mut text = Vec::new();
        let _ = crate::utf16::Utf16::new(part, big_endian).read_to_end(&mut text);
        text
    };
    let parts: Vec<Vec<u8>> = match wide {
        Some(big_endian) => parts.iter().map(|part| wide_text(part, big_endian)).collect(),
        None => parts,
    };
    // From the first line that begins in the part.
    let parts: Vec<Vec<u8>> = parts
        .into_iter()
        .filter_map(|part| part.iter().position(|&byte| byte == b'\n').map(|end| part[end + 1..].to_vec()))
        .collect();
    let all_utf8 = is_utf8(&head) && parts.iter().all(|part| is_utf8(part));
    let encoding = if all_utf8 { Encoding::Unicode } else { Encoding::Windows1252 };
    let text = |bytes: &[u8]| match encoding {
        Encoding::Unicode => String::from_utf8_lossy(bytes).trim_end_matches('\u{fffd}').to_owned(),
        Encoding::Windows1252 => bytes.iter().map(|&byte| windows1252::letter(byte)).collect(),
    };
    Ok(Sample {
        head: text(&head),
        stretches: parts.iter().map(|part| text(part)).collect(),
        encoding,
        whole,
    })
}

/// UTF-8, but for a letter that the end of the part cuts.
fn is_utf8(bytes: &[u8]) -> bool {
    match std::str::from_utf8(bytes) {
        Ok(_) => true,
        Err(why) => why.error_len().is_none(),
    }
}
