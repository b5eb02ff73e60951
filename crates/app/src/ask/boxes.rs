//! A day of each box: visits and states on one band of 24 hours, what the day counts, and one cow's visits among them.

use jiff::{Timestamp, civil::Date};
use serde::Serialize;

/// Which day, whose visits are marked, and in which units.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AskedBoxes {
    /// The farm day; `None` is the day of the newest row of a box.
    pub date: Option<Date>,
    /// Herd number of the cow whose visits are marked.
    pub animal: Option<String>,
    /// Only this box.
    pub box_name: Option<String>,
    /// In metric units, whatever the farm's: for programs.
    pub metric: bool,
    /// With more boxes than this no visit but hers is put into words: a page that shows none of them need not wait for them.
    pub words_up_to: Option<usize>,
}

/// The boxes of a farm on one of its days. Times are RFC 3339 in the farm's zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Boxes {
    /// Name of the farm.
    pub farm: String,
    /// The farm day, `2026-03-02`.
    pub date: String,
    /// The same in words: `Monday 2 March 2026`.
    pub date_words: String,
    /// The instant the day begins.
    pub from: String,
    /// The instant the next day begins.
    pub to: String,
    /// How long the day is, s: 86,400, or 82,800 and 90,000 where the clock changes by an hour.
    pub day_s: i64,
    /// End of the last row, where no box's row is newer than this day: nothing is known after it.
    pub logs_end: Option<String>,
    /// The nearest day before with a box's row.
    pub earlier: Option<String>,
    /// The nearest day after with a box's row.
    pub later: Option<String>,
    /// In one sentence: what the day holds, or that nothing was read for it.
    pub summary: String,
    /// Whether a row of any box was read for this day.
    pub seen: bool,
    /// Whether the farm's logs tell of cleaning, service, faults and times off at all.
    pub states_logged: bool,
    /// What the reader should know before trusting it.
    pub notes: Vec<String>,
    /// The boxes, in the order people look them up.
    pub boxes: Vec<BoxDay>,
    /// The marked cow's visits.
    pub hers: Option<Hers>,
    /// Every box of the farm near this day, also where one alone was asked for.
    #[serde(skip)]
    pub names: Vec<String>,
    /// The day's ends and whole hours for the axis.
    #[serde(skip)]
    pub axis: DayAxis,
}

/// The day's axis, so that the drawing need not know of clocks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayAxis {
    /// Start, the ends of the pieces of six hours of the wall clock, and end: five instants.
    pub cuts: Vec<Timestamp>,
    /// Whole hours of the wall clock: when, and `05`.
    pub hours: Vec<(Timestamp, String)>,
    /// Where the logs end, if they end within the day.
    pub logs_end: Option<Timestamp>,
}

/// One box on one day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoxDay {
    /// Name of the box.
    #[serde(rename = "box")]
    pub name: String,
    /// Visits that share time with the day, in order of begin.
    pub visits: Vec<BoxVisit>,
    /// Cleaning, service, faults, times off that share time with the day.
    pub states: Vec<BoxState>,
    /// Rows that say the box was in two uses at once.
    pub overlaps: Vec<Overlap>,
    /// What the day counts.
    pub counts: Counts,
    /// The counts in words, each with what it counts: `turned away`, `not logged`.
    #[serde(skip)]
    pub counted: Vec<(&'static str, String)>,
    /// What there is to see, for those who do not see it.
    pub description: String,
}

/// One stay in a box.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoxVisit {
    /// Herd number or name.
    pub animal: String,
    /// She went in; empty where no words were asked for, as are all words.
    pub started_at: String,
    /// She went out.
    pub ended_at: String,
    /// `milked`, `incomplete`, `failed`, `turned-away`, `fed`; `null` where the log does not say.
    pub outcome: Option<&'static str>,
    /// Milk, kg; `null` where it was not measured.
    pub milk_kg: Option<f64>,
    /// Entry and exit.
    #[serde(skip)]
    pub span: (Timestamp, Timestamp),
    /// Entry and exit by the clock, outcome, milk with its unit.
    #[serde(skip)]
    pub words: VisitWords,
    /// She is the cow that was asked for.
    #[serde(skip)]
    pub marked: bool,
}

impl BoxVisit {
    /// Whether milk could have been measured: not where she was turned away or fed only.
    pub fn gives(&self) -> bool {
        !matches!(self.outcome, Some("turned-away" | "fed"))
    }
}

/// A visit in the farm's words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VisitWords {
    /// Entry: `05:02`; with `yesterday` where it was before the day.
    pub started: String,
    /// Exit.
    pub ended: String,
    /// `turned away`.
    pub outcome: &'static str,
    /// `9.8 kg`; empty where it was not measured.
    pub milk: String,
}

/// What a box was doing instead of milking.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoxState {
    /// `cleaning`, `service`, `fault`, `off`.
    pub state: String,
    /// It began.
    pub from: String,
    /// It ended.
    pub to: String,
    /// Begin and end.
    #[serde(skip)]
    pub span: (Timestamp, Timestamp),
    /// Begin and end by the clock.
    #[serde(skip)]
    pub words: (String, String),
}

/// Two rows that share time in one box.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Overlap {
    /// Shared from.
    pub from: String,
    /// Shared to.
    pub to: String,
    /// Which two rows, in words.
    pub words: String,
    /// The shared time.
    #[serde(skip)]
    pub span: (Timestamp, Timestamp),
}

/// What a day of a box counts. A visit counts on the day it began. `null`: the box's logs do not say.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Counts {
    /// Visits of any kind.
    pub visits: usize,
    /// Milkings, whole or incomplete.
    pub milkings: Option<usize>,
    /// Milkings of which some milk was missed or a cup kicked off.
    pub incomplete: Option<usize>,
    /// Nothing or nearly nothing was milked.
    pub failed: Option<usize>,
    /// No milking was due.
    pub turned_away: Option<usize>,
    /// Feed only.
    pub fed_only: Option<usize>,
    /// Visits whose outcome is not logged.
    pub not_said: usize,
    /// Milk of all milkings that were measured, kg.
    pub milk_kg: Option<f64>,
    /// Milkings of which the milk was not measured.
    pub not_measured: usize,
}

/// One cow's visits of the day, over all boxes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hers {
    /// Herd number or name.
    pub animal: String,
    /// Whether any row names such a cow.
    pub known: bool,
    /// Her visits in order of time: name of the box, and the visit.
    pub visits: Vec<HerVisit>,
}

/// One of her visits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HerVisit {
    /// Name of the box.
    #[serde(rename = "box")]
    pub box_name: String,
    /// The visit.
    #[serde(flatten)]
    pub visit: BoxVisit,
}
