//! What the source of visits has no word for: unknown, and never zero.

use std::collections::BTreeMap;

use anyhow::Context as _;
use jiff::{SignedDuration, Timestamp};

use super::farm::Barn;

/// How far back visits tell what a box's source can say.
const LATELY: SignedDuration = SignedDuration::from_hours(72);

/// Cows that are named one by one.
const NAMED: usize = 3;

/// What a source cannot say; `true` is unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Unsaid {
    /// Visits that were turned away.
    pub turned_away: bool,
    /// Visits for feed only.
    pub fed_only: bool,
    /// Where the milk went.
    pub destination: bool,
    /// Whether a cup was kicked off.
    pub kicks: bool,
    /// The flow at which a cup came off.
    pub take_off: bool,
    /// When she went in.
    pub entry: bool,
}

impl Unsaid {
    /// By the words that a batch keeps.
    pub fn of<'w>(words: impl IntoIterator<Item = &'w str>) -> Unsaid {
        let mut own = Unsaid::default();
        for word in words {
            match word {
                "turned-away" => own.turned_away = true,
                "fed-only" => own.fed_only = true,
                "tank" => own.destination = true,
                "kicked" => own.kicks = true,
                "take-off" => own.take_off = true,
                "entry" => own.entry = true,
                _ => {}
            }
        }
        own
    }

    /// In one sentence; `None` where all can be said.
    pub fn sentence(&self) -> Option<String> {
        let visits = match (self.turned_away, self.fed_only) {
            (true, true) => Some("turned-away and feed-only visits"),
            (true, false) => Some("turned-away visits"),
            (false, true) => Some("feed-only visits"),
            (false, false) => None,
        };
        let others = [
            (self.destination, "where milk went"),
            (self.kicks, "kicked-off cups"),
            (self.take_off, "flows at take-off"),
            (self.entry, "times of entry"),
        ];
        let all: Vec<&str> = visits
            .into_iter()
            .chain(others.into_iter().filter_map(|(is, words)| is.then_some(words)))
            .collect();
        let words = match all.split_last() {
            Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
            _ => all.join(", "),
        };
        let mut letters = words.chars();
        let first = letters.next()?;
        Some(format!(
            "{}{} are not known from this source: unknown, not zero.",
            first.to_uppercase(),
            letters.as_str()
        ))
    }
}

/// What cannot be said of each box, by its visits of the last three days. A box that is not among them had none, or all
/// can be said of it, as can be of one that is [`Unsaid::default`].
///
/// # Errors
/// When the store fails.
pub fn of_boxes(barn: &Barn, at: Timestamp) -> anyhow::Result<BTreeMap<String, Unsaid>> {
    let from = at.checked_sub(LATELY).context("a time before the calendar")?;
    let boxes = barn.store.boxes_cannot_say(from, at)?;
    Ok(boxes.into_iter().map(|(name, words)| (name, Unsaid::of(words.iter().map(String::as_str)))).collect())
}

/// What a round should say of it: once where it is the same of all boxes, else box by box. Flows at take-off and times of
/// entry are left to Records.
///
/// # Errors
/// When the store fails.
pub fn notes(barn: &Barn, at: Timestamp) -> anyhow::Result<Vec<String>> {
    let mut boxes = of_boxes(barn, at)?;
    for unsaid in boxes.values_mut() {
        (unsaid.take_off, unsaid.entry) = (false, false);
    }
    let Some(first) = boxes.values().next().copied() else { return Ok(Vec::new()) };
    if boxes.values().all(|unsaid| *unsaid == first) {
        return Ok(first.sentence().into_iter().collect());
    }
    let of_box = |(name, unsaid): (&String, &Unsaid)| Some(format!("Box {name}: {}", unsaid.sentence()?));
    Ok(boxes.iter().filter_map(of_box).collect())
}

/// Cows whose visits were read under their official number before the herd list named them.
///
/// # Errors
/// When the store fails.
pub fn named_later(barn: &Barn) -> anyhow::Result<Vec<String>> {
    let all = barn.store.named_later(super::exchange::MAP)?;
    let mut notes: Vec<String> = (all.iter().take(NAMED))
        .map(|(official, herd)| {
            format!("{official} may be cow {herd}: her herd list came later; read the visits again.")
        })
        .collect();
    if NAMED < all.len() {
        notes.push(format!("So may {} other numbers be cows of the herd list.", all.len() - NAMED));
    }
    Ok(notes)
}

#[cfg(test)]
mod tests;
