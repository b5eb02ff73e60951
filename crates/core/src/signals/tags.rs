//! Which tags send nothing that a cow could do?
//!
//! # Rule
//!   a whole tag     three bins in a row with every figure the same, or one with nothing but zeros ([`Frozen`])
//!   one column      the same figure for [`TAG_H`] hours, and three times as long as ever before in the span ([`Tags`])
//!   all tags        in [`SLOTS`] slots of two hours and more, at least [`HERD_FROM`] cows, and all have one figure in it
//! # Source
//! Stated defaults, no published source. A day: an ill cow chews little and a cow in heat hardly lies, but no cow goes without
//! a minute of either for a whole day and night; a shorter silence of one column must be allowed to be illness.
//! # Not here
//! What is said of them, and that such a cow should be looked at all the same: `app`.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use super::{
    columns::{Column, OF_TAG, figures},
    stuck::{Stuck, Whose},
};
use crate::{herd::LifeKey, tables::Bin};

/// Hours for which one column of a tag must have one figure.
pub const TAG_H: f64 = 24.0;
/// Bins of it, of zeros and of another figure: a figure other than 0 is repeated by chance more easily than kept at 0.
const TAG_BINS: (u32, u32) = (3, 8);
/// A row of equal figures is told from her own usual ones by being so many times as long.
const TIMES_OWN: i64 = 3;
/// Cows that must have one figure at one time, and slots in a row in which they must.
const HERD_FROM: u32 = 6;
const SLOTS: usize = 2;
/// One slot of the herd, ms.
const SLOT_MS: i64 = 7_200_000;

/// Equal figures of one column of one tag in a row.
#[derive(Debug, Clone, Copy, Default)]
struct Same {
    value: Option<f64>,
    minutes: f64,
    from_ms: i64,
    to_ms: i64,
    bins: u32,
    /// The longest such row before, ms.
    longest_ms: i64,
    began: bool,
}

impl Same {
    fn take(&mut self, value: f64, minutes: f64, (from_ms, to_ms): (i64, i64)) -> Option<Same> {
        if self.value == Some(value) && (value == 0.0 || self.minutes == minutes) {
            (self.to_ms, self.bins) = (to_ms, self.bins + 1);
            return None;
        }
        let ended = self.stuck();
        let longest_ms = match (ended, self.value) {
            (None, Some(_)) => self.longest_ms.max(self.to_ms - self.from_ms),
            _ => self.longest_ms,
        };
        let began = self.value.is_some();
        *self = Same { value: Some(value), minutes, from_ms, to_ms, bins: 1, longest_ms, began };
        ended
    }

    fn stuck(&self) -> Option<Same> {
        let fewest = if self.value == Some(0.0) { TAG_BINS.0 } else { TAG_BINS.1 };
        let lasted_ms = self.to_ms - self.from_ms;
        let long = (TAG_H * 3_600_000.0) as i64 <= lasted_ms && TIMES_OWN * self.longest_ms < lasted_ms;
        (long && fewest <= self.bins).then_some(*self)
    }

    fn told(&self, life: LifeKey, column: Column, mended: bool) -> Option<Stuck> {
        Some(Stuck {
            whose: Whose::Cow(life),
            column,
            from: Timestamp::from_millisecond(self.from_ms).ok()?,
            to: Timestamp::from_millisecond(self.to_ms).ok()?,
            value: self.value,
            began: self.began,
            mended,
        })
    }
}

/// What all tags said of one column in one slot: the first rate, cows, and whether all say it.
#[derive(Debug, Clone, Copy, Default)]
struct Slot {
    rate: Option<f64>,
    apart: bool,
    cows: u32,
    life: Option<LifeKey>,
    from_ms: i64,
    to_ms: i64,
}

impl Slot {
    fn is_dead(&self) -> bool {
        !self.apart && HERD_FROM <= self.cows
    }
}

/// The tags of the herd, column by column; each cow's bins come in order of time.
#[derive(Debug, Clone, Default)]
pub struct Tags {
    /// By cow.
    cows: Vec<[Same; OF_TAG.len()]>,
    slots: BTreeMap<i64, [Slot; OF_TAG.len()]>,
    stuck: Vec<Stuck>,
}

impl Tags {
    /// Takes the next bin of a cow.
    pub fn take(&mut self, life: LifeKey, bin: &Bin) {
        let place = life.0 as usize;
        if self.cows.len() <= place {
            self.cows.resize(place + 1, Default::default());
        }
        let own = &mut self.cows[place];
        let (from_ms, to_ms) = (bin.from.as_millisecond(), end(bin).as_millisecond());
        let slots = self.slots.entry(from_ms.div_euclid(SLOT_MS)).or_default();
        for (place, value) in figures(bin).into_iter().enumerate() {
            let Some(value) = value else { continue };
            if let Some(ended) = own[place].take(value, bin.minutes, (from_ms, to_ms)) {
                self.stuck.extend(ended.told(life, OF_TAG[place], true));
            }
            let slot = &mut slots[place];
            let rate = value / bin.minutes;
            if slot.rate.is_none() {
                (slot.rate, slot.from_ms) = (Some(rate), from_ms);
            }
            slot.apart |= slot.rate != Some(rate);
            slot.cows += u32::from(slot.life != Some(life));
            slot.life = Some(life);
            (slot.from_ms, slot.to_ms) = (slot.from_ms.min(from_ms), slot.to_ms.max(to_ms));
        }
    }

    /// Every stretch in which a column of all tags was stuck, then those of single ones while the herd's were not.
    pub fn end(mut self) -> Vec<Stuck> {
        let mut all: Vec<Stuck> = Vec::new();
        for (place, column) in OF_TAG.into_iter().enumerate() {
            let slots: Vec<Slot> =
                self.slots.values().map(|slots| slots[place]).filter(|slot| slot.rate.is_some()).collect();
            let mut told = 0;
            for run in slots.chunk_by(|a, b| a.is_dead() == b.is_dead() && (!a.is_dead() || a.rate == b.rate))
            {
                let began = 0 < told;
                told += run.len();
                if run[0].is_dead() && SLOTS <= run.len() {
                    all.extend(of_herd(column, run, began, told < slots.len()));
                }
            }
        }
        for (life, own) in (0..).map(LifeKey).zip(&self.cows) {
            let going_on =
                own.iter().zip(OF_TAG).filter_map(|(same, column)| same.stuck()?.told(life, column, false));
            self.stuck.extend(going_on);
        }
        // A tag that is as the herd's for most of the time is told with it.
        self.stuck.retain(|own| {
            !all.iter().filter(|herd| herd.column == own.column).any(|herd| {
                let shared = herd.to.min(own.to).duration_since(herd.from.max(own.from));
                own.to.duration_since(own.from) < shared * 2
            })
        });
        self.stuck.sort_by_key(|own| (own.whose, own.column, own.from));
        all.append(&mut self.stuck);
        all
    }
}

fn of_herd(column: Column, run: &[Slot], began: bool, mended: bool) -> Option<Stuck> {
    let from_ms = run.iter().map(|slot| slot.from_ms).min()?;
    let to_ms = run.iter().map(|slot| slot.to_ms).max()?;
    Some(Stuck {
        whose: Whose::Herd,
        column,
        from: Timestamp::from_millisecond(from_ms).ok()?,
        to: Timestamp::from_millisecond(to_ms).ok()?,
        value: run[0].rate,
        began,
        mended,
    })
}

/// Tells stuck bins of one cow from others; bins come in order of time.
///
/// Three bins in a row with every figure the same to the last digit do not happen to a moving cow, nor does a single one
/// in which all of them are 0: neither illness nor rest looks like it.
#[derive(Debug, Clone, Default)]
pub struct Frozen {
    held: Vec<Bin>,
    stuck: Option<(Timestamp, Timestamp, bool)>,
}

/// Equal bins in a row from which the sensor is stuck.
const EQUAL_BINS: usize = 3;

impl Frozen {
    /// Takes the next bin; those that are now known to be sound are handed to `sound`.
    pub fn take(&mut self, bin: &Bin, sound: &mut dyn FnMut(&Bin)) {
        if all_zero(bin) {
            self.release(sound);
            let from = self
                .stuck
                .filter(|(_, to, zero)| *zero && *to == bin.from)
                .map_or(bin.from, |(from, ..)| from);
            self.stuck = Some((from, end(bin), true));
            return;
        }
        if self.held.last().is_some_and(|last| same(last, bin)) {
            self.held.push(*bin);
            if EQUAL_BINS <= self.held.len() {
                let from = self.held.first().map_or(bin.from, |first| first.from);
                self.stuck = Some((from, end(bin), false));
            }
            return;
        }
        self.release(sound);
        self.held.push(*bin);
    }

    fn release(&mut self, sound: &mut dyn FnMut(&Bin)) {
        if self.held.len() < EQUAL_BINS {
            self.held.iter().for_each(sound);
        }
        self.held.clear();
    }

    /// No more bins come: the last ones, and the stretch in which the sensor was stuck last.
    pub fn end(mut self, life: LifeKey, sound: &mut dyn FnMut(&Bin)) -> Option<Stuck> {
        self.release(sound);
        self.stuck.map(|(from, to, zero)| Stuck {
            whose: Whose::Cow(life),
            column: Column::Movement,
            from,
            to,
            value: zero.then_some(0.0),
            began: true,
            mended: false,
        })
    }
}

/// All measured figures are 0, and more than one is measured.
fn all_zero(bin: &Bin) -> bool {
    let measured = all(bin).into_iter().flatten();
    1 < measured.clone().count() && measured.into_iter().all(|value| value == 0.0)
}

/// The same figures; one that is measured alone, or only zeros, could be so by chance.
fn same(a: &Bin, b: &Bin) -> bool {
    let told = all(a).into_iter().flatten().filter(|value| *value != 0.0).count();
    2 <= told && all(a) == all(b) && a.minutes == b.minutes
}

fn all(bin: &Bin) -> [Option<f64>; 5] {
    [bin.activity, bin.rumination_min, bin.eating_min, bin.lying_min, bin.steps]
}

fn end(bin: &Bin) -> Timestamp {
    let length = SignedDuration::from_secs((bin.minutes * 60.0) as i64);
    bin.from.saturating_add(length).unwrap_or(bin.from)
}
