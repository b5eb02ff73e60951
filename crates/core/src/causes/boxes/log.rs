//! What the boxes wrote in the last weeks, as far as it tells of the boxes.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::{
    herd::{BoxKey, LifeKey},
    tables::{Destination, Outcome, Visit},
};

/// One visit, no more of it than is asked of boxes.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Row {
    pub life: LifeKey,
    pub at_box: BoxKey,
    pub from_ms: i64,
    pub to_ms: i64,
    pub outcome: Option<Outcome>,
    pub held: bool,
    milk_kg: Figure,
    quarters_kg: [Figure; 4],
    offered_kg: Figure,
    eaten_kg: Figure,
}

/// A figure or none, in the room of one: a large herd has half a million rows.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
struct Figure(f64);

impl Figure {
    fn of(figure: Option<f64>) -> Figure {
        Figure(figure.unwrap_or(f64::NAN))
    }

    fn get(self) -> Option<f64> {
        (!self.0.is_nan()).then_some(self.0)
    }
}

impl Row {
    /// The same visit, as if to another box.
    pub fn in_box(self, at_box: BoxKey) -> Row {
        Row { at_box, ..self }
    }

    /// Milk of the udder, kg.
    pub fn milk_kg(&self) -> Option<f64> {
        self.milk_kg.get()
    }

    /// Milk of one quarter, kg.
    pub fn quarter_kg(&self, cup: usize) -> Option<f64> {
        self.quarters_kg[cup].get()
    }

    /// Concentrate offered, kg.
    pub fn offered_kg(&self) -> Option<f64> {
        self.offered_kg.get()
    }

    /// Concentrate eaten, kg.
    pub fn eaten_kg(&self) -> Option<f64> {
        self.eaten_kg.get()
    }

    /// She was milked out, and her milk was measured.
    pub fn milked(&self) -> bool {
        matches!(self.outcome, Some(Outcome::Milked) | None) && self.milk_kg().is_some()
    }

    /// A milking was tried.
    pub fn tried(&self) -> bool {
        match self.outcome {
            Some(Outcome::TurnedAway | Outcome::Fed) => false,
            Some(_) => true,
            None => self.milk_kg().is_some(),
        }
    }
}

/// Visits of the last weeks; they come in any order and are asked in the order they ended. Kept for another day are its rows
/// alone: what is read back is there for [`BoxLog::take_kept`].
#[derive(Debug, Clone, Default, serde::Serialize, serde::Deserialize)]
pub struct BoxLog {
    rows: Vec<Row>,
    /// By box: places in `rows`.
    #[serde(skip)]
    of_box: BTreeMap<BoxKey, Vec<u32>>,
}

impl BoxLog {
    /// Nothing yet.
    pub fn new() -> BoxLog {
        BoxLog::default()
    }

    /// Nothing was written.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Takes a visit of a cow.
    pub fn take(&mut self, life: LifeKey, visit: &Visit) {
        self.push(Row {
            life,
            at_box: visit.at_box,
            from_ms: visit.started_at.as_millisecond(),
            to_ms: visit.ended_at.as_millisecond(),
            outcome: visit.outcome,
            milk_kg: Figure::of(visit.milk_kg),
            quarters_kg: visit.quarters.map(|quarter| Figure::of(quarter.milk_kg)),
            offered_kg: Figure::of(visit.feed_offered_kg),
            eaten_kg: Figure::of(visit.feed_eaten_kg),
            held: visit.destination == Some(Destination::Held),
        });
    }

    fn push(&mut self, row: Row) {
        self.of_box.entry(row.at_box).or_default().push(self.rows.len() as u32);
        self.rows.push(row);
    }

    /// Takes those visits of a log that was kept which began at a time or later and had ended by another, under the keys of today;
    /// rows of lives and boxes that are no more are left out.
    pub fn take_kept(
        &mut self,
        kept: &BoxLog,
        (from, by): (Timestamp, Timestamp),
        life: impl Fn(LifeKey) -> Option<LifeKey>,
        at_box: impl Fn(BoxKey) -> Option<BoxKey>,
    ) {
        let (from_ms, by_ms) = (from.as_millisecond(), by.as_millisecond());
        self.rows.reserve(kept.rows.len());
        for row in kept.rows.iter().filter(|row| from_ms <= row.from_ms && row.to_ms <= by_ms) {
            if let (Some(life), Some(at_box)) = (life(row.life), at_box(row.at_box)) {
                self.push(Row { life, at_box, ..*row });
            }
        }
    }

    /// Takes the visits of another log, which come after its own.
    pub fn append(&mut self, later: BoxLog) {
        let own = self.rows.len() as u32;
        for (at_box, places) in later.of_box {
            self.of_box.entry(at_box).or_default().extend(places.into_iter().map(|place| own + place));
        }
        self.rows.extend(later.rows);
    }

    /// End of the last visit of any box by `at`, ms.
    pub(crate) fn last_end(&self, at: Timestamp) -> Option<i64> {
        let at_ms = at.as_millisecond();
        self.rows.iter().map(|row| row.to_ms).filter(|to_ms| *to_ms <= at_ms).max()
    }

    /// Rows in the order they ended, none that ended after `at`.
    pub(crate) fn by(&self, at: Timestamp) -> Vec<&Row> {
        let at_ms = at.as_millisecond();
        // Rows are wide: their keys are put in order, and they stay where they are.
        let mut order: Vec<(i64, BoxKey, LifeKey, u32)> = (0..)
            .zip(&self.rows)
            .filter(|(_, row)| row.to_ms <= at_ms)
            .map(|(place, row)| (row.to_ms, row.at_box, row.life, place))
            .collect();
        order.sort_unstable();
        order.into_iter().map(|(.., place)| &self.rows[place as usize]).collect()
    }

    /// Milkings that did not fail, none that ended after `at`, in the order they began: begin, end (ms), box, cow.
    pub(crate) fn milkings(&self, at: Timestamp) -> Vec<(i64, i64, BoxKey, LifeKey)> {
        let at_ms = at.as_millisecond();
        let milked = |row: &&Row| row.to_ms <= at_ms && row.tried() && row.outcome != Some(Outcome::Failed);
        let mut milkings: Vec<(i64, i64, BoxKey, LifeKey)> = self
            .rows
            .iter()
            .filter(milked)
            .map(|row| (row.from_ms, row.to_ms, row.at_box, row.life))
            .collect();
        milkings.sort_unstable();
        milkings
    }

    /// How many readings and cows of a box there are since a time, of those that count.
    pub(crate) fn counted(
        &self,
        at_box: BoxKey,
        from: Timestamp,
        at: Timestamp,
        counts: impl Fn(&Row) -> bool,
    ) -> (u32, u32) {
        let span = from.as_millisecond()..=at.as_millisecond();
        let mut cows: BTreeMap<LifeKey, u32> = BTreeMap::new();
        let own = self.of_box.get(&at_box).into_iter().flatten().map(|place| &self.rows[*place as usize]);
        for row in own.filter(|row| span.contains(&row.to_ms)) {
            if counts(row) {
                *cows.entry(row.life).or_default() += 1;
            }
        }
        (cows.values().sum(), cows.len() as u32)
    }
}
