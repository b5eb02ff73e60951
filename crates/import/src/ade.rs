//! The open exchange standard: JSON of ICAR Animal Data Exchange, read resource by resource.
//!
//! A file is one resource, a page of them (`{"view": …, "member": […]}`), a list, or one a line; plain, gzip or zstd.
//! Each resource leaves as a [`Document`]: rows of our tables, with the name it bears at its source; or as an issue of
//! kind [`IssueKind::RowRefused`]. What concerns many resources is said once, at the end. A file may hold several tables.
//!
//! Lines are places here: the third resource of a file is its line 3, however the text is broken.
//!
//! Read in this order: `source` (bytes to values), `members` (where the resources stand), `tree` and `quick` (one value), `kinds`,
//! `take` (one property), `visit`, `events`, `health`, `feed`, `herd` (resources to rows), `notes`.
//!
//! # What it cannot say
//! [`CANNOT_SAY`]: unknown in every row that comes this way, and not zero.
//! # Source
//! The schemas in `schemas/` (their `NOTICE-CHANGES.md` says which).

mod characteristics;
mod events;
mod feed;
mod health;
mod herd;
mod kinds;
mod members;
mod notes;
mod one;
mod quick;
mod source;
mod take;
mod tree;
mod visit;

use std::io::{self, Read};
use std::path::Path;

use cowpath_core::tables::{Cell, Table, table};
use jiff::Timestamp;

pub use feed::Meal;
pub use herd::Herd;

use crate::issue::{Issue, IssueKind, as_text};
use crate::{Progress, ReadError, Reading, Unreadable, stream};
use members::{Broken, Member, Members};
use notes::Notes;
use source::{Limits, Taken};

/// What the standard has no word for in `visits`: visits that were turned away or for feed only, milk to the tank, a cup
/// that was kicked off, the flow at take-off, and when she went in.
pub const CANNOT_SAY: &str = "turned-away fed-only tank kicked take-off entry";

/// Brackets within brackets; resources of the standard have fewer than ten.
const DEEPEST: u64 = 64;

/// Resources between two words of progress.
const RESOURCES_A_WORD: u64 = 2048;

/// How a resource is known at its source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The source; of a resource without one, its kind and location.
    pub source: String,
    /// Its name there.
    pub id: String,
    /// When it was last changed there, if it says so.
    pub modified: Option<Timestamp>,
    /// It was deleted there.
    pub deleted: bool,
}

/// A resource as rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// Its place in the file, from 1.
    pub line: u64,
    /// Its name at its source, if it bears one.
    pub origin: Option<Origin>,
    /// Its rows: the table's name, cells in its order. Of a deleted one, none.
    pub rows: Vec<(&'static str, Vec<Cell>)>,
    /// Another number under which rows of the same cow stand: they were read before it was known who she is.
    pub formerly: Option<String>,
    /// The table it is counted in.
    pub table: &'static str,
    /// Feed that belongs to a visit, in the place of rows.
    pub meal: Option<Meal>,
    /// Its text, where it is a meal: whether it can be used is not known before all visits are.
    pub raw: String,
}

/// Where documents and issues go. An error of it ends the reading.
pub trait Documents {
    /// What can go wrong with keeping a document.
    type Error;

    /// A good resource.
    fn document(&mut self, document: Document) -> Result<(), Self::Error>;

    /// Something to know; those of kind [`IssueKind::RowRefused`] with the table the resource would have been of.
    fn issue(&mut self, table: &'static Table, issue: Issue) -> Result<(), Self::Error>;

    /// An identifier of a cow and the herd number it stands for: those that the file tells of before the first resource,
    /// those that stand for themselves after the last.
    fn alias(&mut self, scheme: &str, id: &str, number: &str) -> Result<(), Self::Error>;
}

/// What a file held: `resources` = documents handed on + refused + passed over (kinds that are not read).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Every resource.
    pub resources: u64,
    /// Handed on as documents.
    pub handed_on: u64,
    /// Left as an issue of kind [`IssueKind::RowRefused`].
    pub refused: u64,
    /// Of kinds that are not read, or not cattle, not milk, not of a box; named in a note.
    pub passed_over: u64,
}

/// Whether a file is JSON, by its first character that is no blank: a plain table's header has none of these.
///
/// # Errors
/// When it cannot be read.
pub fn is_json(path: &Path, reading: &Reading) -> Result<bool, Unreadable> {
    let (file, _) = crate::open(path)?;
    let text = stream::open(file, reading.most_unpacked_bytes, stream::Encoding::default())?;
    let form = text.form;
    let mut source = source::Source::new(text.bytes);
    let first = source.peek_word().map_err(|why| stream::trouble_of(why, form))?;
    Ok(matches!(first, Some(b'{' | b'[')))
}

/// Reads a file.
///
/// # Errors
/// [`ReadError::File`] where the file as a whole cannot be read, [`ReadError::Sink`] where the sink gave up. Documents
/// already handed on are then not to be kept.
pub fn read_file<S: Documents>(
    path: &Path,
    reading: &Reading,
    herd: Herd,
    sink: &mut S,
    progress: &mut dyn FnMut(Progress),
) -> Result<Counts, ReadError<S::Error>> {
    let (_, bytes) = crate::open(path)?;
    let open = || crate::open(path).map(|(file, _)| Box::new(file) as Box<dyn Read>);
    read(&open, Some(bytes), reading, herd, sink, progress)
}

/// Reads what is already in memory, as [`read_file`] reads a file.
///
/// # Errors
/// As [`read_file`].
pub fn read_bytes<S: Documents>(
    bytes: &[u8],
    reading: &Reading,
    herd: Herd,
    sink: &mut S,
) -> Result<Counts, ReadError<S::Error>> {
    let open = || Ok(Box::new(bytes) as Box<dyn Read + '_>);
    read(&open, Some(bytes.len() as u64), reading, herd, sink, &mut |_| {})
}

type Open<'a> = dyn Fn() -> Result<Box<dyn Read + 'a>, Unreadable> + 'a;

fn read<'a, S: Documents>(
    open: &Open<'a>,
    of_bytes: Option<u64>,
    reading: &Reading,
    mut herd: Herd,
    sink: &mut S,
    progress: &mut dyn FnMut(Progress),
) -> Result<Counts, ReadError<S::Error>> {
    let limits = Limits { longest: reading.longest_line, deepest: DEEPEST };
    if tells_who(open()?, reading)? {
        learn(open()?, reading, limits, &mut herd)?;
    }
    for (scheme, id, number) in herd.learned() {
        sink.alias(scheme, id, number).map_err(ReadError::Sink)?;
    }
    let text = stream::open(open()?, reading.most_unpacked_bytes, stream::Encoding::default())?;
    let (form, taken) = (text.form, text.taken);
    let mut members = Members::new(text.bytes, limits);
    let mut desk = one::Reader {
        desk: take::Desk { zone: reading.zone.clone(), now: reading.now },
        herd: &herd,
        notes: Notes::default(),
        seen: herd::Seen::default(),
        any_kind: false,
        room: String::new(),
    };
    let mut counts = Counts::default();
    let (mut cut, mut told_cut) = (false, false);
    loop {
        let member = members.next().map_err(|broken| unreadable(broken, form))?;
        let refused = match member {
            Member::End => break,
            Member::Around(text) => {
                if let Some((current, total, next)) = members::view(&text) {
                    desk.notes.page(current, total, next);
                }
                continue;
            }
            Member::CutShort => {
                (cut, told_cut) = (true, true);
                continue;
            }
            Member::Value(line, taken) => {
                cut |= taken == Taken::Cut;
                counts.resources += 1;
                match of_text(&mut desk, counts.resources, line, taken, &members.room, reading) {
                    one::Outcome::Document(document) => {
                        counts.handed_on += 1;
                        sink.document(*document).map_err(ReadError::Sink)?;
                        None
                    }
                    one::Outcome::PassedOver => {
                        counts.passed_over += 1;
                        None
                    }
                    one::Outcome::Page => {
                        counts.resources -= 1;
                        None
                    }
                    one::Outcome::Refused(table, refused) => Some((table, refused)),
                }
            }
        };
        if let Some((table, refused)) = refused {
            counts.refused += 1;
            let issue = Issue {
                line: Some(counts.resources),
                column: (!refused.property.is_empty()).then_some(refused.property),
                value: (!refused.value.is_empty()).then_some(refused.value),
                reason: refused.wrong.reason,
                remedy: refused.wrong.remedy,
                kind: IssueKind::RowRefused,
                raw: Some(as_text(&members.room)),
            };
            sink.issue(table, issue).map_err(ReadError::Sink)?;
        }
        if counts.resources.is_multiple_of(RESOURCES_A_WORD) {
            progress(Progress { rows: counts.resources, bytes: taken.get(), of_bytes });
        }
    }
    if 0 < counts.resources && !desk.any_kind && counts.handed_on == 0 && !cut {
        return Err(Unreadable::NotExchange.into());
    }
    for (scheme, ids) in &desk.seen {
        for id in ids {
            sink.alias(scheme, id, id).map_err(ReadError::Sink)?;
        }
    }
    let mut issues = desk.notes.issues();
    if told_cut {
        let (reason, remedy) = CUT;
        issues.insert(0, Issue { reason: reason.into(), remedy: remedy.into(), ..blank_note() });
    }
    if counts.resources == 0 {
        let (reason, remedy) = ("it holds no resource", "nothing, if it is so meant");
        issues.insert(0, Issue { reason: reason.into(), remedy: remedy.into(), ..blank_note() });
    }
    for issue in issues {
        sink.issue(events_table(), issue).map_err(ReadError::Sink)?;
    }
    progress(Progress { rows: counts.resources, bytes: taken.get(), of_bytes });
    Ok(counts)
}

const CUT: (&str, &str) = (
    "the file ends before its last bracket: it was cut short",
    "what stands before the end was read; export or copy the file again, whole, and read it again",
);

fn blank_note() -> Issue {
    Issue {
        line: None,
        column: None,
        value: None,
        reason: String::new(),
        remedy: String::new(),
        kind: IssueKind::Note,
        raw: None,
    }
}

/// The table of what belongs to none: events are what the standard mostly holds.
fn events_table() -> &'static Table {
    table("events").unwrap_or(cowpath_core::tables::TABLES[0])
}

fn of_text(
    desk: &mut one::Reader<'_>,
    place: u64,
    line: u64,
    taken: Taken,
    text: &[u8],
    reading: &Reading,
) -> one::Outcome {
    match taken {
        Taken::Whole => desk.resource(place, line, text),
        other => one::Outcome::Refused(events_table(), one::not_whole(other, line, reading.longest_line)),
    }
}

/// Whether anything in the file tells of a second identifier; most files do not, and need no second look.
fn tells_who(read: Box<dyn Read + '_>, reading: &Reading) -> Result<bool, Unreadable> {
    const WORDS: [&[u8]; 2] = [b"alternativeIdentifiers", b"managementTag"];
    let mut text = stream::open(read, reading.most_unpacked_bytes, stream::Encoding::default())?;
    let finders = WORDS.map(memchr::memmem::Finder::new);
    // The end of one block is looked at again before the next.
    let longest = 32;
    let mut block = vec![0; 256 * 1024];
    let mut kept = 0;
    loop {
        let filled = match text.bytes.read(&mut block[kept..]) {
            Ok(0) => return Ok(false),
            Ok(read) => kept + read,
            Err(why) if why.kind() == io::ErrorKind::Interrupted => continue,
            Err(why) => return Err(stream::trouble_of(why, text.form)),
        };
        if finders.iter().any(|finder| finder.find(&block[..filled]).is_some()) {
            return Ok(true);
        }
        let from = filled.saturating_sub(longest);
        block.copy_within(from..filled, 0);
        kept = filled - from;
    }
}

fn learn(
    read: Box<dyn Read + '_>,
    reading: &Reading,
    limits: Limits,
    herd: &mut Herd,
) -> Result<(), Unreadable> {
    let text = stream::open(read, reading.most_unpacked_bytes, stream::Encoding::default())?;
    let form = text.form;
    let mut members = Members::new(text.bytes, limits);
    loop {
        match members.next().map_err(|broken| unreadable(broken, form))? {
            Member::End => return Ok(()),
            Member::Value(_, Taken::Whole) => {
                if let Ok(node) = tree::parse(&members.room) {
                    herd.learn(&node);
                }
            }
            _ => {}
        }
    }
}

fn unreadable(broken: Broken, form: Option<&'static str>) -> Unreadable {
    match broken {
        Broken::Io(why) => stream::trouble_of(why, form),
        Broken::Form(line, found) => Unreadable::NotJson { line, found },
    }
}
