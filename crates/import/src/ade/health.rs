//! Diagnoses, treatments and withdrawals: rows of `events`, one a quarter where quarters are named.

use jiff::Timestamp;

use super::events::{Event, identifier, said};
use super::notes::{Note, Notes};
use super::take::{Desk, Got, instant, list, needed, number, past, text, word};
use super::tree::Node;

const SEVERITIES: [&str; 3] = ["Light", "Moderate", "Severe"];

/// The standard's quarters of the udder in positions, and ours.
const QUARTERS: [(&str, &str); 4] =
    [("UdderFrontLeft", "LF"), ("UdderFrontRight", "RF"), ("UdderRearLeft", "LR"), ("UdderRearRight", "RR")];

/// One event for each diagnosis and quarter.
pub(crate) fn diagnoses(desk: &Desk, node: &Node<'_>) -> Got<(Timestamp, Vec<Event>)> {
    let at = needed(past(desk, node, "eventDateTime")?, "eventDateTime")?;
    let by = text(node, "responsible")?.map(str::to_owned);
    let remark = text(node, "remark")?.map(str::to_owned);
    let mut events = Vec::new();
    for own in list(node, "diagnoses")? {
        let mut event = Event::new("diagnosed");
        event.by.clone_from(&by);
        let code = identifier(own, "diagnosisCode")?;
        let name = match text(own, "name")? {
            Some(name) => Some(name),
            None => code.map(|(_, id)| id).or(text(own, "id")?),
        };
        own.let_be("id");
        event.detail = name.map(str::to_owned);
        event.say(code.map(|(scheme, id)| format!("code {id} of {scheme}")));
        event.say(said("severity", word(own, "severity", &SEVERITIES)?));
        event.say(said("stage", text(own, "stage")?));
        event.say(said("site", text(own, "site")?));
        event.say(text(own, "description")?.map(str::to_owned));
        event.say(remark.clone());
        at_positions(own, event, &mut events)?;
    }
    // Two of one name and place are one row, with what both say.
    let mut merged: Vec<Event> = Vec::with_capacity(events.len());
    for event in events {
        let same = |own: &&mut Event| own.detail == event.detail && own.quarter == event.quarter;
        match merged.iter_mut().find(same) {
            Some(own) => own.note.extend(event.note),
            None => merged.push(event),
        }
    }
    let mut events = merged;
    if events.is_empty() {
        let mut event = Event::new("diagnosed");
        event.by = by;
        event.say(remark);
        events.push(event);
    }
    Ok((at, events))
}

/// One event for each quarter treated. Milk is held until the latest day of its withdrawals of milk, and without an end
/// where none of them says one.
pub(crate) fn treatments(desk: &Desk, node: &Node<'_>, notes: &mut Notes) -> Got<(Timestamp, Vec<Event>)> {
    let at = needed(past(desk, node, "eventDateTime")?, "eventDateTime")?;
    let mut event = Event::new("treated");
    event.by = text(node, "responsible")?.map(str::to_owned);
    let mut name = None;
    if let Some(medicine) = node.get("medicine") {
        let code = identifier(medicine, "identifier")?;
        if code.is_none() {
            notes.add(Note::NoIdentifier);
        }
        name = text(medicine, "name")?.or(code.map(|(_, id)| id));
        medicine.let_be("family");
    }
    let procedure = text(node, "procedure")?;
    let words: Vec<&str> = [name, procedure].into_iter().flatten().collect();
    event.detail = (!words.is_empty()).then(|| words.join(", "));
    if let Some(dose) = node.get("dose") {
        let unit = text(dose, "doseUnits")?.map_or(String::new(), |unit| format!(" {unit}"));
        event.say(number(dose, "doseQuantity")?.map(|quantity| format!("dose {quantity}{unit}")));
    }
    event.say(said("site", text(node, "site")?));
    event.say(text(node, "comment")?.map(str::to_owned));
    event.say(text(node, "remark")?.map(str::to_owned));
    let mut endless = false;
    for withdrawal in list(node, "withdrawals")? {
        let product = needed(text(withdrawal, "productType")?, "withdrawals.productType")?;
        let end = instant(withdrawal, "endDate")?;
        withdrawal.let_be("market");
        if product == "Milk" {
            endless |= end.is_none();
            event.until = event.until.max(end);
        }
    }
    if endless || event.until.is_none() {
        event.until = None;
        notes.add(Note::NoMilkWithdrawal);
        event.say(Some("until when milk is withheld is not known".into()));
    }
    let mut events = Vec::new();
    at_positions(node, event, &mut events)?;
    Ok((at, events))
}

/// Milk withheld, whatever for; `None` where it is not milk.
pub(crate) fn withdrawal(desk: &Desk, node: &Node<'_>, notes: &mut Notes) -> Got<Option<(Timestamp, Event)>> {
    let at = needed(past(desk, node, "eventDateTime")?, "eventDateTime")?;
    let product = needed(text(node, "productType")?, "productType")?;
    let mut event = Event::new("treated");
    event.detail = Some("milk withheld".into());
    event.until = instant(node, "endDateTime")?;
    event.by = text(node, "responsible")?.map(str::to_owned);
    event.say(text(node, "remark")?.map(str::to_owned));
    if product != "Milk" {
        notes.add(Note::OtherProduct);
        return Ok(None);
    }
    if event.until.is_none() {
        event.say(Some("no end is known".into()));
    }
    Ok(Some((at, event)))
}

/// The event once for each quarter of the udder that is named; other positions go to the note.
fn at_positions(node: &Node<'_>, mut event: Event, events: &mut Vec<Event>) -> Got<()> {
    let mut quarters: Vec<&'static str> = Vec::new();
    for own in list(node, "positions")? {
        let Some(position) = text(own, "position")? else { continue };
        match QUARTERS.iter().find(|(word, _)| *word == position) {
            Some((_, quarter)) if quarters.contains(quarter) => {}
            Some((_, quarter)) => quarters.push(quarter),
            None => event.say(said("at", Some(position))),
        }
    }
    if quarters.is_empty() {
        events.push(event);
        return Ok(());
    }
    quarters.sort_unstable();
    events.extend(quarters.into_iter().map(|quarter| Event { quarter: Some(quarter), ..event.clone() }));
    Ok(())
}
