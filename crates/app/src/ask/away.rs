//! Cows that have not been in a box for longer than their habit, as calls of the round; and cows in milk of whom no milking
//! was ever read.

use std::{collections::BTreeMap, ops::Range};

use cowpath_core::{
    causes::{self, Absence, Finding, HerdGaps},
    coming::{Course, Seen, Wait, What, halves},
    herd::{Life, Stage},
    time::{WallClock, hours_between},
};
use jiff::Timestamp;

use super::{
    farm::Barn,
    habits::{self, Pens},
    view::View,
};

/// Where more than so many cows went away together, and they are more than one in [`MANY`] of those in milk, it is the boxes
/// or the log, and no cow is blamed …
const TOGETHER: usize = 2;
/// … one in so many …
const MANY: usize = 20;
/// … together: within so long, h.
const TOGETHER_H: f64 = 48.0;
/// A cow without a milking for so long is taken to be dry or gone where nobody writes that down, h.
pub const GONE_AFTER_H: f64 = 21.0 * 24.0;
/// Days in milk up to which a cow in milk by her records is missed that never had a milking: a lactation of 305 days, the
/// trade's standard one. Later she may be dry or gone, and nobody wrote it down.
const LACTATION_D: f64 = 305.0;
/// Where more than one in so many in milk never had a milking the log is not the whole herd's: they are milked elsewhere.
const ELSEWHERE: usize = 10;

/// One cow that is away long enough to be asked about.
struct Candidate<'a> {
    life: &'a Life,
    stage: Stage,
    visits: Vec<Seen>,
    away_h: f64,
}

/// A finding of each cow that is away; of many that went together none.
pub fn findings(barn: &Barn, view: &View, settings: &causes::Settings) -> anyhow::Result<Vec<Finding>> {
    // A log of boxes that ends early tells of nobody's absence: the last row must be a box's.
    let known = view.others.seen.values().filter_map(|ends| ends.last()).max().copied();
    let Some(known) = known.map(|known| known.min(view.at)) else { return Ok(Vec::new()) };
    let told = |of: &dyn Fn(&Life) -> bool| view.cast.lives.iter().any(of);
    let tells_dry = told(&|life| life.dried_off.iter().any(|dried| *dried <= view.at));
    let tells_ends = tells_dry && told(&|life| life.until.is_some_and(|until| until <= view.at));
    let mut in_milk = 0;
    let (mut candidates, mut used) = (Vec::new(), BTreeMap::new());
    for life in view.cast.lives.iter().filter(|life| life.present(view.at)) {
        let stage = life.stage(view.at);
        if stage.dry {
            continue;
        }
        let Some(last) = view.rolled.herd.last_milking(life.key) else { continue };
        in_milk += 1;
        let recent = view.others.seen.get(&life.key).map_or(&[][..], Vec::as_slice);
        let asked = if recent.is_empty() {
            tells_ends || hours_between(last, known) < GONE_AFTER_H
        } else {
            causes::away_h(recent, known).is_some()
        };
        if !asked {
            continue;
        }
        let visits = rows(barn, life, last.saturating_sub(habits::SPAN)?..known, &mut used, view)?;
        let ends: Vec<Timestamp> = visits.iter().map(|visit| visit.to).collect();
        if let Some(away_h) = causes::away_h(&ends, known) {
            candidates.push(Candidate { life, stage, visits, away_h });
        }
    }
    // Made with the week's other memories whether anybody is away or not: else the first morning on which one is waits for it.
    view.fits(barn)?;
    if candidates.is_empty() {
        return Ok(Vec::new());
    }
    let herd = HerdGaps::of(view.others.seen.values().map(Vec::as_slice), tells_dry);
    let mut away = judge(barn, view, &candidates, &used, (&herd, known, settings))?;
    away.retain(|finding| 0.0 < finding.worth);
    let just = |finding: &Finding| hours_between(finding.since, known) < TOGETHER_H;
    let together = away.iter().filter(|finding| just(finding)).count();
    if TOGETHER < together && in_milk < MANY * together {
        away.retain(|finding| !just(finding));
    }
    Ok(away)
}

/// Visits of one cow, and which boxes her pen has.
fn rows<'a>(
    barn: &Barn,
    life: &'a Life,
    span: Range<Timestamp>,
    used: &mut BTreeMap<(Option<&'a str>, u16), u64>,
    view: &View,
) -> anyhow::Result<Vec<Seen>> {
    let mut visits = Vec::new();
    for visit in barn.store.comings_of(&life.animal, span)? {
        if visit.ended_at <= view.at && life.present(visit.started_at) {
            *used.entry((life.pen(view.at), visit.at_box.0)).or_default() += 1;
            visits.push(habits::seen(&visit));
        }
    }
    visits.sort_by_key(|visit| visit.to);
    Ok(visits)
}

fn judge(
    barn: &Barn,
    view: &View,
    candidates: &[Candidate<'_>],
    used: &BTreeMap<(Option<&str>, u16), u64>,
    (herd, known, settings): (&HerdGaps, Timestamp, &causes::Settings),
) -> anyhow::Result<Vec<Finding>> {
    let fits = &view.fits(barn)?.fits;
    let first = candidates.iter().filter_map(|one| one.visits.first()).map(|visit| visit.from).min();
    let from = first.unwrap_or(known);
    let pens = Pens::read(barn, used, (from, known))?;
    let marks = habits::brought(barn, from, known)?;
    let mut clock = WallClock::new(view.ways.zone.clone());
    let mut away = Vec::new();
    for Candidate { life, stage, visits, away_h } in candidates {
        let seen: Vec<Timestamp> = visits.iter().map(|visit| visit.to).collect();
        let (Some(first), Some(last)) = (visits.first(), seen.last()) else { continue };
        let course = Course {
            life,
            pen: pens.of(life, view.at),
            visits: visits.clone(),
            brought: marks.get(&life.animal).cloned().unwrap_or_default(),
        };
        let mut wait = Wait::new(fits);
        let kappa = habits::kappa_per_h();
        halves::walk(&course, &pens.open, &mut clock, kappa, (first.from, known), &mut |half| {
            wait.take(fits, half);
        });
        let milkings = visits.iter().filter(|visit| visit.what == What::Milked).count();
        let days = hours_between(first.from, *last).max(24.0) / 24.0;
        let her = Absence {
            life: life.key,
            days_in_milk: stage.days_in_milk,
            seen: &seen,
            away_h: *away_h,
            stays: wait.stays(),
            a_day: milkings.max(1) as f64 / days,
        };
        away.extend(causes::judge_absent(&her, herd, view.at, settings));
    }
    Ok(away)
}

/// Cows in milk by their records of whom no milking was ever read in this lactation; none where they are many, for then the
/// log is not the whole herd's.
pub fn never_milked(view: &View) -> Vec<&Life> {
    let mut in_milk = 0;
    let mut never = Vec::new();
    for life in view.cast.lives.iter().filter(|life| life.present(view.at)) {
        let stage = life.stage(view.at);
        if stage.dry {
            continue;
        }
        let milked = view.rolled.herd.last_milking(life.key).is_some();
        in_milk += usize::from(milked);
        let in_lactation = stage.days_in_milk.is_some_and(|days| days <= LACTATION_D);
        if !milked && in_lactation {
            never.push(life);
        }
    }
    if in_milk < ELSEWHERE * never.len() { Vec::new() } else { never }
}
