//! Which parameters make this herd's own records most likely?
//!
//! # Equation
//! maximise  Σ ln t_df((ln y − forecast) / sd) − ln sd  +  ln prior     over κ, noise, wandering, rhythm, carried share …
//! First the lactation curves: regression of ln(y / g(h)) on 1, ln day, −day by parity, with the published curve as prior
//! and each cow counting for no more than a cow. Then the filter's parameters, one after the other by the vertex of a
//! parabola through three values, a few rounds; then how far each could move before the fit worsens by 1.92 (95 %, the
//! others held). No chance, a bounded number of runs through the sample.

use super::curve::{Wood, least_squares};
use super::herd::Herd;
use super::parameters::{Parameters, parity_class};
use super::secretion::{g, kappa_prior};
use super::{Scored, Signal};
use crate::herd::Stage;
use crate::tables::{Outcome, Visit};

/// One visit of a sample, with what was known of the cow then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleMilking {
    /// The visit.
    pub visit: Visit,
    /// Known of her at its end.
    pub stage: Stage,
    /// The farm's wall clock at its end, 0 to 24.
    pub hour_of_day: f64,
}

/// A herd's own parameters, and how sure they are.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// The parameters.
    pub parameters: Parameters,
    /// Milkings that were milked out and forecast.
    pub milkings: usize,
    /// Name, value, lower and upper 95 % end, unit.
    pub intervals: Vec<(&'static str, f64, f64, f64, &'static str)>,
    /// How much the log posterior rose from where it started.
    pub log_posterior_gain: f64,
}

/// One parameter on the scale it is searched on.
struct Knob {
    name: &'static str,
    unit: &'static str,
    /// Value on the search scale.
    get: fn(&Parameters) -> f64,
    /// Sets it from the search scale.
    set: fn(&mut Parameters, f64),
    /// From the search scale to the unit.
    shown: fn(f64) -> f64,
    /// Standard deviation of the prior on the search scale.
    prior_sd: f64,
    /// First step of the search.
    step: f64,
    /// Bounds on the search scale.
    bounds: (f64, f64),
}

const fn log_knob(
    name: &'static str,
    unit: &'static str,
    get: fn(&Parameters) -> f64,
    set: fn(&mut Parameters, f64),
    prior_sd: f64,
    bounds: (f64, f64),
) -> Knob {
    Knob { name, unit, get, set, shown: f64::exp, prior_sd, step: 0.35, bounds }
}

const fn plain_knob(
    name: &'static str,
    get: fn(&Parameters) -> f64,
    set: fn(&mut Parameters, f64),
    prior_sd: f64,
    step: f64,
    bounds: (f64, f64),
) -> Knob {
    Knob { name, unit: "", get, set, shown: |x| x, prior_sd, step, bounds }
}

const KNOBS: [Knob; 14] = [
    log_knob("κ", "1/h", |p| p.kappa_per_h.ln(), |p, x| p.kappa_per_h = x.exp(), 0.384, (-4.6, -2.3)),
    log_knob(
        "noise of one milking",
        "log",
        |p| p.noise_sd.ln(),
        |p, x| p.noise_sd = x.exp(),
        0.7,
        (-4.6, -0.7),
    ),
    log_knob(
        "wandering of the level a day",
        "log",
        |p| p.level_sd_day.ln(),
        |p, x| p.level_sd_day = x.exp(),
        0.7,
        (-6.9, -1.6),
    ),
    plain_knob("rhythm, cosine", |p| p.rhythm[0], |p, x| p.rhythm[0] = x, 0.10, 0.04, (-0.6, 0.6)),
    plain_knob("rhythm, sine", |p| p.rhythm[1], |p, x| p.rhythm[1] = x, 0.10, 0.04, (-0.6, 0.6)),
    log_knob("passing error", "log", |p| p.error_sd.ln(), |p, x| p.error_sd = x.exp(), 0.7, (-6.0, -1.2)),
    plain_knob(
        "share of it at the next milking",
        |p| p.error_share,
        |p, x| p.error_share = x,
        0.4,
        0.15,
        (-0.95, 0.6),
    ),
    log_knob(
        "hours that make short intervals noisy",
        "h",
        |p| p.short_h.ln(),
        |p, x| p.short_h = x.exp(),
        0.4,
        (0.0, 1.8),
    ),
    log_knob("tail", "degrees of freedom", |p| p.tail_df.ln(), |p, x| p.tail_df = x.exp(), 0.5, (0.8, 3.4)),
    log_knob(
        "spread of the rhythm between cows",
        "log",
        |p| p.rhythm_sd.ln(),
        |p, x| p.rhythm_sd = x.exp(),
        0.7,
        (-5.5, -1.0),
    ),
    log_knob(
        "wandering of the rhythm a day",
        "log",
        |p| p.rhythm_sd_day.ln(),
        |p, x| p.rhythm_sd_day = x.exp(),
        0.7,
        (-8.0, -2.5),
    ),
    log_knob("the herd's effect", "log", |p| p.herd.sd.ln(), |p, x| p.herd.sd = x.exp(), 0.7, (-6.0, -1.6)),
    log_knob(
        "wandering of the slope",
        "log/d",
        |p| p.slope_sd_day.ln(),
        |p, x| p.slope_sd_day = x.exp(),
        0.7,
        (-11.0, -4.5),
    ),
    plain_knob(
        "share of left milk that comes",
        |p| p.carried_share,
        |p, x| p.carried_share = x,
        0.2,
        0.1,
        (0.0, 1.0),
    ),
];

/// Rounds of the search over all parameters.
const ROUNDS: usize = 3;

/// Fits a herd's parameters to a sample of its visits in order of time, from `start` and priors centred on
/// [`Parameters::prior`] (κ: on 1.6 / the herd's yield). Deterministic; at most about 110 runs through the sample.
///
/// A sample should hold whole stretches of some cows rather than single milkings of all.
pub fn fit(sample: &[SampleMilking], start: &Parameters) -> Fitted {
    let mut best = start.clone();
    fit_curves(sample, &mut best);
    let centre = {
        let mut centre = Parameters::prior();
        let (kappa, _) = kappa_prior(yield_at_two_kg(sample));
        centre.kappa_per_h = kappa;
        centre
    };
    let centres = KNOBS.map(|knob| (knob.get)(&centre));
    let mut runs = Runs { sample, centres, scored: Scored::empty() };
    let before = runs.log_posterior(start);
    let mut top = runs.log_posterior(&best);
    if sample.len() < 200 {
        return Fitted {
            parameters: start.clone(),
            milkings: runs.milkings(),
            intervals: Vec::new(),
            log_posterior_gain: 0.0,
        };
    }
    let mut steps = KNOBS.map(|knob| knob.step);
    for _ in 0..ROUNDS {
        for (k, knob) in KNOBS.iter().enumerate() {
            let here = (knob.get)(&best);
            let at = |x: f64| {
                let mut tried = best.clone();
                (knob.set)(&mut tried, x.clamp(knob.bounds.0, knob.bounds.1));
                tried
            };
            let (low, high) = (at(here - steps[k]), at(here + steps[k]));
            let (down, up) = (runs.log_posterior(&low), runs.log_posterior(&high));
            let bend = down - 2.0 * top + up;
            // Where the parabola opens downwards its vertex is tried, at most two steps away; else the better side.
            let mut candidates = vec![(down, low), (up, high)];
            let shift = if bend < 0.0 {
                (0.5 * steps[k] * (down - up) / bend).clamp(-2.0 * steps[k], 2.0 * steps[k])
            } else {
                0.0
            };
            if shift != 0.0 {
                let vertex = at(here + shift);
                candidates.push((runs.log_posterior(&vertex), vertex));
            }
            for (value, tried) in candidates {
                if top < value {
                    (top, best) = (value, tried);
                }
            }
            let moved = ((knob.get)(&best) - here).abs();
            steps[k] = if steps[k] < moved { steps[k] * 1.3 } else { steps[k] * 0.45 };
        }
        // The curves again, at the κ and rhythm now believed.
        let mut tried = best.clone();
        fit_curves(sample, &mut tried);
        let value = runs.log_posterior(&tried);
        if top < value {
            (top, best) = (value, tried);
        }
    }
    let intervals = runs.intervals(&best, top);
    let milkings = runs.milkings();
    fit_habits(sample, &mut best);
    Fitted { parameters: best, milkings, intervals, log_posterior_gain: top - before }
}

struct Runs<'a> {
    sample: &'a [SampleMilking],
    centres: [f64; KNOBS.len()],
    scored: Scored,
}

impl Runs<'_> {
    fn log_posterior(&mut self, p: &Parameters) -> f64 {
        let mut herd = Herd::new(p.clone());
        let mut log_likelihood = 0.0;
        for row in self.sample {
            herd.take_milk(&row.visit, &row.stage, row.hour_of_day, &mut self.scored, &mut log_likelihood);
        }
        let prior: f64 = KNOBS
            .iter()
            .zip(&self.centres)
            .map(|(knob, centre)| -0.5 * (((knob.get)(p) - centre) / knob.prior_sd).powi(2))
            .sum();
        log_likelihood + prior
    }

    fn milkings(&self) -> usize {
        let milked = |row: &&SampleMilking| {
            matches!(row.visit.outcome, Some(Outcome::Milked) | None) && row.visit.milk_kg.is_some()
        };
        self.sample.iter().filter(milked).count()
    }

    fn intervals(&mut self, best: &Parameters, top: f64) -> Vec<(&'static str, f64, f64, f64, &'static str)> {
        KNOBS
            .iter()
            .map(|knob| {
                let here = (knob.get)(best);
                let step = 0.3 * knob.step;
                let mut drop = 0.0;
                for side in [-step, step] {
                    let mut tried = best.clone();
                    (knob.set)(&mut tried, here + side);
                    drop += 0.5 * (top - self.log_posterior(&tried)).max(1e-3);
                }
                // A parabola that falls by `drop` at `step` falls by 1.92 at the end of the interval.
                let reach = step * (1.92 / drop).sqrt();
                let show = |x: f64| (knob.shown)(x.clamp(knob.bounds.0, knob.bounds.1));
                (knob.name, (knob.shown)(here), show(here - reach), show(here + reach), knob.unit)
            })
            .collect()
    }
}

/// Yield a day at two milkings, kg, from a sample: milk over hours, less 3.5 kg for each milking beyond two (`published.md` §2).
fn yield_at_two_kg(sample: &[SampleMilking]) -> f64 {
    let (mut kg, mut hours, mut count) = (0.0, 0.0, 0.0);
    each_interval(sample, |row, interval_h| {
        if let Some(milk_kg) = row.visit.milk_kg {
            kg += milk_kg;
            hours += interval_h;
            count += 1.0;
        }
    });
    if hours == 0.0 {
        return 38.0;
    }
    let milkings_a_day = (24.0 * count / hours).clamp(1.5, 4.0);
    24.0 * kg / hours - 3.5 * (milkings_a_day - 2.0)
}

/// Calls for each milked-out row whose interval is known, between 3 and 22 hours.
fn each_interval(sample: &[SampleMilking], mut with: impl FnMut(&SampleMilking, f64)) {
    let mut last = std::collections::BTreeMap::new();
    for row in sample {
        match row.visit.outcome {
            Some(Outcome::Milked) | None if row.visit.milk_kg.is_some() => {
                let before = last.insert(row.visit.life, Some(row.visit.ended_at));
                if let Some(Some(before)) = before {
                    let interval_h = crate::time::hours_between(before, row.visit.ended_at);
                    if (3.0..=22.0).contains(&interval_h) {
                        with(row, interval_h);
                    }
                }
            }
            // What an incomplete milking left is in the next one: neither says what the curve is.
            Some(Outcome::Incomplete | Outcome::Failed) => {
                last.insert(row.visit.life, None);
            }
            _ => {}
        }
    }
}

/// Wood's curves of the rate, and the spread of cows about them.
fn fit_curves(sample: &[SampleMilking], p: &mut Parameters) {
    let prior = Parameters::prior();
    // One row a cow, lactation and fortnight: mean log rate and day, so that a cow's many milkings are one cow's.
    let mut cells: std::collections::BTreeMap<
        (usize, crate::herd::LifeKey, Option<i64>, i64),
        (f64, f64, f64),
    > = Default::default();
    each_interval(sample, |row, interval_h| {
        let (Some(days), Some(milk_kg)) = (row.stage.days_in_milk, row.visit.milk_kg) else { return };
        if milk_kg <= 0.2 || days < 3.0 {
            return;
        }
        let class = row.stage.parity.map_or(1, parity_class);
        let clock = super::filter::clock(row.hour_of_day);
        let log =
            (milk_kg / g(interval_h, p.kappa_per_h)).ln() - p.rhythm[0] * clock.0 - p.rhythm[1] * clock.1;
        let calved = row.stage.calved_at.map(|at| at.as_millisecond());
        let cell = cells.entry((class, row.visit.life, calved, (days / 14.0) as i64)).or_default();
        *cell = (cell.0 + 1.0, cell.1 + log, cell.2 + days);
    });
    let mut cows: std::collections::BTreeMap<(usize, crate::herd::LifeKey, Option<i64>), f64> =
        Default::default();
    for &(class, life, calved, _) in cells.keys() {
        *cows.entry((class, life, calved)).or_default() += 1.0;
    }
    let (mut squares, mut weights) = (0.0, 0.0);
    for class in 0..3 {
        let own = prior.curves[class];
        // Between-cow sd 0.2; a cow's fortnights agree among themselves (0.8): n of them count for n / (1 + 0.8(n − 1)).
        let rows = || {
            cells.iter().filter(move |(key, _)| key.0 == class).map(
                |(&(class, life, calved, _), &(n, log, days))| {
                    let of_cow = cows.get(&(class, life, calved)).copied().unwrap_or(1.0);
                    let days = days / n;
                    ([1.0, days.ln(), -days], log / n, 25.0 / (1.0 + 0.8 * (of_cow - 1.0)))
                },
            )
        };
        // Prior: height ± 0.4 (log), rise ± 0.05, fall ± 0.0008 a day about the published curve.
        let sd = [0.4_f64, 0.05, 0.0008];
        let mut ridge = [[0.0; 3]; 3];
        let mut pull = [0.0; 3];
        for (k, mean) in [own.a.ln(), own.b, own.c].into_iter().enumerate() {
            ridge[k][k] = 1.0 / (sd[k] * sd[k]);
            pull[k] = mean * ridge[k][k];
        }
        let Some([log_a, b, c]) = least_squares(rows(), ridge, pull) else { continue };
        p.curves[class] = Wood { a: log_a.exp(), b, c };
        for (x, log, weight) in rows() {
            let residual = log - log_a - b * x[1] + c * -x[2];
            squares += weight * residual * residual;
            weights += weight;
        }
    }
    // About ten cows' worth of the stated spread between cows, 0.22.
    if 0.0 < weights {
        p.cow_sd = ((squares / 25.0 + 10.0 * 0.22 * 0.22) / (weights / 25.0 + 10.0)).sqrt().clamp(0.08, 0.5);
    }
}

/// Noise of the other signals: the 68.27 % quantile of their surprises' size, where there are at least 200.
fn fit_habits(sample: &[SampleMilking], p: &mut Parameters) {
    let mut herd = Herd::new(p.clone());
    let mut scored = Scored::empty();
    let mut sizes: [Vec<f64>; 4] = Default::default();
    for row in sample {
        if !herd.take_into(&row.visit, &row.stage, row.hour_of_day, &mut scored) {
            continue;
        }
        for departure in &scored.departures {
            let place = match (departure.signal, departure.quarter) {
                (Signal::QuarterMilk, _) => 0,
                (Signal::Conductivity, Some(_)) => 1,
                (Signal::Conductivity, None) => 2,
                (Signal::Interval, _) => 3,
                _ => continue,
            };
            sizes[place].push(departure.z.abs());
        }
    }
    let habits = [&mut p.share, &mut p.conductivity, &mut p.conductivity_level, &mut p.interval];
    for (habit, sizes) in habits.into_iter().zip(&mut sizes) {
        if 200 <= sizes.len() {
            sizes.sort_by(f64::total_cmp);
            let at = sizes[sizes.len() * 6827 / 10_000];
            habit.noise_sd *= at.clamp(0.25, 4.0);
        }
    }
}
