//! Who is who: the identifiers of a cow, and the herd number they stand for; rows of `animals`.
//!
//! # Rule
//! A cow is read under one herd number, whichever of her identifiers a resource names: the number that is on record for
//! any of them; else her management tag; else a number of the herd's or the country's own; else her official number as
//! text. A tag that another cow bears is none. What a file says of identifiers is learned before its resources are read,
//! so that their order in the file does not matter.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::tables::{Cell, Table};

use super::events::identifier;
use super::kinds::{self, Kind};
use super::notes::{Note, Notes};
use super::take::{Desk, Got, day, list, number, past, put, put_text, refuse, text};
use super::tree::Node;
use crate::faults::MEND;

/// The scheme of official numbers, 15 digits.
pub(crate) const OFFICIAL: &str = "std.iso.11785";

/// Identifiers that resources of a file named and that stand for themselves, by scheme.
pub(crate) type Seen = BTreeMap<String, BTreeSet<String>>;

/// The cows on record, for finding a herd number.
#[derive(Debug, Clone, Default)]
pub struct Herd {
    /// By scheme and number: the herd number.
    aliases: BTreeMap<String, BTreeMap<String, String>>,
    numbers: BTreeSet<String>,
    /// Herd number → official number.
    officials: BTreeMap<String, String>,
    /// Learned from the file at hand: scheme, number, herd number.
    learned: Vec<(String, String, String)>,
}

impl Herd {
    /// A herd number that occurs in rows.
    pub fn add_number(&mut self, number: &str) {
        self.numbers.insert(number.to_owned());
    }

    /// A herd number and the official number of the cow that bears it.
    pub fn add_official(&mut self, number: &str, official: &str) {
        self.officials.insert(number.to_owned(), official.to_owned());
        self.add_alias(OFFICIAL, official, number);
    }

    /// Another identifier of a cow.
    pub fn add_alias(&mut self, scheme: &str, id: &str, number: &str) {
        self.aliases.entry(scheme.to_owned()).or_default().insert(id.to_owned(), number.to_owned());
    }

    /// The herd number of an identifier.
    pub fn number<'h>(&'h self, scheme: &str, id: &'h str) -> &'h str {
        self.known(scheme, id).unwrap_or(id)
    }

    /// The official number of a cow, where it is not her herd number and rows bear it: they came before the herd list.
    pub(crate) fn formerly(&self, number: &str) -> Option<&str> {
        let official = self.officials.get(number)?;
        (official != number && self.numbers.contains(official)).then_some(official.as_str())
    }

    fn known(&self, scheme: &str, id: &str) -> Option<&str> {
        self.aliases.get(scheme).and_then(|own| own.get(id)).map(String::as_str)
    }

    /// Notes an identifier that resources name; it stands for the same number in later files.
    pub(crate) fn note(&self, seen: &mut Seen, scheme: &str, id: &str) {
        if self.known(scheme, id).is_some() || seen.get(scheme).is_some_and(|own| own.contains(id)) {
            return;
        }
        seen.entry(scheme.to_owned()).or_default().insert(id.to_owned());
    }

    /// What the file said of identifiers.
    pub(crate) fn learned(&self) -> &[(String, String, String)] {
        &self.learned
    }

    /// Learns from a resource, if it tells who an animal is.
    pub(crate) fn learn(&mut self, node: &Node<'_>) {
        let Some(Node::Text(word)) = node.get("resourceType") else { return };
        match kinds::kind(word) {
            Some(Kind::Animal) => self.learn_animal(node, None),
            Some(Kind::Arrival) => {
                let other = identifier(node, "animal").ok().flatten();
                if let Some(detail) = node.get("animalDetail") {
                    self.learn_animal(detail, other);
                }
            }
            _ => {}
        }
    }

    fn learn_animal(&mut self, node: &Node<'_>, other: Option<(&str, &str)>) {
        let mut own: Vec<(&str, &str)> = identifier(node, "identifier").ok().flatten().into_iter().collect();
        own.extend(other);
        for alternative in list(node, "alternativeIdentifiers").unwrap_or_default() {
            if let (Ok(Some(scheme)), Ok(Some(id))) = (text(alternative, "scheme"), text(alternative, "id")) {
                own.push((scheme, id));
            }
        }
        let official = own.iter().find(|(scheme, _)| *scheme == OFFICIAL).map(|(_, id)| *id);
        let tag = text(node, "managementTag").ok().flatten().filter(|tag| !self.is_anothers(tag, official));
        // A number that rows already bear stays, so that one cow does not become two. Another identifier that happens to
        // read like a herd number (a transponder's) is none.
        let on_record = own
            .iter()
            .find_map(|(scheme, id)| self.known(scheme, id))
            .or_else(|| official.filter(|official| self.numbers.contains(*official)));
        let first = own.first().map(|(_, id)| *id);
        let Some(number) = on_record.or(tag).or(first).map(str::to_owned) else { return };
        for (scheme, id) in own {
            if self.known(scheme, id).is_none() {
                self.learned.push((scheme.to_owned(), id.to_owned(), number.clone()));
                self.aliases.entry(scheme.to_owned()).or_default().insert(id.to_owned(), number.clone());
            }
        }
        if let Some(official) = official {
            self.officials.entry(number).or_insert_with(|| official.to_owned());
        }
    }

    fn is_anothers(&self, number: &str, official: Option<&str>) -> bool {
        self.officials.get(number).is_some_and(|own| official.is_some_and(|official| own != official))
    }
}

/// The herd number of the animal that a property names.
pub(crate) fn animal<'h>(
    herd: &'h Herd,
    seen: &mut Seen,
    node: &'h Node<'_>,
    property: &str,
) -> Got<&'h str> {
    let (scheme, id) = super::take::needed(identifier(node, property)?, property)?;
    if scheme == OFFICIAL {
        official(id, property)?;
    }
    let number = herd.number(scheme, id);
    herd.note(seen, scheme, id);
    if crate::cells::LONGEST_NAME < number.chars().count() {
        return refuse(property, number, "is longer than a name can be", MEND);
    }
    Ok(number)
}

fn official(id: &str, property: &str) -> Got<()> {
    if id.len() == 15 && id.bytes().all(|byte| byte.is_ascii_digit()) {
        return Ok(());
    }
    refuse(property, id, "is not 15 digits, as its scheme (std.iso.11785) has them", MEND)
}

/// The row of an animal; `None` where it is no cow.
pub(crate) fn row(
    desk: &Desk,
    node: &Node<'_>,
    number: &str,
    herd: &Herd,
    table: &'static Table,
    notes: &mut Notes,
) -> Got<Option<Vec<Cell>>> {
    if text(node, "specie")?.is_some_and(|specie| specie != "Cattle") {
        notes.add(Note::NotCattle);
        return Ok(None);
    }
    let mut row = vec![Cell::Missing; table.columns.len()];
    put_text(&mut row, table, "animal", Some(number));
    let own = identifier(node, "identifier")?;
    let mut numbers: Vec<(&str, &str)> = own.into_iter().collect();
    for alternative in list(node, "alternativeIdentifiers")? {
        if let (Some(scheme), Some(id)) = (text(alternative, "scheme")?, text(alternative, "id")?) {
            numbers.push((scheme, id));
        }
    }
    if let Some((_, id)) = numbers.iter().find(|(scheme, _)| *scheme == OFFICIAL) {
        official(id, "identifier")?;
        put_text(&mut row, table, "official_id", Some(*id));
        if text(node, "managementTag")?.is_some_and(|tag| herd.is_anothers(tag, Some(id))) {
            notes.add(Note::NoTag);
        }
    }
    text(node, "managementTag")?;
    text(node, "gender")?;
    if let (Some(born), Some(place)) = (day(desk, node, "birthDate")?, table.index("born_on")) {
        row[place] = Cell::Date(born);
    }
    if let Some((_, breed)) = identifier(node, "primaryBreed")? {
        put_text(&mut row, table, "breed", Some(breed));
    }
    node.let_be("resourceType");
    Ok(Some(row))
}

/// Rows of an arrival: who came, and when.
pub(crate) fn arrival(
    desk: &Desk,
    node: &Node<'_>,
    number: &str,
    herd: &Herd,
    tables: (&'static Table, &'static Table),
    notes: &mut Notes,
) -> Got<Vec<(&'static Table, Vec<Cell>)>> {
    let (animals, events) = tables;
    let at = super::take::needed(past(desk, node, "eventDateTime")?, "eventDateTime")?;
    let mut listed = vec![Cell::Missing; animals.columns.len()];
    put_text(&mut listed, animals, "animal", Some(number));
    if let Some(detail) = node.get("animalDetail") {
        match row(desk, detail, number, herd, animals, notes)? {
            Some(row) => listed = row,
            None => return Ok(Vec::new()),
        }
    }
    if let (Some((OFFICIAL, id)), Some(place)) = (identifier(node, "animal")?, animals.index("official_id")) {
        listed[place] = Cell::Text(id.to_owned());
    }
    if let Some(state) = node.get("animalState") {
        put(&mut listed, animals, "parity", number_of(state)?, "animalState.currentLactationParity")?;
        if let (Some(calved), Some(place)) =
            (day(desk, state, "lastCalvingDate")?, animals.index("calved_on"))
        {
            listed[place] = Cell::Date(calved);
        }
    }
    let mut event = super::events::Event::new("moved");
    // The detail of a move is a pen; where she came to is not said.
    event.say(Some(match text(node, "arrivalReason")? {
        Some(reason) => format!("arrived: {reason}"),
        None => "arrived".into(),
    }));
    event.by = text(node, "responsible")?.map(str::to_owned);
    event.say(text(node, "remark")?.map(str::to_owned));
    node.let_be("consignment");
    notes.add(Note::Arrived);
    Ok(vec![(animals, listed), (events, event.row(number, at, events)?)])
}

fn number_of(state: &Node<'_>) -> Got<Option<f64>> {
    number(state, "currentLactationParity")
}
