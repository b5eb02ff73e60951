//! Windows-1252 (and so Latin-1), as older programs save it, into UTF-8, a block at a time.

use std::io::{self, Read};

/// Bytes taken from the source at a time.
const BLOCK: usize = 64 << 10;

/// Letters of the bytes 0x80 to 0x9F; the five that mean nothing stay what they are in Latin-1.
const HIGH: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8D}', 'Ž', '\u{8F}', '\u{90}',
    '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9D}', 'ž', 'Ÿ',
];

/// The letter of a byte.
pub(crate) fn letter(byte: u8) -> char {
    match byte {
        0x80..=0x9F => HIGH[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

/// Reads Windows-1252 and gives UTF-8.
pub(crate) struct Windows1252<R> {
    source: R,
    block: Vec<u8>,
    out: Vec<u8>,
    given: usize,
    ended: bool,
}

impl<R: Read> Windows1252<R> {
    pub fn new(source: R) -> Windows1252<R> {
        Windows1252 { source, block: vec![0; BLOCK], out: Vec::new(), given: 0, ended: false }
    }
}

impl<R: Read> Read for Windows1252<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.given == self.out.len() && !self.ended {
            let read = self.source.read(&mut self.block)?;
            self.ended = read == 0;
            self.out.clear();
            self.given = 0;
            for &byte in &self.block[..read] {
                if byte.is_ascii() {
                    self.out.push(byte);
                } else {
                    self.out.extend_from_slice(letter(byte).encode_utf8(&mut [0; 4]).as_bytes());
                }
            }
        }
        let left = &self.out[self.given..];
        let count = left.len().min(into.len());
        into[..count].copy_from_slice(&left[..count]);
        self.given += count;
        Ok(count)
    }
}
