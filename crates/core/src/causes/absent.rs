//! Has a cow not been in a box for longer than her habit?
//!
//! # Equation
//! S(t) = 1 − T_n((ln t − m) / (s·√(1 + 1/n)))        chance that one of her n gaps between visits lasts longer than t
//! P = r / (r + g·max(S(t), H(t/e^m)) + d)        g gaps a day, r onsets a day of what keeps a cow away
//!   m, s  mean and scatter of ln gap over the last ten days, s pulled to what is stated    T_n  Student's law, n degrees
//!   H  share of the herd's gaps of these days that were as long beside their cow's own: rows that are missing now and then
//!   d  dryings-off a day that nobody wrote down, late in lactation
//! A log-normal gap has no sharp end, so she must also have stayed away longer than ever in these days.
//! # Source
//! Form: predictive law of a normal sample (Student), textbook. r: stated default, twice a cow-year; s: stated default.
//! # Not here
//! Whether she is only late, and who is fetched: [`crate::coming`]. Many cows away at once are a box's or the log's matter:
//! the caller looks to that.

use jiff::Timestamp;
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{Cause, Finding, Reason, Subject, Urgency, worth::Settings};
use crate::{expect::Signal, herd::LifeKey, time::hours_between};

/// Onsets a cow-year of what keeps a cow from the boxes: down, shut in, milked elsewhere, a tag lost. Stated default.
const KEPT_AWAY_A_YEAR: f64 = 0.5;
/// Days in milk from which she may be dried off, and dryings-off a day from then on: within two months. Stated default.
const DRIED_OFF: (f64, f64) = (270.0, 1.0 / 60.0);
/// Share of them that nobody writes down where some are. Stated default.
const UNTOLD: f64 = 0.3;
/// Gaps from which a habit is known.
const FEWEST_GAPS: usize = 8;
/// Scatter of ln gap that is assumed, and how many gaps it is worth. Stated default.
const STATED: (f64, f64) = (0.6, 8.0);
/// No cow is missed before, h: one long night is nothing. Stated default.
const LEAST_H: f64 = 14.0;
/// After so long her absence is no news, and a dry-off that nobody noted likelier than anything, h. Stated default.
const MOST_H: f64 = 72.0;
/// How much longer than her longest gap it must be.
const BEYOND_LONGEST: f64 = 1.2;

/// How long the herd's cows stay away, each beside her own habit, and whether their dryings-off are written down.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HerdGaps {
    /// Gap over e^m of its cow, ascending.
    beside_own: Vec<f64>,
    /// Somebody writes down that cows are dried off.
    pub tells_dry: bool,
}

impl HerdGaps {
    /// From the visits' ends of each cow over the last ten days, ascending.
    pub fn of<'a>(seen: impl Iterator<Item = &'a [Timestamp]>, tells_dry: bool) -> HerdGaps {
        let mut beside_own = Vec::new();
        for seen in seen {
            let gaps = gaps(seen);
            if FEWEST_GAPS <= gaps.len() {
                let mean = mean_log(&gaps).exp();
                beside_own.extend(gaps.iter().map(|gap| gap / mean));
            }
        }
        beside_own.sort_by(f64::total_cmp);
        HerdGaps { beside_own, tells_dry }
    }

    /// Share of gaps at least so many times their cow's own.
    fn as_long(&self, times: f64) -> f64 {
        let shorter = self.beside_own.partition_point(|own| *own < times);
        (self.beside_own.len() - shorter) as f64 / self.beside_own.len().max(1) as f64
    }
}

fn gaps(seen: &[Timestamp]) -> Vec<f64> {
    seen.windows(2).map(|pair| hours_between(pair[0], pair[1]).max(0.1)).collect()
}

fn mean_log(gaps: &[f64]) -> f64 {
    gaps.iter().map(|gap| gap.ln()).sum::<f64>() / gaps.len() as f64
}

/// The finding of a cow whose visits of the last ten days ended at `seen` (ascending), of whom rows are known until
/// `known_until`; judged at `at`. `None` where she is within her habit, or where it is not known.
pub fn judge_absent(
    life: LifeKey,
    days_in_milk: Option<f64>,
    herd: &HerdGaps,
    seen: &[Timestamp],
    known_until: Timestamp,
    at: Timestamp,
    settings: &Settings,
) -> Option<Finding> {
    let last = *seen.last()?;
    let away_h = hours_between(last, known_until.min(at));
    let gaps = gaps(seen);
    let longest = gaps.iter().copied().fold(0.0, f64::max);
    let known = FEWEST_GAPS <= gaps.len() && (LEAST_H..MOST_H).contains(&away_h);
    if !known || away_h < BEYOND_LONGEST * longest {
        return None;
    }
    let count = gaps.len() as f64;
    let mean = mean_log(&gaps);
    let squares: f64 = gaps.iter().map(|gap| (gap.ln() - mean).powi(2)).sum();
    let scatter = ((squares + STATED.1 * STATED.0 * STATED.0) / (count - 1.0 + STATED.1)).sqrt();
    let law = StudentsT::new(0.0, 1.0, count).ok()?;
    let stays = law.sf((away_h.ln() - mean) / (scatter * (1.0 + 1.0 / count).sqrt()));
    let a_day = 24.0 / (gaps.iter().sum::<f64>() / count);
    let kept = KEPT_AWAY_A_YEAR / 365.25;
    let dried_off = match days_in_milk {
        Some(days) if DRIED_OFF.0 <= days => DRIED_OFF.1 * if herd.tells_dry { UNTOLD } else { 1.0 },
        _ => 0.0,
    };
    let probability = kept / (kept + a_day * stays.max(herd.as_long(away_h / mean.exp())) + dried_off);
    let mut finding = Finding {
        subject: Subject::Cow(life),
        cause: Cause::Unclear,
        quarter: None,
        probability,
        others: vec![(Cause::Well, 1.0 - probability)],
        urgency: Urgency::Watch,
        since: last,
        since_between: (last, last),
        episode: last,
        worth: 0.0,
        severity: 2.0,
        reasons: vec![Reason {
            signal: Signal::Visits,
            quarter: None,
            observed: 0.0,
            expected: a_day,
            weight: (probability / (1.0 - probability)).ln() - (kept / a_day).ln(),
        }],
    };
    settings.value(&mut finding, at);
    Some(finding)
}

#[cfg(test)]
mod tests;
