//! How do departures of well cows wander?
//!
//! One signal's readings are correlated from milking to milking (AR(1)), those of several signals of one cow with one another, and
//! both have heavy tails. Who takes them for independent normal readings is overconfident in every probability.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, StudentsT};

use crate::{
    expect::{Scored, Signal},
    middle::median_of,
    signals::Line,
};

/// One signal's wandering.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SignalNoise {
    /// Correlation of departures 8 h apart, 0 to below 1.
    pub memory: f64,
    /// Degrees of freedom of the Student-t law of a reading: 4 means that an odd reading is no wonder.
    pub tail: f64,
    /// Real spread over the stated spread of a reading; 1 where the forecast states it rightly.
    pub spread: f64,
}

/// All signals' wandering.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Noise {
    /// By signal; one that is not named wanders like [`Noise::OTHER`].
    pub signals: BTreeMap<Signal, SignalNoise>,
    /// Mean correlation between two signals of one cow at one milking, 0 to 1.
    pub between_signals: f64,
}

impl Noise {
    /// A signal nobody has said anything about.
    pub const OTHER: SignalNoise = SignalNoise { memory: 0.3, tail: 4.0, spread: 1.0 };

    /// The wandering of one signal.
    pub fn of(&self, signal: Signal) -> SignalNoise {
        self.signals.get(&signal).copied().unwrap_or(Noise::OTHER)
    }

    /// Factor on the summed log-likelihood ratio of signals that wander together.
    ///
    /// n_eff = (Σ|l|)² / Σl² signals carry it; with a mean correlation c they are worth n_eff / (1 + (n_eff − 1) c) of them.
    pub fn discount(&self, parts: &[f64]) -> f64 {
        let (sum, squares) = parts
            .iter()
            .fold((0.0, 0.0), |(sum, squares), part: &f64| (sum + part.abs(), squares + part * part));
        if squares <= f64::MIN_POSITIVE {
            return 1.0;
        }
        1.0 / (1.0 + (sum * sum / squares - 1.0).max(0.0) * self.between_signals)
    }
}

/// Stated defaults, used until [`estimate`] has seen the herd: no published figure was found.
impl Default for Noise {
    fn default() -> Noise {
        Noise {
            signals: BTreeMap::from([
                (Signal::Milk, SignalNoise { memory: 0.2, tail: 5.0, spread: 1.0 }),
                (Signal::QuarterMilk, SignalNoise { memory: 0.25, tail: 5.0, spread: 1.0 }),
                (Signal::Conductivity, SignalNoise { memory: 0.3, tail: 5.0, spread: 1.0 }),
                (Signal::Kicks, SignalNoise { memory: 0.3, tail: 5.0, spread: 1.0 }),
                (Signal::Interval, SignalNoise { memory: 0.1, tail: 5.0, spread: 1.0 }),
                (Signal::Activity, SignalNoise { memory: 0.1, tail: 5.0, spread: 1.0 }),
                (Signal::Rumination, SignalNoise { memory: 0.2, tail: 5.0, spread: 1.0 }),
            ]),
            between_signals: 0.15,
        }
    }
}

/// The herd's own wandering, pooled over its cows and pulled towards `stated`.
///
/// Readings are clipped at three times their spread for the correlations, and those beyond [`ILL_FROM`] left out of spread
/// and tail, so the few ill cows weigh little; hand over settled cows where it is known who they are.
pub fn estimate<'a>(
    cows: impl IntoIterator<Item = &'a [Scored]>,
    lines: impl IntoIterator<Item = &'a [Line]>,
    stated: &Noise,
) -> Noise {
    let mut sums = Sums::default();
    let (mut cross, mut pairs) = (0.0, 0.0);
    let mut here: Vec<(Signal, u8, f64)> = Vec::new();
    for milkings in cows {
        // Her last reading of each signal and quarter: a dozen, so a list is looked through faster than a tree.
        let mut last: Vec<(Signal, u8, f64)> = Vec::new();
        for milking in milkings {
            here.clear();
            for departure in milking.departures.iter().filter(|departure| departure.signal != Signal::Kicks) {
                let reading = departure.gap / departure.noise_sd;
                if !reading.is_finite() || (!milking.scored && departure.signal != Signal::Conductivity) {
                    continue;
                }
                let quarter = departure.quarter.map_or(4, |quarter| quarter as u8);
                let clipped = reading.clamp(-3.0, 3.0);
                let sum = sums.of(departure.signal);
                match last.iter_mut().find(|own| own.0 == departure.signal && own.1 == quarter) {
                    Some((.., last)) => {
                        let before = std::mem::replace(last, clipped);
                        sum.product += before * clipped;
                        sum.square += (before * before + clipped * clipped) / 2.0;
                    }
                    None => last.push((departure.signal, quarter, clipped)),
                }
                sum.sizes.push(reading.abs());
                here.push((departure.signal, quarter, clipped));
            }
            for (index, first) in here.iter().enumerate() {
                for second in here[index + 1..].iter().filter(|second| second.0 != first.0) {
                    if first.1 == second.1 || first.1 == 4 || second.1 == 4 {
                        cross += first.2 * second.2;
                        pairs += (first.2 * first.2 + second.2 * second.2) / 2.0;
                    }
                }
            }
        }
    }
    for own in lines {
        pool_lines(own, &mut sums, &mut cross, &mut pairs);
    }
    let mut noise = stated.clone();
    for (signal, pooled) in Signal::ALL.into_iter().zip(sums.0) {
        if let Some(pooled) = pooled {
            noise.signals.insert(signal, pooled.law(stated.of(signal)));
        }
    }
    let between: f64 = (cross.abs() + DEFAULT_WORTH * stated.between_signals) / (pairs + DEFAULT_WORTH);
    noise.between_signals = between.clamp(0.05, 0.8);
    noise
}

/// Readings of a line that tell something of its scatter.
const FEWEST_POINTS: usize = 5;

/// One cow's other signals: each about its own middle, for her standing's own error is no noise.
fn pool_lines(lines: &[Line], sums: &mut Sums, cross: &mut f64, pairs: &mut f64) {
    // By line: days in order, each with the sum and count of its readings.
    let mut by_day: Vec<Vec<(i64, (f64, f64))>> = Vec::new();
    for line in lines.iter().filter(|line| FEWEST_POINTS <= line.points.len()) {
        let middle = median_of(line.points.iter().map(|point| point.gap));
        let sum = sums.of(line.signal);
        let mut days: Vec<(i64, (f64, f64))> = Vec::new();
        let mut before: Option<(f64, i64)> = None;
        for point in line.points.iter() {
            let reading = (point.gap - middle) / point.noise_sd;
            // What goes up may be heat, and half of all cows have had one in ten days: the lower side tells the scatter.
            let up = if line.signal == Signal::Activity { 1.5 } else { 3.0 };
            let clipped = reading.clamp(-3.0, up);
            let at_ms = point.to.as_millisecond();
            if let Some((last, last_ms)) = before {
                sum.product += last * clipped;
                sum.square += (last * last + clipped * clipped) / 2.0;
                sum.apart_h += (at_ms - last_ms) as f64 / 3_600_000.0;
                sum.steps += 1.0;
            }
            before = Some((clipped, at_ms));
            if line.signal != Signal::Activity || reading < 0.0 {
                sum.sizes.push(reading.abs());
            }
            let day = at_ms.div_euclid(86_400_000);
            let place = days.binary_search_by_key(&day, |(own, _)| *own).unwrap_or_else(|place| {
                days.insert(place, (day, (0.0, 0.0)));
                place
            });
            let (_, (sum, count)) = &mut days[place];
            (*sum, *count) = (*sum + clipped, *count + 1.0);
        }
        by_day.push(days);
    }
    for (index, first) in by_day.iter().enumerate() {
        for second in &by_day[index + 1..] {
            for (day, (sum, count)) in first {
                let Some((_, (other_sum, other_count))) = second.iter().find(|(other, _)| other == day)
                else {
                    continue;
                };
                let (one, other) = (sum / count.sqrt(), other_sum / other_count.sqrt());
                *cross += one * other;
                *pairs += (one * one + other * other) / 2.0;
            }
        }
    }
}

/// Readings a stated default is worth when a herd's own are pooled with it.
const DEFAULT_WORTH: f64 = 300.0;

/// Readings further off, in stated spreads, are taken for illness or faults and tell nothing of the noise.
const ILL_FROM: f64 = 6.0;

/// Sizes a tail is tried on.
const MOST_SIZES: usize = 1500;

/// Tails that are tried. None is lighter than 8: what has not been seen in a herd may still come.
const TAILS: [f64; 5] = [3.0, 4.0, 5.0, 6.0, 8.0];

/// One signal's readings of a herd.
#[derive(Default)]
struct Pooled {
    product: f64,
    square: f64,
    sizes: Vec<f64>,
    /// Hours from reading to reading, and how many such steps, where they are not those of milkings.
    apart_h: f64,
    steps: f64,
}

/// Of each signal that was read, in the order of [`Signal::ALL`].
#[derive(Default)]
struct Sums([Option<Pooled>; Signal::ALL.len()]);

impl Sums {
    fn of(&mut self, signal: Signal) -> &mut Pooled {
        self.0[signal as usize].get_or_insert_default()
    }
}

impl Pooled {
    /// Memory by lag-1 correlation; for each tail the spread that puts four readings in five where that law has them, and
    /// of these the likeliest, cut at [`ILL_FROM`]. Not half of them: where departures are from a median of few, many
    /// readings lie at nought by construction and the middle tells too little.
    fn law(mut self, stated: SignalNoise) -> SignalNoise {
        let memory = (self.product + DEFAULT_WORTH * stated.memory) / (self.square + DEFAULT_WORTH);
        self.sizes.retain(|size| *size <= ILL_FROM);
        // None is below 0, so that their bits are in the order of the figures.
        self.sizes.sort_unstable_by_key(|size| size.to_bits());
        let count = self.sizes.len() as f64;
        let most = self.sizes.get(self.sizes.len() * 4 / 5).copied().unwrap_or(0.0);
        let mut best: Option<(f64, f64, f64)> = None;
        if DEFAULT_WORTH < count && 0.0 < most {
            for tail in TAILS {
                let Ok(law) = StudentsT::new(0.0, 1.0, tail) else { continue };
                let spread = most / law.inverse_cdf(0.9);
                let inside = (2.0 * law.cdf(ILL_FROM / spread) - 1.0).ln() + spread.ln();
                // Of sizes in order every so many-th tells the same; what all tails share of ln p is reckoned once.
                let thin = self.sizes.len().div_ceil(MOST_SIZES);
                let (mut likelihood, mut told) = (0.0, 0.0);
                for size in self.sizes.iter().step_by(thin) {
                    let u = size / spread;
                    likelihood -= (tail + 1.0) / 2.0 * (u * u / tail).ln_1p();
                    told += 1.0;
                }
                let likelihood = likelihood / told + law.ln_pdf(0.0) - inside;
                if best.is_none_or(|(top, _, _)| top < likelihood) {
                    best = Some((likelihood, tail, spread));
                }
            }
        }
        let (tail, spread) = best.map_or((stated.tail, stated.spread), |(_, tail, spread)| (tail, spread));
        let pooled = (count * spread + DEFAULT_WORTH * stated.spread) / (count + DEFAULT_WORTH);
        // What is stated is the correlation 8 h apart.
        let step_h = if 0.0 < self.steps { self.apart_h / self.steps } else { 8.0 };
        let memory = memory.clamp(0.0, 0.9).powf(8.0 / step_h);
        SignalNoise { memory: memory.clamp(0.0, 0.9), tail, spread: pooled.clamp(0.5, 5.0) }
    }
}
