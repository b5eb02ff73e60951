//! Amplitudes of a course and errors of a baseline, reckoned side by side.
//!
//! Most of a judgement's time goes here. Powers of products take the place of sums of logarithms: L = Π (1 + u²/ν)^(−(ν+1)/2),
//! and ν + 1 is mostly a whole number, so that neither logarithm nor exponential is asked for.

use super::well::Well;

/// Pairs of amplitude and error reckoned side by side.
const SIDE_BY_SIDE: usize = 8;
/// Factors that are multiplied before their product is kept in f64: each is at most 1 + 1e4/ν, far from the end of f32.
const FACTORS: usize = 6;
/// No ratio tells more than this, on either side.
const MOST: f64 = 1e250;

/// Every amplitude with every error of the baseline, amplitudes outermost.
pub(crate) struct Lanes {
    amplitude: Vec<[f32; SIDE_BY_SIDE]>,
    /// By chunk, then reading: standardised departures, each lane's error taken off.
    departures: Vec<[f32; SIDE_BY_SIDE]>,
    likelihoods: Vec<f64>,
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
        let likelihoods = vec![0.0; amplitude.len() * SIDE_BY_SIDE];
        Lanes { amplitude, departures, likelihoods }
    }

    /// L(course) / L(well) by amplitude, with the course (`moved`, in spreads at amplitude 1) beginning to show at reading
    /// `first`.
    pub fn ratios(&mut self, well: &Well, moved: &[f32], first: usize, cells: &mut [f64]) {
        let per_tail = (1.0 / well.tail) as f32;
        let readings = well.own.len();
        let chunks = self.amplitude.iter().zip(self.departures.chunks(readings));
        for ((amplitude, departures), into) in chunks.zip(self.likelihoods.chunks_mut(SIDE_BY_SIDE)) {
            let mut last = first.checked_sub(1).map_or([0.0; SIDE_BY_SIDE], |before| departures[before]);
            let mut products = [1.0f64; SIDE_BY_SIDE];
            let mut from = first;
            while from < readings {
                let to = (from + FACTORS).min(readings);
                let mut product = [1.0f32; SIDE_BY_SIDE];
                for k in from..to {
                    let (moved, memory, per_root) = (moved[k], well.memory[k], well.per_root[k]);
                    let own = &departures[k];
                    for lane in 0..SIDE_BY_SIDE {
                        let departure = own[lane] - amplitude[lane] * moved;
                        let before = at_least(at_most(last[lane], 3.0), -3.0);
                        let innovation = (departure - memory * before) * per_root;
                        product[lane] *= 1.0 + at_most(innovation * innovation, 1e4) * per_tail;
                        last[lane] = departure;
                    }
                }
                for (all, product) in products.iter_mut().zip(&product) {
                    *all *= f64::from(*product);
                }
                from = to;
            }
            into.copy_from_slice(&products);
        }
        powers(&mut self.likelihoods, well.tail);
        let before = &well.before[first * well.errors.len()..];
        for (cell, likelihoods) in cells.iter_mut().zip(self.likelihoods.chunks(well.errors.len())) {
            let ratio: f64 = before.iter().zip(likelihoods).map(|(before, own)| before * own).sum();
            *cell = ratio.clamp(1.0 / MOST, MOST);
        }
    }
}

/// Each value to the power of −(ν + 1)/2.
fn powers(values: &mut [f64], tail: f64) {
    let each =
        |values: &mut [f64], power: fn(f64) -> f64| values.iter_mut().for_each(|own| *own = power(*own));
    // The tails that are tried and stated are whole.
    match if tail.fract() == 0.0 { tail as u32 } else { 0 } {
        3 => each(values, |own| 1.0 / (own * own)),
        4 => each(values, |own| 1.0 / (own * own * own.sqrt())),
        5 => each(values, |own| 1.0 / (own * own * own)),
        6 => each(values, |own| 1.0 / (own * own * own * own.sqrt())),
        8 => each(values, |own| 1.0 / ((own * own) * (own * own) * own.sqrt())),
        _ => values.iter_mut().for_each(|own| *own = (-0.5 * (tail + 1.0) * own.ln()).exp()),
    }
}

/// The lesser of the two; no care for NaN, so that it is one instruction.
fn at_most(value: f32, limit: f32) -> f32 {
    if value < limit { value } else { limit }
}

/// The greater of the two, likewise.
fn at_least(value: f32, limit: f32) -> f32 {
    if limit < value { value } else { limit }
}
