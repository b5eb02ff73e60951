//! The resources of a file, one by one: of a page, a list, one a line, or one alone.

use std::io::{self, Read};

use super::source::{Limits, Source, Taken};
use super::tree::{self, Node};

/// What comes out of a file.
pub(crate) enum Member {
    /// A value, in the room; its line.
    Value(u64, Taken),
    /// The file ended before its last bracket.
    CutShort,
    /// What stands beside the resources of a page, as text: where it is in a row of pages.
    Around(Vec<u8>),
    /// The end.
    End,
}

/// Why the file as a whole is not JSON: its line, and what stands there.
#[derive(Debug)]
pub(crate) enum Broken {
    /// It could not be read.
    Io(io::Error),
    /// Line, and what was found where what was expected.
    Form(u64, String),
}

impl From<io::Error> for Broken {
    fn from(why: io::Error) -> Broken {
        Broken::Io(why)
    }
}

/// Where in the file's form the reading is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    /// Between values of the file.
    Top,
    /// In a list that is the file, or a line of it.
    List,
    /// In the `member` of a page.
    Page,
    /// After a value of a list, before a comma or the end.
    AfterList,
    /// The same in a page.
    AfterPage,
    /// In a page, past its resources.
    Rest,
}

/// Reads members; the text of each is in `room`.
pub(crate) struct Members<'a> {
    source: Source<'a>,
    limits: Limits,
    place: Place,
    /// Values of the file so far that were no list and no page.
    alone: u64,
    around: Vec<u8>,
    around_ready: bool,
    /// Text of the member at hand.
    pub room: Vec<u8>,
}

impl<'a> Members<'a> {
    pub fn new(read: Box<dyn Read + 'a>, limits: Limits) -> Members<'a> {
        Members {
            source: Source::new(read),
            limits,
            place: Place::Top,
            alone: 0,
            around: Vec::new(),
            around_ready: false,
            room: Vec::new(),
        }
    }

    /// The next member.
    ///
    /// # Errors
    /// Where what stands between members is not JSON.
    pub fn next(&mut self) -> Result<Member, Broken> {
        loop {
            if std::mem::take(&mut self.around_ready) {
                return Ok(Member::Around(std::mem::take(&mut self.around)));
            }
            match self.place {
                Place::Top => match self.source.peek_word()? {
                    None => return Ok(Member::End),
                    Some(b'[') => {
                        self.source.pass();
                        self.place = Place::List;
                    }
                    Some(b'{') if self.alone == 0 => {
                        if let Some(member) = self.object()? {
                            return Ok(member);
                        }
                    }
                    Some(b'{') => return self.line(),
                    Some(other) => return Err(self.unexpected(other, "a resource")),
                },
                Place::List | Place::Page => {
                    let in_page = self.place == Place::Page;
                    match self.source.peek_word()? {
                        None => return Ok(self.cut()),
                        Some(b']') => self.close(in_page),
                        Some(b',' | b'}' | b':') => {
                            let found = self.source.peek()?.unwrap_or(b' ');
                            return Err(self.unexpected(found, "a resource"));
                        }
                        Some(_) => {
                            let line = self.source.line;
                            let taken = self.source.value(&mut self.room, &self.limits, false)?;
                            self.place = if in_page { Place::AfterPage } else { Place::AfterList };
                            return Ok(Member::Value(line, taken));
                        }
                    }
                }
                Place::AfterList | Place::AfterPage => {
                    let in_page = self.place == Place::AfterPage;
                    match self.source.peek_word()? {
                        None => return Ok(self.cut()),
                        Some(b',') => {
                            self.source.pass();
                            self.place = if in_page { Place::Page } else { Place::List };
                        }
                        Some(b']') => self.close(in_page),
                        Some(other) => return Err(self.unexpected(other, "a comma or a closing bracket")),
                    }
                }
                Place::Rest => {
                    if let Some(member) = self.properties(false)? {
                        return Ok(member);
                    }
                }
            }
        }
    }

    fn close(&mut self, in_page: bool) {
        self.source.pass();
        self.place = if in_page { Place::Rest } else { Place::Top };
        if in_page {
            self.around.extend_from_slice(b"[]");
        }
    }

    fn cut(&mut self) -> Member {
        self.place = Place::Top;
        Member::CutShort
    }

    /// An object that is the file: a page, whose resources are handed on one by one, or a resource.
    fn object(&mut self) -> Result<Option<Member>, Broken> {
        self.source.pass();
        self.around.clear();
        self.around.push(b'{');
        self.properties(true)
    }

    /// Properties of the object that is the file, up to its end or to the resources of a page.
    fn properties(&mut self, may_be_page: bool) -> Result<Option<Member>, Broken> {
        let line = self.source.line;
        let cut = |own: &mut Members<'a>| {
            if !may_be_page {
                return own.cut();
            }
            own.alone += 1;
            own.place = Place::Top;
            std::mem::swap(&mut own.room, &mut own.around);
            Member::Value(line, Taken::Cut)
        };
        let mut is_resource = false;
        let mut text = Vec::new();
        loop {
            match self.source.peek_word()? {
                None => return Ok(Some(cut(self))),
                Some(b'}') => {
                    self.source.pass();
                    self.around.push(b'}');
                    self.place = Place::Top;
                    if !may_be_page {
                        self.around_ready = true;
                        return Ok(None);
                    }
                    self.alone += 1;
                    std::mem::swap(&mut self.room, &mut self.around);
                    return Ok(Some(Member::Value(line, Taken::Whole)));
                }
                Some(mark @ (b',' | b':')) => {
                    self.source.pass();
                    self.around.push(mark);
                    continue;
                }
                Some(b']') => return Err(self.unexpected(b']', "a property or a closing brace")),
                Some(_) => {}
            }
            let left = Limits {
                longest: self.limits.longest.saturating_sub(self.around.len()),
                deepest: self.limits.deepest.saturating_sub(1),
            };
            let is_member = may_be_page && !is_resource && text.as_slice() == b"\"member\"";
            if is_member && self.source.peek()? == Some(b'[') {
                self.source.pass();
                self.place = Place::Page;
                return Ok(None);
            }
            let taken = self.source.value(&mut text, &left, false)?;
            self.around.extend_from_slice(&text);
            is_resource |= text.as_slice() == b"\"resourceType\"";
            match taken {
                Taken::Whole => {}
                Taken::Cut | Taken::BrokenLine => return Ok(Some(cut(self))),
                Taken::TooLong(_) | Taken::TooDeep(_) => return self.pass_object(line, taken, may_be_page),
            }
        }
    }

    /// The rest of an object that is the file and cannot be held.
    fn pass_object(&mut self, line: u64, taken: Taken, may_be_page: bool) -> Result<Option<Member>, Broken> {
        let mut text = Vec::new();
        let none = Limits { longest: 0, deepest: u64::MAX };
        loop {
            match self.source.peek_word()? {
                None => break,
                Some(b'}' | b']') => {
                    self.source.pass();
                    break;
                }
                Some(b',' | b':') => self.source.pass(),
                Some(_) => {
                    self.source.value(&mut text, &none, false)?;
                }
            }
        }
        self.place = Place::Top;
        if !may_be_page {
            return Ok(None);
        }
        self.alone += 1;
        std::mem::swap(&mut self.room, &mut self.around);
        Ok(Some(Member::Value(line, taken)))
    }

    /// A further object of the file: one a line, as a rule. A line that breaks off spoils no other.
    fn line(&mut self) -> Result<Member, Broken> {
        let line = self.source.line;
        let taken = self.source.value(&mut self.room, &self.limits, true)?;
        self.alone += 1;
        if taken == Taken::Whole && self.source.peek()?.is_some_and(|byte| !byte.is_ascii_whitespace()) {
            // What follows on the same line belongs to it, whatever it is.
            let mut rest = self.limits.longest.saturating_sub(self.room.len());
            while let Some(byte) = self.source.peek()?.filter(|byte| *byte != b'\n') {
                if 0 < rest {
                    self.room.push(byte);
                    rest -= 1;
                }
                self.source.pass();
            }
        }
        Ok(Member::Value(line, taken))
    }

    fn unexpected(&self, found: u8, wanted: &str) -> Broken {
        let found = if found.is_ascii_graphic() {
            format!("`{}`", char::from(found))
        } else {
            format!("byte {found}")
        };
        Broken::Form(self.source.line, format!("{found} stands where {wanted} should"))
    }
}

/// Where a page is in a row of pages: this one, of how many, and whether a next one is named.
pub(crate) fn view(around: &[u8]) -> Option<(Option<u64>, Option<u64>, bool)> {
    let node = tree::parse(around).ok()?;
    let view = node.get("view")?;
    let whole = |name: &str| match view.get(name) {
        Some(Node::Number(figure)) if 0.0 <= *figure && *figure < 1e15 => Some(*figure as u64),
        _ => None,
    };
    Some((whole("currentPage"), whole("totalPages"), view.get("next").is_some()))
}
