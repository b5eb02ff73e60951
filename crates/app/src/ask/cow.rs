//! One cow: lanes over any span, her calls, and all rows behind.

use cowpath_core::say::when;
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;
use serde_json::Value;

use super::{
    lanes::Lanes,
    round::{PastCall, RoundCall},
};

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
    /// Her earlier calls and what they turned out to be, newest first.
    pub past: Vec<PastCall>,
    /// What happened to her, newest first: when, what, details, in words.
    pub calendar: Vec<(String, String, String)>,
    /// Header of the rows behind the lanes, in the farm's units.
    pub row_head: Vec<String>,
    /// Her visits in the span, newest first, in the farm's units.
    pub rows: Vec<Vec<String>>,
}

impl Cow {
    /// Her answer as JSON, with every time in the farm's zone. Metric, if she was asked for in metric units.
    ///
    /// # Errors
    /// Only where JSON cannot hold a figure.
    pub fn json(&self, zone: &TimeZone) -> serde_json::Result<Value> {
        let mut json = serde_json::to_value(self)?;
        if let Some(lanes) = json.get_mut("lanes") {
            in_zone(lanes, zone);
        }
        Ok(json)
    }
}

/// The lanes hold instants; as JSON they are told as the farm's clock shows them.
fn in_zone(json: &mut Value, zone: &TimeZone) {
    match json {
        Value::String(words) => {
            if let Ok(at) = words.parse::<Timestamp>() {
                *words = when::rfc3339(at, zone);
            }
        }
        Value::Array(all) => all.iter_mut().for_each(|one| in_zone(one, zone)),
        Value::Object(all) => all.values_mut().for_each(|one| in_zone(one, zone)),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}
