//! How do this herd's lactations run, and how far do its cows stand from that?
//!
//! # Equation
//! ln(y / g(h)) − rhythm = ln a + b·ln day − c·day + cow + noise,     by parity, with the published curve as prior
//! One row a cow, lactation and fortnight; a cow's fortnights agree among themselves, so n of them weigh n / (1 + 0.8(n − 1)).
//! # Source
//! Prior: `sources.md` §3. Its spread (height ± 0.4 log, rise ± 0.05, fall ± 0.0008 a day) is a stated default.

use std::collections::BTreeMap;

use super::curve::{Wood, least_squares};
use super::fit::SampleMilking;
use super::parameters::{Parameters, parity_class};
use super::secretion::g;
use crate::herd::LifeKey;
use crate::tables::Outcome;

/// A cow's lactation in a class of parity.
type Lactation = (usize, LifeKey, Option<i64>);

/// Yield a day at two milkings, kg, from a sample: milk over hours, less 3.5 kg for each milking beyond two (`sources.md` §2).
pub(super) fn yield_at_two_kg(sample: &[SampleMilking]) -> f64 {
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
pub(super) fn each_interval(sample: &[SampleMilking], mut with: impl FnMut(&SampleMilking, f64)) {
    let mut last = BTreeMap::new();
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
pub(super) fn fit_curves(sample: &[SampleMilking], p: &mut Parameters) {
    let prior = Parameters::prior();
    // One row a cow, lactation and fortnight: mean log rate and day, so that a cow's many milkings are one cow's.
    let mut cells: BTreeMap<(Lactation, i64), (f64, f64, f64)> = BTreeMap::new();
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
        let cell = cells.entry(((class, row.visit.life, calved), (days / 14.0) as i64)).or_default();
        *cell = (cell.0 + 1.0, cell.1 + log, cell.2 + days);
    });
    let mut cows: BTreeMap<Lactation, f64> = BTreeMap::new();
    for (lactation, _) in cells.keys() {
        *cows.entry(*lactation).or_default() += 1.0;
    }
    let (mut squares, mut weights) = (0.0, 0.0);
    for class in 0..3 {
        let own = prior.curves[class];
        // Between-cow sd 0.2; a cow's fortnights agree among themselves (0.8): n of them count for n / (1 + 0.8(n − 1)).
        let rows = || {
            cells.iter().filter(move |((lactation, _), _)| lactation.0 == class).map(
                |((lactation, _), &(n, log, days))| {
                    let of_cow = cows.get(lactation).copied().unwrap_or(1.0);
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
