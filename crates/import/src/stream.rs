//! From whatever the file is to UTF-8 text: gzip and zstd unpacked, byte-order mark dropped, UTF-16 turned into UTF-8.
//!
//! The form is told by the first bytes, not by the file's name. Nothing is held but a block; what unpacks without end
//! is stopped.

use std::cell::Cell;
use std::io::{self, Chain, Cursor, Read};
use std::rc::Rc;

use crate::trouble::Unreadable;
use crate::utf16::Utf16;
use crate::windows1252::Windows1252;

/// How a file writes its letters, where its first bytes do not tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Encoding {
    /// UTF-8, or UTF-16 by its mark.
    #[default]
    Unicode,
    /// One byte a letter, as older programs of western Europe and America write it; holds Latin-1.
    Windows1252,
}

/// Logs pack 5 to 60 times smaller (two million regular made-up visits: 52 times); what is made to swell, 1,000 and more.
const MOST_TIMES_LARGER: u64 = 400;

/// Below so many bytes a file may unpack as many times as it likes: no harm can come of it.
const RATIO_COUNTS_FROM: u64 = 48 << 20;

/// Text on its way in.
pub(crate) struct Text<'a> {
    /// UTF-8, or what the file holds in its place; without byte-order mark.
    pub bytes: Box<dyn Read + 'a>,
    /// Bytes of the file taken so far, packed.
    pub taken: Rc<Cell<u64>>,
    /// "gzip" or "zstd", if packed.
    pub form: Option<&'static str>,
}

/// Opens whatever `source` is.
///
/// # Errors
/// When it is another kind of file, or cannot be read.
pub(crate) fn open<'a>(
    source: impl Read + 'a,
    most_unpacked_bytes: u64,
    encoding: Encoding,
) -> Result<Text<'a>, Unreadable> {
    let taken = Rc::new(Cell::new(0));
    let counted = Counted { source, taken: Rc::clone(&taken) };
    let (head, packed) = peek(counted).map_err(|why| Unreadable::Io { why })?;
    let bound = |source| Bounded { source, most: most_unpacked_bytes, unpacked: 0, taken: Rc::clone(&taken) };
    let (plain, form): (Box<dyn Read + 'a>, _) = match head.as_slice() {
        [0x1F, 0x8B, ..] => {
            let unpacked: Box<dyn Read + 'a> = Box::new(flate2::read::MultiGzDecoder::new(packed));
            (Box::new(bound(unpacked)), Some("gzip"))
        }
        [0x28, 0xB5, 0x2F, 0xFD, ..] => {
            let decoder = zstd::Decoder::new(packed).map_err(|why| Unreadable::Io { why })?;
            let unpacked: Box<dyn Read + 'a> = Box::new(decoder);
            (Box::new(bound(unpacked)), Some("zstd"))
        }
        _ => (Box::new(packed), None),
    };
    let (head, mut plain) = peek(plain).map_err(|why| trouble_of(why, form))?;
    if let Some((what, remedy)) = other_kind(&head) {
        return Err(Unreadable::OtherKind { what, remedy });
    }
    let bytes: Box<dyn Read + 'a> = match head.as_slice() {
        _ if encoding == Encoding::Windows1252 => Ok(Box::new(Windows1252::new(plain)) as Box<dyn Read + 'a>),
        [0xEF, 0xBB, 0xBF, ..] => skip(&mut plain, 3).map(|()| Box::new(plain) as Box<dyn Read + 'a>),
        [0xFF, 0xFE, ..] => {
            skip(&mut plain, 2).map(|()| Box::new(Utf16::new(plain, false)) as Box<dyn Read + 'a>)
        }
        [0xFE, 0xFF, ..] => {
            skip(&mut plain, 2).map(|()| Box::new(Utf16::new(plain, true)) as Box<dyn Read + 'a>)
        }
        // Without a mark: a header word is ASCII, so every other byte is zero.
        [1..=255, 0, 1..=255, 0, ..] => Ok(Box::new(Utf16::new(plain, false)) as Box<dyn Read + 'a>),
        [0, 1..=255, 0, 1..=255, ..] => Ok(Box::new(Utf16::new(plain, true)) as Box<dyn Read + 'a>),
        _ => Ok(Box::new(plain) as Box<dyn Read + 'a>),
    }
    .map_err(|why| trouble_of(why, form))?;
    Ok(Text { bytes, taken, form })
}

/// What an error of reading says about the file.
pub(crate) fn trouble_of(why: io::Error, form: Option<&'static str>) -> Unreadable {
    if let Some(&TooMuch { packed_bytes, unpacked_bytes }) =
        why.get_ref().and_then(|inner| inner.downcast_ref::<TooMuch>())
    {
        return Unreadable::TooLarge { packed_bytes, unpacked_bytes };
    }
    match form {
        Some(form) if why.raw_os_error().is_none() => {
            if why.kind() == io::ErrorKind::UnexpectedEof {
                Unreadable::CutShort { form }
            } else {
                Unreadable::Damaged { form, why: why.to_string() }
            }
        }
        _ => Unreadable::Io { why },
    }
}

/// Files people hand in by mistake, by their first bytes.
fn other_kind(head: &[u8]) -> Option<(&'static str, &'static str)> {
    const SAVE: &str = "open it in the spreadsheet program and save the sheet as CSV in UTF-8";
    const UNPACK: &str = "unpack it and read the CSV inside; .csv.gz and .csv.zst are read as they are";
    match head {
        [b'P', b'K', 3, 4, ..] => Some(("a zip archive or a spreadsheet's own file (.xlsx, .ods)", SAVE)),
        [0xD0, 0xCF, 0x11, 0xE0, ..] => Some(("an old spreadsheet's own file (.xls)", SAVE)),
        [0xFD, b'7', b'z', b'X', ..] => Some(("an .xz archive", UNPACK)),
        [b'B', b'Z', b'h', ..] => Some(("a .bz2 archive", UNPACK)),
        [b'7', b'z', 0xBC, 0xAF, ..] => Some(("a .7z archive", UNPACK)),
        [0x1F, 0x8B, ..] | [0x28, 0xB5, 0x2F, 0xFD, ..] => Some(("a file compressed twice", UNPACK)),
        [b'S', b'Q', b'L', b'i', ..] => Some(("a SQLite database", "export the table you mean as CSV")),
        [b'%', b'P', b'D', b'F', ..] => Some(("a PDF", "export the list as CSV where it was made")),
        [0x89, b'P', b'N', b'G', ..] | [0xFF, 0xD8, 0xFF, ..] | [b'G', b'I', b'F', b'8', ..] => {
            Some(("a picture", "export the list as CSV where it was made"))
        }
        [b'<', b'h' | b'H', b't' | b'T', b'm' | b'M', ..] | [b'<', b'!', b'D' | b'd', b'O' | b'o', ..] => {
            Some(("a web page", "export the list as CSV where it was made, and not the page that shows it"))
        }
        [b'<', b'?', b'x', b'm', ..] => Some(("an XML file", "export the list as CSV where it was made")),
        _ => None,
    }
}

type Peeked<R> = Chain<Cursor<Vec<u8>>, R>;

/// The first four bytes, or fewer, and the whole again.
fn peek<R: Read>(mut source: R) -> io::Result<(Vec<u8>, Peeked<R>)> {
    let mut head = Vec::with_capacity(4);
    source.by_ref().take(4).read_to_end(&mut head)?;
    Ok((head.clone(), Cursor::new(head).chain(source)))
}

fn skip(source: &mut impl Read, bytes: usize) -> io::Result<()> {
    source.read_exact(&mut [0; 4][..bytes])
}

struct Counted<R> {
    source: R,
    taken: Rc<Cell<u64>>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.source.read(into)?;
        self.taken.set(self.taken.get() + read as u64);
        Ok(read)
    }
}

/// Stops what unpacks to more than a log can hold.
struct Bounded<R> {
    source: R,
    most: u64,
    unpacked: u64,
    taken: Rc<Cell<u64>>,
}

#[derive(Debug, thiserror::Error)]
#[error("unpacks to too much")]
struct TooMuch {
    packed_bytes: u64,
    unpacked_bytes: u64,
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.source.read(into)?;
        self.unpacked += read as u64;
        let packed_bytes = self.taken.get();
        let swollen = RATIO_COUNTS_FROM < self.unpacked
            && packed_bytes.saturating_mul(MOST_TIMES_LARGER) < self.unpacked;
        if swollen || self.most < self.unpacked {
            return Err(io::Error::other(TooMuch { packed_bytes, unpacked_bytes: self.unpacked }));
        }
        Ok(read)
    }
}
