//! Feed that an event of its own tells of: which visit it belongs to is not known here.

use jiff::{SignedDuration, Timestamp};

use super::notes::{Note, Notes};
use super::take::{Desk, Got, feed_kg, list, needed, past, refuse, seconds, text};
use super::tree::Node;
use crate::faults::MEND;

/// What a cow was given and ate at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Meal {
    /// Herd number.
    pub animal: String,
    /// When the feeding began.
    pub started_at: Timestamp,
    /// When it ended.
    pub ended_at: Timestamp,
    /// The device that fed her; empty where none is named.
    pub place: String,
    /// Offered over all feeds, kg as fed.
    pub offered_kg: Option<f64>,
    /// Eaten over all feeds, kg as fed.
    pub eaten_kg: Option<f64>,
}

/// Most that a cow is given in one visit, kg; the range of the columns.
const MOST_KG: f64 = 20.0;

/// The meal of an event.
pub(crate) fn meal(desk: &Desk, node: &Node<'_>, animal: &str, notes: &mut Notes) -> Got<Meal> {
    let started_at = needed(past(desk, node, "feedingStartingDateTime")?, "feedingStartingDateTime")?;
    let length_s = needed(seconds(node, "feedVisitDuration")?, "feedVisitDuration")?;
    if 6.0 * 3600.0 < length_s {
        return refuse("feedVisitDuration", &length_s.to_string(), "is longer than 6 hours", MEND);
    }
    let (mut offered_kg, mut eaten_kg) = (None, None);
    for feed in list(node, "consumedFeed")? {
        feed.let_be("feedId");
        for (sum, property) in [(&mut offered_kg, "entitlement"), (&mut eaten_kg, "feedConsumption")] {
            if let Some(kg) = feed_kg(feed, property)? {
                *sum = Some(sum.unwrap_or(0.0) + kg);
            }
        }
        // Amounts are as fed.
        feed.let_be("dryMatterPercentage");
    }
    for (sum, property) in [(offered_kg, "entitlement"), (eaten_kg, "feedConsumption")] {
        if let Some(kg) = sum.filter(|kg| !(0.0..=MOST_KG).contains(kg)) {
            return refuse(property, &format!("{kg}"), format!("is outside 0 to {MOST_KG} kg"), MEND);
        }
    }
    if offered_kg.is_some() {
        notes.add(Note::Entitlement);
    }
    let mut place = String::new();
    if let Some(device) = node.get("device") {
        if let Some(own) = device.get("identifier") {
            place = text(own, "id")?.unwrap_or_default().to_owned();
        }
        device.use_all();
    }
    let ended_at = started_at + SignedDuration::from_millis((length_s * 1000.0).round() as i64);
    Ok(Meal { animal: animal.to_owned(), started_at, ended_at, place, offered_kg, eaten_kg })
}
