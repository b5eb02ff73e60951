//! The herd's hazard of coming, fitted to its own half-hours: penalised Poisson likelihood, a few passes.
//!
//! # Equation
//! Each pass: frailty z run forward over each cow's half-hours (what is used of her at a time comes from before it);
//! each milking split into came (z·e^η) and brought (f); f = (N_f + 0.2)/(E + 20 h) by slot; one Newton step of
//! Σ y·ln μ − μ − Σ (β − β₀)²/2σ², μ = z·e^η·w, by coordinate descent under β ≥ 0 where a term grows as hours pass.
//! Spread and half-life of the frailty: those of a grid that foretell best.
//! # Not here
//! What a term is: [`super::basis`].

use super::basis::{TERMS, Terms, Usual, is_free, prior, sum, terms};
use super::halves::Half;
use super::wait::Wait;

/// Hours overdue from which being brought is thought of, by slot.
const OVERDUE_H: [f64; 4] = [9.0, 11.0, 13.0, 16.0];
/// Before anything is known a slot has this many brought …
const BROUGHT_PRIOR: f64 = 0.2;
/// … in so many hours: stated defaults; a slot must show plainly more than its cows' own coming.
const BROUGHT_PRIOR_H: f64 = 20.0;
/// Passes.
const PASSES: usize = 12;
/// The pass after which spread and half-life are chosen.
const CHOOSE_AFTER: usize = 6;
/// Variances of frailty that are tried.
const SPREADS: [f64; 4] = [0.04, 0.1, 0.2, 0.4];
/// Half-lives of what is known of a cow, h.
const HALF_LIVES_H: [f64; 4] = [48.0, 96.0, 192.0, 384.0];
/// Most a weight moves in one pass.
const STEP: f64 = 1.5;

/// What was fitted.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Fits {
    /// Weights of [`super::basis`]'s terms.
    pub weights: Vec<f64>,
    /// The herd's means.
    pub usual: Usual,
    /// Variance of frailty between cows.
    pub spread: f64,
    /// Hours in which what is known of a cow loses half its weight.
    pub half_life_h: f64,
    /// Being brought, 1/h, by slot of hours overdue and hour of day.
    pub brought_h: Vec<f64>,
    /// Milkings it rests on; 0: nothing but the prior.
    pub milkings: u64,
}

impl Fits {
    /// Where a herd starts.
    pub fn prior() -> Fits {
        Fits {
            weights: prior().0.to_vec(),
            usual: Usual::prior(),
            spread: 0.1,
            half_life_h: 192.0,
            brought_h: vec![0.0; OVERDUE_H.len() * 24],
            milkings: 0,
        }
    }

    /// e^η of a half-hour, 1/h: an average cow's coming.
    pub fn hazard_h(&self, half: &Half) -> f64 {
        sum(&terms(half, &self.usual), &self.weights).min(4.0).exp()
    }

    /// Being brought, 1/h.
    pub fn brought_at_h(&self, half: &Half) -> f64 {
        slot(half).and_then(|slot| self.brought_h.get(slot)).copied().unwrap_or(0.0)
    }
}

fn slot(half: &Half) -> Option<usize> {
    let overdue = OVERDUE_H.iter().rposition(|from| *from <= half.since_h)?;
    Some(overdue * 24 + (half.hour.rem_euclid(24.0) as usize).min(23))
}

/// A cow's frailty: gamma of shape `a` and rate `b`, mean a/b.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frailty {
    /// Shape.
    pub a: f64,
    /// Rate.
    pub b: f64,
}

impl Frailty {
    /// A cow nothing is known of: mean 1.
    pub fn new(spread: f64) -> Frailty {
        Frailty { a: 1.0 / spread, b: 1.0 / spread }
    }

    /// Its mean.
    pub fn mean(&self) -> f64 {
        self.a / self.b
    }

    /// Learns a half-hour: what was expected of an average cow, and how much of a milking came of it.
    pub fn learn(&mut self, expected: f64, came: f64, keeps: f64, spread: f64) {
        let rest = 1.0 / spread;
        self.a = rest + (self.a - rest) * keeps + came;
        self.b = rest + (self.b - rest) * keeps + expected;
    }
}

/// What part of what is known of a cow is kept over a time.
pub fn keeps(hours: f64, half_life_h: f64) -> f64 {
    (-std::f64::consts::LN_2 * hours / half_life_h).exp()
}

/// Runs a fit's frailty over a cow's half-hours.
pub fn frailty(fits: &Fits, halves: &[Half]) -> Frailty {
    let mut wait = Wait::new(fits);
    halves.iter().for_each(|half| wait.take(fits, half));
    wait.frailty()
}

pub(super) fn own_share(own_h: f64, brought_h: f64) -> f64 {
    if brought_h <= 0.0 { 1.0 } else { own_h / (own_h + brought_h) }
}

/// A half-hour of a fit: where its terms end, hours, whether she came, and the slot of being brought.
type FitRow = (usize, f64, bool, Option<usize>);

/// Half-hours of a fit.
#[derive(Default)]
struct Sample {
    rows: Vec<FitRow>,
    /// Row after row, the terms that are not zero: each with its place.
    terms: Vec<(u8, f64)>,
    /// Where each cow's rows begin.
    cows: Vec<usize>,
}

impl Sample {
    /// Rows with their terms.
    fn each(&self) -> impl Iterator<Item = (&FitRow, &[(u8, f64)])> {
        let mut from = 0;
        self.rows.iter().map(move |row| (row, &self.terms[std::mem::replace(&mut from, row.0)..row.0]))
    }
}

/// Fits to cows' half-hours, each cow's in order of time; `start` is where the search begins (the last fit, or the prior).
pub fn fit(cows: &[Vec<Half>], start: &Fits) -> Fits {
    let milkings = cows.iter().flatten().filter(|half| half.came).count() as u64;
    let mut fits = Fits { usual: usual(cows), milkings, ..start.clone() };
    if milkings == 0 || fits.weights.len() != TERMS {
        return Fits::prior();
    }
    let mut sample = Sample::default();
    for halves in cows {
        sample.cows.push(sample.rows.len());
        for half in halves {
            let all = terms(half, &fits.usual);
            sample.terms.extend((0_u8..).zip(all).filter(|(_, term)| *term != 0.0));
            sample.rows.push((sample.terms.len(), half.open_h, half.came, slot(half)));
        }
    }
    let mut z = vec![1.0; sample.rows.len()];
    for pass in 0..PASSES {
        let hazard: Vec<f64> =
            sample.each().map(|(_, some)| eta(some, &fits.weights).min(4.0).exp()).collect();
        if pass == CHOOSE_AFTER {
            choose(&sample, &hazard, &mut fits);
        }
        run(&sample, &hazard, &fits, &mut z);
        let came = split(&sample, &hazard, &z, &mut fits);
        newton(&sample, &hazard, &z, &came, &mut fits.weights);
    }
    fits
}

fn eta(some: &[(u8, f64)], weights: &[f64]) -> f64 {
    some.iter().map(|(place, term)| term * weights[usize::from(*place)]).sum()
}

/// The herd's means of what may be missing of a cow.
fn usual(cows: &[Vec<Half>]) -> Usual {
    let mean = |of: &dyn Fn(&Half) -> Option<f64>| {
        let known = cows.iter().flatten().filter_map(of);
        let (sum, count) = known.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
        (0.0 < count).then(|| sum / count)
    };
    let prior = Usual::prior();
    let rate = |half: &Half| half.milk_kg.filter(|_| 4.0 <= half.since_h).map(|kg| kg / half.since_h);
    Usual {
        milk_kg_h: mean(&rate).unwrap_or(prior.milk_kg_h),
        feed_kg: mean(&|half| half.feed_kg),
        first: mean(&|half| half.first.map(f64::from)).unwrap_or(prior.first),
        days: mean(&|half| half.days).unwrap_or(prior.days),
    }
}

/// Frailty before each half-hour, and how well the whole was foretold: Σ y·ln μ − μ.
fn run(sample: &Sample, hazard: &[f64], fits: &Fits, z: &mut [f64]) -> f64 {
    let mut log_likelihood = 0.0;
    for (cow, from) in sample.cows.iter().enumerate() {
        let to = sample.cows.get(cow + 1).copied().unwrap_or(sample.rows.len());
        let mut own = Frailty::new(fits.spread);
        for place in *from..to {
            let (_, open_h, came, slot) = &sample.rows[place];
            z[place] = own.mean();
            let brought_h = slot.map_or(0.0, |slot| fits.brought_h[slot]);
            let own_h = z[place] * hazard[place];
            let all = (own_h + brought_h) * open_h;
            log_likelihood -= all;
            if *came {
                log_likelihood += all.max(1e-12).ln();
            }
            let came = own_share(own_h, brought_h) * f64::from(*came);
            own.learn(hazard[place] * open_h, came, keeps(*open_h, fits.half_life_h), fits.spread);
        }
    }
    log_likelihood
}

/// Spread and half-life that foretell best.
fn choose(sample: &Sample, hazard: &[f64], fits: &mut Fits) {
    let mut best = f64::NEG_INFINITY;
    let mut z = vec![1.0; sample.rows.len()];
    let mut chosen = (fits.spread, fits.half_life_h);
    for spread in SPREADS {
        for half_life_h in HALF_LIVES_H {
            (fits.spread, fits.half_life_h) = (spread, half_life_h);
            let log_likelihood = run(sample, hazard, fits, &mut z);
            if best < log_likelihood {
                (best, chosen) = (log_likelihood, (spread, half_life_h));
            }
        }
    }
    (fits.spread, fits.half_life_h) = chosen;
}

/// How much of each milking was her own coming; moves what is brought in each slot.
fn split(sample: &Sample, hazard: &[f64], z: &[f64], fits: &mut Fits) -> Vec<f64> {
    let slots = fits.brought_h.len();
    let (mut brought, mut hours) = (vec![0.0; slots], vec![0.0; slots]);
    let mut own = Vec::with_capacity(sample.rows.len());
    for (place, (_, open_h, came, slot)) in sample.rows.iter().enumerate() {
        // A slot that was never thought of begins somewhere: as much again as she comes by herself.
        let own_h = z[place] * hazard[place];
        let share = match slot {
            Some(slot) if *came => {
                let before = fits.brought_h[*slot];
                own_share(own_h, if before == 0.0 { own_h } else { before })
            }
            _ => 1.0,
        };
        own.push(if *came { share } else { 0.0 });
        if let Some(slot) = slot {
            hours[*slot] += open_h;
            brought[*slot] += if *came { 1.0 - share } else { 0.0 };
        }
    }
    for slot in 0..slots {
        fits.brought_h[slot] = (BROUGHT_PRIOR + brought[slot]) / (BROUGHT_PRIOR_H + hours[slot]);
    }
    own
}

/// A power of two, and as many as [`TERMS`] or more.
const ROOM: usize = TERMS.next_power_of_two();

/// One step of the penalised likelihood, kept where weights may be.
fn newton(sample: &Sample, hazard: &[f64], z: &[f64], came: &[f64], weights: &mut [f64]) {
    let (mean, sd): (Terms, Terms) = prior();
    // Room for as many as a place can tell of: where none lies outside, none is asked whether it does.
    let mut slope = [0.0; ROOM];
    let mut bend = [[0.0; ROOM]; ROOM];
    for (place, ((_, open_h, ..), some)) in sample.each().enumerate() {
        let expected = z[place] * hazard[place] * open_h;
        let off = came[place] - expected;
        for (turn, (i, x)) in some.iter().enumerate() {
            let i = usize::from(*i) % ROOM;
            slope[i] += off * x;
            let row = &mut bend[i];
            let x = expected * x;
            for (j, y) in &some[turn..] {
                row[usize::from(*j) % ROOM] += x * y;
            }
        }
    }
    for i in 0..TERMS {
        let sure = 1.0 / (sd[i] * sd[i]);
        slope[i] -= (weights[i] - mean[i]) * sure;
        bend[i][i] += sure;
        // Only the upper half was added up.
        let (above, from) = bend.split_at_mut(i);
        for (own, row) in from[0].iter_mut().zip(above.iter()) {
            *own = row[i];
        }
    }
    let mut step = [0.0; TERMS];
    for _ in 0..300 {
        let mut moved = 0.0_f64;
        for i in 0..TERMS {
            let pull: f64 = slope[i] - bend[i].iter().zip(&step).map(|(b, s)| b * s).sum::<f64>();
            let least = if is_free(i) { -STEP } else { (-weights[i]).max(-STEP) };
            let to = (step[i] + pull / bend[i][i]).clamp(least, STEP);
            moved = moved.max((to - step[i]).abs());
            step[i] = to;
        }
        if moved < 1e-6 {
            break;
        }
    }
    for (weight, step) in weights.iter_mut().zip(step) {
        *weight += step;
    }
}
