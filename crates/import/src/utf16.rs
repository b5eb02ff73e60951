//! UTF-16, as some spreadsheets save it, into UTF-8, a block at a time.

use std::io::{self, Read};

/// Bytes taken from the source at a time.
const BLOCK: usize = 64 << 10;

/// Reads UTF-16 and gives UTF-8. A half pair, or half a unit at the end, becomes U+FFFD.
pub(crate) struct Utf16<R> {
    source: R,
    big_endian: bool,
    block: Vec<u8>,
    /// Bytes of `block` not decoded yet: at most one unit's first byte.
    kept: usize,
    high: Option<u16>,
    out: Vec<u8>,
    given: usize,
    ended: bool,
}

impl<R: Read> Utf16<R> {
    pub fn new(source: R, big_endian: bool) -> Utf16<R> {
        Utf16 {
            source,
            big_endian,
            block: vec![0; BLOCK],
            kept: 0,
            high: None,
            out: Vec::with_capacity(BLOCK * 3 / 2),
            given: 0,
            ended: false,
        }
    }

    fn decode_block(&mut self) -> io::Result<()> {
        self.out.clear();
        self.given = 0;
        let read = self.source.read(&mut self.block[self.kept..])?;
        let filled = self.kept + read;
        if read == 0 {
            self.ended = true;
            if self.high.take().is_some() || self.kept == 1 {
                self.push(char::REPLACEMENT_CHARACTER);
            }
            return Ok(());
        }
        for at in (0..filled - filled % 2).step_by(2) {
            let pair = [self.block[at], self.block[at + 1]];
            let unit = if self.big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) };
            self.unit(unit);
        }
        self.kept = filled % 2;
        if self.kept == 1 {
            self.block[0] = self.block[filled - 1];
        }
        Ok(())
    }

    fn unit(&mut self, unit: u16) {
        let is_high = (0xD800..0xDC00).contains(&unit);
        match (self.high.take(), is_high) {
            (None, true) => self.high = Some(unit),
            (None, false) => self.push_units(&[unit]),
            (Some(high), false) => self.push_units(&[high, unit]),
            (Some(_), true) => {
                self.push(char::REPLACEMENT_CHARACTER);
                self.high = Some(unit);
            }
        }
    }

    fn push_units(&mut self, units: &[u16]) {
        for decoded in char::decode_utf16(units.iter().copied()) {
            self.push(decoded.unwrap_or(char::REPLACEMENT_CHARACTER));
        }
    }

    fn push(&mut self, letter: char) {
        self.out.extend_from_slice(letter.encode_utf8(&mut [0; 4]).as_bytes());
    }
}

impl<R: Read> Read for Utf16<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.given == self.out.len() && !self.ended {
            self.decode_block()?;
        }
        let left = &self.out[self.given..];
        let count = left.len().min(into.len());
        into[..count].copy_from_slice(&left[..count]);
        self.given += count;
        Ok(count)
    }
}
