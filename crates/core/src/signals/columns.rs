//! Which columns of a log does a sensor write, where does it sit, and as which signal are they read?

use crate::{
    expect::Signal,
    herd::Quarter,
    tables::{Bin, Outcome, Visit},
};

/// What a sensor measures: a column of a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// Everything a tag sends.
    Movement,
    /// Activity.
    Activity,
    /// Rumination.
    Rumination,
    /// Eating time.
    Eating,
    /// Lying time.
    Lying,
    /// Steps, where there is no activity.
    Steps,
    /// Milk of the whole udder.
    Milk,
    /// Milk of one quarter.
    QuarterMilk(Quarter),
    /// Conductivity of one quarter.
    Conductivity(Quarter),
    /// Mean flow of one quarter.
    Flow(Quarter),
    /// Temperature of the milk.
    MilkTemperature,
    /// Blood in milk.
    Blood,
    /// Fat.
    Fat,
    /// Protein.
    Protein,
    /// Lactose.
    Lactose,
    /// Cell count.
    Cells,
    /// Weight.
    Weight,
    /// Concentrate eaten.
    FeedEaten,
}

/// Columns of a tag, in the order of [`figures`].
pub(crate) const OF_TAG: [Column; 5] =
    [Column::Activity, Column::Rumination, Column::Eating, Column::Lying, Column::Steps];

/// Columns of a box's sensors.
pub(crate) const OF_BOX: [Column; 21] = {
    use Quarter::{LeftFront as LF, LeftRear as LR, RightFront as RF, RightRear as RR};
    [
        Column::Milk,
        Column::QuarterMilk(LF),
        Column::QuarterMilk(RF),
        Column::QuarterMilk(LR),
        Column::QuarterMilk(RR),
        Column::Conductivity(LF),
        Column::Conductivity(RF),
        Column::Conductivity(LR),
        Column::Conductivity(RR),
        Column::Flow(LF),
        Column::Flow(RF),
        Column::Flow(LR),
        Column::Flow(RR),
        Column::MilkTemperature,
        Column::Blood,
        Column::Fat,
        Column::Protein,
        Column::Lactose,
        Column::Cells,
        Column::Weight,
        Column::FeedEaten,
    ]
};

/// Columns of the cups alone, in that order.
pub(crate) const OF_CUPS: [Column; 8] = {
    let [_, a, b, c, d, e, f, g, h, ..] = OF_BOX;
    [a, b, c, d, e, f, g, h]
};

/// What a bin says in the columns of [`OF_TAG`]; steps only where they stand in for activity.
pub(crate) fn figures(bin: &Bin) -> [Option<f64>; 5] {
    let steps = bin.steps.filter(|_| bin.activity.is_none());
    [bin.activity, bin.rumination_min, bin.eating_min, bin.lying_min, steps]
}

/// A column's cell in a visit, borrowed as asked.
macro_rules! cell {
    ([$($borrow:tt)+] $visit:ident, $column:expr) => {
        match $column {
            Column::Milk => Some($($borrow)+ $visit.milk_kg),
            Column::QuarterMilk(quarter) => Some($($borrow)+ $visit.quarters[quarter as usize].milk_kg),
            Column::Conductivity(quarter) => Some($($borrow)+ $visit.quarters[quarter as usize].ms_cm),
            Column::Flow(quarter) => Some($($borrow)+ $visit.quarters[quarter as usize].flow_kg_min),
            Column::MilkTemperature => Some($($borrow)+ $visit.milk_c),
            Column::Blood => Some($($borrow)+ $visit.blood_ppm),
            Column::Fat => Some($($borrow)+ $visit.fat_pct),
            Column::Protein => Some($($borrow)+ $visit.protein_pct),
            Column::Lactose => Some($($borrow)+ $visit.lactose_pct),
            Column::Cells => Some($($borrow)+ $visit.scc_k),
            Column::Weight => Some($($borrow)+ $visit.weight_kg),
            Column::FeedEaten => Some($($borrow)+ $visit.feed_eaten_kg),
            _ => None,
        }
    };
}

impl Column {
    /// In words: `left front conductivity`.
    pub fn words(self) -> String {
        let of = |quarter: Quarter, what: &str| format!("{} {what}", quarter.words());
        match self {
            Column::Movement => "movement".into(),
            Column::Activity => "activity".into(),
            Column::Rumination => "rumination".into(),
            Column::Eating => "eating time".into(),
            Column::Lying => "lying time".into(),
            Column::Steps => "steps".into(),
            Column::Milk => "milk".into(),
            Column::QuarterMilk(quarter) => of(quarter, "milk"),
            Column::Conductivity(quarter) => of(quarter, "conductivity"),
            Column::Flow(quarter) => of(quarter, "milk flow"),
            Column::MilkTemperature => "milk temperature".into(),
            Column::Blood => "blood in milk".into(),
            Column::Fat => "fat".into(),
            Column::Protein => "protein".into(),
            Column::Lactose => "lactose".into(),
            Column::Cells => "cell count".into(),
            Column::Weight => "weight".into(),
            Column::FeedEaten => "feed eaten".into(),
        }
    }

    /// It speaks of several things (`steps are`).
    pub fn is_many(self) -> bool {
        self == Column::Steps
    }

    /// The signal it is read as, and the quarter.
    pub fn signal(self) -> Option<(Signal, Option<Quarter>)> {
        Some(match self {
            Column::Movement => return None,
            Column::Activity | Column::Steps => (Signal::Activity, None),
            Column::Rumination => (Signal::Rumination, None),
            Column::Eating => (Signal::Eating, None),
            Column::Lying => (Signal::Lying, None),
            Column::Milk => (Signal::Milk, None),
            Column::QuarterMilk(quarter) => (Signal::QuarterMilk, Some(quarter)),
            Column::Conductivity(quarter) => (Signal::Conductivity, Some(quarter)),
            Column::Flow(quarter) => (Signal::Flow, Some(quarter)),
            Column::MilkTemperature => (Signal::MilkTemperature, None),
            Column::Blood => (Signal::Blood, None),
            Column::Fat | Column::Protein => (Signal::FatProtein, None),
            Column::Lactose => (Signal::Lactose, None),
            Column::Cells => (Signal::Cells, None),
            Column::Weight => (Signal::Weight, None),
            Column::FeedEaten => (Signal::Feed, None),
        })
    }

    /// Its cell in a visit.
    pub(crate) fn read(self, visit: &Visit) -> Option<f64> {
        cell!([&] visit, self).and_then(|cell: &Option<f64>| *cell)
    }

    /// Takes its cell out of a visit, as if it had not been measured.
    pub(crate) fn clear(self, visit: &mut Visit) {
        if let Some(cell) = cell!([&mut] visit, self) {
            *cell = None;
        }
    }

    /// Whether a visit's figure tells of its sensor: not where nothing was there to be measured.
    pub(crate) fn tells(self, visit: &Visit) -> bool {
        let milked = matches!(visit.outcome, Some(Outcome::Milked) | None);
        match self {
            Column::Milk => milked,
            Column::QuarterMilk(quarter) | Column::Flow(quarter) => {
                milked && visit.quarters[quarter as usize].kicked != Some(true)
            }
            Column::FeedEaten => visit.feed_offered_kg.is_some_and(|offered| 0.2 <= offered),
            _ => true,
        }
    }

    /// Whether a sound sensor sends this figure as often as it likes: most milk has no blood in it, and a fixed portion that
    /// is always eaten up is always the same.
    pub(crate) fn may_repeat(self, value: f64) -> bool {
        match self {
            Column::Blood => value == 0.0,
            Column::FeedEaten => value != 0.0,
            _ => false,
        }
    }
}
