//! What happened to a cow: rows of `events`, and test days.
//!
//! A property that no cell can hold goes to the note, in words; the standard's own words stay as they are.

use cowpath_core::tables::{Cell, Table};
use jiff::Timestamp;

use super::characteristics::{self, Found};
use super::kinds::Kind;
use super::notes::{Note, Notes};
use super::take::{
    Desk, Got, day, instant, list, mass_kg, milk_kg, needed, number, past, put, put_text, refuse, text,
    truth, word,
};
use super::tree::Node;
use crate::faults::MEND;

/// One row of `events` on its way.
#[derive(Default, Clone)]
pub(crate) struct Event {
    pub kind: &'static str,
    pub quarter: Option<&'static str>,
    pub detail: Option<String>,
    pub value: Option<f64>,
    pub unit: Option<&'static str>,
    pub until: Option<Timestamp>,
    pub by: Option<String>,
    /// Parts of the note, in order.
    pub note: Vec<String>,
}

impl Event {
    pub fn new(kind: &'static str) -> Event {
        Event { kind, ..Event::default() }
    }

    /// Adds to the note, if there is something.
    pub fn say(&mut self, words: Option<String>) {
        self.note.extend(words);
    }

    pub fn row(self, animal: &str, at: Timestamp, table: &'static Table) -> Got<Vec<Cell>> {
        let mut row = vec![Cell::Missing; table.columns.len()];
        put_text(&mut row, table, "animal", Some(animal));
        put_text(&mut row, table, "kind", Some(self.kind));
        put_text(&mut row, table, "quarter", self.quarter);
        put_text(&mut row, table, "detail", self.detail);
        put(&mut row, table, "value", self.value, "value")?;
        put_text(&mut row, table, "unit", self.unit);
        put_text(&mut row, table, "by", self.by);
        put_text(&mut row, table, "note", (!self.note.is_empty()).then(|| self.note.join("; ")));
        for (column, at) in [("at", Some(at)), ("until", self.until)] {
            if let (Some(place), Some(at)) = (table.index(column), at) {
                row[place] = Cell::Time(at);
            }
        }
        Ok(row)
    }
}

/// `name value`, if there is a value.
pub(crate) fn said(name: &str, value: Option<&str>) -> Option<String> {
    value.map(|value| format!("{name} {value}"))
}

/// Scheme and number of an identifier.
pub(crate) fn identifier<'n>(node: &'n Node<'_>, property: &str) -> Got<Option<(&'n str, &'n str)>> {
    let Some(own) = node.get(property) else { return Ok(None) };
    if !matches!(own, Node::Object(_)) {
        return refuse(property, &own.shown(), "is not an identifier with scheme and id", MEND);
    }
    let scheme = needed(text(own, "scheme")?, &format!("{property}.scheme"))?;
    let id = needed(text(own, "id")?, &format!("{property}.id"))?;
    Ok(Some((scheme, id)))
}

/// The one row of a kind that always is one.
pub(crate) fn simple(desk: &Desk, node: &Node<'_>, kind: Kind, notes: &mut Notes) -> Got<(Timestamp, Event)> {
    let mut at = past(desk, node, "eventDateTime")?;
    let mut event = match kind {
        Kind::Weight => weight(node, notes)?,
        Kind::Heat => {
            let onset = instant(node, "commencementDateTime")?;
            // When it was reported; the onset only where that is all there is.
            at = at.or(past(desk, node, "commencementDateTime")?);
            heat(node, onset, notes)?
        }
        Kind::Insemination => insemination(node)?,
        Kind::PregnancyCheck => pregnancy_check(node)?,
        Kind::Calving => calving(node)?,
        Kind::DryOff => Event::new("dried-off"),
        Kind::Departure => departure(node)?,
        Kind::Death => {
            let mut event = Event::new("died");
            event.detail = text(node, "deathReason")?.map(str::to_owned);
            event.say(text(node, "explanation")?.map(str::to_owned));
            event
        }
        _ => Event::new("moved"),
    };
    if event.by.is_none() {
        event.by = text(node, "responsible")?.map(str::to_owned);
    }
    event.say(text(node, "remark")?.map(str::to_owned));
    Ok((needed(at, "eventDateTime")?, event))
}

fn weight(node: &Node<'_>, notes: &mut Notes) -> Got<Event> {
    const METHODS: [&str; 8] = [
        "LoadCell",
        "Girth",
        "Assessed",
        "WalkOver",
        "Predicted",
        "Imaged",
        "FrontEndCorrelated",
        "GroupAverage",
    ];
    let mut event = Event::new("weighed");
    let own = needed(node.get("weight"), "weight")?;
    let measured = needed(number(own, "measurement")?, "weight.measurement")?;
    // The standard's own words: without a unit it is kilograms, without a method a scale.
    let code = text(own, "units")?.unwrap_or("KGM");
    let Some(kg) = mass_kg(measured, code) else {
        return refuse("weight.units", code, "is no unit of mass that the standard has", MEND);
    };
    if !(10.0..=1500.0).contains(&kg) {
        return refuse("weight.measurement", &measured.to_string(), "is outside 10 to 1500 kg", MEND);
    }
    event.value = Some(kg);
    event.unit = Some("kg");
    let method = word(own, "method", &METHODS)?.unwrap_or("LoadCell");
    if !matches!(method, "LoadCell" | "WalkOver") {
        notes.add(Note::NoScale);
        event.detail = Some(format!("estimated: {method}"));
    }
    own.let_be("resolution");
    node.let_be("device");
    Ok(event)
}

fn heat(node: &Node<'_>, onset: Option<Timestamp>, notes: &mut Notes) -> Got<Event> {
    let mut event = Event::new("heat");
    notes.add(Note::Opinion);
    event.detail = text(node, "heatDetectionMethod")?.map(str::to_owned);
    event.say(Some("reported by another system".into()));
    event.say(said("certainty", word(node, "certainty", &["InHeat", "Suspect", "Potential"])?));
    event.say(onset.map(|at| format!("onset {at}")));
    event.say(instant(node, "expirationDateTime")?.map(|at| format!("ends {at}")));
    if let Some(seen) = node.get("visualDetection") {
        for sign in list(seen, "heatSigns")? {
            event.say(Some(sign.shown()));
        }
        event.say(said("intensity", text(seen, "heatIntensity")?));
    }
    for window in list(node, "optimumInseminationWindow")? {
        let from = needed(instant(window, "startDateTime")?, "optimumInseminationWindow.startDateTime")?;
        let until = instant(window, "endDateTime")?.map_or(String::new(), |at| format!(" to {at}"));
        event.say(Some(format!("serve {from}{until}")));
        window.let_be("windowName");
    }
    event.by = node.get("meta").and_then(|meta| text(meta, "source").ok().flatten()).map(str::to_owned);
    node.let_be("device");
    Ok(event)
}

fn insemination(node: &Node<'_>) -> Got<Event> {
    const TYPES: [&str; 4] = ["NaturalService", "RunWithBull", "Insemination", "Implantation"];
    let mut event = Event::new("inseminated");
    let kind = needed(word(node, "inseminationType", &TYPES)?, "inseminationType")?;
    let mut sires = Vec::new();
    for sire in list(node, "sireIdentifiers")? {
        sire.let_be("scheme");
        sires.extend(text(sire, "id")?);
    }
    // The sire is part of what tells two services of one moment apart.
    event.detail = Some(match sires.first() {
        Some(sire) => format!("{kind}, sire {sire}"),
        None => kind.to_owned(),
    });
    event.say(number(node, "rank")?.map(|rank| format!("service {rank} of this cycle")));
    event.say(said("sire", text(node, "sireOfficialName")?));
    // A bull that runs with her does so for a time; `until` is of treatments alone.
    event.say(instant(node, "eventEndDateTime")?.map(|end| format!("until {end}")));
    Ok(event)
}

fn pregnancy_check(node: &Node<'_>) -> Got<Event> {
    let mut event = Event::new("pregnancy-check");
    let result = word(node, "result", &["Empty", "Pregnant", "Multiple", "Unknown"])?;
    // Nothing said is nothing known; it is not "empty".
    event.detail = Some(result.unwrap_or("Unknown").to_lowercase());
    event.value = number(node, "foetalAge")?;
    event.unit = event.value.map(|_| "d");
    event.say(said("method", text(node, "method")?));
    event.say(number(node, "foetusCount")?.map(|count| format!("foetuses {count}")));
    Ok(event)
}

fn calving(node: &Node<'_>) -> Got<Event> {
    let mut event = Event::new("calved");
    let parity = number(node, "damParity")?;
    if let Some(parity) = parity.filter(|parity| !(1.0..=20.0).contains(parity) || parity.fract() != 0.0) {
        return refuse("damParity", &parity.to_string(), "is no number of a calving, 1 to 20", MEND);
    }
    // It counts this calving: the number of the lactation that begins.
    event.value = parity;
    event.detail = text(node, "calvingEase")?.map(str::to_owned);
    event.say(number(node, "liveProgeny")?.map(|count| format!("alive {count}")));
    event.say(number(node, "totalProgeny")?.map(|count| format!("born {count}")));
    for calf in list(node, "progenyDetails")? {
        let words = [text(calf, "gender")?, text(calf, "birthStatus")?];
        let words: Vec<&str> = words.into_iter().flatten().collect();
        event.say((!words.is_empty()).then(|| format!("calf {}", words.join(" "))));
        calf.let_be("resourceType");
        calf.let_be("specie");
    }
    if truth(node, "isEmbryoImplant")? == Some(true) {
        event.say(Some("of an embryo".into()));
    }
    Ok(event)
}

fn departure(node: &Node<'_>) -> Got<Event> {
    let mut event = Event::new("left");
    let words = [text(node, "departureKind")?, text(node, "departureReason")?];
    let words: Vec<&str> = words.into_iter().flatten().collect();
    event.detail = (!words.is_empty()).then(|| words.join(", "));
    node.let_be("consignment");
    Ok(event)
}

/// The row of a test day.
pub(crate) fn test_day(
    desk: &Desk,
    node: &Node<'_>,
    animal: &str,
    table: &'static Table,
    notes: &mut Notes,
) -> Got<Vec<Cell>> {
    let mut row = vec![Cell::Missing; table.columns.len()];
    put_text(&mut row, table, "animal", Some(animal));
    past(desk, node, "eventDateTime")?;
    let on = needed(day(desk, node, "eventDateTime")?, "eventDateTime")?;
    if let Some(place) = table.index("on") {
        row[place] = Cell::Date(on);
    }
    let milk = milk_kg(node, "milkWeight24Hours")?;
    put(&mut row, table, "milk_kg", milk, "milkWeight24Hours")?;
    if word(node, "testDayCode", &["Dry", "SamplingImpossible", "Sick"])?.is_some() && milk.is_none() {
        notes.add(Note::TestCode);
    }
    for Found { column, value, .. } in
        characteristics::of(node, "milkCharacteristics", &characteristics::RECORDED, notes)?
    {
        put(&mut row, table, column, Some(value), "milkCharacteristics")?;
    }
    Ok(row)
}
