//! Which parameters make this herd's own records most likely?
//!
//! # Equation
//! maximise  Σ ln t_df((ln y − forecast) / sd) − ln sd  +  ln prior     over κ, noise, wandering, rhythm, carried share …
//! First the lactation curves: regression of ln(y / g(h)) on 1, ln day, −day by parity, with the published curve as prior
//! and each cow counting for no more than a cow. Then the filter's parameters, one after the other by the vertex of a
//! parabola through three values, in two rounds; the parabola also tells how far each could move before the fit worsens
//! by 1.92 (95 %, the others held). No chance, a bounded number of runs through the sample.

use super::fit_curves::{fit_curves, yield_at_two_kg};
use super::herd::Herd;
use super::milk::log_constant;
use super::parameters::Parameters;
use super::secretion::kappa_prior;
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
    /// One a parameter that was searched.
    pub intervals: Vec<Interval>,
    /// How much the log posterior rose from where it started.
    pub log_posterior_gain: f64,
}

/// Name, value, lower and upper 95 % end, unit. The ends hold while the other parameters stay as they are.
pub type Interval = (&'static str, f64, f64, f64, &'static str);

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

/// Place of the share of left milk among the knobs: without incomplete milkings nothing tells it.
const CARRIED: usize = 13;

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
        (0.0, 2.5),
    ),
    log_knob("tail", "degrees of freedom", |p| p.tail_df.ln(), |p, x| p.tail_df = x.exp(), 0.5, (0.72, 3.4)),
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
    log_knob("the herd's effect", "log", |p| p.herd.sd.ln(), |p, x| p.herd.sd = x.exp(), 0.7, (-4.6, -1.6)),
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

/// Rounds of the search over all parameters, each with smaller steps.
const ROUNDS: usize = 2;
/// Milkings below which nothing is fitted.
const LEAST: usize = 200;

/// Reckons two figures, one after the other or side by side.
pub type Two<'a> = dyn Fn(&(dyn Fn() -> f64 + Sync), &(dyn Fn() -> f64 + Sync)) -> (f64, f64) + 'a;

/// Fits a herd's parameters to a sample of its visits in order of time, from `start` and priors centred on
/// [`Parameters::prior`] (κ: on 1.6 / the herd's yield). Deterministic; at most about 90 runs through the sample.
///
/// A sample should hold whole stretches of some cows rather than single milkings of all. Under 200 milkings `start` is
/// given back as it is.
pub fn fit(sample: &[SampleMilking], start: &Parameters) -> Fitted {
    fit_by_twos(sample, start, &|one, other| (one(), other()))
}

/// As [`fit`], with the same answer; two runs that do not hang on each other are given to `two` together.
pub fn fit_by_twos(sample: &[SampleMilking], start: &Parameters, two: &Two<'_>) -> Fitted {
    let milked = |row: &&SampleMilking| {
        matches!(row.visit.outcome, Some(Outcome::Milked) | None) && row.visit.milk_kg.is_some()
    };
    let milkings = sample.iter().filter(milked).count();
    let mut best = start.clone();
    if milkings < LEAST {
        return Fitted { parameters: best, milkings, intervals: Vec::new(), log_posterior_gain: 0.0 };
    }
    let mut centre = Parameters::prior();
    centre.kappa_per_h = kappa_prior(yield_at_two_kg(sample)).0;
    let runs = Runs { sample, centres: KNOBS.map(|knob| (knob.get)(&centre)) };
    let before = runs.log_posterior(start);
    fit_curves(sample, &mut best);
    let mut top = runs.log_posterior(&best);
    let any_left = sample.iter().any(|row| row.visit.outcome == Some(Outcome::Incomplete));
    let mut intervals = Vec::new();
    for round in 0..ROUNDS {
        intervals.clear();
        for (k, knob) in KNOBS.iter().enumerate() {
            if k == CARRIED && !any_left {
                continue;
            }
            let step = knob.step * 0.45_f64.powi(round as i32);
            intervals.push(runs.improve(knob, step, two, &mut best, &mut top));
        }
        // The curves again, at the κ and rhythm now believed.
        let mut tried = best.clone();
        fit_curves(sample, &mut tried);
        let value = runs.log_posterior(&tried);
        if top < value {
            (top, best) = (value, tried);
        }
    }
    super::fit_habits::fit_habits(sample, &mut best);
    Fitted { parameters: best, milkings, intervals, log_posterior_gain: top - before }
}

struct Runs<'a> {
    sample: &'a [SampleMilking],
    centres: [f64; KNOBS.len()],
}

impl Runs<'_> {
    fn log_posterior(&self, p: &Parameters) -> f64 {
        let mut herd = Herd::new(p.clone());
        let mut log_likelihood = 0.0;
        let mut judged = 0_u32;
        for row in self.sample {
            judged += u32::from(herd.take_milk(&row.visit, &row.stage, row.hour_of_day, &mut log_likelihood));
        }
        let prior: f64 = KNOBS
            .iter()
            .zip(&self.centres)
            .map(|(knob, centre)| -0.5 * (((knob.get)(p) - centre) / knob.prior_sd).powi(2))
            .sum();
        log_likelihood + f64::from(judged) * log_constant(p.tail_df) + prior
    }

    /// Moves one parameter to the vertex of the parabola through three values, or to the best of them; its interval is
    /// where that parabola lies 1.92 under its top.
    fn improve(
        &self,
        knob: &Knob,
        step: f64,
        two: &Two<'_>,
        best: &mut Parameters,
        top: &mut f64,
    ) -> Interval {
        let at = |x: f64| {
            let mut tried = best.clone();
            (knob.set)(&mut tried, x.clamp(knob.bounds.0, knob.bounds.1));
            tried
        };
        let here = (knob.get)(best);
        let sides = [here - step, here + step].map(at);
        let [one, other] = &sides;
        let (down, up) = two(&|| self.log_posterior(one), &|| self.log_posterior(other));
        let bend = down - 2.0 * *top + up;
        let shift =
            if bend < 0.0 { 0.5 * step * (down - up) / bend } else { 0.0 }.clamp(-2.0 * step, 2.0 * step);
        let vertex = at(here + shift);
        let value = if shift == 0.0 { f64::NEG_INFINITY } else { self.log_posterior(&vertex) };
        for (value, tried) in [down, up, value].into_iter().zip(sides.into_iter().chain([vertex])) {
            if *top < value {
                (*top, *best) = (value, tried);
            }
        }
        let here = (knob.get)(best);
        let reach = if bend < 0.0 { step * (3.84 / -bend).sqrt() } else { f64::INFINITY };
        let show = |x: f64| (knob.shown)(x.clamp(knob.bounds.0, knob.bounds.1));
        (knob.name, show(here), show(here - reach), show(here + reach), knob.unit)
    }
}
