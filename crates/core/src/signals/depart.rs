//! How far do the readings of the last ten days depart from what was expected of each cow?

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{
    Ground, JUDGED_H, Line, Point, Reading,
    block::Block,
    ground::{middle, part},
    ordered::{Ordered, by_life},
    spoke::{self, Began, Spoken},
    stage_class,
    stuck::Stuck,
    ways::{self, PLACES, Way},
};
use crate::{
    expect::{HerdPoint, Signal},
    herd::{BoxKey, LifeKey, Stage},
    middle::median_of,
    time::WallClock,
};

/// Cows whose standing is known from which what all do at a time can be told from what one does. Stated default.
const FEWEST_COWS: usize = 8;
/// Cows that count as much as "nothing common". Stated default.
const COMMON_WORTH: f64 = 4.0;
/// Days a standing rests on from which a cow speaks for the herd.
const SPEAKS_FROM_D: u16 = 7;
/// Time over which what all cows do at once is taken: a bin of movement, half a day of what boxes measure.
const HERD_STEP_MS: [i64; 2] = [2 * 3_600_000, 12 * 3_600_000];
/// Time over which a box's own addition is taken: a day.
const BOX_STEP_MS: i64 = 24 * 3_600_000;
/// A reading so many times above or below what was expected says no more of the herd.
const MOST_FOLD: f64 = 3.0;
/// No bin and no visit is longer, h.
const LONGEST_H: f64 = 24.0;
/// Readings of one signal of one cow that room is made for at once: some a day of boxes, and bins of two hours.
const USUAL_READINGS: [usize; 2] = [40, 120];

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
    /// Every cow's lines and since when they speak, and the herd's, by what each window said.
    pub fn of(windows: impl IntoIterator<Item = Said>) -> Heard {
        let mut places: Vec<(usize, OfPlace)> = windows.into_iter().flat_map(|said| said.0).collect();
        places.sort_by_key(|(place, _)| *place);
        let mut herd = Vec::new();
        let mut spoken = Vec::with_capacity(PLACES);
        // By cow: a large herd has tens of thousands of lines.
        let mut cows: Vec<Hers> = Vec::new();
        let measured = places.len();
        for (_, said) in places {
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
        for (life, began) in spoke::began(spoken) {
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

/// The readings of the last ten days.
pub struct Window<'g> {
    ground: &'g Ground,
    at: Timestamp,
    /// No reading of the judged days begins earlier, ms since the epoch.
    since_ms: i64,
    clock: WallClock,
    /// ln of the herd's hours of day, by place.
    log_hours: Vec<[f64; 24]>,
    /// By place, in the order they came: no signal's readings bear on another's.
    readings: [Vec<Expected>; PLACES],
}

/// A reading beside what was expected of it so far. A large herd has two million: no more is kept than is asked.
struct Expected {
    life: LifeKey,
    /// Its begin after the window's, and its length.
    after_ms: u32,
    lasts_ms: u32,
    /// By which box, where the signal is one of boxes.
    at_box: BoxKey,
    speaks: bool,
    value: f64,
    weight: f64,
    /// On the scale of the reading.
    expected: f64,
}

/// What the readings of some places say, by place. Rows of movement and visits have places of their own: each may be read
/// into a window of its own, side by side.
pub struct Said(Vec<(usize, OfPlace)>);

/// What the readings of one place say.
#[derive(Default)]
struct OfPlace {
    herd: Option<HerdLine>,
    lines: Vec<(LifeKey, Line)>,
    spoken: Spoken,
}

impl<'g> Window<'g> {
    /// None yet, judged at a time.
    pub fn new(ground: &'g Ground, at: Timestamp, clock: WallClock) -> Window<'g> {
        let since_ms = at.as_millisecond() - ((JUDGED_H + LONGEST_H) * 3_600_000.0) as i64;
        let log_hours = ground.hours.iter().map(|hours| hours.map(|hour| f64::from(hour).ln())).collect();
        Window { ground, at, since_ms, clock, log_hours, readings: [const { Vec::new() }; PLACES] }
    }

    /// Takes a reading; one that had not ended by the time, or ended before the judged days, is left out.
    pub fn take(&mut self, reading: &Reading, stage: &Stage) {
        let at_ms = self.at.as_millisecond();
        if at_ms < reading.to_ms || reading.to_ms as f64 <= at_ms as f64 - JUDGED_H * 3_600_000.0 {
            return;
        }
        let (Ok(after_ms), Ok(lasts_ms)) =
            (u32::try_from(reading.from_ms - self.since_ms), u32::try_from(reading.to_ms - reading.from_ms))
        else {
            return;
        };
        let place = usize::from(reading.place);
        if self.ground.between[place].is_none() {
            return;
        }
        let (way, _) = ways::at(place);
        let own = self.own(reading.life, place);
        let class = stage_class(stage);
        let mut expected = own.map_or(f64::from(self.ground.stages[place][class]), |own| {
            f64::from(own.mean) + f64::from(self.ground.moves[place][class])
        });
        let speaks = own.is_some_and(|own| SPEAKS_FROM_D <= own.days);
        if way.by_hour {
            let hours = (reading.to_ms - reading.from_ms) as f64 / 3_600_000.0;
            if hours < 12.0 {
                let hers = own.map(|own| own.hours);
                let hour = self.clock.hour_of_day(middle(reading));
                expected += self.log_hours[place][(hour as usize).min(23)]
                    + hers.map_or(0.0, |hers| f64::from(hers[part(hour)]));
            }
        }
        if way.scale.multiplies() {
            expected = expected.exp();
        }
        let &Reading { life, at_box, value, weight, .. } = reading;
        let at_box = at_box.unwrap_or(BoxKey(u16::MAX));
        let readings = &mut self.readings[place];
        if readings.capacity() == 0 {
            readings.reserve(self.ground.own.len() * USUAL_READINGS[usize::from(way.by_hour)]);
        }
        readings.push(Expected { life, after_ms, lasts_ms, at_box, speaks, value, weight, expected });
    }

    fn begins_ms(&self, one: &Expected) -> i64 {
        self.since_ms + i64::from(one.after_ms)
    }

    /// The reading that was taken into a place.
    fn reading(&self, place: usize, one: &Expected) -> Reading {
        let (way, _) = ways::at(place);
        let from_ms = self.begins_ms(one);
        Reading {
            life: one.life,
            place: place as u8,
            at_box: way.by_box.then_some(one.at_box),
            from_ms,
            to_ms: from_ms + i64::from(one.lasts_ms),
            value: one.value,
            weight: one.weight,
        }
    }

    /// Leaves out what stuck sensors sent.
    pub fn without(&mut self, stuck: &[Stuck]) {
        for place in 0..PLACES {
            let here: Vec<&Stuck> = stuck.iter().filter(|own| own.place() == Some(place)).collect();
            if !here.is_empty() {
                let mut readings = std::mem::take(&mut self.readings[place]);
                readings.retain(|one| {
                    let reading = self.reading(place, one);
                    !here.iter().any(|own| own.holds(&reading))
                });
                self.readings[place] = readings;
            }
        }
    }

    fn own(&self, life: LifeKey, place: usize) -> Option<&super::Own> {
        self.ground.own.get(life.0 as usize)?[place].as_ref()
    }

    /// What its readings say, place by place. What all cows do at a time, and what a box adds, is taken off first.
    pub fn said(mut self) -> Said {
        let readings = std::mem::replace(&mut self.readings, [const { Vec::new() }; PLACES]);
        let read = readings.into_iter().enumerate().filter(|(_, readings)| !readings.is_empty());
        Said(read.map(|(place, readings)| (place, self.of_place(place, readings))).collect())
    }

    fn of_place(&self, place: usize, mut readings: Vec<Expected>) -> OfPlace {
        let (way, _) = ways::at(place);
        // A visit is a count: nights have fewer, and that is nobody's departure.
        let herd = if way.signal == Signal::Visits { None } else { self.take_off_herd(way, &mut readings) };
        if way.by_box {
            self.take_off_boxes(way, &mut readings);
        }
        let mut of_place = OfPlace { herd, ..OfPlace::default() };
        let (order, ends) = by_life(readings.iter().map(|one| one.life));
        let mut blocks = Ordered::default();
        let mut next = 0;
        for (life, end) in (0..).map(LifeKey).zip(ends) {
            let hers = &order[std::mem::replace(&mut next, end)..end];
            if hers.is_empty() {
                continue;
            }
            let own = hers.iter().map(|index| {
                let one = &readings[*index as usize];
                (self.reading(place, one), one.expected)
            });
            of_place.spoken.hear(place, life, own.clone());
            let points = self.points(place, life, own, &mut blocks);
            if !points.is_empty() {
                let (way, quarter) = ways::at(place);
                of_place.lines.push((life, Line { signal: way.signal, quarter, points }));
            }
        }
        of_place
    }

    /// One cow's blocks of one signal, oldest first; `blocks` lends the room to sum them up in.
    fn points(
        &self,
        place: usize,
        life: LifeKey,
        readings: impl Iterator<Item = (Reading, f64)>,
        blocks: &mut Ordered<i64, Block>,
    ) -> Vec<Point> {
        let at_ms = self.at.as_millisecond();
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
        let between = f64::from(self.ground.between[place].unwrap_or(0.0));
        let age_d = (at_ms - self.ground.until_ms) as f64 / 86_400_000.0;
        let error = self.own(life, place).map_or(between, |own| {
            let drift = f64::from(self.ground.drift[place]);
            (f64::from(own.var) + drift * drift * age_d.max(0.0)).sqrt().min(between)
        });
        let mut points = Vec::with_capacity(blocks.len());
        points.extend(blocks.drain().filter_map(|(_, block)| block.point(way, error)));
        points
    }

    /// Takes off what all cows do at once; the course of it, by half days, for the signals that tell of feed and heat.
    fn take_off_herd(&self, way: &Way, readings: &mut [Expected]) -> Option<HerdLine> {
        let at_ms = self.at.as_millisecond();
        // Each by a constant of its own: the processor divides by anything else far more slowly.
        let step = |at_ms: i64| {
            if way.by_box { at_ms.div_euclid(HERD_STEP_MS[1]) } else { at_ms.div_euclid(HERD_STEP_MS[0]) }
        };
        let mut groups: Ordered<i64, Vec<u32>> = Ordered::default();
        for (index, one) in readings.iter().enumerate() {
            // The same at every round: what was common at a time does not hang on when it is asked.
            groups.of(step(self.begins_ms(one))).push(index as u32);
        }
        let mut course: BTreeMap<i64, (f64, f64, usize)> = BTreeMap::new();
        for (_, members) in groups {
            let Some((common, cows)) = common(way, readings, &members) else { continue };
            shift(way, readings, &members, common);
            if matches!(way.signal, Signal::Rumination | Signal::Eating) {
                let middle_ms = self.begins_ms(&readings[members[0] as usize]);
                let half_day = (at_ms - middle_ms).div_euclid(43_200_000);
                let sum = course.entry(-half_day).or_insert((0.0, 0.0, 0));
                *sum = (sum.0 + common, sum.1 + 1.0, sum.2.max(cows));
            }
        }
        let point = |(half, (sum, count, cows)): (i64, (f64, f64, usize))| HerdPoint {
            at: Timestamp::from_millisecond(at_ms + half * 43_200_000).unwrap_or(self.at),
            log_effect: sum / count,
            sd: way.noise / (cows as f64).sqrt(),
        };
        let points: Vec<HerdPoint> = course.into_iter().map(point).collect();
        (!points.is_empty()).then_some(HerdLine { signal: way.signal, points })
    }

    /// Takes off what each box adds, day by day: a scale, a probe or a dispenser that is off is nobody's departure.
    fn take_off_boxes(&self, way: &Way, readings: &mut [Expected]) {
        let mut boxes: Vec<Ordered<i64, Vec<u32>>> = Vec::new();
        for (index, one) in readings.iter().enumerate() {
            let place = usize::from(one.at_box.0);
            if boxes.len() <= place {
                boxes.resize_with(place + 1, Ordered::default);
            }
            boxes[place].of(self.begins_ms(one).div_euclid(BOX_STEP_MS)).push(index as u32);
        }
        for (_, members) in boxes.into_iter().flatten() {
            if let Some((added, _)) = common(way, readings, &members) {
                shift(way, readings, &members, added);
            }
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

// How many places there are is fixed: a `u8` holds them.
const _: () = assert!(PLACES < 256);
