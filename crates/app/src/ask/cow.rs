//! One cow: lanes over any span, her calls, and all rows behind.

use serde::Serialize;

use super::{lanes::Lanes, round::RoundCall};

/// One cow at a time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cow {
    /// Name of the farm.
    pub farm: String,
    /// Herd number.
    pub animal: String,
    /// The time it was made for, RFC 3339 in the farm's zone.
    pub at: String,
    /// The same in words.
    pub at_words: String,
    /// What is known of her in one line: `third lactation, day 87, pen 2, Holstein`.
    pub stage_words: String,
    /// One sentence on how she is: her calls' sentences, or that nothing differs, or why she is not judged.
    pub summary: String,
    /// Her calls in the round at that time.
    pub calls: Vec<RoundCall>,
    /// Lanes over the span asked for.
    pub lanes: Lanes,
    /// First day of the span, `2026-02-21`.
    pub from: String,
    /// Last day of the span.
    pub to: String,
    /// Other spans to ask for: label, first day, last day.
    pub spans: Vec<(String, String, String)>,
    /// Levels she has settled at: `has settled 9 % lower since 3 March`.
    pub settled: Vec<String>,
    /// What happened to her, newest first: when, what, details, in words.
    pub calendar: Vec<(String, String, String)>,
    /// Header of the rows behind the lanes, in the farm's units.
    pub row_head: Vec<String>,
    /// Her visits in the span, newest first, in the farm's units.
    pub rows: Vec<Vec<String>>,
}
