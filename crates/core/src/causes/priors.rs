//! How often does each cause begin in a cow like her, before anything is seen?
//!
//! Rates are onsets a cow-day; factors multiply them by stage, parity and earlier cases.

use serde::{Deserialize, Serialize};

use super::Cause;
use crate::herd::Stage;

/// Onsets a cow-day (a herd-day for the herd).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Rates {
    /// Udder: 0.30 a cow-year. Common practice, no source (0.2 to 0.4 clinical cases a cow-year are often told).
    pub udder_a_day: f64,
    /// All other illness that shows in milk or visits: 0.55 a cow-year. Stated default.
    pub unclear_a_day: f64,
    /// A day that passes by itself: one heat in 21 days for half of the cows, and as many disturbed days. Stated default.
    pub passing_a_day: f64,
    /// The herd's milk falls for a reason that concerns all: five times a year. Stated default.
    pub herd_milk_a_day: f64,
}

impl Default for Rates {
    fn default() -> Rates {
        Rates {
            udder_a_day: 0.30 / 365.25,
            unclear_a_day: 0.55 / 365.25,
            passing_a_day: 1.0 / 21.0,
            herd_milk_a_day: 5.0 / 365.25,
        }
    }
}

impl Rates {
    /// Onsets a day of `cause` in a cow at `stage` with `earlier_cases` of the udder behind her.
    pub fn a_day(&self, cause: Cause, stage: Stage, earlier_cases: u32) -> f64 {
        let days = stage.days_in_milk;
        match cause {
            Cause::Well => self.passing_a_day,
            Cause::HerdMilk => self.herd_milk_a_day,
            // Stated defaults; directions from memory: most cases soon after calving, more in older cows and repeaters.
            Cause::Udder => {
                let stage_factor = match days {
                    Some(days) if days < 7.0 => 3.5,
                    Some(days) if days < 30.0 => 1.8,
                    Some(days) if 200.0 < days => 0.7,
                    _ => 1.0,
                };
                let parity_factor = match stage.parity {
                    Some(1) => 0.75,
                    Some(3..) => 1.3,
                    _ => 1.0,
                };
                let repeat_factor = match earlier_cases {
                    0 => 1.0,
                    1 => 2.0,
                    _ => 3.0,
                };
                self.udder_a_day * stage_factor * parity_factor * repeat_factor
            }
            // Metabolic and gut trouble crowds the first weeks: common practice, no source.
            Cause::Unclear => {
                let stage_factor = match days {
                    Some(days) if days < 30.0 => 4.0,
                    Some(days) if days < 60.0 => 1.5,
                    _ => 0.8,
                };
                self.unclear_a_day * stage_factor
            }
        }
    }
}
