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
//! Onsets are reckoned side by side: every lane of a register is one of them.

use super::{
    digits::{exp, ln, ln_each},
    grid::Onset,
    lanes::MISFIT,
    likelihood::{Ready, ReadyTemplate},
    noise::Noise,
    registers::{Eight, InEight, in_eight},
    series::Series,
    templates::{Course, of_quarter},
};
use crate::{expect::Signal, herd::Quarter};

/// Rough chance from which a cause is weighed.
pub(crate) const OPEN_FROM: f64 = 0.005;

/// As many as a register has lanes.
const ONSETS: usize = 8;

/// One figure by onset.
type Lanes = [f32; ONSETS];

/// Onsets of the rough look: cells that cover the last ten days.
const CELLS: [Onset; ONSETS] = [
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

/// Sums of the rough look by stretch, one after the other.
type Sums = [f32; STRETCHES];

/// What a course at one pace says of each stretch at amplitude 1, by onset: means of μ and of μ², natural unit, and which
/// stretches it moves: the first of them, and the one after the last.
pub(crate) struct Drawn {
    mean: [Lanes; STRETCHES],
    square: [Lanes; STRETCHES],
    moves: [(usize, usize); ONSETS],
}

impl Drawn {
    /// A course at each pace.
    pub fn of(course: &Course, paces: &[(f64, f64)]) -> Vec<Drawn> {
        paces.iter().map(|(pace, _)| Drawn::at_pace(course, *pace)).collect()
    }

    fn at_pace(course: &Course, pace: f64) -> Drawn {
        let [mut mean, mut square] = [[[0.0; ONSETS]; STRETCHES]; 2];
        let mut moves = [(STRETCHES, STRETCHES); ONSETS];
        for (lane, onset) in CELLS.iter().enumerate() {
            for (stretch, edges) in EDGES_H.windows(2).enumerate() {
                let (from_h, to_h) = (-edges[0], -edges[1]);
                let moved = (0..POINTS).map(|point| {
                    let at_h = from_h + (to_h - from_h) * (point as f64 + 0.5) / POINTS as f64;
                    course.size * course.at((at_h - onset.hours) / pace / 24.0)
                });
                mean[stretch][lane] = (moved.clone().sum::<f64>() / POINTS as f64) as f32;
                square[stretch][lane] =
                    (moved.clone().map(|moved| moved * moved).sum::<f64>() / POINTS as f64) as f32;
                if moved.clone().any(|moved| moved != 0.0) {
                    moves[lane] = (moves[lane].0.min(stretch), stretch + 1);
                }
            }
        }
        Drawn { mean, square, moves }
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
        let highs = as_high(series);
        let mut stretch = 0;
        for (k, hours) in series.hours.iter().enumerate() {
            while stretch + 1 < STRETCHES && -EDGES_H[stretch + 1] <= *hours {
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
            let weight = fresh * highs[k];
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

    /// How well a course as drawn fits.
    #[inline(always)]
    fn fit(&self, drawn: &Drawn) -> Fit {
        let [mut f, mut g, mut pull] = [[0.0f32; ONSETS]; 3];
        for stretch in 0..STRETCHES {
            let (linear, square) = (self.linear[stretch], self.square[stretch]);
            let own_pull = self.pull[stretch];
            let (means, squares) = (&drawn.mean[stretch], &drawn.square[stretch]);
            for lane in 0..ONSETS {
                f[lane] += linear * means[lane];
                g[lane] += square * squares[lane];
                pull[lane] += own_pull * means[lane];
            }
        }
        let [mut count, mut energy] = [[0.0f32; ONSETS]; 2];
        for lane in 0..ONSETS {
            let (first, end) = drawn.moves[lane];
            let (from, to) = (&self.until[first], &self.until[end]);
            let (taken, room) = (to.taken - from.taken, to.room - from.room);
            count[lane] = (to.count - from.count) as f32;
            energy[lane] = (to.energy - from.energy - taken * taken / (1.0 + room)) as f32;
        }
        let all = &self.until[STRETCHES];
        let (taken, room) = ((all.taken / (1.0 + all.room)) as f32, (1.0 / (1.0 + all.room)) as f32);
        let mut misfit = [0.0f32; ONSETS];
        for lane in 0..ONSETS {
            f[lane] -= pull[lane] * taken;
            g[lane] -= pull[lane] * pull[lane] * room;
            misfit[lane] = if 0.0 < count[lane] { MISFIT * MISFIT * g[lane] / count[lane] } else { 0.0 };
        }
        Fit { f, g, count, energy, misfit }
    }
}

/// w of each reading, if it remembered nothing.
fn as_high(series: &Series) -> Vec<f64> {
    if series.signal == Signal::Kicks {
        return Vec::new();
    }
    let squares = || series.gap.iter().zip(&series.per_spread).map(|(gap, per)| (gap * per) * (gap * per));
    let mut highs: Vec<f64> = squares().map(|square| 1.0 + square / series.tail).collect();
    ln_each(&mut highs);
    for (high, square) in highs.iter_mut().zip(squares()) {
        *high = (series.tail + 1.0) * if square < 1e-6 { 1.0 / series.tail } else { *high / square };
    }
    highs
}

/// One course and the readings it moves: f, g, n, E and M²·g/n by onset; where g is nought it moves none.
struct Fit {
    f: Lanes,
    g: Lanes,
    count: Lanes,
    energy: Lanes,
    misfit: Lanes,
}

impl Fit {
    /// L at an amplitude, no more and no less than can be told apart.
    #[inline(always)]
    fn at(&self, amplitude: f32) -> Lanes {
        let mut ratios = [1.0; ONSETS];
        for (lane, ratio) in ratios.iter_mut().enumerate() {
            let x = amplitude * self.f[lane] - amplitude * amplitude * self.g[lane] / 2.0;
            let wider = amplitude * amplitude * self.misfit[lane];
            let q = 1.0 + wider;
            *ratio = exp((self.energy[lane] / 2.0 * wider + x) / q - self.count[lane] / 2.0 * ln(q));
        }
        ratios
    }
}

/// Amplitudes of a course, courses and severities of a template, at most.
pub(super) const MOST_AMPLITUDES: usize = 16;
pub(super) const MOST_COURSES: usize = 16;
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
    // What began before has passed, and speaks for nothing.
    let holds_h = template.holds_days.map_or(f64::INFINITY, |days| 24.0 * days);
    let prior = |cell: &Onset| if -holds_h <= cell.hours { begun(cell) / places.len() as f64 } else { 0.0 };
    let prior = CELLS.map(|cell| prior(&cell) as f32);
    // What each course reads in each place, if anything.
    let reads: Vec<Vec<Option<&Rough>>> = places
        .iter()
        .map(|place| {
            let find = |course: &Ready| {
                let quarter = template.reads(course.course.signal, *place);
                readings.iter().find(|one| one.signal == course.course.signal && one.quarter == quarter)
            };
            ready.courses.iter().map(find).collect()
        })
        .collect();
    // A cause that may sit in four places is four times likelier than one of them.
    let from = from / places.len() as f64;
    let between = noise.between_signals as f32;
    let look = RoughLook { ready, reads: &reads, prior, between, from: from as f32 };
    let chances = in_eight(look);
    let opens = |(place, chance): (Option<Quarter>, f32)| (from as f32 <= chance).then_some(place);
    places.into_iter().zip(chances).filter_map(opens).collect()
}

/// The chance of a template in each place, up to that from which it is weighed.
struct RoughLook<'a> {
    ready: &'a ReadyTemplate,
    /// By place and course.
    reads: &'a [Vec<Option<&'a Rough>>],
    prior: Lanes,
    between: f32,
    from: f32,
}

impl InEight for RoughLook<'_> {
    type Answer = [f32; MOST_PLACES];

    #[inline(always)]
    fn reckon<S: Eight>(self, _: S) -> [f32; MOST_PLACES] {
        let mut chances = [0.0; MOST_PLACES];
        // ln L by course and severity.
        let mut parts = [[[0.0; ONSETS]; MOST_SEVERITIES]; MOST_COURSES];
        for (pace, (_, share)) in self.ready.template.paces.iter().enumerate() {
            // What is read of the whole cow is the same in every place.
            self.put(&mut parts, pace, 0, false);
            for (place, chance) in chances.iter_mut().take(self.reads.len()).enumerate() {
                if *chance < self.from {
                    self.put(&mut parts, pace, place, true);
                    *chance += *share as f32 * self.together(&parts);
                }
            }
        }
        chances
    }
}

/// Places of a template at most: quarters.
const MOST_PLACES: usize = 4;

impl RoughLook<'_> {
    /// ln L of the courses that are read by quarters, or of the others, in a place.
    #[inline(always)]
    fn put(
        &self,
        parts: &mut [[Lanes; MOST_SEVERITIES]; MOST_COURSES],
        pace: usize,
        place: usize,
        by_quarter: bool,
    ) {
        for (index, course) in self.ready.courses.iter().enumerate() {
            if of_quarter(course.course.signal) == by_quarter {
                let drawn = &self.ready.drawn[index][pace];
                parts[index] = match self.reads[place][index] {
                    Some(read) => mixed(course, &read.fit(drawn)),
                    None => [[0.0; ONSETS]; MOST_SEVERITIES],
                };
            }
        }
    }

    /// Σ_i N_i · Σ_s P(s) · exp(D · Σ_j ln L_j), as [`Noise::discount`] has D.
    #[inline(always)]
    fn together(&self, parts: &[[Lanes; MOST_SEVERITIES]; MOST_COURSES]) -> f32 {
        let mut chance = [0.0; ONSETS];
        for (severity, (_, weight)) in self.ready.template.severities.iter().enumerate() {
            let [mut sum, mut sizes, mut squares] = [[0.0f32; ONSETS]; 3];
            for own in &parts[..self.ready.courses.len()] {
                for lane in 0..ONSETS {
                    let part = own[severity][lane];
                    sum[lane] += part;
                    sizes[lane] += part.abs();
                    squares[lane] += part * part;
                }
            }
            for lane in 0..ONSETS {
                let signals = sizes[lane] * sizes[lane] / (squares[lane] + f32::MIN_POSITIVE);
                let more = if 1.0 < signals { signals - 1.0 } else { 0.0 };
                let ratio = exp(sum[lane] / (1.0 + more * self.between));
                chance[lane] += *weight as f32 * self.prior[lane] * ratio;
            }
        }
        let mut all = 0.0;
        for own in chance {
            all += own;
        }
        all
    }
}

/// ln Σ_m P(m) · L(s·m) by severity; nought where the course moves no reading.
#[inline(always)]
fn mixed(course: &Ready, fit: &Fit) -> [Lanes; MOST_SEVERITIES] {
    let mut ratios = [[1.0; ONSETS]; MOST_AMPLITUDES];
    for (ratios, amplitude) in ratios.iter_mut().zip(&course.amplitudes) {
        *ratios = fit.at(*amplitude as f32);
    }
    let mut parts = [[0.0; ONSETS]; MOST_SEVERITIES];
    for (part, shares) in parts.iter_mut().zip(&course.parts) {
        let mut sums = [0.0; ONSETS];
        for (place, weight) in shares {
            let weight = *weight as f32;
            match place {
                Some(place) => {
                    for lane in 0..ONSETS {
                        sums[lane] += weight * ratios[*place][lane];
                    }
                }
                None => {
                    for sum in &mut sums {
                        *sum += weight;
                    }
                }
            }
        }
        for lane in 0..ONSETS {
            part[lane] = if 0.0 < fit.g[lane] { ln(sums[lane]) } else { 0.0 };
        }
    }
    parts
}
