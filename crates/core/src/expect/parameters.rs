//! What belongs to the herd: how fast udders fill, how much one milking scatters, how lactations run.
//!
//! One set a herd, fitted to its own records by [`super::fit`]; [`Parameters::prior`] is where a herd starts. What has a
//! published figure names it; what has none is a stated default, and says so.

use super::curve::Wood;

/// A slow state that returns to nothing: standard deviation at rest, and the days over which it forgets.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Slow {
    /// Standard deviation at rest, in the state's unit.
    pub sd: f64,
    /// Days in which a departure fades to 1/e.
    pub days: f64,
}

/// How a cow's habit in one signal wanders.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Habit {
    /// Scatter of one reading.
    pub noise_sd: f64,
    /// Wandering of the habit, a square root of a day.
    pub wander_sd_day: f64,
    /// Spread of cows about the herd's mean.
    pub between_sd: f64,
}

/// Everything the expectation needs to know of a herd.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Parameters {
    /// Slowing of secretion as the udder fills, 1/h.
    pub kappa_per_h: f64,
    /// Scatter of one milking at an interval of ten hours, log.
    pub noise_sd: f64,
    /// Hours that make short intervals noisier: variance ∝ 1 + (short_h/h)².
    pub short_h: f64,
    /// Degrees of freedom of the heavy-tailed noise.
    pub tail_df: f64,
    /// Wandering of a cow's level, log a square root of a day.
    pub level_sd_day: f64,
    /// Wandering of her slope, log a day a square root of a day.
    pub slope_sd_day: f64,
    /// Days in which a slope beside the curve's fades to 1/e.
    pub slope_days: f64,
    /// Spread of slopes beside the curve's in a fresh cow, log a day.
    pub fresh_slope_sd: f64,
    /// Scatter that is carried from one milking to the next (milk not let down, an hour not quite right), log.
    pub error_sd: f64,
    /// Share of that scatter at the next milking; negative: what was left behind comes then.
    pub error_share: f64,
    /// The herd's rhythm over the day: cosine and sine of 24 hours, log.
    pub rhythm: [f64; 2],
    /// Spread of cows about the herd's rhythm, log.
    pub rhythm_sd: f64,
    /// Wandering of a cow's own rhythm, log a square root of a day.
    pub rhythm_sd_day: f64,
    /// Share of what an incomplete milking left behind that comes at the next one.
    pub carried_share: f64,
    /// Wood's curve of the rate in an empty udder, kg/h, by parity 1, 2, 3 and more.
    pub curves: [Wood; 3],
    /// Spread of cows about the curve, log.
    pub cow_sd: f64,
    /// Share of a cow's departure from the curve that she brings into her next lactation.
    pub memory: f64,
    /// The herd's effect on milk, log.
    pub herd: Slow,
    /// A box's effect on milk, log.
    pub boxes: Slow,
    /// A cup's effect on its quarter's milk, log.
    pub cup_milk: Slow,
    /// A cup's effect on conductivity, mS/cm.
    pub cup_ms: Slow,
    /// What all probes of a box and their milk share: warmth, the probe's electronics, mS/cm.
    pub probe_ms: Slow,
    /// A quarter's log-ratio to the cow's others.
    pub share: Habit,
    /// A quarter's conductivity above the mean of her two lowest, mS/cm.
    pub conductivity: Habit,
    /// The mean of her two lowest quarters, mS/cm.
    pub conductivity_level: Habit,
    /// Log of the hours since her last milking.
    pub interval: Habit,
    /// Chance that a cup is kicked off at a milking.
    pub kick_rate: f64,
}

/// Degrees of freedom of the heavy-tailed noise of quarters, conductivity and intervals: a stated default, not fitted.
pub(crate) const HABIT_DF: f64 = 5.0;

/// Milkings a day at which the published curves (kg a day) are read as a rate: 2.8 (`sources.md` §1).
const PRIOR_MILKINGS: f64 = 2.8;

impl Parameters {
    /// Where a herd starts before anything was fitted to it.
    ///
    /// Curves: Wood's of US herds, mean and shifts by parity (`sources.md` §3). κ 0.042: `sources.md` §2, a herd of 38 kg.
    /// Noise, wandering and the slow states are stated defaults without source.
    pub fn prior() -> Parameters {
        let kappa_per_h = 0.042;
        let hours_a_day = PRIOR_MILKINGS * super::secretion::g(24.0 / PRIOR_MILKINGS, kappa_per_h);
        let wood = |a: f64, b: f64, c: f64| Wood { a: a / hours_a_day, b, c };
        Parameters {
            kappa_per_h,
            noise_sd: 0.10,
            short_h: 4.0,
            tail_df: 5.0,
            level_sd_day: 0.025,
            slope_sd_day: 0.0005,
            slope_days: 6.0,
            fresh_slope_sd: 0.03,
            error_sd: 0.04,
            error_share: -0.5,
            rhythm: [0.0, 0.0],
            rhythm_sd: 0.04,
            rhythm_sd_day: 0.003,
            carried_share: 0.7,
            curves: [
                wood(19.9 - 4.18, 0.247 - 0.0037, 0.003376 - 0.000931),
                wood(19.9 + 2.16, 0.247 - 0.0120, 0.003376 + 0.000266),
                wood(19.9 + 2.02, 0.247 + 0.0157, 0.003376 + 0.000665),
            ],
            cow_sd: 0.35,
            memory: 0.5,
            herd: Slow { sd: 0.05, days: 7.0 },
            boxes: Slow { sd: 0.05, days: 30.0 },
            cup_milk: Slow { sd: 0.05, days: 30.0 },
            cup_ms: Slow { sd: 0.25, days: 30.0 },
            probe_ms: Slow { sd: 0.15, days: 4.0 },
            share: Habit { noise_sd: 0.10, wander_sd_day: 0.015, between_sd: 0.25 },
            conductivity: Habit { noise_sd: 0.15, wander_sd_day: 0.03, between_sd: 0.30 },
            conductivity_level: Habit { noise_sd: 0.15, wander_sd_day: 0.04, between_sd: 0.50 },
            interval: Habit { noise_sd: 0.33, wander_sd_day: 0.02, between_sd: 0.20 },
            kick_rate: 0.02,
        }
    }

    /// Log of the rate the curve of her parity gives on a day, log(kg/h).
    ///
    /// Without a parity the mean of the three curves; without a day the height of day 150.
    pub fn log_curve(&self, parity: Option<u8>, days_in_milk: Option<f64>) -> f64 {
        let days = days_in_milk.unwrap_or(150.0);
        match parity {
            Some(parity) => self.curves[parity_class(parity)].log_value(days),
            None => self.curves.iter().map(|curve| curve.log_value(days)).sum::<f64>() / 3.0,
        }
    }
}

/// Which curve a parity follows: 0 for the first lactation, 1 for the second, 2 for later ones.
pub fn parity_class(parity: u8) -> usize {
    usize::from(parity.clamp(1, 3)) - 1
}
