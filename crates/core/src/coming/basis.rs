//! What all cows have in common: a half-hour as the terms of a sum, η = Σ term · weight.
//!
//! Terms that grow as hours pass have weights that are never below zero, so that the chance of coming never falls while
//! she waits. A ramp from a to b is 0 before a, 1 after b, and straight between.

use super::halves::Half;

/// Hours since her last milking.
const SINCE_H: [f64; 15] = [0.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0, 14.0, 18.0, 24.0, 36.0];
/// Hours since her last milking over those she usually lets pass.
const OF_USUAL: [f64; 10] = [0.3, 0.45, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.4, 1.8];
/// Hours since a visit that was no milking.
const OTHER_H: [f64; 5] = [0.0, 0.5, 1.0, 2.0, 4.0];
/// Milk expected in the udder, kg.
const MILK_KG: [f64; 7] = [3.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0];
/// Feed earned and not had, kg.
const FEED_KG: [f64; 5] = [0.0, 0.5, 1.0, 2.0, 3.5];
/// Days in milk of the corners; straight between them, flat beyond.
const DAYS: [f64; 5] = [5.0, 30.0, 100.0, 200.0, 300.0];
/// Two-hour corners of the day.
const HOURS: usize = 12;

const SINCE: usize = 1;
const OWN: usize = SINCE + SINCE_H.len() - 1;
const OTHER: usize = OWN + OF_USUAL.len() - 1;
const OTHER_RAMPS: usize = OTHER + 1;
const FAILED: usize = OTHER_RAMPS + OTHER_H.len() - 1;
const MILK: usize = FAILED + 1;
const FEED: usize = MILK + MILK_KG.len() - 1;
const HOUR: usize = FEED + FEED_KG.len() - 1;
const DAY: usize = HOUR + HOURS;
const FIRST: usize = DAY + DAYS.len();
/// How many terms there are.
pub const TERMS: usize = FIRST + 1;

/// The terms of one half-hour.
pub type Terms = [f64; TERMS];

/// What stands in where a cow's own figure is not known: the herd's mean.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Usual {
    /// Milk gathered an hour, kg.
    pub milk_kg_h: f64,
    /// Feed earned and not had, kg; `None` where the farm logs no feed: then nothing is said of it.
    pub feed_kg: Option<f64>,
    /// Share of cows in their first lactation.
    pub first: f64,
    /// Days in milk.
    pub days: f64,
}

impl Usual {
    /// Stated defaults: 1.3 kg/h (`sources.md` §1, Hogeveen et al.), a third heifers, day 150.
    pub fn prior() -> Usual {
        Usual { milk_kg_h: 1.3, feed_kg: None, first: 1.0 / 3.0, days: 150.0 }
    }
}

fn ramps(value: f64, corners: &[f64], out: &mut [f64]) {
    for (place, pair) in corners.windows(2).enumerate() {
        out[place] = ((value - pair[0]) / (pair[1] - pair[0])).clamp(0.0, 1.0);
    }
}

/// A half-hour's terms.
pub fn terms(half: &Half, usual: &Usual) -> Terms {
    let mut out = [0.0; TERMS];
    out[0] = 1.0;
    ramps(half.since_h, &SINCE_H, &mut out[SINCE..OWN]);
    ramps(half.of_usual, &OF_USUAL, &mut out[OWN..OTHER]);
    if let Some(other_h) = half.other_h {
        out[OTHER] = 1.0;
        ramps(other_h, &OTHER_H, &mut out[OTHER_RAMPS..FAILED]);
        out[FAILED] = f64::from(half.failed);
    }
    let milk_kg = half.milk_kg.unwrap_or(usual.milk_kg_h * half.since_h);
    ramps(milk_kg, &MILK_KG, &mut out[MILK..FEED]);
    if let Some(usual_kg) = usual.feed_kg {
        ramps(half.feed_kg.unwrap_or(usual_kg), &FEED_KG, &mut out[FEED..HOUR]);
    }
    let place = half.hour.rem_euclid(24.0) / 2.0;
    let corner = (place as usize).min(HOURS - 1);
    let part = place - corner as f64;
    out[HOUR + corner] += 1.0 - part;
    out[HOUR + (corner + 1) % HOURS] += part;
    let days = half.days.unwrap_or(usual.days).clamp(DAYS[0], DAYS[DAYS.len() - 1]);
    let right = DAYS.iter().position(|corner| days <= *corner).unwrap_or(DAYS.len() - 1).max(1);
    let part = (days - DAYS[right - 1]) / (DAYS[right] - DAYS[right - 1]);
    out[DAY + right - 1] += 1.0 - part;
    out[DAY + right] += part;
    out[FIRST] = half.first.map_or(usual.first, f64::from);
    out
}

/// Whether a term's weight may be below zero.
pub fn is_free(term: usize) -> bool {
    !((SINCE..OTHER).contains(&term)
        || (OTHER_RAMPS..FAILED).contains(&term)
        || (MILK..FEED).contains(&term)
        || (FEED..HOUR).contains(&term))
}

/// Where a herd starts: each term's weight, and how surely (standard deviation).
///
/// Hours since: Weibull with the mean and scatter of 107,785 intervals, 9.2 ± 3.3 h (`sources.md` §1), that is shape
/// 3.06 and scale 10.3 h. Night: cows come less from midnight to five (`sources.md` §11, practice), e^−0.4: a stated
/// default. All standard deviations are stated defaults: wide enough that a month of a herd outweighs them.
pub fn prior() -> (Terms, Terms) {
    const SHAPE: f64 = 3.06;
    const SCALE_H: f64 = 10.3;
    let log_hazard = |hours: f64| (SHAPE / SCALE_H).ln() + (SHAPE - 1.0) * (hours.max(1.0) / SCALE_H).ln();
    let (mut mean, mut sd) = ([0.0; TERMS], [0.3; TERMS]);
    (mean[0], sd[0]) = (log_hazard(0.0), 3.0);
    for (place, pair) in SINCE_H.windows(2).enumerate() {
        // Beyond 18 h nothing is known of how she goes on: level.
        let rise = log_hazard(pair[1].min(18.0)) - log_hazard(pair[0].min(18.0));
        (mean[SINCE + place], sd[SINCE + place]) = (rise, 0.6);
    }
    sd[OTHER..=FAILED].fill(0.7);
    sd[HOUR..DAY].fill(0.5);
    mean[HOUR..HOUR + 3].fill(-0.4);
    (mean, sd)
}

/// η.
pub fn sum(terms: &Terms, weights: &[f64]) -> f64 {
    terms.iter().zip(weights).map(|(term, weight)| term * weight).sum()
}
