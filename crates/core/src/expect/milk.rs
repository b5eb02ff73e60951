//! One milking's milk: what was expected of it, how far it was off, and who learns from that.
//!
//! # Equation
//! expected = mean factor · (robust kg + plain kg)/2 + carried
//!   robust kg, plain kg  exp of what the two tracks of [`super::filter`] expect, with curve, g(h), herd and box
//!   mean factor          Σ observed / Σ expected of the herd so far, the last few thousand milkings counting most
//! The 95 % interval reaches as many standard deviations below and above as held 95 % of the herd's milkings so far: noise
//! has heavy and uneven tails, and a normal's 1.96 fits neither end.

use super::cow::Cow;
use super::filter::{clock, weight};
use super::parameters::Parameters;
use super::secretion::g;
use super::split::{BoxState, Effect};
use super::{Departure, Signal};
use crate::herd::Stage;

/// Longest interval that is believed, h; beyond it a row may be missing.
pub(crate) const LONGEST_BELIEVED_H: f64 = 22.0;
/// Where no interval is known her usual one is assumed; the log variance that adds.
const ASSUMED_VAR: f64 = 0.06;
/// First milkings after calving are colostrum and let-down is poor: their noise variance counts this many times.
const FIRST_NOISE: f64 = 4.0;
/// Milkings that are first ones.
pub(crate) const FIRST: u32 = 2;
/// Surprises over which a cow's own size of surprise is learned.
const SIZE_MEMORY: f64 = 80.0;

/// What the herd as a whole has learned about forecasts of milk.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Record {
    /// Weighted sums of observed and of forecast milk, kg.
    observed_kg: f64,
    forecast_kg: f64,
    /// How many standard deviations the interval reaches below and above.
    reach: [f64; 2],
    /// Mean size of surprises, in standard deviations.
    size: f64,
}

impl Record {
    pub(crate) fn new() -> Record {
        Record { observed_kg: 2_000.0, forecast_kg: 2_000.0, reach: [2.2, 1.9], size: 0.75 }
    }
    fn factor(&self) -> f64 {
        self.observed_kg / self.forecast_kg
    }
    fn learn(&mut self, observed_kg: f64, forecast_kg: f64, z: f64) {
        const KEEPS: f64 = 1.0 - 1.0 / 4_000.0;
        self.observed_kg = KEEPS * self.observed_kg + observed_kg;
        self.forecast_kg = KEEPS * self.forecast_kg + forecast_kg;
        // Stochastic approximation of the 2.5 % and 97.5 % quantiles of z.
        const STEP: f64 = 0.02;
        self.reach[0] += STEP * if z < -self.reach[0] { 0.975 } else { -0.025 };
        self.reach[1] += STEP * if self.reach[1] < z { 0.975 } else { -0.025 };
        self.size += (z.abs().min(4.0) - self.size) / 2_000.0;
    }
}

/// Everything fixed about one milking before its milk is looked at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Outlook {
    clock: (f64, f64),
    /// Log of what the curve, the interval, the herd's rhythm, herd and box make of it.
    base: f64,
    box_log: f64,
    effects_var: f64,
    noise_var: f64,
    noise_ratio: f64,
    robust: super::filter::Prospect,
    plain: super::filter::Prospect,
    pub(crate) baseline_log: f64,
    baseline_var: f64,
    own_kg: f64,
    extra_kg: f64,
    pub(crate) expected_kg: f64,
    pub(crate) low95_kg: f64,
    pub(crate) high95_kg: f64,
    pub(crate) baseline_kg: f64,
    /// The interval was known and believed.
    pub(crate) sure: bool,
}

/// The forecast of a milking `interval_h` after the last; the cow's tracks must have been stepped to now.
#[allow(clippy::too_many_arguments)]
pub(crate) fn outlook(
    p: &Parameters,
    record: &Record,
    cow: &Cow,
    stage: &Stage,
    hour_of_day: f64,
    interval_h: Option<f64>,
    usual_h: f64,
    held_d: f64,
    herd: Effect,
    own_box: Effect,
) -> Outlook {
    let believed = interval_h.filter(|&hours| hours <= LONGEST_BELIEVED_H);
    let hours = believed.unwrap_or(usual_h).max(0.3);
    let clock = clock(hour_of_day);
    let rhythm = p.rhythm[0] * clock.0 + p.rhythm[1] * clock.1;
    let curve = p.log_curve(stage.parity, stage.days_in_milk);
    let base = curve + g(hours, p.kappa_per_h).ln() + rhythm + herd.mean + own_box.mean;
    let short = |hours: f64| 1.0 + (p.short_h / hours).powi(2);
    let noise_ratio = (cow.size / record.size).clamp(0.3, 6.0);
    let mut noise_var = p.noise_sd * p.noise_sd * noise_ratio * short(hours) / short(10.0);
    if cow.milkings < FIRST {
        noise_var *= FIRST_NOISE;
    }
    if believed.is_none() {
        noise_var += ASSUMED_VAR;
    }
    let (robust, plain) = (cow.robust.prospect(clock), cow.plain.prospect(clock));
    let extra_kg = cow.carried_kg - cow.taken_kg;
    let own_kg = record.factor() * 0.5 * ((base + robust.mean).exp() + (base + plain.mean).exp());
    if cow.carried_kg != 0.0 {
        noise_var += (0.5 * cow.carried_kg / own_kg).powi(2);
    }
    let effects_var = herd.var + own_box.var;
    let sd = (robust.var + effects_var + noise_var).sqrt();
    let (standing, baseline_var) =
        if cow.holds_milk() { cow.held.after(p, held_d, clock) } else { (robust.mean, robust.var) };
    let positive = |kg: f64| (kg + extra_kg).max(0.0);
    let baseline_log = base + standing;
    let expected_kg = positive(own_kg);
    Outlook {
        clock,
        base,
        box_log: own_box.mean,
        effects_var,
        noise_var,
        noise_ratio,
        robust,
        plain,
        baseline_log,
        baseline_var,
        own_kg,
        extra_kg,
        expected_kg,
        low95_kg: positive(own_kg * (-record.reach[0] * sd).exp()),
        high95_kg: positive(own_kg * (record.reach[1] * sd).exp()),
        baseline_kg: if cow.holds_milk() {
            positive(record.factor() * baseline_log.exp())
        } else {
            expected_kg
        },
        sure: believed.is_some(),
    }
}

/// Learns a milking that was milked out: herd, box, cow and record in this order. The milk's departure, if it can be judged.
pub(crate) fn learn(
    p: &Parameters,
    record: &mut Record,
    cow: &mut Cow,
    look: &Outlook,
    milk_kg: f64,
    herd: Option<&mut Effect>,
    own_box: Option<&mut BoxState>,
    at_ms: i64,
    judged: bool,
    log_likelihood: &mut f64,
) -> Option<Departure> {
    // Milk carried over is taken off; what remains is never read as less than a fiftieth of the forecast.
    let net_kg = (milk_kg - look.extra_kg).max(0.2 * milk_kg).max(0.02 * look.own_kg);
    let seen = net_kg.ln() - look.base;
    let surprise = seen - look.robust.mean;
    let var = look.robust.var + look.effects_var + look.noise_var;
    let z = surprise / var.sqrt();
    let weight = weight(z, p.tail_df);
    // Student's t less its constant, which only df moves.
    *log_likelihood = log_density(z, p.tail_df) - 0.5 * var.ln();
    let mut moved = 0.0;
    if look.sure && FIRST <= cow.milkings {
        for effect in herd.into_iter().chain(own_box.map(|own| &mut own.milk)) {
            let before = effect.mean;
            effect.learn(surprise, var / weight);
            moved += effect.mean - before;
        }
    }
    cow.robust.learn(&look.robust, surprise - moved, var / weight);
    let plain_var = look.plain.var + look.effects_var + look.noise_var * tail_var(p.tail_df);
    cow.plain.learn(&look.plain, seen - look.plain.mean - moved, plain_var);
    let baseline_gap = seen - (look.baseline_log - look.base);
    let baseline_sd = (look.baseline_var + look.effects_var + look.noise_var).sqrt();
    let baseline_z = (baseline_gap - moved) / baseline_sd;
    if look.sure && FIRST <= cow.milkings {
        record.learn(milk_kg, look.own_kg + look.extra_kg, (net_kg / look.own_kg).ln() / var.sqrt());
        let in_herd_noise = z.abs().min(4.0) * look.noise_ratio.sqrt();
        cow.size += (in_herd_noise - cow.size) / SIZE_MEMORY;
        cow.evidence.add(baseline_z);
    }
    if cow.episode.is_none() && cow.evidence.most() == 0.0 {
        cow.held = cow.robust.settled();
        cow.held_ms = at_ms;
    }
    let _ = look.clock;
    (judged && look.sure).then(|| {
        let corrected = (-look.box_log).exp();
        let expected = look.baseline_kg * corrected;
        Departure {
            signal: Signal::Milk,
            quarter: None,
            observed: milk_kg * corrected,
            expected,
            low95: expected * (-record.reach[0] * baseline_sd).exp(),
            high95: expected * (record.reach[1] * baseline_sd).exp(),
            z: baseline_z,
            gap: baseline_gap - moved,
            noise_sd: look.noise_var.sqrt(),
        }
    })
}

/// Log density of Student's t, location 0, scale 1, at z.
fn log_density(z: f64, df: f64) -> f64 {
    use statrs::function::gamma::ln_gamma;
    ln_gamma(0.5 * (df + 1.0))
        - ln_gamma(0.5 * df)
        - 0.5 * (df * std::f64::consts::PI).ln()
        - 0.5 * (df + 1.0) * (z * z / df).ln_1p()
}

/// Variance of Student's t beside that of a normal, for the track that weighs all readings alike; at most 4.
fn tail_var(df: f64) -> f64 {
    (df / (df - 2.0).max(0.5)).clamp(1.0, 4.0)
}
