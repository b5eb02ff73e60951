//! When each cow comes, as her rows tell: courses for the model, its weekly fit, and the memory of it.
//!
//! A fit is made at the turn of the week from a month of some cows' rows known by then, and kept in the store like any
//! memory: a row dated before it throws it away. Before the first turn with enough milkings the stated prior stands.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{
    coming::{self, Course, Fits, Half, Open, Seen, What, halves},
    expect::Parameters,
    herd::{Life, LifeKey},
    tables::{Outcome, Visit},
    time::WallClock,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{
    cast::Cast,
    farm::Barn,
    model::{FIRST_TURN_MS, WEEK_MS},
};

/// Which reckoning a kept fit came from.
const MODEL: &str = concat!("coming 1, cowpath ", env!("CARGO_PKG_VERSION"));
/// How far back a fit looks.
const FIT_SPAN: SignedDuration = SignedDuration::from_hours(28 * 24);
/// How far back a cow is looked at.
pub const SPAN: SignedDuration = SignedDuration::from_hours(14 * 24);
/// As many cows as have about this many visits in the fit's span.
const FIT_VISITS: u64 = 5_000;
/// Before this many milkings the prior stands.
const FEWEST_MILKINGS: u64 = 400;
/// A pen's box has at least this share of the pen's visits: others were mistakes of an antenna or a move.
const OF_PEN: f64 = 0.05;

/// How fast secretion slows, for the sums of the model: the stated one, so that a fit hangs on no other fit.
pub fn kappa_per_h() -> f64 {
    Parameters::prior().kappa_per_h
}

/// The name fits are kept under.
fn name(zone: &TimeZone) -> String {
    format!("{MODEL}, {}", zone.iana_name().unwrap_or("UTC"))
}

/// A visit as the model takes it.
pub fn seen(visit: &Visit) -> Seen {
    let milk_kg =
        visit.milk_kg.or_else(|| visit.quarters.iter().map(|quarter| quarter.milk_kg).sum::<Option<f64>>());
    let what = match visit.outcome {
        Some(Outcome::Milked | Outcome::Incomplete) => What::Milked,
        Some(Outcome::Failed) => What::Failed,
        None if milk_kg.is_some() => What::Milked,
        _ => What::Other,
    };
    Seen {
        from: visit.started_at,
        to: visit.ended_at,
        what,
        // What was taken of a milking that was not milked out is not what had gathered.
        milk_kg: milk_kg.filter(|_| visit.outcome != Some(Outcome::Incomplete)),
        offered_kg: visit.feed_offered_kg,
        eaten_kg: visit.feed_eaten_kg,
    }
}

/// Pens, the boxes their cows use, and how far these ran.
pub struct Pens<'a> {
    /// Names, in order; a cow without a pen is in `None`.
    pub names: Vec<Option<&'a str>>,
    /// Boxes of each, by place in the farm's list.
    pub boxes: Vec<BTreeSet<u16>>,
    /// How far they ran.
    pub open: Open,
}

impl<'a> Pens<'a> {
    /// From who visited which box, as known at a time; `span` is what box states are read of.
    pub fn read(
        barn: &Barn,
        used: &BTreeMap<(Option<&'a str>, u16), u64>,
        (from, at): (Timestamp, Timestamp),
    ) -> anyhow::Result<Pens<'a>> {
        let names: Vec<Option<&str>> =
            used.keys().map(|(pen, _)| *pen).collect::<BTreeSet<_>>().into_iter().collect();
        let boxes: Vec<BTreeSet<u16>> = names
            .iter()
            .map(|name| {
                let own = || used.iter().filter(|((pen, _), _)| pen == name);
                let all: u64 = own().map(|(_, visits)| visits).sum();
                own()
                    .filter(|(_, n)| OF_PEN * all as f64 <= **n as f64)
                    .map(|((_, at_box), _)| *at_box)
                    .collect()
            })
            .collect();
        let mut lost: BTreeMap<(u16, i64), i64> = BTreeMap::new();
        for state in barn.store.box_states(from..at)?.iter().filter(|state| state.to <= at) {
            let (begin, end) = (state.from.max(from).as_millisecond(), state.to.as_millisecond());
            let mut part = begin;
            while part < end {
                let half = part.div_euclid(halves::HALF_MS);
                let next = ((half + 1) * halves::HALF_MS).min(end);
                *lost.entry((state.at_box.0, half)).or_default() += next - part;
                part = next;
            }
        }
        let mut open = Open::default();
        for (pen, own) in boxes.iter().enumerate() {
            let mut less: BTreeMap<i64, f64> = BTreeMap::new();
            for ((_, half), ms) in lost.iter().filter(|((at_box, _), _)| own.contains(at_box)) {
                let share = (*ms as f64 / halves::HALF_MS as f64).min(1.0) / own.len().max(1) as f64;
                *less.entry(*half).or_default() += share;
            }
            open.less
                .extend(less.into_iter().map(|(half, less)| ((pen, half), (1.0 - less).clamp(0.0, 1.0))));
        }
        Ok(Pens { names, boxes, open })
    }

    /// The place of a cow's pen.
    pub fn of(&self, life: &Life, at: Timestamp) -> usize {
        self.names.binary_search(&life.pen(at)).unwrap_or(0)
    }
}

/// When cows were brought, by herd number, of marks set by a time.
pub fn brought(
    barn: &Barn,
    from: Timestamp,
    at: Timestamp,
) -> anyhow::Result<BTreeMap<String, Vec<Timestamp>>> {
    let mut marks: BTreeMap<String, Vec<Timestamp>> = BTreeMap::new();
    for mark in barn.store.brought(from, at)? {
        marks.entry(mark.what.animal).or_default().push(mark.what.at);
    }
    Ok(marks)
}

/// The fit in use at a time.
pub struct InUse {
    /// It.
    pub fits: Fits,
    /// The turn its rows were known by; `None` beside the prior.
    pub fitted: Option<Timestamp>,
    /// It was made just now, and is worth keeping.
    pub made: bool,
}

/// The fit in use at a time: as kept, or made.
pub fn in_use(barn: &Barn, cast: &Cast, zone: &TimeZone, at: Timestamp) -> anyhow::Result<InUse> {
    let turn_ms = FIRST_TURN_MS + (at.as_millisecond() - FIRST_TURN_MS).div_euclid(WEEK_MS) * WEEK_MS;
    let turn = Timestamp::from_millisecond(turn_ms)?;
    let kept = barn.store.checkpoint_before(turn, &name(zone))?.filter(|(kept, _)| *kept == turn);
    if let Some(fits) = kept.and_then(|(_, bytes)| postcard::from_bytes::<Fits>(&bytes).ok()) {
        let fitted = (0 < fits.milkings).then_some(turn);
        return Ok(InUse { fits, fitted, made: false });
    }
    let fits = made(barn, cast, zone, turn)?;
    let fitted = (0 < fits.milkings).then_some(turn);
    Ok(InUse { fits, fitted, made: true })
}

/// Keeps the fit in use, if nobody else is writing; without it it is made again.
pub fn keep(barn: &mut Barn, cast: &Cast, zone: &TimeZone, at: Timestamp, fits: &Fits) -> anyhow::Result<()> {
    let turn_ms = FIRST_TURN_MS + (at.as_millisecond() - FIRST_TURN_MS).div_euclid(WEEK_MS) * WEEK_MS;
    let turn = Timestamp::from_millisecond(turn_ms)?;
    let state = [(turn, postcard::to_stdvec(fits)?)];
    barn.store.if_free(|store| store.save_checkpoints(cast.last_batch, &name(zone), &state).map(|_| ()))?;
    Ok(())
}

/// Fits to rows known at a turn.
fn made(barn: &Barn, cast: &Cast, zone: &TimeZone, turn: Timestamp) -> anyhow::Result<Fits> {
    let from = turn.saturating_sub(FIT_SPAN)?;
    let counts: Vec<(u32, (String, u64))> =
        (0..).zip(barn.store.visit_counts(from..turn)?).filter(|(_, (_, visits))| 0 < *visits).collect();
    let total: u64 = counts.iter().map(|(_, (_, visits))| visits).sum();
    let every = (total.div_ceil(FIT_VISITS) as usize).max(1);
    let marks = brought(barn, from, turn)?;
    let mut rows: BTreeMap<LifeKey, (&Life, Vec<Seen>)> = BTreeMap::new();
    let mut used: BTreeMap<(Option<&str>, u16), u64> = BTreeMap::new();
    for (number, (animal, _)) in counts.iter().step_by(every) {
        for visit in barn.store.comings_of(animal, from..turn)? {
            let Some(life) = cast.life(*number, visit.started_at).filter(|_| visit.ended_at <= turn) else {
                continue;
            };
            *used.entry((life.pen(turn), visit.at_box.0)).or_default() += 1;
            rows.entry(life.key).or_insert((life, Vec::new())).1.push(seen(&visit));
        }
    }
    let milkings: usize =
        rows.values().flat_map(|(_, own)| own).filter(|own| own.what == What::Milked).count();
    if (milkings as u64) < FEWEST_MILKINGS {
        return Ok(Fits::prior());
    }
    let pens = Pens::read(barn, &used, (from, turn))?;
    let mut clock = WallClock::new(zone.clone());
    let cows: Vec<Vec<Half>> = rows
        .into_values()
        .map(|(life, visits)| {
            let brought = marks.get(&life.animal).cloned().unwrap_or_default();
            let course = Course { life, pen: pens.of(life, turn), visits, brought };
            let mut all = Vec::new();
            let until = life.until.unwrap_or(turn).min(turn);
            halves::walk(&course, &pens.open, &mut clock, kappa_per_h(), (from, until), &mut |half| {
                all.push(*half)
            });
            all
        })
        .collect();
    Ok(coming::fit(&cows, &Fits::prior()))
}
