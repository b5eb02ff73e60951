//! Amplitudes of a course and errors of a baseline, reckoned side by side: most of a judgement's time goes here.
//!
//! Powers of products take the place of sums of logarithms, L = Π (1 + u²/ν)^(−(ν+1)/2) · Π q^(−½): the tails that are tried are
//! whole, so that neither logarithm nor exponential is asked for.

use super::well::Well;

/// Pairs of amplitude and error reckoned side by side: as many as leave few lanes empty and all of them in registers.
const SIDE_BY_SIDE: usize = 8;
/// How far a case strays from the course as drawn, share of the course: amplitudes and times of a grid stand half again as far
/// apart as this. Stated default.
pub(crate) const MISFIT: f32 = 0.3;
/// Factors whose product is kept in f32: each is at most (1 + 400/ν)·q, far from its end.
const FACTORS: usize = 4;
/// No ratio tells more than this, on either side.
const MOST: f64 = 1e250;

/// Every amplitude with every error of the baseline, amplitudes outermost.
pub(crate) struct Lanes {
    amplitude: Vec<[f32; SIDE_BY_SIDE]>,
    /// By chunk, then reading: standardised departures, each lane's error taken off.
    departures: Vec<[f32; SIDE_BY_SIDE]>,
    /// By pair: likelihood of the readings that the course moves.
    likelihoods: Vec<f64>,
    /// The widest registers that this processor has.
    pub registers: pulp::Arch,
}

impl Lanes {
    /// For one signal's amplitudes.
    pub fn of(well: &Well, amplitudes: &[f64]) -> Lanes {
        let pairs: Vec<(f32, f32)> = amplitudes
            .iter()
            .flat_map(|amplitude| well.errors.iter().map(move |error| (*amplitude as f32, *error as f32)))
            .collect();
        let mut amplitude = Vec::new();
        let mut departures = Vec::with_capacity(pairs.len().div_ceil(SIDE_BY_SIDE) * well.own.len());
        for chunk in pairs.chunks(SIDE_BY_SIDE) {
            let mut lanes = [(0.0, 0.0); SIDE_BY_SIDE];
            lanes[..chunk.len()].copy_from_slice(chunk);
            amplitude.push(lanes.map(|lane| lane.0));
            for (own, pull) in well.own.iter().zip(&well.pull) {
                let (own, pull) = (*own as f32, *pull as f32);
                departures.push(lanes.map(|(_, error)| own - error * pull));
            }
        }
        let likelihoods = vec![0.0; SIDE_BY_SIDE * amplitude.len()];
        Lanes { amplitude, departures, likelihoods, registers: pulp::Arch::new() }
    }

    /// L(course) / L(well) by amplitude: the course moves the readings from `first` on by `moved`, in spreads at amplitude 1,
    /// and those after them by nothing.
    pub fn ratios(&mut self, well: &Well, moved: &[f32], first: usize, cells: &mut [f64]) {
        self.registers.dispatch(Ratios { lanes: self, well, moved, first, cells });
    }

    /// Inlined whole, as all it calls: what is not is compiled for the narrowest registers.
    #[inline(always)]
    fn ratios_here(&mut self, well: &Well, moved: &[f32], first: usize, cells: &mut [f64]) {
        let readings = well.own.len();
        let until = first + moved.len();
        let (memory, per_root) = (&well.memory[first..until], &well.per_root[first..until]);
        let per_tail = (1.0 / well.tail) as f32;
        let chunks = self.amplitude.iter().zip(self.departures.chunks(readings));
        for ((amplitude, departures), into) in chunks.zip(self.likelihoods.chunks_mut(SIDE_BY_SIDE)) {
            let mut last = first.checked_sub(1).map_or([0.0; SIDE_BY_SIDE], |before| departures[before]);
            let mut products = [1.0f64; SIDE_BY_SIDE];
            let mut widths = [1.0f64; SIDE_BY_SIDE];
            let own = &departures[first..until];
            let few = |from: usize| from..(from + FACTORS).min(moved.len());
            for few in (0..moved.len()).step_by(FACTORS).map(few) {
                let mut product = [1.0f32; SIDE_BY_SIDE];
                let mut wider = [1.0f32; SIDE_BY_SIDE];
                for k in few {
                    let (moved, memory, per_root) = (moved[k], memory[k], per_root[k]);
                    let own = &own[k];
                    for lane in 0..SIDE_BY_SIDE {
                        let course = amplitude[lane] * moved;
                        let departure = own[lane] - course;
                        let wide = 1.0 + (MISFIT * course) * (MISFIT * course);
                        let before = at_least(at_most(last[lane], 3.0), -3.0);
                        let innovation = (departure - memory * before) * per_root;
                        // (1 + min(u²/q, odd)/ν)·q: divided by q once a few readings, for that takes longest.
                        let square = at_most(innovation * innovation, well.odd * wide);
                        product[lane] *= wide + square * per_tail;
                        wider[lane] *= wide;
                        last[lane] = departure;
                    }
                }
                for lane in 0..SIDE_BY_SIDE {
                    products[lane] *= f64::from(product[lane] / wider[lane]);
                    widths[lane] *= f64::from(wider[lane]);
                }
            }
            powers(&products, &widths, well.tail, into);
        }
        let errors = well.errors.len();
        let before = &well.before[first * errors..];
        let after = &well.after[until * errors..(until + 1) * errors];
        for (cell, likelihoods) in cells.iter_mut().zip(self.likelihoods.chunks(errors)) {
            let ratio: f64 = before
                .iter()
                .zip(after)
                .zip(likelihoods)
                .map(|((before, after), own)| before * own * after)
                .sum();
            *cell = ratio.clamp(1.0 / MOST, MOST);
        }
    }
}

/// What [`Lanes::ratios`] asks for.
struct Ratios<'a> {
    lanes: &'a mut Lanes,
    well: &'a Well,
    moved: &'a [f32],
    first: usize,
    cells: &'a mut [f64],
}

impl pulp::NullaryFnOnce for Ratios<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.lanes.ratios_here(self.well, self.moved, self.first, self.cells);
    }
}

/// p^(−(ν + 1)/2) · q^(−½) of each pair.
#[inline(always)]
fn powers(products: &[f64], widths: &[f64], tail: f64, into: &mut [f64]) {
    match if tail.fract() == 0.0 { tail as u32 } else { 0 } {
        3 => each(products, widths, into, |p, q| 1.0 / (p * p * q.sqrt())),
        4 => each(products, widths, into, |p, q| 1.0 / (p * p * (p * q).sqrt())),
        5 => each(products, widths, into, |p, q| 1.0 / (p * p * p * q.sqrt())),
        6 => each(products, widths, into, |p, q| 1.0 / (p * p * p * (p * q).sqrt())),
        8 => each(products, widths, into, |p, q| 1.0 / ((p * p) * (p * p) * (p * q).sqrt())),
        _ => each(products, widths, into, |p, q| (-0.5 * (tail + 1.0) * p.ln() - 0.5 * q.ln()).exp()),
    }
}

#[inline(always)]
fn each(products: &[f64], widths: &[f64], into: &mut [f64], power: impl Fn(f64, f64) -> f64) {
    for ((into, p), q) in into.iter_mut().zip(products).zip(widths) {
        *into = power(*p, *q);
    }
}

/// The lesser of the two; no care for NaN, so that it is one instruction.
#[inline(always)]
fn at_most(value: f32, limit: f32) -> f32 {
    if value < limit { value } else { limit }
}

/// The greater of the two, likewise.
#[inline(always)]
fn at_least(value: f32, limit: f32) -> f32 {
    if limit < value { value } else { limit }
}
