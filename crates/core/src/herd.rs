//! Cows as the models see them: quarters, lives, lactations, and what was known of a cow at a time.
//!
//! A herd number used again after its cow left is a new animal, so models speak of a [`Life`], not of a number.
//! Parity and days in milk at a time come from calvings dated by then, whatever was read later.

mod staged;

use jiff::{Timestamp, civil::Date, tz::TimeZone};

pub use staged::Stages;

/// One of the four quarters of the udder, in the order left front, right front, left rear, right rear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub enum Quarter {
    /// Left front.
    #[serde(rename = "LF")]
    LeftFront,
    /// Right front.
    #[serde(rename = "RF")]
    RightFront,
    /// Left rear.
    #[serde(rename = "LR")]
    LeftRear,
    /// Right rear.
    #[serde(rename = "RR")]
    RightRear,
}

impl Quarter {
    /// All four, in the order every array of quarters uses.
    pub const ALL: [Quarter; 4] =
        [Quarter::LeftFront, Quarter::RightFront, Quarter::LeftRear, Quarter::RightRear];

    /// The two letters of the exchange standard.
    pub fn code(self) -> &'static str {
        ["LF", "RF", "LR", "RR"][self as usize]
    }
    /// From the two letters of the exchange standard.
    pub fn from_code(code: &str) -> Option<Quarter> {
        Quarter::ALL.into_iter().find(|quarter| quarter.code() == code)
    }
    /// In words, for sentences.
    pub fn words(self) -> &'static str {
        ["left front", "right front", "left rear", "right rear"][self as usize]
    }
}

/// Index of a [`Life`] in the farm's list of lives; small and dense, so that states sit in arrays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct LifeKey(pub u32);

/// Index of a box in the farm's list of boxes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct BoxKey(pub u16);

/// A calving: when, and the parity it began, where it is recorded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calving {
    /// Known from this instant on.
    pub at: Timestamp,
    /// Number of the lactation this calving began (1 = first), if recorded.
    pub parity: Option<u8>,
}

/// One cow from the first row of her number to the day she left.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// Her place in the farm's list.
    pub key: LifeKey,
    /// Herd number or name as the logs write it.
    pub animal: String,
    /// How many cows bore this number before her.
    pub instance: u32,
    /// Rows of this number from here on are hers (none: from the beginning).
    pub from: Option<Timestamp>,
    /// Rows of this number before here are hers (none: to the end); she left or died then.
    pub until: Option<Timestamp>,
    /// 15 digits, ISO 11784, where recorded.
    pub official_id: Option<String>,
    /// Breed as recorded.
    pub breed: Option<String>,
    /// Day of birth, where recorded.
    pub born_on: Option<Date>,
    /// Notes of her calvings in order of time; [`Life::calvings_by`] tells which of them are one calving.
    pub calvings: Vec<Calving>,
    /// Her dry-offs in order of time.
    pub dried_off: Vec<Timestamp>,
    /// Pens in order of time; the first may have no date (from the animal list).
    pub pens: Vec<(Option<Timestamp>, String)>,
}

/// What is known of a cow at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// Lactation number, if any calving's parity is known by then.
    pub parity: Option<u8>,
    /// When she calved last.
    pub calved_at: Option<Timestamp>,
    /// Days since she calved, with their fraction.
    pub days_in_milk: Option<f64>,
    /// Dried off after her last calving.
    pub dry: bool,
}

impl Life {
    /// What was known of her at `at`, from calvings and dry-offs dated by then.
    pub fn stage(&self, at: Timestamp) -> Stage {
        let mut parity: Option<u8> = None;
        let mut calved_at = None;
        for calving in self.calvings_by(at) {
            // A parity recorded at an earlier calving counts on by one a calving.
            parity = calving.parity.or(parity.map(|before| before.saturating_add(1)));
            calved_at = Some(calving.at);
        }
        let dried = self.dried_off[..self.dried_off.partition_point(|dried| *dried <= at)].last();
        Stage {
            parity,
            calved_at,
            days_in_milk: calved_at.map(|calved| crate::time::hours_between(calved, at) / 24.0),
            dry: match (dried, calved_at) {
                (Some(dried), Some(calved)) => calved < *dried,
                (Some(_), None) => true,
                (None, _) => false,
            },
        }
    }

    /// Her calvings as they were known at `at`, in order of time.
    ///
    /// A calving noted by day in one table and by hour in another is one calving: notes less than two days apart count as
    /// the latest of those known by then (the hour, where one is given), with the parity any of them records. They are
    /// kept apart until asked for, so that a note dated later changes nothing that was known before it.
    pub fn calvings_by(&self, at: Timestamp) -> impl Iterator<Item = Calving> {
        let known = &self.calvings[..self.calvings.partition_point(|calving| calving.at <= at)];
        known.chunk_by(|earlier, later| crate::time::hours_between(earlier.at, later.at) < 48.0).filter_map(
            |notes| {
                Some(Calving {
                    at: notes.last()?.at,
                    parity: notes.iter().rev().find_map(|note| note.parity),
                })
            },
        )
    }

    /// Whether she was in the herd at `at`.
    pub fn present(&self, at: Timestamp) -> bool {
        self.from.is_none_or(|from| from <= at) && self.until.is_none_or(|until| at < until)
    }

    /// The pen she was in at `at`, as far as recorded.
    pub fn pen(&self, at: Timestamp) -> Option<&str> {
        self.pens
            .iter()
            .rev()
            .find(|(since, _)| since.is_none_or(|since| since <= at))
            .map(|(_, pen)| pen.as_str())
    }
}

/// A row of the `animals` table, as the herd list needs it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AnimalRow {
    /// Herd number or name.
    pub animal: String,
    /// 15 digits, ISO 11784.
    pub official_id: Option<String>,
    /// Day of birth.
    pub born_on: Option<Date>,
    /// Breed as recorded.
    pub breed: Option<String>,
    /// Lactation number that `calved_on` began.
    pub parity: Option<u8>,
    /// Day of her last calving.
    pub calved_on: Option<Date>,
    /// Pen.
    pub pen: Option<String>,
}

/// A row of the `events` table.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRow {
    /// Herd number or name.
    pub animal: String,
    /// When.
    pub at: Timestamp,
    /// One of the kinds the table declares.
    pub kind: String,
    /// Quarter, where it concerns one.
    pub quarter: Option<Quarter>,
    /// What exactly, in the log's words.
    pub detail: Option<String>,
    /// A figure, where there is one (parity of a calving, weight, score).
    pub value: Option<f64>,
    /// Milk of a treated cow is held until then.
    pub until: Option<Timestamp>,
    /// Free text.
    pub note: Option<String>,
}

/// Puts together who lived in the herd, from every row that names an animal.
///
/// `numbers` are all herd numbers that occur in any table (a cow that only visits a box is a cow too). A number's
/// `left` or `died` event ends a life; a later row of the number begins the next one. Order of rows does not matter; events that
/// come number by number are put together fastest.
/// Lives come sorted by number, then by instance, and `key` is their place in the answer.
pub fn lives<'e>(
    numbers: &[String],
    animals: &[AnimalRow],
    events: impl IntoIterator<Item = &'e EventRow>,
    zone: &TimeZone,
) -> Vec<Life> {
    use std::collections::{BTreeMap, BTreeSet};
    let mut rows_of: BTreeMap<&str, Vec<&AnimalRow>> = BTreeMap::new();
    for row in animals {
        rows_of.entry(&row.animal).or_default().push(row);
    }
    let mut events_of: BTreeMap<&str, Vec<&EventRow>> = BTreeMap::new();
    let events: Vec<&EventRow> = events.into_iter().collect();
    for of_one in events.chunk_by(|a, b| a.animal == b.animal) {
        events_of.entry(&of_one[0].animal).or_default().extend(of_one);
    }
    let mut all: BTreeSet<&str> = numbers.iter().map(String::as_str).collect();
    all.extend(rows_of.keys());
    all.extend(events_of.keys());
    let midnight = |day: Date| crate::time::day_starts(day, zone).ok();
    let mut lives = Vec::with_capacity(all.len());
    for number in all {
        let mut own_events = events_of.remove(number).unwrap_or_default();
        own_events.sort_by(|a, b| (a.at, &a.kind).cmp(&(b.at, &b.kind)));
        let mut own_rows = rows_of.remove(number).unwrap_or_default();
        own_rows.sort_by(|a, b| {
            (a.calved_on, &a.official_id, a.born_on).cmp(&(b.calved_on, &b.official_id, b.born_on))
        });
        let mut ends: Vec<Timestamp> = own_events
            .iter()
            .filter(|event| matches!(event.kind.as_str(), "left" | "died"))
            .map(|event| event.at)
            .collect();
        ends.dedup();
        // Two notes of one departure (left, then died) a day apart are one departure unless she calved or was bought between.
        ends.dedup_by(|later, earlier| crate::time::hours_between(*earlier, *later) <= 48.0);
        for instance in 0..=ends.len() {
            let from = instance.checked_sub(1).map(|before| ends[before]);
            let until = ends.get(instance).copied();
            let hers =
                |at: Timestamp| from.is_none_or(|from| from < at) && until.is_none_or(|until| at <= until);
            let mut life = Life {
                key: LifeKey(lives.len() as u32),
                animal: number.to_owned(),
                instance: instance as u32,
                from,
                until,
                official_id: None,
                breed: None,
                born_on: None,
                calvings: Vec::new(),
                dried_off: Vec::new(),
                pens: Vec::new(),
            };
            for row in &own_rows {
                let calved = row.calved_on.and_then(midnight);
                // A row without a calving tells of the cow that bears the number last.
                if !calved.map_or(until.is_none(), hers) {
                    continue;
                }
                life.official_id = row.official_id.clone().or(life.official_id.take());
                life.breed = row.breed.clone().or(life.breed.take());
                life.born_on = row.born_on.or(life.born_on);
                if let Some(pen) = &row.pen {
                    life.pens.retain(|(since, _)| since.is_some());
                    life.pens.push((None, pen.clone()));
                }
                if let Some(at) = calved {
                    life.calvings.push(Calving { at, parity: row.parity });
                }
            }
            for event in own_events.iter().filter(|event| hers(event.at)) {
                match event.kind.as_str() {
                    "calved" => life.calvings.push(Calving {
                        at: event.at,
                        parity: event
                            .value
                            .filter(|value| (1.0..=20.0).contains(value))
                            .map(|value| value as u8),
                    }),
                    "dried-off" => life.dried_off.push(event.at),
                    "moved" => {
                        if let Some(pen) = &event.detail {
                            life.pens.push((Some(event.at), pen.clone()));
                        }
                    }
                    _ => {}
                }
            }
            life.calvings.sort_by_key(|calving| calving.at);
            let anything = instance == 0 || own_events.iter().any(|event| hers(event.at)) || until.is_none();
            if anything {
                lives.push(life);
            }
        }
    }
    lives
}
