//! What is her own: learned from four weeks that end well before the days to be judged.
//!
//! # Equation
//! own = mean over days of (day − moves);  kept between own and the mean of her stage by n : σ²/τ²,  variance τ²σ²/(nτ² + σ²)
//!   moves  how levels go from one stage to the next, by the cows that were in both: that older or heavier cows stand in one
//!          stage today says nothing of what one cow will do in it
//!   day  her mean of the day (its logarithm for what multiplies), cut at three spreads σ from her middle day
//!   σ²  within cows, pooled    τ²  between cows, what is left of the spread of their means; both pulled to what [`ways`] states
//! Days count half: what differs today differs tomorrow too.

use serde::{Deserialize, Serialize};

use super::{
    LEARNED_D, Reading, STAGES,
    past_heat::{self, PastHeat},
    stage_class,
    stuck::Stuck,
    ways::{self, PLACES},
};
use crate::{
    expect::Signal,
    herd::{LifeKey, Stage},
    middle::median_of,
    time::WallClock,
};

/// Parts of the day in which a cow may have hours of her own.
pub(crate) const PARTS: usize = 6;
/// Days of her own hours that count as much as knowing nothing. Stated default.
const HOURS_WORTH_D: f64 = 14.0;
/// Cows of a stage that count as much as the herd's mean. Stated default.
const STAGE_WORTH: f64 = 4.0;
/// Readings of a cow that count as much as what is stated of scatter and spread.
const STATED_WORTH: f64 = 40.0;
/// Least share of an hour's mean of the day: nobody is expected to do nothing.
const LEAST_HOUR: f64 = 0.05;

/// Her own standing in one signal.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Own {
    /// Her level, less what her stage moves it by.
    pub mean: f32,
    /// Variance of that.
    pub var: f32,
    /// Days it rests on.
    pub days: u16,
    /// Her own hours beside the herd's, logarithms by six parts of the day; 0 where the signal does not hang on hours.
    pub hours: [f32; PARTS],
}

/// What was learned by a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ground {
    /// Rows up to here are in it, ms since the epoch.
    pub until_ms: i64,
    /// By cow: her standing in each place of signals.
    pub own: Vec<[Option<Own>; PLACES]>,
    /// By place and stage: mean of the cows in it, for a cow of whom nothing is known.
    pub(crate) stages: Vec<[f32; STAGES]>,
    /// By place and stage: how a cow's own level moves from stage to stage, 0 at the last.
    pub(crate) moves: Vec<[f32; STAGES]>,
    /// By place and hour of day, a mean of 1.
    pub(crate) hours: Vec<[f32; 24]>,
    /// By place: how far a cow's own level wanders, a square root of a day.
    pub(crate) drift: [f32; PLACES],
    /// By place: spread between cows, on the scale of the equation; none where nobody was measured.
    pub(crate) between: [Option<f32>; PLACES],
    /// By cow: the last of these days on which she was probably in heat by her activity.
    pub heats: Vec<Option<PastHeat>>,
}

#[derive(Clone, Copy, Default)]
struct Sum {
    value: f64,
    weight: f64,
}

/// A cow's day in one signal.
#[derive(Clone, Copy)]
struct Day {
    life: u32,
    place: u8,
    class: u8,
    number: i32,
    value: f32,
}

/// Takes readings of four weeks, day by day, and learns from them.
pub struct Learner {
    clock: WallClock,
    today: Vec<[Sum; PLACES]>,
    class: Vec<u8>,
    day: Vec<i64>,
    days: Vec<Day>,
    hours: Vec<[Sum; 24]>,
    own_hours: Vec<[[Sum; PARTS]; 4]>,
}

impl Learner {
    /// Of a herd of `lives` cows, on the farm's clock.
    pub fn new(lives: usize, clock: WallClock) -> Learner {
        Learner {
            clock,
            today: vec![[Sum::default(); PLACES]; lives],
            class: vec![0; lives],
            day: vec![i64::MIN; lives],
            days: Vec::new(),
            hours: vec![[Sum::default(); 24]; PLACES],
            own_hours: vec![[[Sum::default(); PARTS]; 4]; lives],
        }
    }

    /// Takes one reading; each cow's days in order, within a day in any order. `stage` is hers at that time.
    pub fn take(&mut self, reading: &Reading, stage: &Stage) {
        let day = reading.from_ms.div_euclid(86_400_000);
        let (life, place) = (reading.life.0 as usize, usize::from(reading.place));
        if day != self.day[life] {
            self.turn(life);
            self.day[life] = day;
        }
        let (way, _) = ways::at(place);
        // A dry cow has no milk to read, and moves as a dry cow.
        self.class[life] = stage_class(stage) as u8;
        let sum = &mut self.today[life][place];
        sum.value += reading.value * reading.weight;
        sum.weight += reading.weight;
        if way.by_hour {
            let hour = self.clock.hour_of_day(middle(reading));
            let add = |sum: &mut Sum| {
                sum.value += reading.value * reading.weight;
                sum.weight += reading.weight;
            };
            add(&mut self.hours[place][(hour as usize).min(23)]);
            if let Some(own) = self.own_hours[life].get_mut(place) {
                add(&mut own[part(hour)]);
            }
        }
    }

    /// A cow's day is over.
    fn turn(&mut self, life: usize) {
        for (place, sum) in self.today[life].iter_mut().enumerate() {
            if 0.0 < sum.weight {
                let (way, _) = ways::at(place);
                // Visits are counted, all else is a mean.
                let mean = if way.signal == Signal::Visits { sum.value } else { sum.value / sum.weight };
                let value = if way.scale.multiplies() { mean.max(1e-3).ln() } else { mean };
                self.days.push(Day {
                    life: life as u32,
                    place: place as u8,
                    class: self.class[life],
                    number: self.day[life] as i32,
                    value: value as f32,
                });
                *sum = Sum::default();
            }
        }
    }

    /// What was learned, by a time; days in which a tag sent nothing that a cow could do are left out.
    pub fn learned(mut self, until_ms: i64, stuck: &[Stuck]) -> Ground {
        let lives = self.own_hours.len();
        (0..lives).for_each(|life| self.turn(life));
        self.days.retain(|day| !stuck.iter().any(|own| own.has_day(day.place, day.life, day.number)));
        let mut ground = Ground {
            until_ms,
            own: vec![[None; PLACES]; lives],
            stages: vec![[0.0; STAGES]; PLACES],
            moves: vec![[0.0; STAGES]; PLACES],
            hours: vec![[1.0; 24]; PLACES],
            drift: [0.0; PLACES],
            between: [None; PLACES],
            heats: vec![None; lives],
        };
        self.days.sort_by_key(|day| (day.place, day.life));
        let days = std::mem::take(&mut self.days);
        for of_place in days.chunk_by(|a, b| a.place == b.place) {
            place(&mut ground, of_place);
        }
        for (at, sums) in self.hours.iter().enumerate() {
            let all = sums.iter().fold(Sum::default(), |all, sum| Sum {
                value: all.value + sum.value,
                weight: all.weight + sum.weight,
            });
            if all.value <= 0.0 {
                continue;
            }
            let mean = all.value / all.weight;
            for (hour, sum) in sums.iter().enumerate() {
                // Bins of two hours fall on every other hour: an hour without a reading is that of the one before.
                let before = ground.hours[at][hour.saturating_sub(1)];
                ground.hours[at][hour] = if 0.0 < sum.weight {
                    (sum.value / sum.weight / mean).max(LEAST_HOUR) as f32
                } else {
                    before
                };
            }
        }
        self.hers(&mut ground);
        ground
    }

    /// Each cow's own hours beside the herd's.
    fn hers(&self, ground: &mut Ground) {
        for (life, own_hours) in self.own_hours.iter().enumerate() {
            for (place, parts) in own_hours.iter().enumerate() {
                let Some(own) = &mut ground.own[life][place] else { continue };
                let value: f64 = parts.iter().map(|sum| sum.value).sum();
                let weight: f64 = parts.iter().map(|sum| sum.weight).sum();
                if value <= 0.0 {
                    continue;
                }
                let mut logs = [0.0; PARTS];
                for (index, sum) in parts.iter().enumerate() {
                    let (from, to) = (index * 24 / PARTS, (index + 1) * 24 / PARTS);
                    let herd = ground.hours[place][from..to].iter().map(|hour| f64::from(*hour)).sum::<f64>()
                        / (to - from) as f64;
                    let share = sum.value / sum.weight.max(1e-9) / (value / weight);
                    // Days that part of the day was seen.
                    let days = sum.weight / (24.0 / PARTS as f64);
                    logs[index] = (share.max(LEAST_HOUR) / herd).ln() * days / (days + HOURS_WORTH_D);
                }
                own.hours = logs.map(|log| log as f32);
            }
        }
    }
}

/// Stage means and own standings of one place.
fn place(ground: &mut Ground, days: &[Day]) {
    let Some(at) = days.first().map(|day| usize::from(day.place)) else { return };
    let (way, _) = ways::at(at);
    // Her middle day, and the pooled scatter about it.
    let cows: Vec<&[Day]> = days.chunk_by(|a, b| a.life == b.life).collect();
    let middles: Vec<f64> =
        cows.iter().map(|own| median_of(own.iter().map(|day| f64::from(day.value)))).collect();
    let mut apart: Vec<f64> = Vec::with_capacity(days.len());
    for (own, middle) in cows.iter().zip(&middles) {
        if 4 <= own.len() {
            apart.extend(own.iter().map(|day| (f64::from(day.value) - middle).abs()));
        }
    }
    let stated_day = way.noise * (way.block_h / 24.0).sqrt().min(1.0);
    let seen = apart.len() as f64;
    let within = if apart.is_empty() { stated_day } else { 1.4826 * median_of(apart.iter().copied()) };
    let within =
        ((seen * within * within + STATED_WORTH * stated_day * stated_day) / (seen + STATED_WORTH)).sqrt();
    let cut =
        |day: &Day, middle: f64| f64::from(day.value).clamp(middle - 3.0 * within, middle + 3.0 * within);
    let herd = median_of(middles.iter().copied());
    // Each cow's mean in each stage counts once.
    let mut sums = [(0.0, 0.0); STAGES];
    for (own, middle) in cows.iter().zip(&middles) {
        for (class, sum) in sums.iter_mut().enumerate() {
            let here: Vec<f64> = own
                .iter()
                .filter(|day| usize::from(day.class) == class)
                .map(|day| cut(day, *middle))
                .collect();
            if !here.is_empty() {
                sum.0 += here.iter().sum::<f64>() / here.len() as f64 - herd;
                sum.1 += 1.0;
            }
        }
    }
    let stages = sums.map(|(sum, cows)| herd + sum / (cows + STAGE_WORTH));
    let moves = moves(&cows, &middles, &cut, within);
    // Her own level, days, and where a cow of her stage stands.
    let means: Vec<(usize, f64, f64, f64)> = cows
        .iter()
        .zip(&middles)
        .map(|(own, middle)| {
            let sum: f64 = own.iter().map(|day| cut(day, *middle) - moves[usize::from(day.class)]).sum();
            let class = own.last().map_or(0, |day| usize::from(day.class));
            (own[0].life as usize, sum / own.len() as f64, own.len() as f64, stages[class] - moves[class])
        })
        .collect();
    let settled: Vec<&(usize, f64, f64, f64)> = means.iter().filter(|(_, _, days, _)| 7.0 <= *days).collect();
    let spread: f64 = settled
        .iter()
        .map(|(_, own, days, usual)| (own - usual).powi(2) - 2.0 * within * within / days)
        .sum();
    let count = settled.len() as f64;
    let stated = way.between * way.between;
    let between = ((spread.max(0.0) + 5.0 * stated) / (count + 5.0)).max(0.1 * stated);
    for (life, own, days, usual) in means {
        let worth = days.min(LEARNED_D as f64) / 2.0;
        let noise = within * within;
        let share = worth * between / (worth * between + noise);
        ground.own[life][at] = Some(Own {
            mean: (usual + (own - usual) * share) as f32,
            var: (between * noise / (worth * between + noise)) as f32,
            days: days as u16,
            hours: [0.0; PARTS],
        });
    }
    if way.signal == Signal::Activity {
        for own in &cows {
            // Days of a stage that moves activity by itself are set against where she stands in it.
            let moved = |day: &Day| f64::from(day.value) - moves[usize::from(day.class)];
            let middle = median_of(own.iter().map(moved));
            let apart: Vec<(i64, f64)> =
                own.iter().map(|day| (i64::from(day.number), moved(day) - middle)).collect();
            ground.heats[own[0].life as usize] = past_heat::last(&apart, within);
        }
    }
    ground.drift[at] = drift(&cows, &cut, &middles, within, way.drift) as f32;
    ground.moves[at] = moves.map(|moved| moved as f32);
    ground.stages[at] = stages.map(|mean| mean as f32);
    ground.between[at] = Some(between.sqrt() as f32);
}

/// Cows that count as much as what is stated of wandering.
const DRIFT_WORTH: f64 = 10.0;

/// How far levels wander: by the middle square of what her second fortnight lies off her first, less what days scatter. Of a
/// walk with step sd δ a day two fortnights one after the other differ with variance (2/3)·14·δ².
fn drift(cows: &[&[Day]], cut: &dyn Fn(&Day, f64) -> f64, middles: &[f64], within: f64, stated: f64) -> f64 {
    let mut squares: Vec<f64> = Vec::new();
    for (own, middle) in cows.iter().zip(middles).filter(|(own, _)| 20 <= own.len()) {
        // In a stage that moves levels by itself nothing is told.
        if own[0].class != own[own.len() - 1].class {
            continue;
        }
        let (first, second) = own.split_at(own.len() / 2);
        let mean = |days: &[Day]| days.iter().map(|day| cut(day, *middle)).sum::<f64>() / days.len() as f64;
        let noise = within * within * (1.0 / first.len() as f64 + 1.0 / second.len() as f64);
        squares.push((mean(second) - mean(first)).powi(2) - noise);
    }
    let count = squares.len() as f64;
    // The middle of a squared normal is 0.455 of its mean.
    let seen = (median_of(squares.into_iter()) / 0.455 / (2.0 / 3.0 * 14.0)).max(0.0);
    ((count * seen + DRIFT_WORTH * stated * stated) / (count + DRIFT_WORTH)).sqrt()
}

/// Cows that were in two stages that count as much as "a cow stays as she is". Stated default.
const MOVES_WORTH: f64 = 3.0;

/// How a cow's own level moves from stage to stage, 0 at the last of each parity's; dry 0.
fn moves(cows: &[&[Day]], middles: &[f64], cut: &dyn Fn(&Day, f64) -> f64, within: f64) -> [f64; STAGES] {
    let mut steps = [(0.0, 0.0); STAGES];
    for (own, middle) in cows.iter().zip(middles) {
        for pair in own.chunk_by(|a, b| a.class == b.class).collect::<Vec<_>>().windows(2) {
            let (first, second) = (usize::from(pair[0][0].class), usize::from(pair[1][0].class));
            if first == 0 || second != first + 1 || second == 1 + (STAGES - 1) / 2 {
                continue;
            }
            let mean =
                |days: &[Day]| days.iter().map(|day| cut(day, *middle)).sum::<f64>() / days.len() as f64;
            // Of few days one tells little.
            let worth = 1.0 / (1.0 / pair[0].len() as f64 + 1.0 / pair[1].len() as f64);
            steps[first].0 += worth * (mean(pair[1]) - mean(pair[0]));
            steps[first].1 += worth;
        }
    }
    let mut moves = [0.0; STAGES];
    let half = (STAGES - 1) / 2;
    for last in [half, 2 * half] {
        for class in (last - half + 1..last).rev() {
            let (sum, worth) = steps[class];
            let step = sum / (worth + MOVES_WORTH);
            // What is within chance of nothing stays nothing.
            let chance = within / (worth + 1e-9).sqrt();
            moves[class] = moves[class + 1] - if step.abs() < chance { 0.0 } else { step };
        }
    }
    moves
}

impl Ground {
    /// The same under other keys; cows that are new have no standing of their own.
    pub fn rekey(self, lives: usize, life: impl Fn(LifeKey) -> Option<LifeKey>) -> Ground {
        let mut own = vec![[None; PLACES]; lives];
        for (index, hers) in self.own.iter().enumerate() {
            if let Some(place) = life(LifeKey(index as u32)).and_then(|key| own.get_mut(key.0 as usize)) {
                *place = *hers;
            }
        }
        let mut heats = vec![None; lives];
        for (index, heat) in self.heats.iter().enumerate() {
            if let Some(place) = life(LifeKey(index as u32)).and_then(|key| heats.get_mut(key.0 as usize)) {
                *place = *heat;
            }
        }
        Ground { own, heats, ..self }
    }
}

/// The part of the day an hour falls in.
pub(crate) fn part(hour: f64) -> usize {
    ((hour / 24.0 * PARTS as f64) as usize).min(PARTS - 1)
}

/// The middle of a reading.
pub(crate) fn middle(reading: &Reading) -> jiff::Timestamp {
    jiff::Timestamp::from_millisecond(reading.from_ms + (reading.to_ms - reading.from_ms) / 2)
        .unwrap_or_default()
}
