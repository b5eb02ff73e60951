//! Has a cow not been in a box for longer than her habit?
//!
//! # Equation
//! P = r / (r + g·max(S, H(t/m)) + d)        g milkings a day, r onsets a day of what keeps a cow away
//!   S  chance that she would have stayed away so long by her own habit and this farm's bringing: [`crate::coming::Wait`]
//!   H  share of the herd's gaps of these days that were as long beside their cow's own: rows that are missing now and then
//!   m  her own gap between visits, the middle one by its log    d  dryings-off a day that nobody wrote down, late in lactation
//! The list of whom to bring in rests on the same S, so that she is looked for there when she is a call here.
//! # Source
//! S: fitted to the herd's own months ([`crate::coming::fit`]); r, d: stated defaults, r twice in four cow-years.
//! # Not here
//! Whether she is only late, and who is fetched: [`crate::coming`]. Many cows away at once are a box's or the log's matter:
//! the caller looks to that.

use jiff::Timestamp;

use super::{Cause, Finding, Reason, Subject, Urgency, calibrated::log_odds, worth::Settings};
use crate::{expect::Signal, herd::LifeKey, time::hours_between};

/// Onsets a cow-year of what keeps a cow from the boxes: down, shut in, milked elsewhere, a tag lost. Stated default.
const KEPT_AWAY_A_YEAR: f64 = 0.5;
/// Days in milk from which she may be dried off, and dryings-off a day from then on: within two months. Stated default.
const DRIED_OFF: (f64, f64) = (270.0, 1.0 / 60.0);
/// Share of them that nobody writes down where some are. Stated default.
const UNTOLD: f64 = 0.3;
/// No cow is missed before, h: the longest limit at which a cow is brought in by practice (`sources.md` §2, about 12 h).
const LEAST_H: f64 = 12.0;
/// She is thought of as away when this is so many times her own gap, or longer than any of hers: what is not, no habit
/// makes unlikely, and it need not be reckoned. Stated default.
const TIMES_OWN: f64 = 2.0;
/// The herd's gaps are held against a cow's own only where she had so many: of fewer the mean says nothing.
const FEWEST_GAPS: usize = 8;

/// How long the herd's cows stay away, each beside her own habit, and whether their dryings-off are written down.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HerdGaps {
    /// Gap over m of its cow, ascending.
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

/// Hours since her last visit of any kind, where they are long enough beside her visits to be asked about; `seen`: when her
/// visits of the last days ended, ascending; `known`: until when the boxes' rows are known. `None`: she is not away.
pub fn away_h(seen: &[Timestamp], known: Timestamp) -> Option<f64> {
    let away_h = hours_between(*seen.last()?, known);
    let gaps = gaps(seen);
    let long = gaps.is_empty() || {
        let longest = gaps.iter().copied().fold(0.0, f64::max);
        longest < away_h || TIMES_OWN * mean_log(&gaps).exp() < away_h
    };
    (LEAST_H <= away_h && long).then_some(away_h)
}

/// A cow that is away, and what is known of her habit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Absence<'a> {
    /// Whose.
    pub life: LifeKey,
    /// Her days in milk.
    pub days_in_milk: Option<f64>,
    /// When her visits of the days before she left ended, ascending, of any kind; never empty.
    pub seen: &'a [Timestamp],
    /// Hours since the last of them, to which rows are known.
    pub away_h: f64,
    /// Chance that she would have stayed away so long, 0 to 1: [`crate::coming::Wait::stays`].
    pub stays: f64,
    /// Milkings a day, as a rule.
    pub a_day: f64,
}

/// The finding of a cow that is away; judged at `at`. `None` where no visit of hers is known.
pub fn judge_absent(
    her: &Absence<'_>,
    herd: &HerdGaps,
    at: Timestamp,
    settings: &Settings,
) -> Option<Finding> {
    let last = *her.seen.last()?;
    let gaps = gaps(her.seen);
    let missing_rows =
        if FEWEST_GAPS <= gaps.len() { herd.as_long(her.away_h / mean_log(&gaps).exp()) } else { 0.0 };
    let visits_a_day =
        if gaps.is_empty() { her.a_day } else { 24.0 * gaps.len() as f64 / gaps.iter().sum::<f64>() };
    let kept = KEPT_AWAY_A_YEAR / 365.25;
    let dried_off = match her.days_in_milk {
        Some(days) if DRIED_OFF.0 <= days => DRIED_OFF.1 * if herd.tells_dry { UNTOLD } else { 1.0 },
        _ => 0.0,
    };
    let sound = (her.a_day * her.stays).max(visits_a_day * missing_rows);
    let probability = kept / (kept + sound + dried_off);
    let mut finding = Finding {
        subject: Subject::Cow(her.life),
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
            expected: visits_a_day,
            weight: log_odds(probability) - (kept / her.a_day).ln(),
        }],
    };
    settings.value(&mut finding, at);
    Some(finding)
}

#[cfg(test)]
mod tests;
