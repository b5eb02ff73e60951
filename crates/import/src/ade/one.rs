//! One resource from its text: a document, a refusal, or nothing that we read.

use cowpath_core::tables::{Cell, Table, table};

use super::events::{self, identifier};
use super::herd::{self, Herd};
use super::kinds::{self, Kind};
use super::notes::{Note, Notes};
use super::source::Taken;
use super::take::{Desk, Got, Refused, instant, refuse, text, truth};
use super::tree::{self, Node};
use super::{Document, Origin, events_table, feed, health, members, visit};
use crate::faults::MEND;
use crate::issue::{Wrong, as_text, shown};

/// What became of a resource.
pub(crate) enum Outcome {
    Document(Box<Document>),
    Refused(&'static Table, Refused),
    PassedOver,
    /// A page without resources.
    Page,
}

/// What the resources of a file are read with, and what is noted of them.
pub(crate) struct Reader<'h> {
    pub desk: Desk,
    pub herd: &'h Herd,
    pub notes: Notes,
    /// Identifiers that stand for themselves.
    pub seen: herd::Seen,
    /// A resource of the standard was seen.
    pub any_kind: bool,
    /// Where names of properties are put together.
    pub room: String,
}

/// Rows of a resource, each of its table.
type Rows = Vec<(&'static Table, Vec<Cell>)>;

/// Longest text of a kind's name.
const LONGEST_KIND: usize = 80;

impl Reader<'_> {
    /// Reads one resource; `place` in the file, which begins on `line` of it.
    pub fn resource(&mut self, place: u64, line: u64, raw: &[u8]) -> Outcome {
        let refused = |reason: String, remedy: &str| {
            Outcome::Refused(
                events_table(),
                Refused { property: String::new(), value: String::new(), wrong: Wrong::new(reason, remedy) },
            )
        };
        let node = match tree::parse(raw) {
            Ok(node) => node,
            Err(why) => {
                let words = why.to_string();
                let at = words.rfind(" at line ").map_or(words.as_str(), |end| &words[..end]);
                let what = if at.contains(tree::TWICE) {
                    format!("{at}: nobody can tell which of the two is meant")
                } else {
                    format!("it is not JSON: {at}")
                };
                return refused(format!("{what} (line {line} of the file)"), MEND);
            }
        };
        let Node::Object(_) = &node else {
            return refused(format!("it is {} and no resource", node.kind()), MEND);
        };
        let word = match text(&node, "resourceType") {
            Ok(Some(word)) => word,
            Ok(None) if matches!(node.get("view"), Some(Node::Object(_))) && node.get("member").is_none() => {
                if let Some((current, total, next)) = members::view(raw) {
                    self.notes.page(current, total, next);
                }
                return Outcome::Page;
            }
            Ok(None) => {
                return refused("it has no `resourceType`, so that nobody can tell what it is".into(), MEND);
            }
            Err(why) => return Outcome::Refused(events_table(), why),
        };
        let Some(kind) = kinds::kind(word) else {
            self.any_kind |= word.starts_with("icar");
            let short: String = kinds::short(word).chars().take(LONGEST_KIND).collect();
            self.notes.other(shown(short.as_bytes()));
            return Outcome::PassedOver;
        };
        self.any_kind = true;
        let table = kinds::table_of(kind).unwrap_or_else(events_table);
        match self.document(place, &node, kind, table, raw) {
            Ok(Some(document)) => {
                if document.origin.as_ref().is_none_or(|origin| !origin.deleted) {
                    let notes = &mut self.notes;
                    node.unused(&mut self.room, &mut |property| notes.unused(property));
                }
                Outcome::Document(Box::new(document))
            }
            Ok(None) => Outcome::PassedOver,
            Err(why) => Outcome::Refused(table, why),
        }
    }

    fn document(
        &mut self,
        line: u64,
        node: &Node<'_>,
        kind: Kind,
        table: &'static Table,
        raw: &[u8],
    ) -> Got<Option<Document>> {
        let origin = origin(node)?;
        let mut document = Document {
            line,
            origin,
            rows: Vec::new(),
            formerly: None,
            table: table.name,
            meal: None,
            raw: String::new(),
        };
        if document.origin.as_ref().is_some_and(|origin| origin.deleted) && kind != Kind::Feed {
            return Ok(Some(document));
        }
        node.let_be("@self");
        let animal = match kind {
            Kind::Animal => herd::animal(self.herd, &mut self.seen, node, "identifier")?,
            _ => herd::animal(self.herd, &mut self.seen, node, "animal")?,
        };
        if kind == Kind::Feed {
            // When it was reported; when she fed is said apart.
            instant(node, "eventDateTime")?;
            document.meal = Some(feed::meal(&self.desk, node, animal, &mut self.notes)?);
            document.raw = as_text(raw);
            return Ok(Some(document));
        }
        let Some(rows) = self.rows(node, kind, animal, table)? else { return Ok(None) };
        for (table, row) in &rows {
            if let Err(why) = (table.agrees)(row) {
                return refuse(why.column, "", why.reason, &why.remedy);
            }
        }
        document.formerly = self.herd.formerly(animal).map(str::to_owned);
        document.rows = rows.into_iter().map(|(table, row)| (table.name, row)).collect();
        Ok(Some(document))
    }

    /// The rows of a resource; `None` where it is of no use to us, which a note says.
    fn rows(&mut self, node: &Node<'_>, kind: Kind, animal: &str, own: &'static Table) -> Got<Option<Rows>> {
        let (desk, notes) = (&self.desk, &mut self.notes);
        let several = |(at, all): (jiff::Timestamp, Vec<events::Event>)| {
            all.into_iter().map(|event| Ok((own, event.row(animal, at, own)?))).collect::<Got<Vec<_>>>()
        };
        let rows = match kind {
            Kind::Visit if !visit::is_of_box(node)? => {
                notes.add(Note::Manual);
                return Ok(None);
            }
            Kind::Visit => vec![(own, visit::row(desk, node, animal, own, notes)?)],
            Kind::TestDay => vec![(own, events::test_day(desk, node, animal, own, notes)?)],
            Kind::Diagnosis => several(health::diagnoses(desk, node)?)?,
            Kind::Treatment => several(health::treatments(desk, node, notes)?)?,
            Kind::Withdrawal => match health::withdrawal(desk, node, notes)? {
                Some((at, event)) => vec![(own, event.row(animal, at, own)?)],
                None => return Ok(None),
            },
            Kind::Arrival => {
                let animals = table("animals").unwrap_or(own);
                let rows = herd::arrival(desk, node, animal, self.herd, (animals, own), notes)?;
                if rows.is_empty() {
                    return Ok(None);
                }
                rows
            }
            Kind::Animal => match herd::row(desk, node, animal, self.herd, own, notes)? {
                Some(row) => vec![(own, row)],
                None => return Ok(None),
            },
            _ => {
                let (at, event) = events::simple(desk, node, kind, notes)?;
                vec![(own, event.row(animal, at, own)?)]
            }
        };
        Ok(Some(rows))
    }
}

/// The name of a resource at its source: that of its meta data, else its `id` with kind and location; `None` where it
/// bears none.
fn origin(node: &Node<'_>) -> Got<Option<Origin>> {
    let (mut source, mut id, mut modified, mut deleted) = (None, None, None, false);
    if let Some(meta) = node.get("meta") {
        if !matches!(meta, Node::Object(_)) {
            return refuse("meta", &meta.shown(), format!("is {} and no object", meta.kind()), MEND);
        }
        source = text(meta, "source")?;
        id = text(meta, "sourceId")?;
        modified = instant(meta, "modified")?;
        deleted = truth(meta, "isDeleted")?.unwrap_or(false);
        for known in ["created", "creator", "validFrom", "validTo"] {
            meta.let_be(known);
        }
    }
    let own_id = text(node, "id")?;
    let location = identifier(node, "location")?;
    let named = match (source.zip(id), own_id) {
        (Some((source, id)), _) => Some((source.to_owned(), id.to_owned())),
        (None, Some(id)) => {
            let kind = text(node, "resourceType")?.map(kinds::short).unwrap_or_default();
            let (scheme, place) = location.unwrap_or_default();
            Some((format!("{kind}\u{1f}{scheme}\u{1f}{place}"), id.to_owned()))
        }
        (None, None) => None,
    };
    match named {
        Some((source, id)) => Ok(Some(Origin { source, id, modified, deleted })),
        None if deleted => refuse(
            "meta.isDeleted",
            "true",
            "it says that it was deleted, and bears no name by which it could be found",
            "let the source give `sourceId` or `id`",
        ),
        None => Ok(None),
    }
}

/// Why a value that could not be held or ended early is refused.
pub(crate) fn not_whole(taken: Taken, line: u64, longest: usize) -> Refused {
    let (reason, remedy) = match taken {
        Taken::TooLong(bytes) => (
            format!("it has {bytes} bytes, more than the {longest} that a resource may have"),
            "look at this place in the file; only its beginning is kept",
        ),
        Taken::TooDeep(deepest) => (
            format!(
                "brackets stand {deepest} deep within brackets, and no resource of the standard has more than ten"
            ),
            "look at what made the file; only its beginning is kept",
        ),
        Taken::BrokenLine => (
            "its line ends in the middle of it".into(),
            "look at this line in the file; the lines after it were read",
        ),
        Taken::Cut | Taken::Whole => (
            "the file ends in the middle of it".into(),
            "what stands before it was read; export or copy the file again, whole, and read it again",
        ),
    };
    Refused {
        property: String::new(),
        value: String::new(),
        wrong: Wrong::new(format!("{reason} (line {line} of the file)"), remedy),
    }
}
