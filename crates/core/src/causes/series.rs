//! A cow's departures, signal by signal, as the likelihood reads them.

use jiff::Timestamp;

use super::{grid::SPAN_H, noise::Noise};
use crate::{
    expect::{Scored, Signal},
    herd::Quarter,
    middle::median,
    signals::Line,
    time::hours_between,
};

/// One signal of one quarter, or of the whole cow: its readings, oldest first.
#[derive(Debug, Clone)]
pub(crate) struct Series {
    /// Which signal.
    pub signal: Signal,
    /// Which quarter.
    pub quarter: Option<Quarter>,
    /// Hours from the time of judging, negative.
    pub hours: Vec<f64>,
    /// Departure in the signal's natural unit.
    pub gap: Vec<f64>,
    /// 1 / spread of one reading, same unit.
    pub per_spread: Vec<f64>,
    /// Correlation with the reading before.
    pub memory: Vec<f64>,
    /// Standard deviation of the baseline's own error at this reading, same unit; one and the same error bears on all.
    pub error: Vec<f64>,
    /// That error is large enough beside a reading's spread to be summed finely.
    pub wide: bool,
    /// Degrees of freedom.
    pub tail: f64,
    /// As measured and as expected, in the signal's shown unit.
    pub shown: Vec<(f64, f64)>,
}

/// From so long after its onset on a case is told by the mean since then, h: four to six milkings. Stated default.
pub const MEAN_FROM_H: f64 = 48.0;

/// Readings a series keeps at most; the products of the likelihood stay far from overflow with this many.
const MOST_READINGS: usize = 80;

/// The quarter's milk of a milking in which its cup was kicked off says little of the quarter, and the next one holds
/// what was left: their spreads are widened so much. Stated defaults.
const KICKED_SPREAD: f64 = 4.0;
const AFTER_KICK_SPREAD: f64 = 2.0;

/// A followed baseline lags behind a cow that changes slowly by about this share of a reading's spread. Stated default.
const LAG: f64 = 0.3;

/// How much a fresh cow's level and rise differ from what was foreseen, log and log a day: a baseline held since then strays
/// by so much. Stated defaults.
const FRESH_LEVEL: f64 = 0.12;
const FRESH_SLOPE: f64 = 0.03;
/// Days after calving in which she counts as fresh here.
const FRESH_DAYS: f64 = 35.0;

/// How much of a reading is remembered at the next: readings of one milking lie equally far from those before, and a power was a
/// hundredth of a round.
#[derive(Default)]
struct Fading {
    /// Memory over eight hours, hours between, and what that leaves.
    last: (f64, f64, f64),
}

impl Fading {
    fn after(&mut self, memory: f64, apart_h: f64) -> f64 {
        if (self.last.0, self.last.1) != (memory, apart_h) {
            self.last = (memory, apart_h, memory.powf((apart_h / 8.0).max(0.25)));
        }
        self.last.2
    }
}

/// Series of the other signals of a cow, as they come.
pub(crate) fn of_lines(lines: &[Line], at: Timestamp, noise: &Noise) -> Vec<Series> {
    lines
        .iter()
        .filter_map(|line| {
            let law = noise.of(line.signal);
            let mut series = Series::empty(line.signal, line.quarter, law.tail, line.points.len());
            let mut fading = Fading::default();
            for point in line.points.iter() {
                let middle = hours_between(at, point.from) / 2.0 + hours_between(at, point.to) / 2.0;
                if !(-SPAN_H..=0.0).contains(&middle) {
                    continue;
                }
                let apart_h = series.hours.last().map_or(8.0, |before| middle - before);
                series.memory.push(fading.after(law.memory, apart_h));
                series.hours.push(middle);
                series.gap.push(point.gap);
                series.per_spread.push(1.0 / (point.noise_sd * law.spread));
                series.error.push(point.error);
                series.shown.push((point.observed, point.expected));
            }
            if series.hours.is_empty() {
                return None;
            }
            series.finish(None);
            // Her standing's error is mostly less than a reading's scatter; then three nodes sum it as well as forty.
            series.wide = series.error.iter().zip(&series.per_spread).any(|(error, per)| 1.0 < error * per);
            Some(series)
        })
        .collect()
}

/// Series of all signals with at least one reading between 10 days before `at` and `at`.
pub(crate) fn gather(
    milkings: &[Scored],
    at: Timestamp,
    unsettled_since: Option<Timestamp>,
    days_in_milk: Option<f64>,
    noise: &Noise,
) -> Vec<Series> {
    let mut all: Vec<Series> = Vec::with_capacity(14);
    // Forecast spread over own noise of readings that were not held, by series.
    let mut ratios: Vec<Vec<f64>> = Vec::with_capacity(14);
    // Since when the baseline of the milking at hand is held, hours from `at`.
    let mut held_from_h: Option<f64> = None;
    let unsettled_h = unsettled_since.map(|since| hours_between(at, since));
    let mut kicked_before = [false; 4];
    // Where the departure before was put: the next one's series mostly is the next.
    let mut index = 0;
    let mut fading = Fading::default();
    for milking in milkings {
        let hours = hours_between(at, milking.started_at);
        if hours < -SPAN_H || at < milking.ended_at {
            continue;
        }
        let mut kicked = [false; 4];
        for departure in &milking.departures {
            if let (Signal::Kicks, Some(quarter)) = (departure.signal, departure.quarter) {
                kicked[quarter as usize] = 0.5 <= departure.observed;
            }
        }
        // Held now, or in an episode that is over: then the two lines still stood apart.
        let unsettled = unsettled_h.is_some_and(|since_h| since_h <= hours);
        if unsettled || 1e-9 < (milking.baseline_kg - milking.expected_kg).abs() {
            held_from_h = held_from_h.or(unsettled_h.filter(|_| unsettled)).or(Some(hours));
        } else {
            held_from_h = None;
        }
        let held_for_h = held_from_h.map(|from_h| hours - from_h);
        let days_in_milk = days_in_milk.map(|days| days + hours / 24.0);
        for departure in &milking.departures {
            // An incomplete milking says nothing of how much milk there was.
            let of_milk = matches!(departure.signal, Signal::Milk | Signal::QuarterMilk);
            let usable = departure.gap.is_finite()
                && departure.noise_sd.is_finite()
                && 0.0 < departure.noise_sd
                && (milking.scored || !of_milk);
            if !usable {
                continue;
            }
            let law = noise.of(departure.signal);
            let is_of =
                |series: &Series| series.signal == departure.signal && series.quarter == departure.quarter;
            let next = Some(index + 1).filter(|next| all.get(*next).is_some_and(is_of));
            index = next.or_else(|| all.iter().position(is_of)).unwrap_or_else(|| {
                all.push(Series::empty(departure.signal, departure.quarter, law.tail, milkings.len()));
                ratios.push(Vec::new());
                all.len() - 1
            });
            let forecast_sd = departure.gap / departure.z;
            let stated = forecast_sd.is_finite() && 0.02 < departure.z.abs();
            // Beyond a reading's own noise the forecast's spread is the baseline's error; too near nought to tell: as before.
            let error = match held_for_h {
                None => 0.0,
                Some(_) if !stated => all[index].error.last().copied().unwrap_or(0.0),
                Some(held_for_h) => {
                    let excess = forecast_sd * forecast_sd - departure.noise_sd * departure.noise_sd;
                    let begun_fresh = days_in_milk.is_some_and(|days| days - held_for_h / 24.0 < FRESH_DAYS);
                    let strays = if begun_fresh && departure.signal == Signal::Milk {
                        FRESH_LEVEL.hypot(FRESH_SLOPE * held_for_h / 24.0)
                    } else {
                        0.0
                    };
                    excess.max(0.0).sqrt().hypot(strays)
                }
            };
            if stated && held_for_h.is_none() {
                ratios[index].push((forecast_sd / departure.noise_sd).abs());
            }
            let mut spread = departure.noise_sd * law.spread;
            if let (Signal::QuarterMilk, Some(quarter)) = (departure.signal, departure.quarter) {
                if kicked[quarter as usize] {
                    spread *= KICKED_SPREAD;
                } else if kicked_before[quarter as usize] {
                    spread *= AFTER_KICK_SPREAD;
                }
            }
            let series = &mut all[index];
            let apart_h = series.hours.last().map_or(8.0, |before| hours - before);
            series.memory.push(fading.after(law.memory, apart_h));
            series.hours.push(hours);
            series.gap.push(departure.gap);
            series.per_spread.push(1.0 / spread);
            series.error.push(error);
            series.shown.push((departure.observed, departure.expected));
        }
        kicked_before = kicked;
    }
    for (series, mut ratios) in all.iter_mut().zip(ratios) {
        series.finish(median(&mut ratios));
    }
    // One order whatever the first milking happened to hold.
    all.sort_by_key(|series| (series.signal, series.quarter));
    all
}

impl Series {
    fn empty(signal: Signal, quarter: Option<Quarter>, tail: f64, size: usize) -> Series {
        Series {
            signal,
            quarter,
            hours: Vec::with_capacity(size),
            gap: Vec::with_capacity(size),
            per_spread: Vec::with_capacity(size),
            memory: Vec::with_capacity(size),
            error: Vec::with_capacity(size),
            wide: false,
            tail,
            shown: Vec::with_capacity(size),
        }
    }

    /// A followed forecast's error is each reading's own, but for a lag that all share; a held baseline's is shared by the
    /// held readings.
    fn finish(&mut self, forecast_ratio: Option<f64>) {
        let widen = forecast_ratio.unwrap_or(1.0).max(1.0);
        for (per_spread, error) in self.per_spread.iter_mut().zip(&mut self.error) {
            let lag = LAG / *per_spread;
            self.wide |= 1.5 * lag < *error;
            if *error <= 0.0 {
                *per_spread /= widen;
            }
            *error = if *error == 0.0 { lag } else { error.hypot(lag) };
        }
        let surplus = self.hours.len().saturating_sub(MOST_READINGS);
        if 0 < surplus {
            for list in
                [&mut self.hours, &mut self.gap, &mut self.per_spread, &mut self.memory, &mut self.error]
            {
                list.drain(..surplus);
            }
            self.shown.drain(..surplus);
        }
    }

    /// Takes `size · shape(hours)` off the readings; for kicks the habit is raised by it.
    pub fn take_off(&mut self, size: f64, shape: impl Fn(f64) -> f64) {
        for (index, hours) in self.hours.iter().enumerate() {
            let moved = size * shape(*hours);
            if self.signal == Signal::Kicks {
                let habit = &mut self.shown[index].1;
                *habit += (1.0 - *habit) * moved.clamp(0.0, 0.9);
            } else {
                self.gap[index] -= moved;
            }
        }
    }

    /// What tells most of it. Of a case of [`MEAN_FROM_H`] and more the mean since the onset `since_h`, which is what the
    /// weight sums over: one reading near what was expected would belie it. Each reading counts as it does there, by its
    /// spread: a quarter that was kicked off gives twice as much the next time. Of a shorter one the last reading since then on
    /// the side the course goes (`down`), else the last one. For kicks the share of milkings since then.
    pub fn telling(&self, since_h: f64, down: bool) -> Option<(f64, f64)> {
        let last = self.shown.last().copied()?;
        let first = self.hours.partition_point(|hours| *hours < since_h).min(self.hours.len() - 1);
        let since = &self.shown[first..];
        if self.signal == Signal::Kicks {
            let kicked = since.iter().filter(|(observed, _)| 0.5 <= *observed).count();
            return Some((kicked as f64 / since.len() as f64, last.1));
        }
        if since_h <= -MEAN_FROM_H {
            let weights = self.per_spread[first..].iter().map(|per| per * per);
            let total: f64 = weights.clone().sum();
            let mean = |of: fn(&(f64, f64)) -> f64| {
                since.iter().zip(weights.clone()).map(|(shown, weight)| weight * of(shown)).sum::<f64>()
                    / total
            };
            return Some((mean(|shown| shown.0), mean(|shown| shown.1)));
        }
        let telling = since.iter().rev().find(|(observed, expected)| (observed < expected) == down);
        Some(telling.copied().unwrap_or(last))
    }
}
