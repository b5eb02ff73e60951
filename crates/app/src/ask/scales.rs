//! Sensors whose readings lie on another scale since some day.
//!
//! # Rule
//! Looked at are the fourteen days before a time, in blocks of 24 hours that end there. Of a box the middle of a block's
//! readings is one value, from ten readings on; of movement the middle of the cows' rates, and of one cow her rate beside that
//! middle. How a step is found: `core/signals/jump`; from how many times on it is told: [`OF_BOX`], [`OF_HERD`], [`OF_COW`].
//! # Not here
//! Sensors that are stuck: [`super::stuck`]. Readings outside their range: the quarantine.

use std::collections::BTreeMap;

use cowpath_core::{
    say::{number, when},
    signals::jump::{self, Jump, Unit},
    tables::Visit,
};
use cowpath_store::Rates;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{cast::Cast, silence::Silent};

/// Blocks that are looked at.
pub const BLOCKS: usize = 14;
/// Length of a block.
const BLOCK: SignedDuration = SignedDuration::from_hours(24);
/// Fewest readings of a box, and fewest cows, of which a block has a middle.
const FEWEST: (usize, usize) = (10, 5);

/// A reading of a box: its name, how many times what it was is no cow's doing, and the reading. Stated defaults: wider than
/// a herd's middle moves within two weeks by heat, feed, or who calves. Cells of a herd move by half and more.
type Reading = (&'static str, f64, fn(&Visit) -> Option<f64>);

const OF_BOX: [Reading; 9] = [
    ("milk", 1.4, |visit| visit.milk_kg.filter(|milk| 1.0 < *milk)),
    ("conductivity", 1.2, |visit| mean(visit.quarters.iter().map(|quarter| quarter.ms_cm))),
    ("milk flow", 1.5, |visit| mean(visit.quarters.iter().map(|quarter| quarter.flow_kg_min))),
    ("milk temperature", 1.04, |visit| visit.milk_c),
    ("fat", 1.4, |visit| visit.fat_pct),
    ("protein", 1.25, |visit| visit.protein_pct),
    ("lactose", 1.15, |visit| visit.lactose_pct),
    ("cell count", 5.0, |visit| visit.scc_k),
    ("weight", 1.12, |visit| visit.weight_kg),
];

/// The same of what sensors on cows tell, for the herd's middle.
const OF_HERD: [(&str, f64); 5] =
    [("activity", 1.8), ("rumination", 1.6), ("eating time", 1.8), ("lying time", 1.6), ("steps", 1.8)];

/// And for one cow beside the herd: up, and down. A heat lasts less than a day and no cow chews three times her own; a lame
/// or dull cow may do a third of her own, so downwards only what is next to nothing is told.
const OF_COW: [(f64, f64); 5] = [(5.0, 12.0), (3.0, 12.0), (4.0, 12.0), (3.0, 12.0), (5.0, 12.0)];

/// Mean of those that were measured.
fn mean(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let (sum, count) = values.flatten().fold((0.0, 0), |(sum, count), value| (sum + value, count + 1));
    (0 < count).then(|| sum / f64::from(count))
}

/// One signal of one box.
#[derive(Default)]
struct Series {
    blocks: [Vec<f64>; BLOCKS],
}

impl Series {
    fn jump(&mut self, least: f64) -> Option<Jump> {
        let middles: Vec<Option<f64>> = self.blocks.iter_mut().map(|block| middle(block, FEWEST.0)).collect();
        jump::jump(&middles, least, 1)
    }
}

fn middle(values: &mut [f64], fewest: usize) -> Option<f64> {
    if values.len() < fewest {
        return None;
    }
    let half = values.len() / 2;
    Some(*values.select_nth_unstable_by(half, f64::total_cmp).1)
}

/// Readings of boxes by signal and block.
#[derive(Default)]
pub struct Scales {
    boxes: BTreeMap<usize, [Series; OF_BOX.len()]>,
}

/// The block of an instant, counted from the oldest; `None` before all of them.
fn block(then: Timestamp, at: Timestamp) -> Option<usize> {
    let back = at.duration_since(then).as_millis().max(0) / BLOCK.as_millis();
    usize::try_from(back).ok().and_then(|back| (BLOCKS - 1).checked_sub(back))
}

/// When a block begins.
fn begin(block: usize, at: Timestamp) -> Timestamp {
    at.saturating_sub(BLOCK * (BLOCKS - block) as i32).unwrap_or(at)
}

impl Scales {
    /// One more visit that ended by `at`; visits come in order of time.
    pub fn take(&mut self, visit: &Visit, at: Timestamp) {
        let Some(block) = block(visit.started_at, at) else { return };
        let own = self.boxes.entry(usize::from(visit.at_box.0)).or_default();
        for (series, (_, _, read)) in own.iter_mut().zip(&OF_BOX) {
            if let Some(value) = read(visit) {
                series.blocks[block].push(value);
            }
        }
    }

    /// What is told of the boxes; a step that all of them make together is told once.
    pub fn told(mut self, cast: &Cast, zone: &TimeZone, at: Timestamp, silent: &mut Vec<Silent>) {
        let many = 1 < self.boxes.len();
        for (place, (name, least, _)) in OF_BOX.iter().enumerate() {
            let mut jumps: Vec<(String, Jump)> = Vec::new();
            for (key, own) in &mut self.boxes {
                let Some(of_box) = cast.boxes.get(*key) else { continue };
                if let Some(jump) = own[place].jump(*least) {
                    jumps.push((of_box.clone(), jump));
                }
            }
            let alike = jumps.iter().all(|(_, own)| {
                jumps.first().is_some_and(|(_, first)| {
                    own.block.abs_diff(first.block) <= 1 && (own.times() / first.times()).ln().abs() < 0.1
                })
            });
            if many && alike && jumps.len() == self.boxes.len() {
                jumps.truncate(1);
                jumps.iter_mut().for_each(|(name, _)| name.clear());
            }
            for (of_box, jump) in jumps {
                let whose = if of_box.is_empty() {
                    format!("{} at every box", upper(name))
                } else {
                    format!("{} at box {of_box}", upper(name))
                };
                let box_name = Some(of_box).filter(|name| !name.is_empty());
                silent.push(stepped(name, box_name, Vec::new(), &whose, &jump, zone, at));
            }
        }
    }
}

/// What is told of sensors on cows, by their rates in each block.
pub fn of_cows(rates: &[Rates], cast: &Cast, zone: &TimeZone, at: Timestamp, silent: &mut Vec<Silent>) {
    for (place, ((name, least), (up, down))) in OF_HERD.iter().zip(&OF_COW).enumerate() {
        let mut all: [Vec<f64>; BLOCKS] = Default::default();
        let mut hers: BTreeMap<&str, [Option<f64>; BLOCKS]> = BTreeMap::new();
        for one in rates {
            if let (Some(block), Some(rate)) =
                (BLOCKS.checked_sub(one.days_back.saturating_add(1)), one.rates[place])
                && 0.0 < rate
            {
                all[block].push(rate);
                hers.entry(one.animal.as_str()).or_default()[block] = Some(rate);
            }
        }
        let herd: Vec<Option<f64>> = all.iter_mut().map(|block| middle(block, FEWEST.1)).collect();
        if let Some(jump) = jump::jump(&herd, *least, 1) {
            silent.push(stepped(
                name,
                None,
                Vec::new(),
                &format!("{} of the herd", upper(name)),
                &jump,
                zone,
                at,
            ));
        }
        for (animal, own) in hers {
            let beside: Vec<Option<f64>> =
                own.iter().zip(&herd).map(|(own, herd)| Some((*own)? / (*herd)?)).collect();
            let Some(jump) = jump::jump(&beside, *up, 2) else { continue };
            if (1.0 < jump.times() || jump.times() < 1.0 / down)
                && cast.find(animal, at).is_some_and(|life| life.present(at))
            {
                let whose = format!("{} of {animal}", upper(name));
                silent.push(stepped(name, None, vec![animal.to_owned()], &whose, &jump, zone, at));
            }
        }
    }
}

/// The sentence of a step.
fn stepped(
    signal: &str,
    box_name: Option<String>,
    animals: Vec<String>,
    whose: &str,
    jump: &Jump,
    zone: &TimeZone,
    at: Timestamp,
) -> Silent {
    let since = begin(jump.block, at);
    let supposed = match jump.unit() {
        Some(Unit::Pounds) => ", as if pounds stood where kilograms did",
        Some(Unit::Kilograms) => ", as if kilograms stood where pounds did",
        Some(Unit::Hours) => ", as if hours stood where minutes did",
        Some(Unit::Minutes) => ", as if minutes stood where hours did",
        Some(Unit::Thousandfold | Unit::Thousandth | Unit::Decimals) => {
            ", as if the decimal sign had moved or the unit had changed"
        }
        None => "",
    };
    let beside = if animals.is_empty() { "" } else { ", beside the herd's" };
    let times = jump.times();
    let step = number::plain(
        times,
        if times < 0.1 {
            3
        } else if times < 1.995 {
            2
        } else {
            usize::from(times < 20.0)
        },
    );
    Silent {
        signal: signal.to_owned(),
        box_name,
        animals,
        since: when::rfc3339(since, zone),
        sentence: format!(
            "{whose} is {step} times what it was since about {}{beside}{supposed}. No illness or feed does this: look at how it is measured and written before you trust what rests on it.",
            when::day(since, at, zone)
        ),
    }
}

fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
pub(super) mod tests;
