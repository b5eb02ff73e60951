//! How far do the readings of the last ten days depart from what was expected of each cow?

use std::{collections::BTreeMap, sync::Arc};

use jiff::Timestamp;

use super::{
    Line, Point, Points, Reading,
    block::Block,
    depart::{Expected, Span, Taken},
    ordered::{Ordered, by_life},
    spoke::{self, Began, Spoken},
    ways::{self, PLACES, Way},
};
use crate::{
    expect::{HerdPoint, Signal},
    herd::LifeKey,
    middle::median_of,
};

/// Cows whose standing is known from which what all do at a time can be told from what one does. Stated default.
const FEWEST_COWS: usize = 8;
/// Cows that count as much as "nothing common". Stated default.
const COMMON_WORTH: f64 = 4.0;
/// Time over which what all cows do at once is taken: a bin of movement, half a day of what boxes measure.
const HERD_STEP_MS: [i64; 2] = [2 * 3_600_000, 12 * 3_600_000];
/// Time over which a box's own addition is taken: a day.
const BOX_STEP_MS: i64 = 24 * 3_600_000;
/// A reading so many times above or below what was expected says no more of the herd.
const MOST_FOLD: f64 = 3.0;

/// What all cows of the herd did in one signal.
#[derive(Debug, Clone, PartialEq)]
pub struct HerdLine {
    /// Which signal.
    pub signal: Signal,
    /// Its course: logarithm of all cows' readings over what was expected of them, each half day.
    pub points: Vec<HerdPoint>,
}

/// One cow's other signals.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hers {
    /// Her lines.
    pub lines: Vec<Line>,
    /// Since when they speak.
    pub began: Began,
}

/// What the readings of the last ten days say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    /// Of each cow with a reading.
    pub cows: BTreeMap<LifeKey, Hers>,
    /// Of the herd.
    pub herd: Vec<HerdLine>,
}

impl Heard {
    /// Every cow's lines and since when they speak, and the herd's, by what each place said.
    pub fn of(mut places: Vec<Said>) -> Heard {
        places.sort_by_key(|said| said.place);
        let mut herd = Vec::new();
        let mut spoken = Vec::with_capacity(PLACES);
        // By cow: a large herd has tens of thousands of lines.
        let mut cows: Vec<Hers> = Vec::new();
        let measured = places.len();
        for said in places {
            herd.extend(said.herd);
            spoken.push(said.spoken);
            for (life, line) in said.lines {
                let hers = hers(&mut cows, life);
                if hers.lines.is_empty() {
                    hers.lines.reserve_exact(measured);
                }
                hers.lines.push(line);
            }
        }
        for (life, began) in spoke::began(&spoken) {
            hers(&mut cows, life).began = began;
        }
        let with_any = |(_, hers): &(LifeKey, Hers)| *hers != Hers::default();
        Heard { cows: (0..).map(LifeKey).zip(cows).filter(with_any).collect(), herd }
    }
}

/// A cow's own among all.
fn hers(cows: &mut Vec<Hers>, life: LifeKey) -> &mut Hers {
    let place = life.0 as usize;
    if cows.len() <= place {
        cows.resize_with(place + 1, Hers::default);
    }
    &mut cows[place]
}

/// What the readings of one place say.
#[derive(Default)]
pub struct Said {
    place: usize,
    herd: Option<HerdLine>,
    lines: Vec<(LifeKey, Line)>,
    spoken: Spoken,
}

impl Taken<'_> {
    /// What they say. What all cows do at a time, and what a box adds, is taken off first.
    pub fn said(self) -> Said {
        let Taken { span, place, mut readings } = self;
        let (way, quarter) = ways::at(place);
        // A visit is a count: nights have fewer, and that is nobody's departure.
        let herd = if way.signal == Signal::Visits { None } else { take_off_herd(span, way, &mut readings) };
        if way.by_box {
            take_off_boxes(span, way, &mut readings);
        }
        let mut said = Said { place, herd, ..Said::default() };
        let (order, ends) = by_life(readings.iter().map(|one| one.life));
        // A block has at least one reading.
        let mut all: Vec<Point> = Vec::with_capacity(readings.len());
        let mut lines: Vec<(LifeKey, usize)> = Vec::with_capacity(ends.len());
        let mut blocks = Ordered::default();
        let mut next = 0;
        for (life, end) in (0..).map(LifeKey).zip(ends) {
            let hers = &order[std::mem::replace(&mut next, end)..end];
            if hers.is_empty() {
                continue;
            }
            let own = hers.iter().map(|index| {
                let one = &readings[*index as usize];
                (span.reading(place, one), one.expected)
            });
            said.spoken.hear(place, life, own.clone());
            points(span, place, life, own, &mut blocks, &mut all);
            lines.push((life, all.len()));
        }
        all.shrink_to_fit();
        let (all, mut from) = (Arc::new(all), 0);
        for (life, until) in lines {
            let own = std::mem::replace(&mut from, until)..until;
            if !own.is_empty() {
                let points = Points::among(&all, own);
                said.lines.push((life, Line { signal: way.signal, quarter, points }));
            }
        }
        said
    }
}

/// Adds one cow's blocks of one signal, oldest first; `blocks` lends the room to sum them up in.
fn points(
    span: Span<'_>,
    place: usize,
    life: LifeKey,
    readings: impl Iterator<Item = (Reading, f64)>,
    blocks: &mut Ordered<i64, Block>,
    points: &mut Vec<Point>,
) {
    let at_ms = span.at.as_millisecond();
    let (way, _) = ways::at(place);
    for (reading, expected) in readings {
        let middle_ms = reading.from_ms + (reading.to_ms - reading.from_ms) / 2;
        let number = ((at_ms - middle_ms) as f64 / (way.block_h * 3_600_000.0)).floor() as i64;
        let block = blocks.of(-number);
        block.from_ms = block.from_ms.min(reading.from_ms);
        block.to_ms = block.to_ms.max(reading.to_ms);
        block.observed += reading.value * reading.weight;
        block.expected += expected * reading.weight;
        block.weight += reading.weight;
        block.readings += 1.0;
    }
    let between = f64::from(span.ground.between[place].unwrap_or(0.0));
    let age_d = (at_ms - span.ground.until_ms) as f64 / 86_400_000.0;
    let error = span.own(life, place).map_or(between, |own| {
        let drift = f64::from(span.ground.drift[place]);
        (f64::from(own.var) + drift * drift * age_d.max(0.0)).sqrt().min(between)
    });
    points.extend(blocks.drain().filter_map(|(_, block)| block.point(way, error)));
}

/// Takes off what all cows do at once; the course of it, by half days, for the signals that tell of feed and heat.
fn take_off_herd(span: Span<'_>, way: &Way, readings: &mut [Expected]) -> Option<HerdLine> {
    let at_ms = span.at.as_millisecond();
    // Each by a constant of its own: the processor divides by anything else far more slowly.
    let step = |at_ms: i64| {
        if way.by_box { at_ms.div_euclid(HERD_STEP_MS[1]) } else { at_ms.div_euclid(HERD_STEP_MS[0]) }
    };
    let mut groups: Ordered<i64, Vec<u32>> = Ordered::default();
    for (index, one) in readings.iter().enumerate() {
        // The same at every round: what was common at a time does not hang on when it is asked.
        groups.of(step(span.begins_ms(one))).push(index as u32);
    }
    let mut course: BTreeMap<i64, (f64, f64, usize)> = BTreeMap::new();
    for (_, members) in groups {
        let Some((common, cows)) = common(way, readings, &members) else { continue };
        shift(way, readings, &members, common);
        if matches!(way.signal, Signal::Rumination | Signal::Eating) {
            let middle_ms = span.begins_ms(&readings[members[0] as usize]);
            let half_day = (at_ms - middle_ms).div_euclid(43_200_000);
            let sum = course.entry(-half_day).or_insert((0.0, 0.0, 0));
            *sum = (sum.0 + common, sum.1 + 1.0, sum.2.max(cows));
        }
    }
    let point = |(half, (sum, count, cows)): (i64, (f64, f64, usize))| HerdPoint {
        at: Timestamp::from_millisecond(at_ms + half * 43_200_000).unwrap_or(span.at),
        log_effect: sum / count,
        sd: way.noise / (cows as f64).sqrt(),
    };
    let points: Vec<HerdPoint> = course.into_iter().map(point).collect();
    (!points.is_empty()).then_some(HerdLine { signal: way.signal, points })
}

/// Takes off what each box adds, day by day: a scale, a probe or a dispenser that is off is nobody's departure.
fn take_off_boxes(span: Span<'_>, way: &Way, readings: &mut [Expected]) {
    let mut boxes: Vec<Ordered<i64, Vec<u32>>> = Vec::new();
    for (index, one) in readings.iter().enumerate() {
        let place = usize::from(one.at_box.0);
        if boxes.len() <= place {
            boxes.resize_with(place + 1, Ordered::default);
        }
        boxes[place].of(span.begins_ms(one).div_euclid(BOX_STEP_MS)).push(index as u32);
    }
    for (_, members) in boxes.into_iter().flatten() {
        if let Some((added, _)) = common(way, readings, &members) {
            shift(way, readings, &members, added);
        }
    }
}

/// What the cows of a group share, and how many they are; nothing where they are too few.
fn common(way: &Way, readings: &[Expected], members: &[u32]) -> Option<(f64, usize)> {
    let spoken = members.iter().map(|index| &readings[*index as usize]).filter(|one| one.speaks);
    if way.scale.multiplies() {
        // A new unit multiplies all of them: a reading is far off where it is far from most.
        let most = median_of(spoken.clone().map(|one| one.value / one.expected.max(1e-9)));
        let most = if 0.0 < most { most } else { 1.0 };
        let (mut observed, mut expected, mut cows) = (0.0, 0.0, 0_usize);
        for one in spoken {
            let usual = one.expected * most;
            let cut = one.value.clamp(usual / MOST_FOLD, usual * MOST_FOLD);
            observed += cut * one.weight;
            expected += one.expected * one.weight;
            cows += 1;
        }
        (FEWEST_COWS <= cows && 0.0 < observed && 0.0 < expected)
            .then(|| ((observed / expected).ln() * cows as f64 / (cows as f64 + COMMON_WORTH), cows))
    } else {
        let apart: Vec<f64> = spoken.map(|one| one.value - one.expected).collect();
        let cows = apart.len();
        (FEWEST_COWS <= cows)
            .then(|| (median_of(apart.into_iter()) * cows as f64 / (cows as f64 + COMMON_WORTH), cows))
    }
}

fn shift(way: &Way, readings: &mut [Expected], members: &[u32], by: f64) {
    let factor = by.exp();
    for index in members {
        let expected = &mut readings[*index as usize].expected;
        if way.scale.multiplies() {
            *expected *= factor;
        } else {
            *expected += by;
        }
    }
}
