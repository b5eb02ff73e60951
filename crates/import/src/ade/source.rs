//! JSON as bytes: one value after the other out of a stream, as text, without holding more than the value.
//!
//! Only brackets, quotation marks and line ends are looked at here; whether a value is good JSON is told when it is
//! parsed ([`super::tree`]). Nothing here calls itself, so no depth of nesting can exhaust the stack.

use std::io::{self, Read};

/// Bytes read at once.
const BLOCK: usize = 64 * 1024;

/// What became of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Taken {
    /// Its whole text is in the room.
    Whole,
    /// The stream ended within it.
    Cut,
    /// It has more bytes than allowed; only its beginning is in the room, all of it was passed.
    TooLong(u64),
    /// Within it brackets are opened this deep; only its beginning is in the room.
    TooDeep(u64),
    /// A line ended within it, where each line is a value.
    BrokenLine,
}

/// Bytes that mean something within a text, and between texts once a bracket is open.
const IN_TEXT: u8 = 1;
const BETWEEN: u8 = 2;

const MARKS: [u8; 256] = {
    let mut marks = [0; 256];
    marks[b'"' as usize] = IN_TEXT | BETWEEN;
    marks[b'\n' as usize] = IN_TEXT | BETWEEN;
    marks[b'\\' as usize] = IN_TEXT;
    marks[b'{' as usize] = BETWEEN;
    marks[b'[' as usize] = BETWEEN;
    marks[b'}' as usize] = BETWEEN;
    marks[b']' as usize] = BETWEEN;
    marks
};

/// A stream with one block in hand.
pub(crate) struct Source<'a> {
    read: Box<dyn Read + 'a>,
    block: Vec<u8>,
    at: usize,
    filled: usize,
    /// Line of the next byte, from 1.
    pub line: u64,
}

impl<'a> Source<'a> {
    pub fn new(read: Box<dyn Read + 'a>) -> Source<'a> {
        Source { read, block: vec![0; BLOCK], at: 0, filled: 0, line: 1 }
    }

    /// The next byte, left where it is.
    pub fn peek(&mut self) -> io::Result<Option<u8>> {
        while self.at == self.filled {
            (self.at, self.filled) = (0, 0);
            self.filled = match self.read.read(&mut self.block) {
                Ok(0) => return Ok(None),
                Ok(filled) => filled,
                Err(why) if why.kind() == io::ErrorKind::Interrupted => 0,
                Err(why) => return Err(why),
            };
        }
        Ok(Some(self.block[self.at]))
    }

    /// Passes the byte that was peeked at.
    pub fn pass(&mut self) {
        if self.at < self.filled {
            self.line += u64::from(self.block[self.at] == b'\n');
            self.at += 1;
        }
    }

    /// The next byte that is no blank, left where it is.
    pub fn peek_word(&mut self) -> io::Result<Option<u8>> {
        loop {
            match self.peek()? {
                Some(b' ' | b'\t' | b'\r' | b'\n') => self.pass(),
                other => return Ok(other),
            }
        }
    }

    /// Takes the next value's text, which begins at the next byte. A value that is no string, list or object ends where a
    /// comma, bracket or blank stands. With `line_ends` a line end within it breaks it.
    pub fn value(&mut self, room: &mut Vec<u8>, limits: &Limits, line_ends: bool) -> io::Result<Taken> {
        room.clear();
        let mut bytes = 0_u64;
        let (mut depth, mut deepest) = (0_u64, 0_u64);
        let (mut in_text, mut escaped, mut begun) = (false, false, false);
        loop {
            if self.peek()?.is_none() {
                // A bare word may end with the file.
                let whole = depth == 0 && !in_text && begun;
                return Ok(if whole { verdict(bytes, deepest, limits) } else { Taken::Cut });
            }
            let block = &self.block[self.at..self.filled];
            let mut passed = block.len();
            let mut ended = false;
            let mut broken = false;
            let mut place = 0;
            while place < block.len() {
                if in_text && !escaped {
                    // Most of a file is text and names: on to what may end them.
                    let rest = &block[place..];
                    let marks = |byte: &u8| MARKS[usize::from(*byte)] & IN_TEXT != 0;
                    place += rest.iter().position(marks).unwrap_or(rest.len());
                } else if !in_text && 0 < depth {
                    let rest = &block[place..];
                    let marks = |byte: &u8| MARKS[usize::from(*byte)] & BETWEEN != 0;
                    place += rest.iter().position(marks).unwrap_or(rest.len());
                }
                let Some(&byte) = block.get(place) else { break };
                if in_text {
                    if escaped {
                        escaped = false;
                    } else if byte == b'\\' {
                        escaped = true;
                    } else if byte == b'"' {
                        in_text = false;
                        ended = depth == 0;
                    } else if byte == b'\n' {
                        broken = line_ends;
                    }
                } else {
                    match byte {
                        b'"' => {
                            in_text = true;
                            begun = true;
                        }
                        b'{' | b'[' => {
                            depth += 1;
                            deepest = deepest.max(depth);
                            begun = true;
                        }
                        b'}' | b']' if depth == 0 => {
                            passed = place;
                            ended = true;
                            break;
                        }
                        b'}' | b']' => {
                            depth -= 1;
                            ended = depth == 0;
                        }
                        b',' | b' ' | b'\t' | b'\r' | b'\n' if depth == 0 => {
                            passed = place;
                            ended = true;
                            break;
                        }
                        b'\n' => broken = line_ends,
                        _ => begun = true,
                    }
                }
                place += 1;
                if ended || broken {
                    passed = place;
                    break;
                }
            }
            let text = &block[..passed];
            self.line += memchr::memchr_iter(b'\n', text).count() as u64;
            bytes += passed as u64;
            if deepest <= limits.deepest {
                let left = limits.longest.saturating_sub(room.len());
                room.extend_from_slice(&text[..passed.min(left)]);
            } else {
                room.truncate(SHOWN_OF_DEEP);
                let left = SHOWN_OF_DEEP.saturating_sub(room.len());
                room.extend_from_slice(&text[..passed.min(left)]);
            }
            self.at += passed;
            if broken {
                return Ok(Taken::BrokenLine);
            }
            if ended {
                return Ok(verdict(bytes, deepest, limits));
            }
        }
    }
}

/// Bytes that are kept of a value that is nested too deeply.
const SHOWN_OF_DEEP: usize = 4096;

fn verdict(bytes: u64, deepest: u64, limits: &Limits) -> Taken {
    if limits.deepest < deepest {
        Taken::TooDeep(deepest)
    } else if (limits.longest as u64) < bytes {
        Taken::TooLong(bytes)
    } else {
        Taken::Whole
    }
}

/// What a value may be.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limits {
    /// Bytes.
    pub longest: usize,
    /// Brackets within brackets.
    pub deepest: u64,
}
