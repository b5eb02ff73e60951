//! Amplitudes of a course and errors of a baseline, reckoned side by side: most of a judgement's time goes here.

use super::{likelihood::log_sum, well::Well};

/// Pairs of amplitude and error reckoned side by side: as many as leave few lanes empty and all of them in registers.
const SIDE_BY_SIDE: usize = 8;
/// How far a case strays from the course as drawn, share of the course: amplitudes and times of a grid stand half again as far
/// apart as this. Stated default.
const MISFIT: f32 = 0.3;
/// Factors of a product whose logarithm is taken: each is at most 1 + 400/ν, far from the end of f32.
const FACTORS: usize = 6;

/// Every amplitude with every error of the baseline, amplitudes outermost.
pub(crate) struct Lanes {
    amplitude: Vec<[f32; SIDE_BY_SIDE]>,
    /// By chunk, then reading: standardised departures, each lane's error taken off.
    departures: Vec<[f32; SIDE_BY_SIDE]>,
    /// By pair: (ν + 1)/2 · Σ ln(1 + u²/ν) + ½ · Σ ln q.
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
        let half = well.half as f32;
        let chunks = self.amplitude.iter().zip(self.departures.chunks(readings));
        for ((amplitude, departures), sums) in chunks.zip(self.sums.chunks_mut(SIDE_BY_SIDE)) {
            let mut last = first.checked_sub(1).map_or([0.0; SIDE_BY_SIDE], |before| departures[before]);
            sums.fill(0.0);
            for from in (first..readings).step_by(FACTORS) {
                let mut product = [1.0f32; SIDE_BY_SIDE];
                let mut wider = [1.0f32; SIDE_BY_SIDE];
                for k in from..(from + FACTORS).min(readings) {
                    let (moved, memory, per_root) = (moved[k], well.memory[k], well.per_root[k]);
                    let own = &departures[k];
                    for lane in 0..SIDE_BY_SIDE {
                        let course = amplitude[lane] * moved;
                        let departure = own[lane] - course;
                        let wide = 1.0 + (MISFIT * course) * (MISFIT * course);
                        let before = at_least(at_most(last[lane], 3.0), -3.0);
                        let innovation = (departure - memory * before) * per_root;
                        let square = at_most(innovation * innovation / wide, well.odd);
                        product[lane] *= 1.0 + square * well.per_tail;
                        wider[lane] *= wide;
                        last[lane] = departure;
                    }
                }
                for (sum, (product, wider)) in sums.iter_mut().zip(product.iter().zip(&wider)) {
                    *sum += f64::from(half * product.ln() + 0.5 * wider.ln());
                }
            }
        }
        for (cell, sums) in cells.iter_mut().zip(self.sums.chunks(well.errors.len())) {
            let errors = well.errors.iter().zip(&well.before).zip(sums);
            let ill =
                log_sum(errors.map(|(((_, weight), before), sum)| weight - well.half * before[first] - sum));
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
