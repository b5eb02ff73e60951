//! How far do the readings of the last ten days depart from what was expected of each cow?

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{
    Ground, JUDGED_H, Line, Point, Reading,
    ground::{middle, part},
    spoke::{self, Began},
    stage_class,
    ways::{self, PLACES, Scale, Way},
};
use crate::{
    expect::{HerdPoint, Signal},
    herd::{LifeKey, Stage},
    middle::median_of,
    time::WallClock,
};

/// Cows whose standing is known from which what all do at a time can be told from what one does. Stated default.
const FEWEST_COWS: usize = 8;
/// Cows that count as much as "nothing common". Stated default.
const COMMON_WORTH: f64 = 4.0;
/// Days a standing rests on from which a cow speaks for the herd.
const SPEAKS_FROM_D: u16 = 7;
/// Hours over which what all cows do at once is taken: a bin of movement, half a day of what boxes measure.
const HERD_STEP_H: [f64; 2] = [2.0, 12.0];
/// Days over which a box's own addition is taken.
const BOX_STEP_H: f64 = 24.0;
/// Share of a block that must be covered by bins.
const LEAST_COVERED: f64 = 0.4;
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

/// The readings of the last ten days.
pub struct Window<'g> {
    ground: &'g Ground,
    at: Timestamp,
    clock: WallClock,
    readings: Vec<Expected>,
}

/// A reading beside what was expected of it so far.
struct Expected {
    reading: Reading,
    /// On the scale of the reading.
    value: f64,
    speaks: bool,
}

impl<'g> Window<'g> {
    /// None yet, judged at a time.
    pub fn new(ground: &'g Ground, at: Timestamp, clock: WallClock) -> Window<'g> {
        Window { ground, at, clock, readings: Vec::new() }
    }

    /// Takes a reading; one that had not ended by the time, or ended before the judged days, is left out.
    pub fn take(&mut self, reading: &Reading, stage: &Stage) {
        let at_ms = self.at.as_millisecond();
        if at_ms < reading.to_ms || reading.to_ms as f64 <= at_ms as f64 - JUDGED_H * 3_600_000.0 {
            return;
        }
        let place = usize::from(reading.place);
        if self.ground.between[place].is_none() {
            return;
        }
        let (way, _) = ways::at(place);
        let own = self.own(reading.life, place).copied();
        let class = stage_class(stage);
        let mut value = own.map_or(f64::from(self.ground.stages[place][class]), |own| {
            f64::from(own.mean) + f64::from(self.ground.moves[place][class])
        });
        if way.by_hour {
            let hour = self.clock.hour_of_day(middle(reading));
            let hours = (reading.to_ms - reading.from_ms) as f64 / 3_600_000.0;
            if hours < 12.0 {
                let herd = f64::from(self.ground.hours[place][(hour as usize).min(23)]);
                value += herd.ln() + own.map_or(0.0, |own| f64::from(own.hours[part(hour)]));
            }
        }
        if way.scale.multiplies() {
            value = value.exp();
        }
        let speaks = own.is_some_and(|own| SPEAKS_FROM_D <= own.days);
        self.readings.push(Expected { reading: *reading, value, speaks });
    }

    fn own(&self, life: LifeKey, place: usize) -> Option<&super::Own> {
        self.ground.own.get(life.0 as usize)?[place].as_ref()
    }

    /// Every cow's lines and since when they speak, and the herd's. What all cows do at a time, and what a box adds, is
    /// taken off first.
    pub fn heard(mut self) -> Heard {
        let herd = self.take_off_herd();
        self.take_off_boxes();
        let mut cows: BTreeMap<LifeKey, Hers> = BTreeMap::new();
        for (life, began) in spoke::began(self.readings.iter().map(|one| (&one.reading, one.value))) {
            cows.entry(life).or_default().began = began;
        }
        for (life, lines) in self.lines() {
            cows.entry(life).or_default().lines = lines;
        }
        Heard { cows, herd }
    }

    fn lines(&self) -> BTreeMap<LifeKey, Vec<Line>> {
        let at_ms = self.at.as_millisecond();
        let mut blocks: BTreeMap<(LifeKey, u8, i64), Block> = BTreeMap::new();
        for Expected { reading, value, .. } in &self.readings {
            let (way, _) = ways::at(usize::from(reading.place));
            let middle_ms = reading.from_ms + (reading.to_ms - reading.from_ms) / 2;
            let number = ((at_ms - middle_ms) as f64 / (way.block_h * 3_600_000.0)).floor() as i64;
            let block = blocks.entry((reading.life, reading.place, -number)).or_insert(Block::EMPTY);
            block.from_ms = block.from_ms.min(reading.from_ms);
            block.to_ms = block.to_ms.max(reading.to_ms);
            block.observed += reading.value * reading.weight;
            block.expected += value * reading.weight;
            block.weight += reading.weight;
            block.readings += 1.0;
        }
        let mut lines: BTreeMap<LifeKey, Vec<Line>> = BTreeMap::new();
        for ((life, place, _), block) in blocks {
            let place = usize::from(place);
            let (way, quarter) = ways::at(place);
            let own = self.own(life, place);
            let between = f64::from(self.ground.between[place].unwrap_or(0.0));
            let age_d = (at_ms - self.ground.until_ms) as f64 / 86_400_000.0;
            let error = own.map_or(between, |own| {
                let drift = f64::from(self.ground.drift[place]);
                (f64::from(own.var) + drift * drift * age_d.max(0.0)).sqrt().min(between)
            });
            let Some(point) = block.point(way, error) else { continue };
            let own = lines.entry(life).or_default();
            match own.last_mut().filter(|line| line.signal == way.signal && line.quarter == quarter) {
                Some(line) => line.points.push(point),
                None => own.push(Line { signal: way.signal, quarter, points: vec![point] }),
            }
        }
        lines
    }

    /// Takes off what all cows do at once; the course of it, by half days, for the signals that tell of feed and heat.
    fn take_off_herd(&mut self) -> Vec<HerdLine> {
        let at_ms = self.at.as_millisecond();
        let step_of = |reading: &Reading| {
            let (way, _) = ways::at(usize::from(reading.place));
            let hours = HERD_STEP_H[usize::from(way.by_box)];
            // The same at every round: what was common at a time does not hang on when it is asked.
            reading.from_ms.div_euclid((hours * 3_600_000.0) as i64)
        };
        let mut groups: BTreeMap<(u8, i64), Vec<usize>> = BTreeMap::new();
        for (index, one) in self.readings.iter().enumerate() {
            // A visit is a count: nights have fewer, and that is nobody's departure.
            if ways::at(usize::from(one.reading.place)).0.signal != Signal::Visits {
                groups.entry((one.reading.place, step_of(&one.reading))).or_default().push(index);
            }
        }
        let mut course: BTreeMap<u8, BTreeMap<i64, (f64, f64, usize)>> = BTreeMap::new();
        for ((place, _), members) in groups {
            let (way, _) = ways::at(usize::from(place));
            let Some((common, cows)) = self.common(way, &members) else { continue };
            for index in &members {
                self.shift(*index, way, common);
            }
            if matches!(way.signal, Signal::Rumination | Signal::Eating) {
                let middle_ms = self.readings[members[0]].reading.from_ms;
                let half_day = (at_ms - middle_ms).div_euclid(43_200_000);
                let sum = course.entry(place).or_default().entry(-half_day).or_insert((0.0, 0.0, 0));
                *sum = (sum.0 + common, sum.1 + 1.0, sum.2.max(cows));
            }
        }
        course
            .into_iter()
            .map(|(place, halves)| {
                let (way, _) = ways::at(usize::from(place));
                let point = |(half, (sum, count, cows)): (i64, (f64, f64, usize))| HerdPoint {
                    at: Timestamp::from_millisecond(at_ms + half * 43_200_000).unwrap_or(self.at),
                    log_effect: sum / count,
                    sd: way.noise / (cows as f64).sqrt(),
                };
                HerdLine { signal: way.signal, points: halves.into_iter().map(point).collect() }
            })
            .collect()
    }

    /// What the cows of a group share, and how many they are; nothing where they are too few.
    fn common(&self, way: &Way, members: &[usize]) -> Option<(f64, usize)> {
        let spoken = members.iter().map(|index| &self.readings[*index]).filter(|one| one.speaks);
        if way.scale.multiplies() {
            // A new unit multiplies all of them: a reading is far off where it is far from most.
            let most = median_of(spoken.clone().map(|one| one.reading.value / one.value.max(1e-9)));
            let most = if 0.0 < most { most } else { 1.0 };
            let (mut observed, mut expected, mut cows) = (0.0, 0.0, 0_usize);
            for one in spoken {
                let usual = one.value * most;
                let cut = one.reading.value.clamp(usual / MOST_FOLD, usual * MOST_FOLD);
                observed += cut * one.reading.weight;
                expected += one.value * one.reading.weight;
                cows += 1;
            }
            (FEWEST_COWS <= cows && 0.0 < observed && 0.0 < expected)
                .then(|| ((observed / expected).ln() * cows as f64 / (cows as f64 + COMMON_WORTH), cows))
        } else {
            let apart: Vec<f64> = spoken.map(|one| one.reading.value - one.value).collect();
            let cows = apart.len();
            (FEWEST_COWS <= cows)
                .then(|| (median_of(apart.into_iter()) * cows as f64 / (cows as f64 + COMMON_WORTH), cows))
        }
    }

    fn shift(&mut self, index: usize, way: &Way, by: f64) {
        let one = &mut self.readings[index];
        if way.scale.multiplies() {
            one.value *= by.exp();
        } else {
            one.value += by;
        }
    }

    /// Takes off what each box adds, day by day: a scale, a probe or a dispenser that is off is nobody's departure.
    fn take_off_boxes(&mut self) {
        let mut groups: BTreeMap<(u8, u16, i64), Vec<usize>> = BTreeMap::new();
        for (index, one) in self.readings.iter().enumerate() {
            let (way, _) = ways::at(usize::from(one.reading.place));
            if let (true, Some(at_box)) = (way.by_box, one.reading.at_box) {
                let day = one.reading.from_ms.div_euclid((BOX_STEP_H * 3_600_000.0) as i64);
                groups.entry((one.reading.place, at_box.0, day)).or_default().push(index);
            }
        }
        for ((place, ..), members) in groups {
            let (way, _) = ways::at(usize::from(place));
            if let Some((added, _)) = self.common(way, &members) {
                for index in &members {
                    self.shift(*index, way, added);
                }
            }
        }
    }
}

/// The readings of one block.
#[derive(Clone, Copy)]
struct Block {
    from_ms: i64,
    to_ms: i64,
    observed: f64,
    expected: f64,
    weight: f64,
    readings: f64,
}

impl Block {
    const EMPTY: Block = Block {
        from_ms: i64::MAX,
        to_ms: i64::MIN,
        observed: 0.0,
        expected: 0.0,
        weight: 0.0,
        readings: 0.0,
    };

    /// Its departure; nothing where too little of it was measured.
    fn point(&self, way: &Way, error: f64) -> Option<Point> {
        let covered = if way.by_hour { (self.weight / way.block_h).min(1.0) } else { 1.0 };
        if covered < LEAST_COVERED || self.weight <= 0.0 {
            return None;
        }
        // Visits are counted: the expected count of the block is a day's, as the block is a day.
        let (observed, expected) = if way.signal == Signal::Visits {
            (self.observed, self.expected / self.readings)
        } else {
            (self.observed / self.weight, self.expected / self.weight)
        };
        let gap = way.scale.departure(observed, expected);
        let shown = |value: f64| match way.signal {
            Signal::Feed => 100.0 * value,
            Signal::Activity => 100.0 * value / expected.max(1e-9),
            _ if way.scale == Scale::Logged => value.exp(),
            _ => value,
        };
        gap.is_finite().then(|| Point {
            from: Timestamp::from_millisecond(self.from_ms).unwrap_or_default(),
            to: Timestamp::from_millisecond(self.to_ms).unwrap_or_default(),
            observed: shown(observed),
            expected: shown(expected),
            gap,
            noise_sd: way.noise / covered.sqrt(),
            error,
        })
    }
}

impl Point {
    /// Ends of the band in which nineteen of twenty such blocks lie, in the signal's unit.
    pub fn band(&self, signal: Signal) -> (f64, f64) {
        let Some(way) = ways::of(signal) else { return (self.expected, self.expected) };
        let reach = 1.96 * self.noise_sd.hypot(self.error);
        match way.scale {
            Scale::Ratio => (self.expected * (1.0 - reach).max(0.0), self.expected * (1.0 + reach)),
            Scale::Fold | Scale::Logged => (self.expected * (-reach).exp(), self.expected * reach.exp()),
            Scale::Plain if signal == Signal::Feed => {
                ((self.expected - 100.0 * reach).max(0.0), (self.expected + 100.0 * reach).min(100.0))
            }
            Scale::Plain => (self.expected - reach, self.expected + reach),
        }
    }
}

// How many places there are is fixed: a `u8` holds them.
const _: () = assert!(PLACES < 256);
