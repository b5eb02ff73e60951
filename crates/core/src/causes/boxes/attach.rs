//! Does a cup of a box fail to attach?
//!
//! # Equation
//! A milking in which one quarter gave next to nothing, while others gave, failed in that quarter.
//! chance of it = p + (1 − p)·L      p  that quarter's own habit, elsewhere or before    L  what the cup adds
//! ln L(six hours | L) = temper · Σ over milkings of ln(chance) or ln(1 − chance)
//!   p = (failed of hers + 8·p_herd) / (hers + 8)     a cow that kicks one quarter off everywhere says nothing of a cup
//! Where quarters are not measured, nothing is said.

use std::collections::BTreeMap;

use super::{
    BoxFault, Boxes, before,
    chain::{Law, Look, follow},
    log::Row,
    median, steps,
};
use crate::{
    causes::{Cause, worth::Settings},
    expect::{BIN_MS, Signal},
    herd::{BoxKey, LifeKey, Quarter},
};

/// Chance of failing that a cup adds. Stated defaults.
const LAW: Law = Law {
    low: 0.0,
    high: 0.96,
    spacing: 0.04,
    rest: 0.015,
    rest_days: 30.0,
    size: 0.40,
    least: 0.08,
    speed: 0.06,
};

/// A quarter that gives less than this share of its usual milk gave next to nothing. Stated default.
const NOTHING: f64 = 0.15;
/// A quarter that usually gives less tells nothing, kg.
const LEAST_KG: f64 = 0.3;
/// A cow's milkings are alike, but what her quarter does elsewhere is taken off already. Stated default.
const TEMPER: f64 = 0.85;
/// How many milkings the herd's share weighs in a quarter's own.
const HERD_WEIGHS: f64 = 8.0;
/// Least share that is believed of a herd: one in 250.
const LEAST_SHARE: f64 = 0.004;
/// Failures of fewer cows are theirs, not the cup's.
const LEAST_COWS: u32 = 3;
/// With one box a quarter's habit is from before these days.
const HABIT_BEFORE_H: f64 = 72.0;

/// One quarter of one milking.
struct Tried {
    life: LifeKey,
    to_ms: i64,
    failed: bool,
}

/// How often one quarter of each cow was tried, and failed; by cow, as the lists of usual milk are.
type Habits = Vec<Habit>;

#[derive(Debug, Clone, Copy, Default)]
struct Habit {
    failed: f64,
    tried: f64,
}

/// One quarter of all milkings.
struct Cup {
    cup: usize,
    /// By box, in order of their ends.
    of_box: Vec<Vec<Tried>>,
    /// In all boxes.
    everywhere: Habits,
    /// The herd's share.
    share: f64,
}

pub(crate) fn judge(boxes: &Boxes, rows: &[&Row], settings: &Settings) -> Vec<BoxFault> {
    let usual = usual(rows);
    let mut of_cups = tried(rows, &usual);
    let keys: Vec<BoxKey> = boxes.courses.iter().map(|(key, _)| *key).collect();
    (0..4)
        .flat_map(|cup| {
            let cup = Cup::of(std::mem::take(&mut of_cups[cup]), usual.len(), cup, &keys);
            keys.iter().filter_map(|key| cup.one(boxes, *key, settings)).collect::<Vec<_>>()
        })
        .collect()
}

/// Each cow's usual milk by quarter, kg.
fn usual(rows: &[&Row]) -> Vec<[f64; 4]> {
    let lives = rows.iter().map(|row| row.life.0 as usize + 1).max().unwrap_or(0);
    let mut all: Vec<[Vec<f64>; 4]> = vec![Default::default(); lives];
    for row in rows.iter().filter(|row| row.tried()) {
        let own = &mut all[row.life.0 as usize];
        for (cup, own) in own.iter_mut().enumerate() {
            own.extend(row.quarter_kg(cup));
        }
    }
    all.into_iter().map(|quarters| quarters.map(|mut kg| median(&mut kg).unwrap_or(0.0))).collect()
}

/// Every quarter that was tried, by cup and box.
fn tried(rows: &[&Row], usual: &[[f64; 4]]) -> [Vec<Vec<Tried>>; 4] {
    let boxes = rows.iter().map(|row| usize::from(row.at_box.0) + 1).max().unwrap_or(0);
    let mut tried: [Vec<Vec<Tried>>; 4] =
        std::array::from_fn(|_| std::iter::repeat_with(Vec::new).take(boxes).collect());
    for row in rows.iter().filter(|row| row.tried()) {
        let usual = usual[row.life.0 as usize];
        let nothing = |cup: usize| row.quarter_kg(cup).is_some_and(|kg| kg < NOTHING * usual[cup]);
        // A cow who lets nothing be taken from her is no word of one cup.
        let missed = (0..4).filter(|cup| LEAST_KG < usual[*cup] && nothing(*cup)).count();
        if 3 <= missed {
            continue;
        }
        for (cup, of_box) in tried.iter_mut().enumerate() {
            if row.quarter_kg(cup).is_some() && LEAST_KG < usual[cup] {
                let own = Tried { life: row.life, to_ms: row.to_ms, failed: nothing(cup) };
                of_box[usize::from(row.at_box.0)].push(own);
            }
        }
    }
    tried
}

/// The share that fails where nothing is wrong: the least of the boxes' shares in this cup, drawn to what is common.
fn herd_share(of_box: &[Vec<Tried>], keys: &[BoxKey]) -> f64 {
    let shares = keys.iter().filter_map(|key| {
        let own = of_box.get(usize::from(key.0))?;
        let (count, failed) = (own.len() as f64, own.iter().filter(|one| one.failed).count() as f64);
        (50.0 <= count).then(|| (failed + 1.0) / (count + 60.0))
    });
    shares.fold(f64::INFINITY, f64::min).clamp(LEAST_SHARE, 0.05)
}

fn habits<'t>(lives: usize, tried: impl Iterator<Item = &'t Tried>) -> Habits {
    let mut habits = vec![Habit::default(); lives];
    for one in tried {
        let own = &mut habits[one.life.0 as usize];
        own.failed += f64::from(u8::from(one.failed));
        own.tried += 1.0;
    }
    habits
}

impl Cup {
    fn of(of_box: Vec<Vec<Tried>>, lives: usize, cup: usize, keys: &[BoxKey]) -> Cup {
        let everywhere = habits(lives, of_box.iter().flatten());
        let share = herd_share(&of_box, keys);
        Cup { cup, of_box, everywhere, share }
    }

    /// The habits of those who were tried in a box: elsewhere, or before where it is the only one. By cow; of others nothing.
    fn habits(&self, boxes: &Boxes, at_box: BoxKey, here: &[Tried]) -> Vec<f64> {
        let habit_ms = before(boxes.at, HABIT_BEFORE_H).as_millisecond();
        let mut of_box = self.of_box.iter().enumerate();
        let several = of_box.any(|(other, tried)| other != usize::from(at_box.0) && !tried.is_empty());
        let counted = here.iter().filter(|one| several || one.to_ms < habit_ms);
        let own = habits(self.everywhere.len(), counted);
        let habit = |(own, all): (&Habit, &Habit)| {
            // What she did elsewhere is what she did everywhere, less what she did here.
            let (failed, tried) = if several {
                (all.failed - own.failed, all.tried - own.tried)
            } else {
                (own.failed, own.tried)
            };
            ((failed + HERD_WEIGHS * self.share) / (tried + HERD_WEIGHS)).clamp(LEAST_SHARE, 0.9)
        };
        own.iter().zip(&self.everywhere).map(habit).collect()
    }

    fn one(&self, boxes: &Boxes, at_box: BoxKey, settings: &Settings) -> Option<BoxFault> {
        let here = self.of_box.get(usize::from(at_box.0))?;
        // Where too few cows ever failed nothing would be told whatever the looks come to.
        if cows_of(here, true) < LEAST_COWS {
            return None;
        }
        let habits = self.habits(boxes, at_box, here);
        let habit = |one: &Tried| habits[one.life.0 as usize];
        let looks = looks(here, &habit, boxes)?;
        let verdict = follow(&LAW, looks, settings.rates.of_place(Cause::Attachment) / 4.0)?;
        let from_ms = verdict.since.as_millisecond() - BIN_MS / 2;
        let since = &here[here.partition_point(|one| one.to_ms < from_ms)..];
        if cows_of(since, true) < LEAST_COWS {
            return None;
        }
        let failed = since.iter().filter(|one| one.failed).count() as f64;
        let usual: f64 = since.iter().map(habit).sum();
        let count = since.len() as f64;
        let reason = (Signal::QuarterMilk, 100.0 * failed / count, 100.0 * usual / count);
        let counted = (since.len() as u32, cows_of(since, false));
        let place = (at_box, Cause::Attachment, Some(Quarter::ALL[self.cup]));
        Some(BoxFault::of(place, verdict, reason, counted))
    }
}

/// Cows that were tried, or only those that failed.
fn cows_of(tried: &[Tried], failed: bool) -> u32 {
    let mut cows: Vec<LifeKey> =
        tried.iter().filter(|one| one.failed || !failed).map(|one| one.life).collect();
    cows.sort_unstable();
    cows.dedup();
    cows.len() as u32
}

/// What each six hours of a box tell.
fn looks(here: &[Tried], habit: &impl Fn(&Tried) -> f64, boxes: &Boxes) -> Option<Vec<Look>> {
    let levels = LAW.levels();
    // Of equal habits many logarithms are the same: of those that failed, and of those that did not.
    let mut known: BTreeMap<(u64, bool), Vec<f64>> = BTreeMap::new();
    let looks = steps(here.first()?.to_ms, boxes.at).map(|from_ms| {
        let start = here.partition_point(|one| one.to_ms < from_ms);
        let end = here.partition_point(|one| one.to_ms < from_ms + BIN_MS);
        let mut sums = vec![0.0; levels.len()];
        for one in &here[start..end] {
            let habit = habit(one);
            let logs = known.entry((habit.to_bits(), one.failed)).or_insert_with(|| {
                let chance = |level: &f64| habit + (1.0 - habit) * level;
                let log = |chance: f64| if one.failed { chance.ln() } else { (1.0 - chance).ln() };
                levels.iter().map(|level| log(chance(level))).collect()
            });
            sums.iter_mut().zip(logs.iter()).for_each(|(sum, log)| *sum += log);
        }
        let log = sums.into_iter().map(|sum| TEMPER * sum).collect();
        Look::of(from_ms, (start < end).then_some(log))
    });
    Some(looks.collect())
}
