//! Which causes need a full look in this cow?
//!
//! Most cows show nothing. A cause is weighed in full where a rough look cannot rule it out. The rough look is the same sum
//! with fewer terms, a handful of onsets and a normal law for each signal whose size is known in closed form:
//!
//! P = Σ_i N_i · Σ_s P(s) · exp(D · Σ_j ln Σ_m P_j(m) · L_ij(s·m))        N_i onsets expected in cell i, D as in [`super::noise`]
//! ln L(a) = ½E·(1 − 1/q) + x/q − ½n·ln q,   x = a·f − ½a²·g,   q = 1 + (M·a)²·g/n
//! f = Σ w·d·μ − (Σ w·d·e)(Σ w·e·μ)/r,   g = Σ w·μ² − (Σ w·e·μ)²/r,   r = 1 + Σ w·e²,   E = Σ w·d² − (Σ w·d·e)²/(1 + Σ w·e²)
//!   d departures, μ the course at a = 1, e what an error of her standing takes off, all in spreads; E and n (how many they
//!   are) over the readings that the course moves only; M the misfit of [`super::lanes`]
//! w = (1 − φ)/(1 + φ) · (ν + 1)·ln(1 + d²/ν)/d²: the normal law that is as high as Student's where a course explains nothing of
//!   a reading and where it explains all of it; readings that remember the one before tell less.
//!
//! Below [`OPEN_FROM`] the cause is left out. The laws of `tests/gate` hold what is left out below what is shown.

use std::ops::Range;

use super::{
    digits::{exp, ln},
    grid::Onset,
    lanes::MISFIT,
    likelihood::{Ready, ReadyTemplate},
    noise::Noise,
    series::Series,
    templates::{Course, of_quarter},
};
use crate::{expect::Signal, herd::Quarter};

/// Rough chance from which a cause is weighed.
pub(crate) const OPEN_FROM: f64 = 0.005;

/// Onsets of the rough look: cells that cover the last ten days.
const CELLS: [Onset; 8] = [
    cell(6.0, 0.0, 10.0),
    cell(14.0, 10.0, 20.0),
    cell(26.0, 20.0, 35.0),
    cell(44.0, 35.0, 57.0),
    cell(70.0, 57.0, 90.0),
    cell(110.0, 90.0, 135.0),
    cell(160.0, 135.0, 190.0),
    cell(220.0, 190.0, 240.0),
];

/// An onset so many hours before the time of judging, for the hours from there to there.
const fn cell(at_h: f64, late_h: f64, early_h: f64) -> Onset {
    Onset { hours: -at_h, width_days: (early_h - late_h) / 24.0 }
}

/// Stretches of time whose readings the rough look takes together, hours before the time of judging: finer where onsets lie
/// close, and none of them cut by an onset.
const EDGES_H: [f64; STRETCHES + 1] = [
    240.0, 220.0, 205.0, 190.0, 175.0, 160.0, 147.0, 135.0, 122.0, 110.0, 100.0, 90.0, 80.0, 70.0, 57.0,
    44.0, 35.0, 26.0, 20.0, 14.0, 10.0, 6.0, 4.0, 2.0, 0.0,
];
const STRETCHES: usize = 24;

/// Times at which a course is looked up in a stretch, for its mean.
const POINTS: usize = 8;

/// Lanes of the sums.
const LANES: usize = 8;

/// Sums of the rough look by stretch, one after the other.
type Sums = [f32; STRETCHES];

/// What a course says of each stretch at amplitude 1: means of μ and of μ², natural unit, and which stretches it moves.
pub(crate) struct Drawn {
    mean: Sums,
    square: Sums,
    moves: Range<usize>,
}

impl Drawn {
    /// A course at each pace and each onset of the rough look, onsets innermost.
    pub fn of(course: &Course, paces: &[(f64, f64)]) -> Vec<Drawn> {
        let drawn = |pace: f64, onset: &Onset| {
            let [mut mean, mut square] = [[0.0; STRETCHES]; 2];
            let (mut first, mut end) = (STRETCHES, 0);
            for (stretch, edges) in EDGES_H.windows(2).enumerate() {
                let (from_h, to_h) = (-edges[0], -edges[1]);
                let moved = (0..POINTS).map(|point| {
                    let at_h = from_h + (to_h - from_h) * (point as f64 + 0.5) / POINTS as f64;
                    course.size * course.at((at_h - onset.hours) / pace / 24.0)
                });
                mean[stretch] = (moved.clone().sum::<f64>() / POINTS as f64) as f32;
                square[stretch] =
                    (moved.clone().map(|moved| moved * moved).sum::<f64>() / POINTS as f64) as f32;
                if moved.clone().any(|moved| moved != 0.0) {
                    (first, end) = (first.min(stretch), stretch + 1);
                }
            }
            Drawn { mean, square, moves: first.min(end)..end }
        };
        paces.iter().flat_map(|(pace, _)| CELLS.iter().map(move |cell| drawn(*pace, cell))).collect()
    }
}

/// One signal's readings as the rough look takes them: sums by stretch.
pub(crate) struct Rough {
    signal: Signal,
    quarter: Option<Quarter>,
    /// Σ w·d, Σ w and Σ w·e, per natural unit of a course.
    linear: Sums,
    square: Sums,
    pull: Sums,
    /// By stretch, of all before it.
    until: [Moved; STRETCHES + 1],
}

/// What readings come to that a course moves, whatever it is.
#[derive(Clone, Copy, Default)]
struct Moved {
    /// Readings, each for as much as it tells.
    count: f64,
    /// Σ w·d², Σ w·d·e and Σ w·e².
    energy: f64,
    taken: f64,
    room: f64,
}

impl Rough {
    /// Of one signal.
    pub fn of(series: &Series) -> Rough {
        let [mut linear, mut square, mut pull] = [[0.0; STRETCHES]; 3];
        let mut until = [Moved::default(); STRETCHES + 1];
        let mut all = Moved::default();
        let mut stretch = 0;
        for k in 0..series.hours.len() {
            while stretch + 1 < STRETCHES && -EDGES_H[stretch + 1] <= series.hours[k] {
                stretch += 1;
                until[stretch] = all;
            }
            if series.signal == Signal::Kicks {
                // A kick beyond her habit speaks as the logarithm of how much likelier it is.
                let (kicked, habit) = series.shown[k];
                let per_habit = 1.0 / habit.clamp(0.05, 0.6);
                linear[stretch] += (if 0.5 <= kicked { per_habit } else { -1.0 }) as f32;
                square[stretch] += per_habit as f32;
                continue;
            }
            let per = series.per_spread[k];
            let (departure, error) = (series.gap[k] * per, series.error[k] * per);
            let fresh = (1.0 - series.memory[k]) / (1.0 + series.memory[k]);
            let weight = fresh * as_high(departure * departure, series.tail);
            linear[stretch] += (weight * departure * per) as f32;
            square[stretch] += (weight * per * per) as f32;
            pull[stretch] += (weight * error * per) as f32;
            all.count += fresh;
            all.energy += weight * departure * departure;
            all.taken += weight * departure * error;
            all.room += weight * error * error;
        }
        until[stretch + 1..].fill(all);
        Rough { signal: series.signal, quarter: series.quarter, linear, square, pull, until }
    }

    /// How well a course as drawn fits; `None` where it moves no reading.
    fn fit(&self, drawn: &Drawn) -> Option<Fit> {
        let [mut linear, mut square, mut pull] = [[0.0f32; LANES]; 3];
        for from in (0..STRETCHES).step_by(LANES) {
            for lane in 0..LANES {
                let k = from + lane;
                linear[lane] += self.linear[k] * drawn.mean[k];
                square[lane] += self.square[k] * drawn.square[k];
                pull[lane] += self.pull[k] * drawn.mean[k];
            }
        }
        let [f, g, pull] = [linear, square, pull].map(|lanes| f64::from(lanes.iter().sum::<f32>()));
        let (from, to, all) =
            (self.until[drawn.moves.start], self.until[drawn.moves.end], self.until[STRETCHES]);
        let (count, taken, room) = (to.count - from.count, to.taken - from.taken, to.room - from.room);
        let energy = to.energy - from.energy - taken * taken / (1.0 + room);
        let (f, g) = (f - pull * all.taken / (1.0 + all.room), g - pull * pull / (1.0 + all.room));
        let misfit = if 0.0 < count { MISFIT * MISFIT * (g / count) as f32 } else { 0.0 };
        let (count, energy) = (count as f32, energy as f32);
        (0.0 < g).then_some(Fit { f: f as f32, g: g as f32, count, energy, misfit })
    }
}

/// w of a reading that remembers nothing.
fn as_high(square: f64, tail: f64) -> f64 {
    (tail + 1.0) * if square < 1e-6 { 1.0 / tail } else { (1.0 + square / tail).ln() / square }
}

/// One course and the readings it moves: f, g, n, E and M²·g/n.
struct Fit {
    f: f32,
    g: f32,
    count: f32,
    energy: f32,
    misfit: f32,
}

impl Fit {
    /// L at each amplitude, no more and no less than can be told apart.
    #[inline(always)]
    fn at(&self, amplitudes: &[f64], ratios: &mut [f32; MOST_AMPLITUDES]) {
        for (ratios, amplitudes) in ratios.chunks_exact_mut(LANES).zip(amplitudes.chunks(LANES)) {
            let mut lanes = [0.0; LANES];
            lanes.iter_mut().zip(amplitudes).for_each(|(lane, amplitude)| *lane = *amplitude as f32);
            ratios.copy_from_slice(&lanes.map(|amplitude| {
                let x = amplitude * self.f - amplitude * amplitude * self.g / 2.0;
                let q = 1.0 + amplitude * amplitude * self.misfit;
                exp((self.energy / 2.0 * (q - 1.0) + x) / q - self.count / 2.0 * ln(q))
            }));
        }
    }
}

/// Amplitudes of a course, and severities of a template, at most.
pub(super) const MOST_AMPLITUDES: usize = 2 * LANES;
pub(super) const MOST_SEVERITIES: usize = 4;

/// The places (quarters, or the whole cow) of a template that need weighing; `begun` says how many onsets are expected in a cell.
pub(crate) fn open(
    ready: &ReadyTemplate,
    readings: &[Rough],
    noise: &Noise,
    begun: impl Fn(&Onset) -> f64,
    from: f64,
) -> Vec<Option<Quarter>> {
    let template = ready.template;
    let places = template.places();
    if from <= 0.0 {
        return places;
    }
    // What is read of the whole cow, if anything is, and in each place.
    let whole = |course: &Ready| !of_quarter(course.course.signal);
    let find = |signal: Signal, quarter: Option<Quarter>| {
        readings.iter().find(|one| one.signal == signal && one.quarter == quarter)
    };
    // A cause that may sit in four places is four times likelier than one of them.
    let from = from / places.len() as f64;
    let (severities, courses) = (template.severities.len(), ready.courses.len());
    // What began before has passed, and speaks for nothing.
    let holds_h = template.holds_days.map_or(f64::INFINITY, |days| 24.0 * days);
    let mut chances = vec![0.0; places.len()];
    // ln L by severity and course.
    let mut parts = vec![0.0; severities * courses];
    for (onset, cell) in CELLS.iter().enumerate().filter(|(_, cell)| -holds_h <= cell.hours) {
        let prior = begun(cell) / places.len() as f64;
        for (pace, (_, share)) in template.paces.iter().enumerate() {
            let drawn = pace * CELLS.len() + onset;
            let put = |parts: &mut [f64], index: usize, read: Option<&Rough>| {
                let course = &ready.courses[index];
                let fit = read.and_then(|read| read.fit(&ready.drawn[index][drawn]));
                mixed(course, fit, parts.iter_mut().skip(index).step_by(courses));
            };
            for (index, course) in ready.courses.iter().enumerate().filter(|(_, course)| whole(course)) {
                put(&mut parts, index, find(course.course.signal, None));
            }
            for (place, chance) in places.iter().zip(&mut chances).filter(|(_, chance)| **chance < from) {
                for (index, course) in ready.courses.iter().enumerate().filter(|(_, course)| !whole(course)) {
                    put(&mut parts, index, find(course.course.signal, *place));
                }
                let ratios =
                    template.severities.iter().zip(parts.chunks(courses)).map(|((_, weight), parts)| {
                        weight * f64::from(exp((parts.iter().sum::<f64>() * noise.discount(parts)) as f32))
                    });
                *chance += prior * share * ratios.sum::<f64>();
            }
        }
    }
    places.into_iter().zip(chances).filter(|(_, chance)| from <= *chance).map(|(place, _)| place).collect()
}

/// ln Σ_m P(m) · L(s·m) by severity.
#[inline(always)]
fn mixed<'p>(course: &Ready, fit: Option<Fit>, parts: impl Iterator<Item = &'p mut f64>) {
    let Some(fit) = fit else { return parts.for_each(|part| *part = 0.0) };
    let mut ratios = [1.0; MOST_AMPLITUDES];
    fit.at(&course.amplitudes, &mut ratios);
    let mut sums = [1.0; MOST_SEVERITIES];
    for (sum, shares) in sums.iter_mut().zip(&course.parts) {
        let ratio = |place: &Option<usize>| place.map_or(1.0, |place| ratios[place]);
        *sum = shares.iter().map(|(place, weight)| *weight as f32 * ratio(place)).sum();
    }
    for (part, log) in parts.zip(sums.map(ln)) {
        *part = f64::from(log);
    }
}
