//! What a scenario is worth in money, and which of its limits gives way first.
//!
//! # Equation
//! money a day = milk · (price − feed) − people's minutes · labour − boxes · box
//! # Source
//! The farm's own [`Terms`]; what it has not set is stated there.

use super::{counted::Figure, gathered::Gathered, spread::Mean};
use crate::minutes::terms::Terms;

/// Money a day, from all figures of a replicate with so many boxes.
pub fn money_day(terms: &Terms, figures: &[f64], boxes: usize) -> f64 {
    let of = |figure: Figure| figures[figure as usize];
    boxes as f64 * (of(Figure::MilkBox) * terms.price_kg() - terms.box_day)
        - of(Figure::People) * terms.labour_min
}

/// What a person would not have a pen exceed.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Bounds {
    /// Least share of box time that is idle.
    pub idle: f64,
    /// Greatest share of intervals of 14 h and longer.
    pub over_fourteen: f64,
    /// Most minutes a cow waits a day.
    pub waiting_min: f64,
    /// Most minutes of people a box and day.
    pub people_min: f64,
}

impl Default for Bounds {
    /// 10 % idle and 51 min a box-day (`docs/sources.md` §1, §11); waiting of 140 min, the most in published holding pens
    /// (§11); a tenth of intervals beyond 14 h is a stated default.
    fn default() -> Bounds {
        Bounds { idle: 0.1, over_fourteen: 0.1, waiting_min: 140.0, people_min: 51.0 }
    }
}

/// A limit that gave way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limit {
    /// Too little box time is idle.
    Idle,
    /// Too many long intervals.
    LongIntervals,
    /// Cows wait too long.
    Waiting,
    /// People are too long on their feet.
    People,
}

impl Bounds {
    /// Limits that a scenario exceeds.
    pub fn exceeded(&self, gathered: &Gathered, boxes: usize) -> Vec<Limit> {
        let mean = |figure: Figure| -> Mean { gathered.mean(figure) };
        let limits = [
            (Limit::Idle, mean(Figure::Idle).mean < self.idle),
            (Limit::LongIntervals, self.over_fourteen < mean(Figure::OverFourteen).mean),
            (Limit::Waiting, self.waiting_min < mean(Figure::Waiting).mean),
            (Limit::People, self.people_min * (boxes as f64) < mean(Figure::People).mean),
        ];
        limits.into_iter().filter_map(|(limit, gave)| gave.then_some(limit)).collect()
    }
}
