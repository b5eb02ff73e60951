//! What is told to other programs: the round's calls of cows as attention events of the exchange standard, and heats.
//!
//! A call on a box or on the herd has no animal, and the standard has no word for that: it stays ours. `Mastitis` and
//! `Ketosis` are the standard's names where ours say what a cow looks like; so each event carries the sentence, its
//! probability, and that it is to be looked at.

use anyhow::{Context as _, ensure};
use jiff::Timestamp;
use serde_json::{Value, json};

use super::{
    farm::Barn,
    round::{Round, RoundCall},
    rounding,
    schemas::Schemas,
    view,
};

/// The source that documents name until the farm gives another.
pub const SOURCE: &str = "local.cowpath";

/// The scheme of official numbers.
const OFFICIAL: &str = "std.iso.11785";

/// What is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// Calls of cows.
    Attention,
    /// Heats.
    Heats,
}

/// A document on its way out, and what it leaves out.
#[derive(Debug, Clone, PartialEq)]
pub struct Export {
    /// The page, as its schema wants it.
    pub page: Value,
    /// How many resources it holds.
    pub resources: usize,
    /// Calls that the standard has no word for.
    pub left_out: usize,
}

/// A page of what the round at a time says. `source` is the name other programs know this farm's Cowpath by.
///
/// # Errors
/// When the round cannot be made; when the page is not as the standard wants it, which is our fault.
pub fn export(
    barn: &Barn,
    what: What,
    at: Option<Timestamp>,
    now: Timestamp,
    source: &str,
) -> anyhow::Result<Export> {
    let export = match what {
        What::Attention => match view::at(barn, at)? {
            Some(view) => {
                let round = rounding::of_view(barn, &view)?;
                let official = |animal: &str| {
                    let mut lives = view.cast.lives.iter().filter(|life| life.animal == animal);
                    lives.find(|life| life.present(view.at)).and_then(|life| life.official_id.clone())
                };
                attention(&round, &official, now, source)?
            }
            None => page(Vec::new(), 0),
        },
        // No heats are called yet; a farm that asks for them is told of none.
        What::Heats => page(Vec::new(), 0),
    };
    validated(what, &export.page)?;
    Ok(export)
}

/// Holds a page against the schema of its kind.
pub fn validated(what: What, page: &Value) -> anyhow::Result<()> {
    let path = match what {
        What::Attention => "collections/icarAttentionEventCollection.json",
        What::Heats => "collections/icarReproHeatEventCollection.json",
    };
    let faults = Schemas::load()?.faults(path, page)?;
    ensure!(
        faults.is_empty(),
        "the document is not as the exchange standard wants it, and was not written: {}",
        faults.join("; ")
    );
    Ok(())
}

/// The round's calls of cows.
pub fn attention(
    round: &Round,
    official: &dyn Fn(&str) -> Option<String>,
    now: Timestamp,
    source: &str,
) -> anyhow::Result<Export> {
    let mut events = Vec::new();
    let mut left_out = 0;
    for call in &round.calls {
        match &call.animal {
            Some(animal) => {
                events.push(event(call, &identifier(animal, official(animal), source), now, source)?)
            }
            None => left_out += 1,
        }
    }
    Ok(page(events, left_out))
}

/// The official number where she has one, else her herd number in a scheme of this farm's own.
fn identifier(animal: &str, official: Option<String>, source: &str) -> Value {
    let is_official = |text: &str| text.len() == 15 && text.bytes().all(|byte| byte.is_ascii_digit());
    match official.or_else(|| is_official(animal).then(|| animal.to_owned())) {
        Some(official) => json!({"scheme": OFFICIAL, "id": official}),
        None => json!({"scheme": format!("{source}.animal"), "id": animal}),
    }
}

fn event(call: &RoundCall, animal: &Value, now: Timestamp, source: &str) -> anyhow::Result<Value> {
    let since: Timestamp = call.since.parse().with_context(|| format!("the onset of call {}", call.id))?;
    Ok(json!({
        "resourceType": "icarAttentionEventResource",
        "meta": {"source": source, "sourceId": call.id, "modified": in_utc(now)},
        "id": call.id,
        "eventDateTime": in_utc(since),
        "animal": animal,
        "category": "Health",
        "causes": causes(call),
        "priority": priority(call.urgency),
        "deviceAttentionScore": call.probability,
        "remark": format!(
            "{} Probability {}: to be looked at, this is no diagnosis. {}",
            call.sentence, call.probability, call.action
        ),
    }))
}

/// To the second, which every reader of RFC 3339 takes.
fn in_utc(at: Timestamp) -> String {
    let whole = Timestamp::from_second(at.as_second()).unwrap_or(at);
    whole.to_string()
}

fn priority(urgency: &str) -> &'static str {
    match urgency {
        "now" => "Urgent",
        "today" => "Normal",
        _ => "Informational",
    }
}

/// The standard's words for a cause; of the gut and of fever, those that the call's own reasons bear out.
fn causes(call: &RoundCall) -> Vec<&'static str> {
    let speaks = |signals: &[&str]| {
        call.reasons
            .iter()
            .any(|reason| 0.0 < reason.weight && signals.iter().any(|signal| reason.signal.contains(signal)))
    };
    match call.cause {
        "udder" => vec!["Mastitis"],
        "feet" => vec!["Lameness"],
        "metabolic" => vec!["Ketosis"],
        "gut" => {
            let (eats, chews) = (speaks(&["eating", "intake", "feed"]), speaks(&["rumination"]));
            match (eats, chews) {
                (true, true) => vec!["EatingLess", "LowerRumination"],
                (false, true) => vec!["LowerRumination"],
                _ => vec!["EatingLess"],
            }
        }
        "fever" if speaks(&["temperature", "milk_c"]) => vec!["AnimalTemperature"],
        "fever" => vec!["Health"],
        _ => vec!["Undefined"],
    }
}

fn page(member: Vec<Value>, left_out: usize) -> Export {
    let resources = member.len();
    let view = json!({"totalItems": resources, "totalPages": 1, "currentPage": 1, "pageSize": resources});
    Export { page: json!({"view": view, "member": member}), resources, left_out }
}
