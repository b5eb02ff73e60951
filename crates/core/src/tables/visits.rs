//! `visits`: one row for each time a cow stood in a box.

use jiff::Timestamp;

use super::{Cell, Column, Disagreement, Table, Unit, figure, flag, span_s, text, time, words};
use crate::herd::{BoxKey, LifeKey};

/// Longest stay that is read as one visit, s. A cow stuck in a box for an hour or two happens; half a day is a lost exit.
const LONGEST_VISIT_S: f64 = 6.0 * 3600.0;

pub(super) const VISITS: Table = Table {
    name: "visits",
    row_is: "one time a cow stood in a box",
    key: &["animal", "box", "started_at"],
    tells: &["animal", "box", "started_at", "ended_at"],
    agrees: visit_agrees,
    columns: &COLUMNS,
};

const COLUMNS: [Column; 45] = {
    [
        text("animal", true, "Herd number or name."),
        text("box", true, "Name of the box."),
        time("started_at", true, "When she went in."),
        time("ended_at", true, "When she went out."),
        time("attached_at", false, "When the first cup was on."),
        words("outcome", false, &Outcome::WORDS, "What came of the visit."),
        figure("milk_kg", Unit::Kilograms, 0.0, 60.0, "Milk of the whole udder."),
        figure("lf_kg", Unit::Kilograms, 0.0, 25.0, "Milk of the left front quarter."),
        figure("rf_kg", Unit::Kilograms, 0.0, 25.0, "Milk of the right front quarter."),
        figure("lr_kg", Unit::Kilograms, 0.0, 25.0, "Milk of the left rear quarter."),
        figure("rr_kg", Unit::Kilograms, 0.0, 25.0, "Milk of the right rear quarter."),
        figure("lf_s", Unit::Seconds, 0.0, 3600.0, "Seconds of milk flow of the left front quarter."),
        figure("rf_s", Unit::Seconds, 0.0, 3600.0, "Seconds of milk flow of the right front quarter."),
        figure("lr_s", Unit::Seconds, 0.0, 3600.0, "Seconds of milk flow of the left rear quarter."),
        figure("rr_s", Unit::Seconds, 0.0, 3600.0, "Seconds of milk flow of the right rear quarter."),
        figure("lf_flow_kg_min", Unit::KilogramsPerMinute, 0.0, 8.0, "Mean flow of the left front quarter."),
        figure("rf_flow_kg_min", Unit::KilogramsPerMinute, 0.0, 8.0, "Mean flow of the right front quarter."),
        figure("lr_flow_kg_min", Unit::KilogramsPerMinute, 0.0, 8.0, "Mean flow of the left rear quarter."),
        figure("rr_flow_kg_min", Unit::KilogramsPerMinute, 0.0, 8.0, "Mean flow of the right rear quarter."),
        figure("lf_peak_kg_min", Unit::KilogramsPerMinute, 0.0, 10.0, "Peak flow of the left front quarter."),
        figure(
            "rf_peak_kg_min",
            Unit::KilogramsPerMinute,
            0.0,
            10.0,
            "Peak flow of the right front quarter.",
        ),
        figure("lr_peak_kg_min", Unit::KilogramsPerMinute, 0.0, 10.0, "Peak flow of the left rear quarter."),
        figure("rr_peak_kg_min", Unit::KilogramsPerMinute, 0.0, 10.0, "Peak flow of the right rear quarter."),
        figure(
            "lf_ms_cm",
            Unit::MilliSiemensPerCm,
            2.0,
            15.0,
            "Conductivity of the left front quarter's milk.",
        ),
        figure(
            "rf_ms_cm",
            Unit::MilliSiemensPerCm,
            2.0,
            15.0,
            "Conductivity of the right front quarter's milk.",
        ),
        figure(
            "lr_ms_cm",
            Unit::MilliSiemensPerCm,
            2.0,
            15.0,
            "Conductivity of the left rear quarter's milk.",
        ),
        figure(
            "rr_ms_cm",
            Unit::MilliSiemensPerCm,
            2.0,
            15.0,
            "Conductivity of the right rear quarter's milk.",
        ),
        flag("lf_kicked", "1 if the cup of the left front quarter was kicked off."),
        flag("rf_kicked", "1 if the cup of the right front quarter was kicked off."),
        flag("lr_kicked", "1 if the cup of the left rear quarter was kicked off."),
        flag("rr_kicked", "1 if the cup of the right rear quarter was kicked off."),
        figure(
            "lf_takeoff_kg_min",
            Unit::KilogramsPerMinute,
            0.0,
            3.0,
            "Flow at which the cup of the left front quarter came off.",
        ),
        figure(
            "rf_takeoff_kg_min",
            Unit::KilogramsPerMinute,
            0.0,
            3.0,
            "Flow at which the cup of the right front quarter came off.",
        ),
        figure(
            "lr_takeoff_kg_min",
            Unit::KilogramsPerMinute,
            0.0,
            3.0,
            "Flow at which the cup of the left rear quarter came off.",
        ),
        figure(
            "rr_takeoff_kg_min",
            Unit::KilogramsPerMinute,
            0.0,
            3.0,
            "Flow at which the cup of the right rear quarter came off.",
        ),
        figure("blood_ppm", Unit::PartsPerMillion, 0.0, 1_000_000.0, "Blood in the whole milk."),
        figure("milk_c", Unit::Celsius, 20.0, 45.0, "Temperature of the whole milk."),
        figure("fat_pct", Unit::Percent, 0.0, 20.0, "Fat of the whole milk."),
        figure("protein_pct", Unit::Percent, 0.0, 15.0, "Protein of the whole milk."),
        figure("lactose_pct", Unit::Percent, 0.0, 10.0, "Lactose of the whole milk."),
        figure("scc_k", Unit::ThousandPerMl, 0.0, 99_999.0, "Somatic cells of the whole milk."),
        figure("feed_offered_kg", Unit::Kilograms, 0.0, 20.0, "Concentrate offered in this visit."),
        figure("feed_eaten_kg", Unit::Kilograms, 0.0, 20.0, "Concentrate eaten in this visit."),
        figure("weight_kg", Unit::Kilograms, 100.0, 1500.0, "Weight of the cow on a scale in the box."),
        words("destination", false, &Destination::WORDS, "Where the milk went."),
    ]
};

/// What came of a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Milked out.
    Milked,
    /// Some milk missed, or a cup kicked off.
    Incomplete,
    /// Nothing or nearly nothing milked.
    Failed,
    /// No milking was due.
    TurnedAway,
    /// Feed only.
    Fed,
}

impl Outcome {
    /// As the table writes them.
    pub const WORDS: [&'static str; 5] = ["milked", "incomplete", "failed", "turned-away", "fed"];
    const ALL: [Outcome; 5] =
        [Outcome::Milked, Outcome::Incomplete, Outcome::Failed, Outcome::TurnedAway, Outcome::Fed];

    /// The word of the table.
    pub fn word(self) -> &'static str {
        Outcome::WORDS[self as usize]
    }
    /// From the word of the table.
    pub fn from_word(word: &str) -> Option<Outcome> {
        Outcome::ALL.into_iter().find(|outcome| outcome.word() == word)
    }
}

/// Where the milk of a visit went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Destination {
    /// Into the tank that is sold.
    Tank,
    /// Kept from the tank.
    Held,
}

impl Destination {
    /// As the table writes them.
    pub const WORDS: [&'static str; 2] = ["tank", "held"];

    /// The word of the table.
    pub fn word(self) -> &'static str {
        Destination::WORDS[self as usize]
    }
    /// From the word of the table.
    pub fn from_word(word: &str) -> Option<Destination> {
        [Destination::Tank, Destination::Held].into_iter().find(|own| own.word() == word)
    }
}

/// What one quarter gave in a visit; `None` is not measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct QuarterVisit {
    /// Milk, kg.
    pub milk_kg: Option<f64>,
    /// Seconds of milk flow.
    pub flow_s: Option<f64>,
    /// Mean flow, kg/min.
    pub flow_kg_min: Option<f64>,
    /// Peak flow, kg/min.
    pub peak_kg_min: Option<f64>,
    /// Conductivity, mS/cm.
    pub ms_cm: Option<f64>,
    /// The cup was kicked off.
    pub kicked: Option<bool>,
    /// Flow at take-off, kg/min.
    pub takeoff_kg_min: Option<f64>,
}

/// One stay in a box, as the models and pages read it; quarters in the order of [`crate::herd::Quarter::ALL`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// Whose.
    pub life: LifeKey,
    /// Where.
    pub at_box: BoxKey,
    /// Entry.
    pub started_at: Timestamp,
    /// Exit.
    pub ended_at: Timestamp,
    /// First cup on, if logged.
    pub attached_at: Option<Timestamp>,
    /// What came of it; `None` where the log does not say.
    pub outcome: Option<Outcome>,
    /// Milk of the whole udder, kg.
    pub milk_kg: Option<f64>,
    /// By quarter.
    pub quarters: [QuarterVisit; 4],
    /// Blood in the milk, ppm.
    pub blood_ppm: Option<f64>,
    /// Milk temperature, °C.
    pub milk_c: Option<f64>,
    /// Fat, %.
    pub fat_pct: Option<f64>,
    /// Protein, %.
    pub protein_pct: Option<f64>,
    /// Lactose, %.
    pub lactose_pct: Option<f64>,
    /// Somatic cells, thousand/mL.
    pub scc_k: Option<f64>,
    /// Concentrate offered, kg.
    pub feed_offered_kg: Option<f64>,
    /// Concentrate eaten, kg.
    pub feed_eaten_kg: Option<f64>,
    /// Weight, kg.
    pub weight_kg: Option<f64>,
    /// Where the milk went; `None` where the log does not say, which is not "to the tank".
    pub destination: Option<Destination>,
}

impl Visit {
    /// A stay of which nothing else is known.
    pub fn stay(life: LifeKey, at_box: BoxKey, started_at: Timestamp, ended_at: Timestamp) -> Visit {
        Visit {
            life,
            at_box,
            started_at,
            ended_at,
            attached_at: None,
            outcome: None,
            milk_kg: None,
            quarters: [QuarterVisit::default(); 4],
            blood_ppm: None,
            milk_c: None,
            fat_pct: None,
            protein_pct: None,
            lactose_pct: None,
            scc_k: None,
            feed_offered_kg: None,
            feed_eaten_kg: None,
            weight_kg: None,
            destination: None,
        }
    }
}

fn visit_agrees(cells: &[Cell]) -> Result<(), Disagreement> {
    let span = span_s(cells, 2, 3);
    if span.is_some_and(|span| span < 0.0) {
        return Err(Disagreement {
            column: "ended_at",
            reason: "she went out before she went in".into(),
            remedy: "look whether the two times are swapped, or whether the box's clock was set back during the visit".into(),
        });
    }
    if span.is_some_and(|span| LONGEST_VISIT_S < span) {
        return Err(Disagreement {
            column: "ended_at",
            reason: "the visit lasts more than 6 hours: her exit was probably not logged".into(),
            remedy: "enter the true time of exit".into(),
        });
    }
    if let (Some(before), Some(after)) = (span_s(cells, 2, 4), span_s(cells, 4, 3))
        && (before < 0.0 || after < 0.0)
    {
        return Err(Disagreement {
            column: "attached_at",
            reason: "the first cup went on outside her visit".into(),
            remedy: "mend the time, or leave the cell empty if it is not known".into(),
        });
    }
    Ok(())
}
