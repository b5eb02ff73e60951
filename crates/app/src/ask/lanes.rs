//! The lanes of a cow: each signal's strip, what was, what was expected, and where they part.

use jiff::Timestamp;
use serde::Serialize;

/// Strips on one time axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lanes {
    /// What the picture shows, for its title.
    pub title: String,
    /// One sentence that says what there is to see, for those who do not see it.
    pub description: String,
    /// Start of the axis.
    pub from: Timestamp,
    /// End of the axis.
    pub to: Timestamp,
    /// Starts of farm days on the axis, with how the day is named (`Sat 21`).
    pub days: Vec<(Timestamp, String)>,
    /// The strips, top to bottom.
    pub lanes: Vec<Lane>,
    /// Upright marks over all strips: onset of the call, calving, heat, treatment.
    pub marks: Vec<Mark>,
}

/// One signal's strip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lane {
    /// Name of the signal in words: `milk`, `left rear`.
    pub name: String,
    /// Its unit in words: `kg a milking`, `share of milk, %`.
    pub unit: String,
    /// It speaks for the call: drawn strongest.
    pub speaks: bool,
    /// Least and greatest value of the strip, so that the drawing need not reckon.
    pub low: f64,
    /// Greatest value of the strip.
    pub high: f64,
    /// What is drawn in it.
    pub strip: Strip,
    /// Last value in words.
    pub last: String,
    /// What was expected of it in words: `usually 11.5`.
    pub usual: String,
}

/// What a strip holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Strip {
    /// One point a milking, with its expected band.
    Points(Vec<Point>),
    /// One upright tick a visit.
    Ticks(Vec<Tick>),
}

/// One measured value beside what was expected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// When.
    pub at: Timestamp,
    /// As measured, corrected for the box; `None` where it was not measured.
    pub observed: Option<f64>,
    /// What was expected.
    pub expected: f64,
    /// Lower end of the 95 % band.
    pub low95: f64,
    /// Upper end of the 95 % band.
    pub high95: f64,
}

impl Point {
    /// Whether the measured value lies outside its band.
    pub fn outside(&self) -> bool {
        self.observed.is_some_and(|observed| observed < self.low95 || self.high95 < observed)
    }
}

/// One visit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tick {
    /// When she went in.
    pub at: Timestamp,
    /// The outcome's word.
    pub outcome: String,
    /// She was not milked (turned away, fed only, failed): drawn dashed.
    pub dashed: bool,
}

/// An upright mark over all strips.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    /// When.
    pub at: Timestamp,
    /// What, in words: `since 14:10`, `calved`.
    pub word: String,
    /// The onset of the call itself, drawn in the warning colour.
    pub onset: bool,
}
