//! Amplitudes of a course and errors of a baseline, reckoned side by side: most of a judgement's time goes here.

use super::{likelihood::log_sum, well::Well};

/// Pairs of amplitude and error reckoned side by side: as many as leave few lanes empty and all of them in registers.
const SIDE_BY_SIDE: usize = 8;
/// Factors of a product whose logarithm is taken: each is at most 1 + 1e4/ν, far from the end of f32.
const FACTORS: usize = 6;

/// Every amplitude with every error of the baseline, amplitudes outermost.
pub(crate) struct Lanes {
    amplitude: Vec<[f32; SIDE_BY_SIDE]>,
    /// By chunk, then reading: standardised departures, each lane's error taken off.
    departures: Vec<[f32; SIDE_BY_SIDE]>,
    /// By pair: Σ ln(1 + u²/ν).
    sums: Vec<f64>,
}

impl Lanes {
    /// For one signal's amplitudes.
    pub fn of(well: &Well, amplitudes: &[f64]) -> Lanes {
        let pairs: Vec<(f32, f32)> = amplitudes
            .iter()
            .flat_map(|amplitude| {
                well.errors.iter().map(move |(error, _)| (*amplitude as f32, *error as f32))
            })
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
        Lanes { amplitude, departures, sums: vec![0.0; pairs.len()] }
    }

    /// ln L(course) − ln L(well) by amplitude, with the course (`moved`, in spreads at amplitude 1) beginning to show at
    /// reading `first`.
    pub fn ratios(&mut self, well: &Well, moved: &[f32], first: usize, cells: &mut [f64]) {
        let readings = well.own.len();
        let chunks = self.amplitude.iter().zip(self.departures.chunks(readings));
        for ((amplitude, departures), sums) in chunks.zip(self.sums.chunks_mut(SIDE_BY_SIDE)) {
            let mut last = first.checked_sub(1).map_or([0.0; SIDE_BY_SIDE], |before| departures[before]);
            sums.fill(0.0);
            for from in (first..readings).step_by(FACTORS) {
                let mut product = [1.0f32; SIDE_BY_SIDE];
                for k in from..(from + FACTORS).min(readings) {
                    let (moved, memory, per_root) = (moved[k], well.memory[k], well.per_root[k]);
                    let own = &departures[k];
                    for lane in 0..SIDE_BY_SIDE {
                        let departure = own[lane] - amplitude[lane] * moved;
                        let before = at_least(at_most(last[lane], 3.0), -3.0);
                        let innovation = (departure - memory * before) * per_root;
                        product[lane] *= 1.0 + at_most(innovation * innovation, 1e4) * well.per_tail;
                        last[lane] = departure;
                    }
                }
                for (sum, product) in sums.iter_mut().zip(&product) {
                    *sum += f64::from(product.ln());
                }
            }
        }
        for (cell, sums) in cells.iter_mut().zip(self.sums.chunks(well.errors.len())) {
            let errors = well.errors.iter().zip(&well.before).zip(sums);
            let ill = log_sum(
                errors.map(|(((_, weight), before), sum)| weight - well.half * (before[first] + sum)),
            );
            *cell = ill - well.whole;
        }
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
