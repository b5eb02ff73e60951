//! Where does a series lie, when all that is known is that it wanders and is measured with noise?
//!
//! The local level model: the simplest of the state-space models this house stands on, kept exact so that the larger
//! ones can be checked against it, and used wherever one slow figure is tracked.
//!
//! # Equation
//! y_t = μ_t + ε_t,  ε_t ~ N(0, σ²ε);   μ_{t+1} = μ_t + η_t,  η_t ~ N(0, σ²η);   μ_1 diffuse (nothing known).
//! Filter, from the first value seen (there the level is y with variance σ²ε):
//!   v_t = y_t − a_t,  F_t = P_t + σ²ε,  K_t = P_t / F_t,  a_{t+1} = a_t + K_t·v_t,  P_{t+1} = P_t·σ²ε/F_t + σ²η;
//!   a missing value leaves a as it is and adds σ²η to P.
//! Smoother: r_{t−1} = v_t/F_t + (1 − K_t)·r_t,  N_{t−1} = 1/F_t + (1 − K_t)²·N_t  (missing: r, N unchanged),
//!   μ̂_t = a_t + P_t·r_{t−1},  V_t = P_t − P_t²·N_{t−1}.
//! log L (exact diffuse) = −n/2·log 2π − ½·Σ_{t>1}(log F_t + v_t²/F_t): the first value counts with its constant only.
//! Fit: with σ²ε = c·(1 − s) and σ²η = c·s the best c is Σ v²/F over n − 1; the share s, 0 to 1, is where the slope of
//! the remaining log L is zero, found by false position on the slope itself (a maximum is flat, a zero is sharp).
//! # Source
//! Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, ch. 2 (filter §2.2, smoother §2.4,
//! missing values §2.7, concentrated likelihood §2.10).
//! # Proof
//! `cases/level.csv`: flow of the Nile 1871–1970, with and without missing years. Law: smoothing equals the dense
//! solution of the same normal equations.

/// σ²ε and σ²η, in the square of the series' unit; neither negative, not both zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variances {
    /// Of one reading about the level, σ²ε.
    pub irregular: f64,
    /// Of the level's step from one time to the next, σ²η.
    pub level: f64,
}

/// A mean with its variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// In the series' unit.
    pub mean: f64,
    /// In its square.
    pub variance: f64,
}

/// What is known at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Level before the reading; `None` until something was seen.
    pub predicted: Option<Estimate>,
    /// Reading less prediction, and the variance it was expected with; `None` for a missing or the first reading.
    pub innovation: Option<Estimate>,
    /// Level after the reading; `None` until something was seen.
    pub filtered: Option<Estimate>,
}

/// A fit by maximum likelihood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The variances.
    pub variances: Variances,
    /// Exact diffuse log-likelihood at them, natural logarithm.
    pub log_likelihood: f64,
}

/// The level at each time from the readings up to it; `None` is a missing reading.
pub fn filter(series: &[Option<f64>], variances: Variances) -> Vec<Step> {
    let mut predicted: Option<Estimate> = None;
    series
        .iter()
        .map(|&reading| {
            let (innovation, filtered) = match (reading, predicted) {
                (None, _) => (None, predicted),
                (Some(first), None) => (None, Some(Estimate { mean: first, variance: variances.irregular })),
                (Some(reading), Some(before)) => {
                    let missed = Estimate {
                        mean: reading - before.mean,
                        variance: before.variance + variances.irregular,
                    };
                    (Some(missed), Some(learn(before, missed, variances.irregular)))
                }
            };
            let step = Step { predicted, innovation, filtered };
            predicted = filtered
                .map(|after| Estimate { mean: after.mean, variance: after.variance + variances.level });
            step
        })
        .collect()
}

/// The level at each time from all readings: what [`filter`] knew, corrected by what came later.
///
/// Same length as the series, or empty if no reading is there. Before the first reading the level is the first one's,
/// with the variance of the steps between.
pub fn smooth(series: &[Option<f64>], variances: Variances) -> Vec<Estimate> {
    let steps = filter(series, variances);
    let Some(first) = series.iter().position(Option::is_some) else { return Vec::new() };
    let mut smoothed = vec![Estimate { mean: 0.0, variance: 0.0 }; series.len()];
    // What later innovations say of the level: weighted sum and its precision.
    let (mut pull, mut precision) = (0.0, 0.0);
    for (at, step) in steps.iter().enumerate().skip(first + 1).rev() {
        let Some(before) = step.predicted else { continue };
        if let Some(missed) = step.innovation {
            let kept = variances.irregular / missed.variance;
            pull = missed.mean / missed.variance + kept * pull;
            precision = 1.0 / missed.variance + kept * kept * precision;
        }
        smoothed[at] = Estimate {
            mean: before.mean + before.variance * pull,
            variance: before.variance - before.variance * before.variance * precision,
        };
    }
    // Nothing was known before the first reading: there the filtered level takes the prediction's part.
    if let Some(after) = steps[first].filtered {
        smoothed[first] = Estimate {
            mean: after.mean + after.variance * pull,
            variance: after.variance - after.variance * after.variance * precision,
        };
    }
    for at in (0..first).rev() {
        let next = smoothed[at + 1];
        smoothed[at] = Estimate { mean: next.mean, variance: next.variance + variances.level };
    }
    smoothed
}

/// Exact diffuse log-likelihood of the readings, natural logarithm; `None` if no reading is there.
///
/// The first reading counts with −½·log 2π, as its diffuse limit does.
pub fn log_likelihood(series: &[Option<f64>], variances: Variances) -> Option<f64> {
    let seen = series.iter().flatten().count();
    let misfit: f64 = filter(series, variances)
        .iter()
        .filter_map(|step| step.innovation)
        .map(|missed| missed.variance.ln() + missed.mean * missed.mean / missed.variance)
        .sum();
    (0 < seen).then(|| -0.5 * (seen as f64 * LOG_TWO_PI + misfit))
}

/// Both variances by maximum likelihood.
///
/// `None` with fewer than three readings, a reading that is not finite, or readings that are all the same (then any
/// small variance is better than a larger one). A level that does not move gives `level` 0; readings without noise of
/// their own give `irregular` 0.
pub fn fit(series: &[Option<f64>]) -> Option<Fit> {
    let mut readings = series.iter().flatten();
    let first = *readings.next()?;
    if series.iter().flatten().count() < 3
        || !series.iter().flatten().all(|reading| reading.is_finite())
        || readings.all(|reading| *reading == first)
    {
        return None;
    }
    let share = best_share(|share| concentrate(series, share))?;
    let best = concentrate(series, share);
    let variances = Variances { irregular: best.scale * (1.0 - share), level: best.scale * share };
    Some(Fit { variances, log_likelihood: best.log_likelihood })
}

const LOG_TWO_PI: f64 = 1.837_877_066_409_345_3;

/// What the filter says after a reading: P·σ²ε/F is P − P²/F without its cancellation.
fn learn(before: Estimate, missed: Estimate, irregular: f64) -> Estimate {
    Estimate {
        mean: before.mean + before.variance / missed.variance * missed.mean,
        variance: before.variance * (irregular / missed.variance),
    }
}

/// Log-likelihood at the best scale for a share.
#[derive(Debug, Clone, Copy)]
struct Concentrated {
    /// c, σ²ε + σ²η.
    scale: f64,
    log_likelihood: f64,
    /// Its slope in the share.
    slope: f64,
}

/// One pass of the filter with σ²ε = 1 − s, σ²η = s, and its derivative in s.
fn concentrate(series: &[Option<f64>], share: f64) -> Concentrated {
    let irregular = 1.0 - share;
    let mut started = false;
    let (mut mean, mut mean_slope) = (0.0, 0.0);
    let (mut variance, mut variance_slope) = (0.0, 0.0);
    let (mut squares, mut squares_slope) = (0.0, 0.0);
    let (mut logs, mut logs_slope) = (0.0, 0.0);
    // Logarithms are slow: multiply, and take one before the product can overflow.
    let mut product = 1.0_f64;
    let mut seen = 0.0;
    for reading in series {
        match *reading {
            Some(reading) if started => {
                let spread = variance + irregular;
                let spread_slope = variance_slope - 1.0;
                let per_spread = 1.0 / spread;
                let missed = reading - mean;
                let gain = variance * per_spread;
                let gain_slope = (variance_slope - gain * spread_slope) * per_spread;
                squares += missed * missed * per_spread;
                squares_slope -=
                    missed * per_spread * (2.0 * mean_slope + missed * per_spread * spread_slope);
                product *= spread;
                logs_slope += spread_slope * per_spread;
                if !(1e-100..1e100).contains(&product) {
                    logs += product.ln();
                    product = 1.0;
                }
                mean += gain * missed;
                mean_slope += gain_slope * missed - gain * mean_slope;
                variance = gain * irregular + share;
                variance_slope = gain_slope * irregular - gain + 1.0;
                seen += 1.0;
            }
            Some(reading) => {
                started = true;
                mean = reading;
                variance = 1.0;
                seen += 1.0;
            }
            None if started => {
                variance += share;
                variance_slope += 1.0;
            }
            None => {}
        }
    }
    logs += product.ln();
    let free = seen - 1.0;
    let scale = squares / free;
    Concentrated {
        scale,
        log_likelihood: -0.5 * (seen * LOG_TWO_PI + free * (scale.ln() + 1.0) + logs),
        slope: -0.5 * (free * squares_slope / squares + logs_slope),
    }
}

/// The share, 0 to 1, at which the log-likelihood is highest.
///
/// A coarse look first, since the likelihood may have two humps: shares spaced evenly in their log-odds, with both ends.
fn best_share(at: impl Fn(f64) -> Concentrated) -> Option<f64> {
    let looks: Vec<(f64, Concentrated)> = (-1..=LOOKS)
        .map(|look| match look {
            -1 => 0.0,
            LOOKS => 1.0,
            look => 1.0 / (1.0 + (-f64::from(2 * look - LOOKS + 1) / 2.0).exp()),
        })
        .map(|share| (share, at(share)))
        .filter(|(_, look)| look.log_likelihood.is_finite())
        .collect();
    let highest =
        (0..looks.len()).max_by(|&a, &b| looks[a].1.log_likelihood.total_cmp(&looks[b].1.log_likelihood))?;
    let (share, look) = looks[highest];
    if look.slope == 0.0 {
        return Some(share);
    }
    let (from, to) =
        if 0.0 < look.slope { (highest, highest + 1) } else { (highest.wrapping_sub(1), highest) };
    match (looks.get(from), looks.get(to)) {
        (Some(&low), Some(&high)) => Some(climb(at, low, high)),
        // Uphill beyond an end: the level does not move at all, or the readings have no noise of their own.
        _ => Some(share),
    }
}

/// How many shares are looked at between the ends; they reach from 3e-8 to 1 − 3e-8.
const LOOKS: i32 = 36;

/// Where the slope falls through zero between two shares, of which the likelihood has a maximum between.
///
/// Halving until the slopes have opposite signs, then false position (Illinois: the end that stays twice counts half).
fn climb(at: impl Fn(f64) -> Concentrated, low: (f64, Concentrated), high: (f64, Concentrated)) -> f64 {
    let ((mut low, mut low_look), (mut high, mut high_look)) = (low, high);
    while !(0.0 < low_look.slope && high_look.slope < 0.0) {
        let middle = f64::midpoint(low, high);
        if middle <= low || high <= middle {
            return middle;
        }
        let look = at(middle);
        // Keep the half that must hold a maximum: uphill inwards from one end, and not beyond at the other.
        let right = if 0.0 < low_look.slope {
            0.0 < look.slope && high_look.log_likelihood <= look.log_likelihood
        } else {
            0.0 < look.slope || look.log_likelihood < low_look.log_likelihood
        };
        if right {
            (low, low_look) = (middle, look);
        } else {
            (high, high_look) = (middle, look);
        }
    }
    let (mut low_slope, mut high_slope) = (low_look.slope, high_look.slope);
    let (mut stayed_low, mut stayed_high) = (false, false);
    for _ in 0..100 {
        let share = low + (high - low) * (low_slope / (low_slope - high_slope));
        if share <= low || high <= share {
            break;
        }
        let slope = at(share).slope;
        let moved;
        if 0.0 < slope {
            moved = share - low;
            (low, low_slope) = (share, slope);
            if stayed_high {
                high_slope *= 0.5;
            }
            (stayed_low, stayed_high) = (false, true);
        } else {
            moved = high - share;
            (high, high_slope) = (share, slope);
            if stayed_low {
                low_slope *= 0.5;
            }
            (stayed_low, stayed_high) = (true, false);
        }
        if slope == 0.0 || moved < 1e-14 * share || high - low < 1e-14 * share {
            return share;
        }
    }
    f64::midpoint(low, high)
}
