//! Is a box's milk meter off?
//!
//! # Equation
//! contrast_i = x_i − middle of the other boxes' x_j      x: milk against the cows' own levels, six hours by six hours
//! Of two boxes the contrast is one: A reads δ too much, or B reads δ too little. ln odds of A over B =
//!   (ΔA² − ΔB²) / 2s²    how each moved against its cows from before the onset to after it, s² what a herd wanders by itself
//!   + ln L(tank | A) − ln L(tank | B)    [`super::tank`]
//!
//! Cows' levels take up within days what a slow drift shares out between herd and boxes: then the first term says little.
//! The only box of a farm has no contrast: its meter is held against the tank; without pickups it
//! shares what its cows fall by with the herd, by the rates of both.

use std::collections::BTreeSet;

use super::{
    BoxFault, Boxes, SILENT_H, before,
    chain::{Followed, Law, Look, Verdict, follow},
    median, scatter, steps, tank,
};
use crate::{
    causes::{Cause, worth::Settings},
    expect::{BIN_MS, BoxBin, Signal},
    herd::BoxKey,
    time::hours_between,
};

/// Log. A bias of 2 to 3 % is allowed (`sources.md` §4.4); sizes and speed are stated defaults.
const LAW: Law = Law {
    low: -0.40,
    high: 0.40,
    spacing: 0.01,
    rest: 0.012,
    rest_days: 30.0,
    size: 0.10,
    least: 0.03,
    speed: 0.012,
};

/// What six hours of a contrast stray by beyond what their milkings say, log. Stated default.
const STRAY: f64 = 0.008;
/// The same cows' milkings wander together. Stated default.
const TEMPER: f64 = 0.8;
/// Milkings of six hours below which they are left out.
const LEAST_READINGS: u32 = 4;
/// What a herd wanders by itself, log a square root of a day. Stated default, of the order of its effect's.
const HERD_WANDERS: f64 = 0.015;
/// How much the boxes' own moves may weigh at most: herds do fall at once. Stated default.
const MOVES_WEIGH: f64 = 3.0;

/// How far a herd strays from its cows' own levels in some days, log; and how often it rises against how often it falls.
/// Stated defaults.
const HERD_RESTS: f64 = 0.025;
const HERDS_RISE: f64 = 0.4;

pub(crate) fn judge(boxes: &Boxes, settings: &Settings) -> Vec<BoxFault> {
    let recent_ms = before(boxes.at, SILENT_H).as_millisecond() - BIN_MS;
    let at_work: Vec<&(BoxKey, Vec<BoxBin>)> = boxes
        .courses
        .iter()
        .filter(|(_, bins)| bins.iter().any(|bin| recent_ms <= bin.from_ms && 0 < bin.milk.readings))
        .collect();
    match at_work[..] {
        [] => Vec::new(),
        [one] => {
            // What lasts shows against the tank; what has just begun against the cows' own levels.
            let likelier =
                |a: &BoxFault, b: &BoxFault| a.finding.probability.total_cmp(&b.finding.probability);
            let both = [tank::alone(boxes, one.0, settings), sudden(boxes, one, settings)];
            both.into_iter().flatten().max_by(likelier).into_iter().collect()
        }
        [one, other] => pair(boxes, one, other, settings).into_iter().collect(),
        _ => many(boxes, at_work, SOUND_BELOW, settings),
    }
}

/// From so sure on a box is left out when the others are judged: the middle of two boxes holds half of the one that is off.
const LEFT_OUT_FROM: f64 = 0.2;
/// One that is less likely than this to be off is not asked again while the middle of the others is next to the same …
pub(crate) const SOUND_BELOW: f64 = 0.25 * LEFT_OUT_FROM;
/// … which it is until one in so many boxes is left out.
const MIDDLE_HOLDS: usize = 8;

/// Three boxes and more: the one most surely off first, then the others without it.
/// Sound ones are those less likely to be off than `sound_below`; at 0 all are asked again and again.
pub(crate) fn many(
    boxes: &Boxes,
    mut left: Vec<&(BoxKey, Vec<BoxBin>)>,
    sound_below: f64,
    settings: &Settings,
) -> Vec<BoxFault> {
    let mut faults = Vec::new();
    let at_work = left.len();
    let mut sound: BTreeSet<BoxKey> = BTreeSet::new();
    while 3 <= left.len() {
        if at_work <= MIDDLE_HOLDS * faults.len() {
            sound.clear();
        }
        let asked = left.iter().filter(|(key, _)| !sound.contains(key));
        let followed: Vec<(BoxKey, Followed)> =
            asked.filter_map(|own| Some((own.0, of_many(boxes, own, &left, settings)?))).collect();
        let are_sound = followed.iter().filter(|(_, own)| own.probability < sound_below);
        sound.extend(are_sound.map(|(key, _)| *key));
        let surest = followed
            .into_iter()
            .max_by(|(_, a), (_, b)| told(a).total_cmp(&told(b)))
            .filter(|(_, own)| LEFT_OUT_FROM <= own.probability)
            .and_then(|(key, own)| Some((key, own.verdict()?)));
        let Some((surest, verdict)) = surest else { return faults };
        left.retain(|(key, _)| *key != surest);
        faults.push(fault(boxes, surest, verdict));
    }
    if let [one, other] = left[..] {
        faults.extend(pair(boxes, one, other, settings));
    }
    faults
}

/// How far off for certain: of boxes that are all over 99 % sure the one that is most off comes first.
fn told(own: &Followed) -> f64 {
    own.probability * own.level.abs()
}

/// Mean and variance of six hours, where enough was milked.
fn mean(bin: &BoxBin) -> Option<(f64, f64)> {
    bin.milk.mean().filter(|_| LEAST_READINGS <= bin.milk.readings)
}

fn at(bins: &[BoxBin], from_ms: i64) -> Option<&BoxBin> {
    bins.binary_search_by_key(&from_ms, |bin| bin.from_ms).ok().map(|place| &bins[place])
}

/// The looks of a contrast.
fn looks(
    boxes: &Boxes,
    law: &Law,
    bins: &[BoxBin],
    contrast: impl Fn(&BoxBin) -> Option<(f64, f64)>,
) -> Option<Vec<Look>> {
    let first_ms = bins.first()?.from_ms;
    let read: Vec<(i64, f64, f64)> =
        bins.iter().filter_map(|bin| contrast(bin).map(|(mean, var)| (bin.from_ms, mean, var))).collect();
    let scatter = scatter(&read);
    let of = |from_ms: i64| {
        let (_, mean, var) = read[read.binary_search_by_key(&from_ms, |(own_ms, ..)| *own_ms).ok()?];
        Some(law.mean(mean, scatter * var + STRAY * STRAY, TEMPER))
    };
    Some(steps(first_ms, boxes.at).map(|from_ms| Look::of(from_ms, of(from_ms))).collect())
}

/// One of three boxes and more: against the middle of the others.
fn of_many(
    boxes: &Boxes,
    own: &(BoxKey, Vec<BoxBin>),
    all: &[&(BoxKey, Vec<BoxBin>)],
    settings: &Settings,
) -> Option<Followed> {
    let looks = looks(boxes, &LAW, &own.1, |bin| {
        let (mean_own, var_own) = mean(bin)?;
        let others: Vec<(f64, f64)> = all
            .iter()
            .filter(|(key, _)| *key != own.0)
            .filter_map(|(_, bins)| mean(at(bins, bin.from_ms)?))
            .collect();
        let mut means: Vec<f64> = others.iter().map(|(mean, _)| *mean).collect();
        let count = means.len();
        let middle = median(&mut means)?;
        // The middle of few is nearly as sure as their mean.
        let var = others.iter().map(|(_, var)| var).sum::<f64>() * 1.3 / (count * count) as f64;
        (2 <= count).then_some((mean_own - middle, var_own + var))
    })?;
    Followed::to_now(&LAW, looks, settings.rates.of_place(Cause::MilkMeter))
}

/// The only box: its cows' milk against their own levels, which the herd moves as well.
fn sudden(boxes: &Boxes, own: &(BoxKey, Vec<BoxBin>), settings: &Settings) -> Option<BoxFault> {
    let law = Law { rest: HERD_RESTS, rest_days: 5.0, ..LAW };
    let looks = looks(boxes, &law, &own.1, |bin| {
        bin.with_herd.mean().filter(|_| LEAST_READINGS <= bin.with_herd.readings)
    })?;
    let (meter, herd) = (settings.rates.of_place(Cause::MilkMeter), settings.rates.of_place(Cause::HerdMilk));
    let verdict = follow(&law, looks, meter + herd)?;
    let by_tank = tank::rather_than_herd(boxes, own.0, &verdict.course);
    let herd = if 0.0 < verdict.level { HERDS_RISE * herd } else { herd };
    let share = 1.0 / (1.0 + herd / meter * (-by_tank).exp());
    let mut fault = fault(boxes, own.0, verdict);
    fault.finding.probability *= share;
    fault.finding.others = vec![(Cause::HerdMilk, fault.finding.probability * (1.0 - share) / share)];
    fault.tank_says = 1.0 < by_tank;
    Some(fault)
}

fn pair(
    boxes: &Boxes,
    one: &(BoxKey, Vec<BoxBin>),
    other: &(BoxKey, Vec<BoxBin>),
    settings: &Settings,
) -> Option<BoxFault> {
    // Either may be off, and both stray.
    let law = Law { rest: LAW.rest * std::f64::consts::SQRT_2, ..LAW };
    let looks = looks(boxes, &law, &one.1, |bin| {
        let (own, var_own) = mean(bin)?;
        let (others, var_others) = mean(at(&other.1, bin.from_ms)?)?;
        Some((own - others, var_own + var_others))
    })?;
    let verdict = follow(&law, looks, 2.0 * settings.rates.of_place(Cause::MilkMeter))?;
    let by_tank = tank::which(boxes, (one.0, other.0), &verdict.course);
    let by_moves = moved(boxes, &one.1, &other.1, &verdict).clamp(-MOVES_WEIGH, MOVES_WEIGH);
    let share = 1.0 / (1.0 + (-(by_moves + by_tank)).exp());
    let first = 0.5 <= share;
    let (own, instead, share) = if first { (one.0, other.0, share) } else { (other.0, one.0, 1.0 - share) };
    let mut fault = fault(boxes, own, verdict);
    if !first {
        fault.level = -fault.level;
        fault.course.iter_mut().for_each(|seen| seen.level = -seen.level);
        fault.finding.reasons.iter_mut().for_each(|reason| reason.observed = -reason.observed);
    }
    fault.finding.probability *= share;
    fault.instead = (share < 0.9).then_some(instead);
    fault.tank_says = 1.0 < if first { by_tank } else { -by_tank };
    Some(fault)
}

/// ln odds that `one` is off and not `other`, by how each moved against its cows' own levels when it began.
fn moved(boxes: &Boxes, one: &[BoxBin], other: &[BoxBin], verdict: &Verdict) -> f64 {
    let (early, late) = verdict.since_between;
    let span_before = (before(early, 96.0), early);
    // An onset that may be now leaves the last six hours; later than two days on the cows' levels have taken it up.
    let from = late.min(before(boxes.at, 12.0));
    let span_after = (from, before(from, -48.0).min(boxes.at));
    let over = |bins: &[BoxBin], (from, to): (jiff::Timestamp, jiff::Timestamp)| {
        let (from_ms, to_ms) = (from.as_millisecond(), to.as_millisecond());
        let inside =
            bins.iter().filter(|bin| from_ms <= bin.from_ms + BIN_MS / 2 && bin.from_ms + BIN_MS / 2 < to_ms);
        let (weight, value) = inside.fold((0.0, 0.0), |(weight, value), bin| {
            (weight + bin.with_herd.weight, value + bin.with_herd.value)
        });
        (0.0 < weight).then(|| (value / weight, 1.0 / weight))
    };
    let change = |bins: &[BoxBin]| Some((over(bins, span_after)?, over(bins, span_before)?));
    let (Some((one_after, one_before)), Some((other_after, other_before))) = (change(one), change(other))
    else {
        return 0.0;
    };
    let days = hours_between(span_before.1, span_after.0).max(0.0) / 24.0 + 2.0;
    let wander = HERD_WANDERS * HERD_WANDERS * days;
    let one_moved = (one_after.0 - one_before.0, one_after.1 + one_before.1 + wander);
    let other_moved = (other_after.0 - other_before.0, other_after.1 + other_before.1 + wander);
    // If one is off the other's move is the herd's own, and the other way round.
    0.5 * (one_moved.0 * one_moved.0 / one_moved.1 - other_moved.0 * other_moved.0 / other_moved.1)
}

fn fault(boxes: &Boxes, at_box: BoxKey, verdict: Verdict) -> BoxFault {
    let counted = boxes.log.counted(at_box, verdict.since, boxes.at, |row| row.milk_kg().is_some());
    let reason = (Signal::Milk, 100.0 * verdict.level.exp_m1(), 0.0);
    BoxFault::of((at_box, Cause::MilkMeter, None), verdict, reason, counted)
}
