//! Is a box's clock off, by how much, and since when?
//!
//! # Equation
//! Recorded time of a box = true time + d. Of each d of a grid, the box's times less d, each cow's milkings are put in order
//! anew, and ln L(d) = ½ Σ ln p(hours between two of them), by twelve hours of the log
//!   p  hours between two milkings in one and the same box: there a wrong clock cancels out    ½  cows go in company
//! d(t) is the likeliest path of steps ([`STEP_COSTS`] each): a clock jumps, and somebody sets it right.
//! Of two boxes d of one is −d of the other. Which of them it is, is told by
//!   Σ ln λ(hour of day of its visits less d)    λ its visits by half-hour of the days outside the step: cleaning, fetching, night
//!   the log's end: who is behind ends d before the others and before other rows; who is ahead ends d after them.
//! Where neither tells, both are named.
//! # Source
//! Grid, costs and limits are stated defaults.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{BoxLog, before};
use crate::herd::{BoxKey, LifeKey};

/// A box whose clock looks off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockOff {
    /// Which box.
    pub at_box: BoxKey,
    /// How far its clock is behind (below 0) or ahead (above 0) of the others', h.
    pub hours: f64,
    /// Another box whose clock may be the wrong one, the other way round.
    pub or: Option<BoxKey>,
    /// From about when, to twelve hours.
    pub from: Timestamp,
    /// Until about when; `None`: it still is.
    pub until: Option<Timestamp>,
}

/// A clock that is less off makes no cow's interval strange, h.
const LEAST_H: f64 = 0.75;
/// Most a clock is looked for off, and in steps of so much, h.
const MOST_H: f64 = 6.0;
const GRID_H: f64 = 0.25;
/// Days looked back on, in parts of so many hours.
const BACK_D: usize = 10;
const PART_H: f64 = 12.0;
/// What a step costs, natural units: one in some years of a box's half days.
const STEP_COSTS: f64 = 8.0;
/// How much likelier than a right clock it must be, natural units, from which on it is said.
const SURE: f64 = 20.0;
/// Intervals from which on their law is known.
const LEAST_INTERVALS: usize = 200;
/// Intervals in half-hours up to a day.
const BINS: usize = 48;
/// The quickest of a herd's changes of box, as a share: of a right clock no more are quicker.
const QUICKEST: f64 = 0.05;
/// Standard errors by which more changes of a day are quick, from which on a box's clock is looked at: it costs but time.
const LOOKED_AT: f64 = 2.5;
/// How much likelier one of two must be than the other to be named alone, natural units.
const WHICH: f64 = 3.0;
/// What the log's end weighs, natural units.
const END_WEIGHS: f64 = 4.0;

const HOUR_MS: f64 = 3_600_000.0;
const HALF_HOURS: usize = 48;

/// Each cow's milkings: when they began (ms), in which box.
type Milkings = BTreeMap<LifeKey, Vec<(i64, BoxKey)>>;

/// The box whose clock is or was most surely off in the last ten days; none where cows keep to their boxes. `others_until`:
/// time of the last row that is no box visit.
pub fn clock_off(log: &BoxLog, others_until: Option<Timestamp>, at: Timestamp) -> Option<ClockOff> {
    let mut cows: Milkings = BTreeMap::new();
    for (began_ms, _, at_box, life) in log.milkings(at) {
        cows.entry(life).or_default().push((began_ms, at_box));
    }
    let law = Law::of(&cows)?;
    let parts = Parts { at_ms: at.as_millisecond() };
    let best = suspects(&cows, &parts)
        .into_iter()
        .filter_map(|at_box| Step::of(&cows, at_box, &law, &parts))
        .max_by(|a, b| a.gain.total_cmp(&b.gain))?;
    let boxes: std::collections::BTreeSet<BoxKey> =
        cows.values().flatten().map(|(_, at_box)| *at_box).collect();
    let ends_now = best.parts.1 + 1 == parts.count();
    let own = ClockOff {
        at_box: best.at_box,
        hours: best.hours,
        or: None,
        from: parts.begin(best.parts.0)?,
        until: if ends_now { None } else { parts.begin(best.parts.1 + 1) },
    };
    let Some(other) = boxes.iter().copied().find(|key| *key != best.at_box).filter(|_| boxes.len() == 2)
    else {
        return Some(own);
    };
    let odds = by_hours(&cows, (best.at_box, other), best.hours, &own, at)
        + if ends_now { by_end(&cows, (best.at_box, other), best.hours, others_until) } else { 0.0 };
    let or = |key: BoxKey| (odds.abs() < WHICH).then_some(key);
    Some(if 0.0 <= odds {
        ClockOff { or: or(other), ..own }
    } else {
        ClockOff { at_box: other, hours: -best.hours, or: or(best.at_box), ..own }
    })
}

/// Hours between two milkings of a cow, by half-hours: ln of their share.
struct Law {
    ln: [f64; BINS + 1],
}

impl Law {
    fn of(cows: &Milkings) -> Option<Law> {
        let hours: Vec<f64> = cows
            .values()
            .flat_map(|own| own.windows(2))
            .filter(|pair| pair[0].1 == pair[1].1)
            .map(|pair| (pair[1].0 - pair[0].0) as f64 / HOUR_MS)
            .collect();
        if hours.len() < LEAST_INTERVALS {
            return None;
        }
        let mut counts = [0.0; BINS + 1];
        hours.iter().for_each(|hours| counts[bin(*hours)] += 1.0);
        let all = hours.len() as f64;
        let ln = std::array::from_fn(|place: usize| {
            let beside = |by: usize| counts[by.min(BINS)];
            let smooth = 0.5 * counts[place] + 0.25 * (beside(place.saturating_sub(1)) + beside(place + 1));
            ((smooth + 0.1) / (all + 5.0)).ln()
        });
        Some(Law { ln })
    }
}

fn bin(hours: f64) -> usize {
    ((2.0 * hours.max(0.0)) as usize).min(BINS)
}

/// The last days in parts.
struct Parts {
    at_ms: i64,
}

impl Parts {
    fn count(&self) -> usize {
        (BACK_D as f64 * 24.0 / PART_H) as usize
    }

    /// The part a time lies in; `None` before all of them.
    fn of(&self, then_ms: i64) -> Option<usize> {
        let back = ((self.at_ms - then_ms).max(0) as f64 / (PART_H * HOUR_MS)) as usize;
        (self.count() - 1).checked_sub(back)
    }

    fn begin(&self, part: usize) -> Option<Timestamp> {
        let at = Timestamp::from_millisecond(self.at_ms).ok()?;
        Some(before(at, (self.count() - part) as f64 * PART_H))
    }
}

/// Boxes whose cows seem to come from the others, or to go there, too quickly.
fn suspects(cows: &Milkings, parts: &Parts) -> Vec<BoxKey> {
    let changes = || cows.values().flat_map(|own| own.windows(2)).filter(|pair| pair[0].1 != pair[1].1);
    let mut waits: Vec<i64> = changes().map(|pair| pair[1].0 - pair[0].0).collect();
    let place = (QUICKEST * waits.len() as f64) as usize;
    if waits.len() <= place {
        return Vec::new();
    }
    let quickest_ms = *waits.select_nth_unstable(place).1;
    // Of each box by parts: changes, and quick ones among them.
    let mut counts: BTreeMap<BoxKey, Vec<(f64, f64)>> = BTreeMap::new();
    for pair in changes() {
        let Some(part) = parts.of(pair[1].0) else { continue };
        for (_, at_box) in pair {
            let own = &mut counts.entry(*at_box).or_insert_with(|| vec![(0.0, 0.0); parts.count()])[part];
            *own = (own.0 + 1.0, own.1 + f64::from(pair[1].0 - pair[0].0 < quickest_ms));
        }
    }
    // A day: two parts.
    let strange = |pair: &[(f64, f64)]| {
        let (all, quick) = (pair[0].0 + pair[1].0, pair[0].1 + pair[1].1);
        LOOKED_AT * (QUICKEST * all).sqrt() + 1.0 < quick - QUICKEST * all
    };
    counts.into_iter().filter(|(_, own)| own.windows(2).any(strange)).map(|(at_box, _)| at_box).collect()
}

/// A clock that was off over some parts.
struct Step {
    at_box: BoxKey,
    hours: f64,
    parts: (usize, usize),
    gain: f64,
}

impl Step {
    /// The last step of the likeliest path of one box's clock.
    fn of(cows: &Milkings, at_box: BoxKey, law: &Law, parts: &Parts) -> Option<Step> {
        let grid: Vec<f64> = {
            let side = (MOST_H / GRID_H) as i32;
            (-side..=side).map(|step| GRID_H * f64::from(step)).collect()
        };
        let right = grid.len() / 2;
        let mut told = vec![vec![0.0; grid.len()]; parts.count()];
        for own in cows.values().filter(|own| own.iter().any(|(_, key)| *key == at_box)) {
            for (place, hours) in grid.iter().enumerate() {
                let less_ms = (hours * HOUR_MS) as i64;
                let mut times: Vec<(i64, i64)> = own
                    .iter()
                    .map(|(then, key)| (then - if *key == at_box { less_ms } else { 0 }, *then))
                    .collect();
                times.sort_unstable();
                for pair in times.windows(2) {
                    if let Some(part) = parts.of(pair[1].1) {
                        told[part][place] += 0.5 * law.ln[bin((pair[1].0 - pair[0].0) as f64 / HOUR_MS)];
                    }
                }
            }
        }
        let path = path(&told, right);
        let last = path.iter().rposition(|place| LEAST_H <= grid[*place].abs())?;
        let first =
            path[..last].iter().rposition(|place| *place != path[last]).map_or(0, |before| before + 1);
        let gain = (first..=last).map(|part| told[part][path[last]] - told[part][right]).sum();
        (SURE <= gain).then_some(Step { at_box, hours: grid[path[last]], parts: (first, last), gain })
    }
}

/// The likeliest path through the parts; it begins right, or pays for a step.
fn path(told: &[Vec<f64>], right: usize) -> Vec<usize> {
    let width = told.first().map_or(0, Vec::len);
    let mut best: Vec<f64> = (0..width).map(|place| if place == right { 0.0 } else { -STEP_COSTS }).collect();
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(told.len());
    for (part, row) in told.iter().enumerate() {
        let top = (0..width).max_by(|a, b| best[*a].total_cmp(&best[*b])).unwrap_or(right);
        let stays = |place: usize| part == 0 || best[top] - STEP_COSTS <= best[place];
        let came: Vec<usize> = (0..width).map(|place| if stays(place) { place } else { top }).collect();
        best = (0..width)
            .map(|place| row[place] + if stays(place) { best[place] } else { best[top] - STEP_COSTS })
            .collect();
        from.push(came);
    }
    let mut place = (0..width).max_by(|a, b| best[*a].total_cmp(&best[*b])).unwrap_or(right);
    let mut path = vec![right; told.len()];
    for part in (0..told.len()).rev() {
        path[part] = place;
        place = from[part][place];
    }
    path
}

/// ln odds that the first box is off by `hours` and not the other by as much the other way, by when in the day they are
/// visited.
fn by_hours(
    cows: &Milkings,
    (one, other): (BoxKey, BoxKey),
    hours: f64,
    step: &ClockOff,
    at: Timestamp,
) -> f64 {
    let span = step.from.as_millisecond()..step.until.unwrap_or(at).as_millisecond();
    let half = |then_ms: i64, less_h: f64| {
        let half_h = (then_ms as f64 / HOUR_MS - less_h).rem_euclid(24.0) * 2.0;
        (half_h as usize).min(HALF_HOURS - 1)
    };
    let odds = |key: BoxKey, hours: f64| {
        let own = || cows.values().flatten().filter(move |(_, own)| *own == key).map(|(then, _)| *then);
        let mut usual = [1.0; HALF_HOURS];
        own().filter(|then| !span.contains(then)).for_each(|then| usual[half(then, 0.0)] += 1.0);
        let inside = own().filter(|then| span.contains(then));
        inside.map(|then| f64::ln(usual[half(then, hours)] / usual[half(then, 0.0)])).sum::<f64>()
    };
    // What is usual is itself unsure, and cows go in company.
    0.5 * (odds(one, hours) - odds(other, -hours))
}

/// The same by where the log ends.
fn by_end(
    cows: &Milkings,
    (one, other): (BoxKey, BoxKey),
    hours: f64,
    others_until: Option<Timestamp>,
) -> f64 {
    let (behind, sign) = if hours < 0.0 { (one, 1.0) } else { (other, -1.0) };
    let last = cows.values().flatten().filter(|(_, key)| *key == behind).map(|(then, _)| *then).max();
    match (last, others_until) {
        (Some(last), Some(until)) => {
            let after_h = (until.as_millisecond() - last) as f64 / HOUR_MS;
            // Other rows go on while the one that is behind seems to have ended.
            if 0.5 * hours.abs() < after_h { sign * END_WEIGHS } else { -sign * END_WEIGHS }
        }
        _ => 0.0,
    }
}

/// Whether something began while the clock was off, or within a part of it: what begins later is not the clock's.
fn during(off: &ClockOff, since: Timestamp) -> bool {
    before(off.from, PART_H) <= since && off.until.is_none_or(|until| since <= before(until, -PART_H))
}

/// Whether it makes a finding of a box what it is: a silence about as long as the clock is off, or a meter that seems to
/// have gone off with the clock.
pub(crate) fn explains(off: &ClockOff, fault: &super::BoxFault) -> bool {
    use crate::causes::Cause;
    let ours = fault.of_box().is_some_and(|key| key == off.at_box || off.or == Some(key));
    let since_it = during(off, fault.finding.since);
    match fault.finding.cause {
        Cause::IdleFault => ours && since_it && fault.level <= off.hours.abs() + 1.0,
        // The other boxes are what a meter is held against.
        Cause::MilkMeter => since_it,
        _ => false,
    }
}

/// Whether a cow's finding began while the clock was off, and rests on times and on milk beside them.
pub fn clock_speaks(off: &ClockOff, finding: &crate::causes::Finding) -> bool {
    use crate::expect::Signal;
    let of = |timed: bool| {
        let is_timed = |signal| matches!(signal, Signal::Milk | Signal::Interval);
        let own = finding.reasons.iter().filter(move |reason| is_timed(reason.signal) == timed);
        own.map(|reason| reason.weight.max(0.0)).sum::<f64>()
    };
    during(off, finding.since) && of(false) < of(true)
}
