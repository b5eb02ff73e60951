//! Which figures does a sensor send that no cow makes: zeros alone, or one and the same again and again?
//!
//! # Rule
//! Each column is asked by itself, where its sensor sits.
//!   of a box (a probe, a meter, a scale): n readings in a row that repeat the one before to the last digit, whoever stands in
//!     it. The share p of readings that repeat is counted while the sensor is sound; it is stuck when p^n < 10^−9 ([`Run`])
//!   of a tag, and of all tags: [`super::tags`]
//! # Source
//! Stated default, no published source. 10^−9: a large herd has some 10^5 readings of twenty columns in ten days, and no
//! statement about a sensor may come of chance.
//! # Not here
//! A scale that moved: [`super::jump`]. A sensor that sends nothing: no row, no reading.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{
    Reading,
    columns::{Column, OF_BOX},
    ways,
};
use crate::{
    herd::{BoxKey, LifeKey},
    tables::Visit,
};

/// Chance below which a row of equal readings is no accident: logarithm of 10^−9.
const BY_CHANCE: f64 = -20.723;
/// Equal readings in a row, and changes of the cow within them, below which nothing is told.
const FEWEST: (u32, u32) = (8, 4);

/// Whose sensor it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Whose {
    /// A sensor of a box.
    Box(BoxKey),
    /// The tags of all cows.
    Herd,
    /// The tag of one cow.
    Cow(LifeKey),
}

/// A stretch in which a sensor sent nothing that a cow could do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stuck {
    /// Whose sensor.
    pub whose: Whose,
    /// What it measures.
    pub column: Column,
    /// Begin of the first reading of it.
    pub from: Timestamp,
    /// End of its last reading so far.
    pub to: Timestamp,
    /// The figure, in the column's unit; `None` where several columns have each their own.
    pub value: Option<f64>,
    /// Other figures came before it in what was read: its begin is known.
    pub began: bool,
    /// Other figures came after it.
    pub mended: bool,
}

impl Stuck {
    /// All its figures are exactly 0.
    pub fn zero(&self) -> bool {
        self.value == Some(0.0)
    }

    /// A reading is one of these: by the same sensor, of that time.
    pub(crate) fn holds(&self, reading: &Reading) -> bool {
        let here = match self.whose {
            Whose::Cow(life) => reading.life == life,
            Whose::Box(at_box) => reading.at_box == Some(at_box),
            Whose::Herd => true,
        };
        here && self.from.as_millisecond() <= reading.from_ms && reading.to_ms <= self.to.as_millisecond()
    }

    /// It is of a tag, and some of it lies in this day of a cow. What a box sent is left out as it comes.
    pub(crate) fn has_day(&self, place: u8, life: u32, day: i32) -> bool {
        let here = match self.whose {
            Whose::Cow(own) => own.0 == life,
            Whose::Herd => true,
            Whose::Box(_) => false,
        };
        let of = |at: Timestamp| at.as_millisecond().div_euclid(86_400_000) as i32;
        here && (of(self.from)..=of(self.to)).contains(&day) && self.place() == Some(usize::from(place))
    }

    /// The place of its readings among signals; `None` where they are read in another way.
    pub(crate) fn place(&self) -> Option<usize> {
        self.column.signal().and_then(|(signal, quarter)| ways::place(signal, quarter))
    }
}

/// Readings of one sensor in a row.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Run {
    last: Option<f64>,
    life: u32,
    /// Readings with this figure, and how often the cow changed among them.
    same: u32,
    turns: u32,
    from_ms: i64,
    to_ms: i64,
    /// Before this row of equal readings: readings unlike, and like, the one before.
    changes: u32,
    repeats: u32,
}

/// A row of equal readings of a stuck sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Begin of the first and end of the last, ms.
    pub span_ms: (i64, i64),
    /// Their figure.
    pub value: f64,
    /// Another figure came before them.
    pub began: bool,
}

impl Run {
    /// Takes the next reading; the row that it ends, if the sensor was stuck until then.
    pub fn take(&mut self, value: f64, life: LifeKey, from_ms: i64, to_ms: i64) -> Option<Row> {
        if self.last == Some(value) {
            self.same += 1;
            self.turns += u32::from(self.life != life.0);
            (self.life, self.to_ms) = (life.0, to_ms);
            return None;
        }
        let ended = self.stuck();
        let (mut changes, mut repeats) = (self.changes, self.repeats);
        if self.last.is_some() {
            changes += 1;
            repeats += if ended.is_none() { self.same - 1 } else { 0 };
        }
        *self = Run { last: Some(value), life: life.0, same: 1, turns: 0, from_ms, to_ms, changes, repeats };
        ended
    }

    /// The row that goes on, if the sensor is stuck by now.
    pub fn stuck(&self) -> Option<Row> {
        if self.same < FEWEST.0 || self.turns < FEWEST.1 {
            return None;
        }
        let (changes, repeats) = (f64::from(self.changes), f64::from(self.repeats));
        let repeating = (repeats + 1.0) / (changes + repeats + 2.0);
        let by_chance = f64::from(self.same - 1) * repeating.ln();
        let row = Row { span_ms: (self.from_ms, self.to_ms), value: self.last?, began: 0 < self.changes };
        (by_chance < BY_CHANCE).then_some(row)
    }
}

/// Hands a visit's readings to the runs of its box's sensors; which of them (as bits) are stuck by then. Rows that ended
/// are handed to `ended`.
pub(crate) fn step(
    runs: &mut [Run],
    columns: &[Column],
    visit: &Visit,
    ended: &mut dyn FnMut(Column, Row),
) -> u32 {
    let (from_ms, to_ms) = (visit.started_at.as_millisecond(), visit.ended_at.as_millisecond());
    let mut stuck = 0;
    for (place, (run, column)) in runs.iter_mut().zip(columns).enumerate() {
        let Some(value) = column.read(visit).filter(|_| column.tells(visit)) else { continue };
        if let Some(row) = run.take(value, visit.life, from_ms, to_ms) {
            ended(*column, row);
        }
        stuck |= u32::from(run.stuck().is_some() && !column.may_repeat(value)) << place;
    }
    stuck
}

/// Takes the columns of [`step`]'s bits out of a visit.
pub(crate) fn take_out(stuck: u32, columns: &[Column], visit: &mut Visit) {
    for (place, column) in columns.iter().enumerate() {
        if stuck >> place & 1 == 1 {
            column.clear(visit);
        }
    }
}

/// The sensors of the boxes; visits of each box come in order of time.
#[derive(Debug, Clone, Default)]
pub struct BoxSensors {
    boxes: BTreeMap<BoxKey, [Run; OF_BOX.len()]>,
    stuck: Vec<Stuck>,
}

impl BoxSensors {
    /// Takes the next visit, and takes out of it what is known by then to be no measurement.
    pub fn take(&mut self, visit: &mut Visit) {
        let runs = self.boxes.entry(visit.at_box).or_default();
        let at_box = visit.at_box;
        let told = &mut self.stuck;
        let bits =
            step(runs, &OF_BOX, visit, &mut |column, row| told.extend(of_row(at_box, column, row, true)));
        take_out(bits, &OF_BOX, visit);
    }

    /// Every stretch in which one was stuck, in order of box and column, the earlier first.
    pub fn end(mut self) -> Vec<Stuck> {
        for (at_box, runs) in &self.boxes {
            let rows = runs.iter().zip(OF_BOX).filter_map(|(run, column)| Some((column, run.stuck()?)));
            self.stuck.extend(rows.filter_map(|(column, row)| of_row(*at_box, column, row, false)));
        }
        self.stuck.sort_by_key(|own| (own.whose, own.column, own.from));
        self.stuck
    }
}

fn of_row(at_box: BoxKey, column: Column, row: Row, mended: bool) -> Option<Stuck> {
    (!column.may_repeat(row.value)).then_some(())?;
    Some(Stuck {
        whose: Whose::Box(at_box),
        column,
        from: Timestamp::from_millisecond(row.span_ms.0).ok()?,
        to: Timestamp::from_millisecond(row.span_ms.1).ok()?,
        value: Some(row.value),
        began: row.began,
        mended,
    })
}

#[cfg(test)]
mod tests;
