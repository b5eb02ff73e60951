//! One value of plain JSON, quickly: without escapes, exponents or more digits than a double holds for certain.
//!
//! Whatever is not so plain, or not JSON at all, is left to the parser proper, which also says what is wrong: so this one
//! may refuse anything, and must read nothing otherwise than that one does.

use std::borrow::Cow;

use super::tree::{FEW, Node, Property};
use crate::figure::figure;

/// Brackets within brackets; deeper ones are left to the parser proper.
const DEEPEST: u32 = 64;

/// Bytes of a figure that is read here.
const LONGEST_FIGURE: usize = 15;

/// Parses one value; `None` where it is not plain.
pub(crate) fn parse(text: &str) -> Option<Node<'_>> {
    let mut own = Quick { text, bytes: text.as_bytes(), at: 0 };
    let node = own.value(DEEPEST)?;
    own.blanks();
    (own.at == own.bytes.len()).then_some(node)
}

struct Quick<'a> {
    text: &'a str,
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Quick<'a> {
    #[inline]
    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    #[inline]
    fn blanks(&mut self) {
        while let Some(b' ' | b'\t' | b'\r' | b'\n') = self.peek() {
            self.at += 1;
        }
    }

    /// Passes blanks and a mark, if it is the next.
    #[inline]
    fn mark(&mut self, mark: u8) -> bool {
        self.blanks();
        let found = self.peek() == Some(mark);
        self.at += usize::from(found);
        found
    }

    fn value(&mut self, left: u32) -> Option<Node<'a>> {
        self.blanks();
        match self.peek()? {
            b'"' => self.string().map(|text| Node::Text(Cow::Borrowed(text))),
            b'{' => self.object(left.checked_sub(1)?),
            b'[' => self.list(left.checked_sub(1)?),
            b't' => self.word("true", Node::Truth(true)),
            b'f' => self.word("false", Node::Truth(false)),
            b'n' => self.word("null", Node::Null),
            _ => self.number(),
        }
    }

    fn word(&mut self, word: &str, node: Node<'a>) -> Option<Node<'a>> {
        let found = self.bytes[self.at..].starts_with(word.as_bytes());
        self.at += word.len();
        found.then_some(node)
    }

    fn string(&mut self) -> Option<&'a str> {
        if self.peek() != Some(b'"') {
            return None;
        }
        let from = self.at + 1;
        let length =
            self.bytes[from..].iter().position(|&byte| byte == b'"' || byte == b'\\' || byte < b' ')?;
        let until = from + length;
        if self.bytes[until] != b'"' {
            return None;
        }
        self.at = until + 1;
        self.text.get(from..until)
    }

    fn number(&mut self) -> Option<Node<'a>> {
        let rest = &self.bytes[self.at..];
        let length = rest
            .iter()
            .position(|byte| !(byte.is_ascii_digit() || matches!(byte, b'-' | b'.')))
            .unwrap_or(rest.len());
        let text = &rest[..length];
        let digits = text.strip_prefix(b"-").unwrap_or(text);
        // JSON wants a digit at either end, and no zero before another digit.
        let formed = length <= LONGEST_FIGURE
            && !digits.contains(&b'-')
            && digits.first().is_some_and(u8::is_ascii_digit)
            && digits.last().is_some_and(u8::is_ascii_digit)
            && !(1 < digits.len() && digits[0] == b'0' && digits[1] != b'.');
        if !formed || matches!(rest.get(length), Some(b'e' | b'E' | b'+')) {
            return None;
        }
        self.at += length;
        figure(text).ok().map(Node::Number)
    }

    fn list(&mut self, left: u32) -> Option<Node<'a>> {
        self.at += 1;
        let mut values = Vec::new();
        if self.mark(b']') {
            return Some(Node::List(values));
        }
        loop {
            values.push(self.value(left)?);
            if !self.mark(b',') {
                return self.mark(b']').then_some(Node::List(values));
            }
        }
    }

    fn object(&mut self, left: u32) -> Option<Node<'a>> {
        self.at += 1;
        let mut properties: Vec<Property<'a>> = Vec::with_capacity(4);
        if self.mark(b'}') {
            return Some(Node::Object(properties));
        }
        loop {
            self.blanks();
            let name = self.string()?;
            // One with very many, or one named twice, is left to the parser proper.
            if properties.len() == FEW || properties.iter().any(|own| own.name == name) || !self.mark(b':') {
                return None;
            }
            let value = self.value(left)?;
            properties.push(Property::new(Cow::Borrowed(name), value));
            if !self.mark(b',') {
                return self.mark(b'}').then_some(Node::Object(properties));
            }
        }
    }
}

#[cfg(test)]
mod tests;
