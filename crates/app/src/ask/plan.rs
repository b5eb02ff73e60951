//! What would happen at the boxes: the answer as programs and pages get it.

use std::collections::BTreeMap;

use cowpath_core::{
    minutes::terms::Terms,
    traffic::{Bounds, Change, Limit, Mean},
};
use serde::Serialize;

use super::plan_ground::Beside;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedPlan {
    /// Herd sizes, in rising order.
    pub cows: Vec<usize>,
    /// What of the farm is to be another.
    pub change: Change,
    /// What is to be another in the second scenario, beside that.
    pub instead: Option<Change>,
    /// Exactly so many replicates; `None` until the answer is sure enough.
    pub replicates: Option<u32>,
    /// Where chance begins.
    pub seed: u64,
    /// Days of a replicate that count.
    pub days: f64,
    /// Limits.
    pub bounds: Bounds,
    /// What money is reckoned with.
    pub terms: Terms,
    /// The parlour that the boxes replace, if they do.
    pub parlour: Option<Parlour>,
}

/// How cows are milked in a parlour.
#[derive(Debug, Clone, PartialEq)]
pub struct Parlour {
    /// Milkings a day.
    pub per_day: f64,
    /// Hours at which the group is milked, where they were told.
    pub hours: Vec<f64>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// Name of the farm; empty without one.
    pub farm: String,
    /// What the pens rest on: `stated defaults`, or the farm's logs.
    pub basis: String,
    /// Whether figures of the farm's own logs went in.
    pub fitted: bool,
    /// What the reader should know before trusting it.
    pub notes: Vec<String>,
    /// The fitted pens beside the log they were fitted to.
    pub beside: Vec<Beside>,
    /// Where chance began.
    pub seed: u64,
    /// Days of a replicate that counted.
    pub days: f64,
    /// Replicates that are done.
    pub replicates: usize,
    /// Replicates that will be done at most.
    pub most_replicates: u32,
    /// Cows of the farm now; `null` where no log tells.
    pub cows_now: Option<usize>,
    /// Whether anything tells when people fetch, the farm's logs or marks; else their work is in no figure.
    pub fetching_known: bool,
    /// Nothing more comes.
    pub done: bool,
    /// The answer is as sure as was asked.
    pub sure: bool,
    /// What it comes to, in sentences.
    pub sentences: Vec<String>,
    /// The scenarios: as asked, and instead.
    pub scenarios: Vec<PlanScenario>,
    /// The second less the first, by herd size.
    pub differences: Vec<Difference>,
    /// Terms that money was reckoned with.
    pub terms: Terms,
    /// Limits that were looked at.
    pub bounds: Bounds,
}

/// A scenario over all herd sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanScenario {
    /// `as asked`, `instead`.
    pub name: &'static str,
    /// What of the farm is another in it.
    pub words: String,
    /// Its boxes.
    pub boxes: usize,
    /// Cows are fetched in it and nothing tells when: its figures of fetching are not known.
    #[serde(skip)]
    pub fetched_unknown: bool,
    /// How many cows leave the idle reserve; `null` where the sizes do not reach it.
    pub capacity: Option<Mean>,
    /// What these cows bring: against those of now, in the second scenario against those of the first.
    pub beyond: Option<Beyond>,
    /// One for each herd size.
    pub rows: Vec<PlanRow>,
}

/// What the cows that fit bring, with boxes, work and feed paid.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Beyond {
    /// Cows it is held against.
    pub from: usize,
    /// Cows that fit.
    pub to: usize,
    /// Cows more.
    pub cows: Mean,
    /// Milk of the herd a day more, kg.
    pub milk_kg: Mean,
    /// Money a day more.
    pub money: Mean,
}

impl Plan {
    /// Which of the herd sizes is told of: the nearest to the farm's own, else the middle one.
    pub fn told_place(&self) -> usize {
        let Some(rows) = self.scenarios.first().map(|scenario| &scenario.rows) else { return 0 };
        // While it fills, the second scenario may have fewer.
        let sizes = self.scenarios.iter().map(|scenario| scenario.rows.len()).filter(|rows| 0 < *rows).min();
        let sizes = 0..sizes.unwrap_or(0);
        match self.cows_now {
            Some(now) => sizes.min_by_key(|place| rows[*place].cows.abs_diff(now)).unwrap_or(0),
            None => sizes.end / 2,
        }
    }
}

impl PlanScenario {
    /// Boxes and what else of the farm is another: `2 boxes; feed pushed at 05:00`.
    pub fn head(&self) -> String {
        let boxes = cowpath_core::say::plan::boxes(self.boxes);
        match self.words.as_str() {
            words if words.contains(&boxes) => words.to_owned(),
            "as it is" => format!("{boxes}, as it is"),
            words => format!("{boxes}; {words}"),
        }
    }
}

/// A scenario with so many cows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanRow {
    /// Cows.
    pub cows: usize,
    /// Figures by name, each with its 95 % interval.
    pub figures: BTreeMap<&'static str, Mean>,
    /// Money a day.
    pub money: Mean,
    /// Limits that gave way.
    pub exceeded: Vec<Limit>,
    /// Share of intervals by hours, 0 to 24.
    pub intervals: Vec<f64>,
    /// Visits a box and hour by hour of the clock.
    pub by_hour: Vec<f64>,
}

/// The second scenario less the first on the same chance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Cows.
    pub cows: usize,
    /// Figures by name.
    pub figures: BTreeMap<&'static str, Mean>,
    /// Milk of the herd a day, kg.
    pub milk_kg: Mean,
    /// Money a day.
    pub money: Mean,
}
