//! One record at a time, with its line number: where lines end and where cells begin (RFC 4180).
//!
//! A quotation mark opens a quoted cell only as the cell's first byte and must be followed by a separator or the line's end
//! when it closes. A quoted cell may span lines, but only so many, and only if the whole record then has as many cells as
//! the header: otherwise the quotation mark was a slip, the first line alone is refused, and reading goes on at the next
//! line, so that one stray mark never swallows the rest of a file. A line over the length limit is skipped unread.

use std::io::{self, Read};

/// Free text of more lines than this in one cell is taken for a slip.
const MOST_LINES: u64 = 100;

/// Bytes asked of the source at a time.
const BLOCK: usize = 256 << 10;

/// Bytes kept of a line that is too long.
const HEAD: usize = 200;

/// Where the cells of one record lie.
#[derive(Debug)]
pub(crate) struct Cells {
    /// What stands between cells.
    separator: u8,
    spans: Vec<(u32, u32)>,
    /// Text of the cells without quotation marks, if the record has any; the spans then lie in it.
    unquoted: Vec<u8>,
    quoted: bool,
}

/// What stands at the beginning of some bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scan {
    /// A record of `length` bytes; the next begins at `next`.
    Record { length: usize, next: usize, lines: u64 },
    /// A first line whose quotation marks are not in order.
    BadQuote { length: usize, next: usize },
    /// The record goes on after these bytes.
    More,
}

impl Default for Cells {
    fn default() -> Cells {
        Cells::separated(b',')
    }
}

impl Cells {
    /// Of records whose cells stand apart by an ASCII sign.
    pub fn separated(separator: u8) -> Cells {
        Cells { separator, spans: Vec::new(), unquoted: Vec::new(), quoted: false }
    }

    /// Empties it, for cells that are made one by one with [`Cells::text`] and [`Cells::close`].
    pub fn begin(&mut self) {
        self.spans.clear();
        self.unquoted.clear();
        self.quoted = true;
    }

    /// The text of the cell that is being made.
    #[inline]
    pub fn text(&mut self) -> &mut Vec<u8> {
        &mut self.unquoted
    }

    /// Ends the cell that is being made.
    #[inline]
    pub fn close(&mut self) {
        let from = self.spans.last().map_or(0, |&(_, to)| to);
        self.spans.push((from, self.unquoted.len() as u32));
    }

    /// How many.
    pub fn count(&self) -> usize {
        self.spans.len()
    }

    /// One cell of a record whose text is `record`, without its quotation marks.
    #[inline]
    pub fn of<'a>(&'a self, record: &'a [u8], index: usize) -> &'a [u8] {
        let bytes = if self.quoted { &self.unquoted } else { record };
        match self.spans.get(index) {
            Some(&(from, to)) => &bytes[from as usize..to as usize],
            None => &[],
        }
    }

    /// Finds the record that begins at `bytes[0]`. `last`: nothing follows `bytes`. `wanted`: cells a record has that
    /// spans lines.
    pub fn scan(&mut self, bytes: &[u8], last: bool, wanted: Option<usize>) -> Scan {
        self.spans.clear();
        self.quoted = false;
        let mut from = 0;
        let mut at = 0;
        let separator = self.separator;
        // Eight bytes at a time: a bit for each separator, line feed and quotation mark.
        while let Some(eight) = bytes[at..].first_chunk::<8>() {
            let word = u64::from_le_bytes(*eight);
            let mut marks = equal(word, separator) | equal(word, b'\n') | equal(word, b'"');
            while marks != 0 {
                let here = at + marks.trailing_zeros() as usize / 8;
                marks &= marks - 1;
                match bytes[here] {
                    byte if byte == separator => {
                        self.spans.push((from as u32, here as u32));
                        from = here + 1;
                    }
                    b'\n' => return self.end(bytes, from, here, here + 1),
                    _ if here == from => return self.scan_quoted(bytes, last, wanted),
                    _ => {}
                }
            }
            at += 8;
        }
        for here in at..bytes.len() {
            match bytes[here] {
                byte if byte == separator => {
                    self.spans.push((from as u32, here as u32));
                    from = here + 1;
                }
                b'\n' => return self.end(bytes, from, here, here + 1),
                b'"' if here == from => return self.scan_quoted(bytes, last, wanted),
                _ => {}
            }
        }
        if last { self.end(bytes, from, bytes.len(), bytes.len()) } else { Scan::More }
    }

    fn end(&mut self, bytes: &[u8], from: usize, to: usize, next: usize) -> Scan {
        let to = if from < to && bytes[to - 1] == b'\r' { to - 1 } else { to };
        self.spans.push((from as u32, to as u32));
        Scan::Record { length: to, next, lines: 1 }
    }

    /// The same for a record with quoted cells, byte by byte.
    fn scan_quoted(&mut self, bytes: &[u8], last: bool, wanted: Option<usize>) -> Scan {
        self.spans.clear();
        self.unquoted.clear();
        self.quoted = true;
        let separator = self.separator;
        let mut at = 0;
        let mut lines = 1;
        loop {
            let from = self.unquoted.len() as u32;
            if bytes.get(at) == Some(&b'"') {
                at += 1;
                loop {
                    match bytes.get(at) {
                        None if last => return first_line(bytes, last),
                        None => return Scan::More,
                        Some(b'"') if bytes.get(at + 1) == Some(&b'"') => {
                            self.unquoted.push(b'"');
                            at += 2;
                        }
                        Some(b'"') if at + 1 == bytes.len() && !last => return Scan::More,
                        Some(b'"') => {
                            at += 1;
                            break;
                        }
                        Some(&byte) => {
                            if byte == b'\n' {
                                lines += 1;
                                if MOST_LINES < lines {
                                    return first_line(bytes, last);
                                }
                            }
                            self.unquoted.push(byte);
                            at += 1;
                        }
                    }
                }
                while bytes.get(at) == Some(&b' ') {
                    at += 1;
                }
            } else {
                while let Some(&byte) = bytes.get(at).filter(|&&byte| byte != separator && byte != b'\n') {
                    self.unquoted.push(byte);
                    at += 1;
                }
                // A carriage return before the line's end belongs to the end.
                if bytes.get(at).is_none_or(|&byte| byte == b'\n')
                    && (from as usize) < self.unquoted.len()
                    && self.unquoted.last() == Some(&b'\r')
                {
                    self.unquoted.pop();
                    at -= 1;
                }
            }
            self.spans.push((from, self.unquoted.len() as u32));
            let (length, next) = match (bytes.get(at), bytes.get(at + 1)) {
                (Some(&byte), _) if byte == separator => {
                    at += 1;
                    continue;
                }
                (Some(b'\n'), _) => (at, at + 1),
                (Some(b'\r'), Some(b'\n')) => (at, at + 2),
                (None, _) if last => (at, at),
                (Some(b'\r'), None) if last => (at, at + 1),
                (None, _) | (Some(b'\r'), None) => return Scan::More,
                _ => return first_line(bytes, last),
            };
            if 1 < lines && wanted.is_some_and(|wanted| wanted != self.count()) {
                return first_line(bytes, last);
            }
            return Scan::Record { length, next, lines };
        }
    }
}

/// Only the first line, for one whose quotation marks are not in order.
fn first_line(bytes: &[u8], last: bool) -> Scan {
    let (length, next) = match bytes.iter().position(|&byte| byte == b'\n') {
        Some(end) => (end, end + 1),
        None if last => (bytes.len(), bytes.len()),
        None => return Scan::More,
    };
    let length = if 0 < length && bytes[length - 1] == b'\r' { length - 1 } else { length };
    Scan::BadQuote { length, next }
}

/// The high bit of each byte of `word` that equals `byte`.
#[inline]
fn equal(word: u64, byte: u8) -> u64 {
    const LOW: u64 = 0x7F7F_7F7F_7F7F_7F7F;
    let differs = word ^ u64::from_ne_bytes([byte; 8]);
    !(((differs & LOW) + LOW) | differs | LOW)
}

/// What came next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Found {
    /// A record.
    Record,
    /// A line whose quotation marks are not in order; its cells are not known.
    BadQuote,
    /// A line over the limit, of so many bytes; only its beginning is known.
    TooLong(u64),
    /// Nothing more.
    End,
}

/// Records of a stream; memory is bounded by the longest line allowed.
pub(crate) struct Records<R> {
    source: R,
    buffer: Vec<u8>,
    /// The unread part of `buffer`.
    from: usize,
    to: usize,
    ended: bool,
    longest: usize,
    next_line: u64,
    /// Of the record found last: its line, its place in `buffer`, its cells.
    line: u64,
    text: (usize, usize),
    long_head: Vec<u8>,
    pub cells: Cells,
}

impl<R: Read> Records<R> {
    pub fn new(source: R, longest_line: usize) -> Records<R> {
        Records::separated(source, longest_line, b',')
    }

    /// The same with another sign between the cells.
    pub fn separated(source: R, longest_line: usize, separator: u8) -> Records<R> {
        Records {
            source,
            buffer: Vec::new(),
            from: 0,
            to: 0,
            ended: false,
            // Places of cells are 32 bits wide.
            longest: longest_line.clamp(HEAD, 1 << 30),
            next_line: 1,
            line: 0,
            text: (0, 0),
            long_head: Vec::new(),
            cells: Cells::separated(separator),
        }
    }

    /// Line of the record found last, from 1.
    pub fn line(&self) -> u64 {
        self.line
    }

    /// Text of the record found last, without its line end; of a line too long its beginning.
    pub fn text(&self) -> &[u8] {
        if self.long_head.is_empty() { &self.buffer[self.text.0..self.text.1] } else { &self.long_head }
    }

    /// Whether the record found last ends with the stream, not with a line end.
    pub fn is_cut(&self) -> bool {
        self.ended && self.from == self.to && self.buffer[..self.to].last() != Some(&b'\n')
    }

    /// The next record. `wanted` as in [`Cells::scan`].
    ///
    /// # Errors
    /// The source's.
    pub fn next(&mut self, wanted: Option<usize>) -> io::Result<Found> {
        self.long_head.clear();
        self.line = self.next_line;
        loop {
            if self.from == self.to {
                if self.ended {
                    self.text = (self.from, self.from);
                    return Ok(Found::End);
                }
                self.fill()?;
                continue;
            }
            let bytes = &self.buffer[self.from..self.to];
            let mut scan = self.cells.scan(bytes, self.ended, wanted);
            let over_many_lines =
                matches!(scan, Scan::Record { length, lines, .. } if 1 < lines && self.longest < length);
            if over_many_lines || (scan == Scan::More && self.longest < bytes.len()) {
                // Either one line that is too long, or a quotation mark left open over many.
                scan = first_line(bytes, self.ended);
            }
            match scan {
                Scan::Record { length, next, .. } if self.longest < length => {
                    return Ok(self.too_long(length as u64, next));
                }
                Scan::Record { length, next, lines } => {
                    self.take(length, next, lines);
                    return Ok(Found::Record);
                }
                Scan::BadQuote { length, next } if self.longest < length => {
                    return Ok(self.too_long(length as u64, next));
                }
                Scan::BadQuote { length, next } => {
                    self.take(length, next, 1);
                    return Ok(Found::BadQuote);
                }
                Scan::More if self.longest < bytes.len() => return self.skip_line(),
                Scan::More => self.fill()?,
            }
        }
    }

    fn take(&mut self, length: usize, next: usize, lines: u64) {
        self.text = (self.from, self.from + length);
        self.from += next;
        self.next_line += lines;
    }

    fn too_long(&mut self, length: u64, next: usize) -> Found {
        let head = self.to.min(self.from + HEAD);
        self.long_head.extend_from_slice(&self.buffer[self.from..head]);
        self.from += next;
        self.next_line += 1;
        Found::TooLong(length)
    }

    /// Drops the rest of a line that does not end in the buffer.
    fn skip_line(&mut self) -> io::Result<Found> {
        let head = self.to.min(self.from + HEAD);
        self.long_head.extend_from_slice(&self.buffer[self.from..head]);
        let mut length = 0;
        loop {
            let bytes = &self.buffer[self.from..self.to];
            if let Some(end) = bytes.iter().position(|&byte| byte == b'\n') {
                self.from += end + 1;
                length += end as u64;
                break;
            }
            length += bytes.len() as u64;
            self.from = self.to;
            if self.ended {
                break;
            }
            self.fill()?;
        }
        self.next_line += 1;
        Ok(Found::TooLong(length))
    }

    /// More bytes behind the unread ones, which move to the front.
    fn fill(&mut self) -> io::Result<()> {
        self.buffer.copy_within(self.from..self.to, 0);
        self.to -= self.from;
        self.from = 0;
        if self.buffer.len() < self.to + BLOCK {
            self.buffer.resize(self.to + BLOCK, 0);
        }
        loop {
            match self.source.read(&mut self.buffer[self.to..]) {
                Ok(0) => self.ended = true,
                Ok(read) => self.to += read,
                Err(why) if why.kind() == io::ErrorKind::Interrupted => continue,
                Err(why) => return Err(why),
            }
            return Ok(());
        }
    }
}
