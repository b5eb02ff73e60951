//! Which rows of a box say that it was in two uses at once? They are named, and none is smoothed away.

use cowpath_core::say::{number, when};
use jiff::{Timestamp, tz::TimeZone};

use super::boxes::{BoxState, BoxVisit, Overlap};

/// Overlaps that are named one by one; of more their number is told.
const MOST_NAMED: usize = 12;

/// Every two rows of a box that share time, in order of begin. More than a dozen are told by their number alone at the
/// end: such a log has one fault, not forty.
pub fn overlaps(visits: &[BoxVisit], states: &[BoxState], zone: &TimeZone) -> Vec<Overlap> {
    let mut rows: Vec<((Timestamp, Timestamp), String)> = visits
        .iter()
        .map(|visit| {
            let words = &visit.words;
            (visit.span, format!("{} {}–{}", visit.animal, words.started, words.ended))
        })
        .chain(
            states
                .iter()
                .map(|state| (state.span, format!("{} {}–{}", state.state, state.words.0, state.words.1))),
        )
        .collect();
    rows.sort();
    let mut all = Vec::new();
    let mut more = 0_usize;
    for (place, (span, words)) in rows.iter().enumerate() {
        for (other, other_words) in rows[place + 1..].iter().take_while(|(other, _)| other.0 < span.1) {
            let shared = (other.0, span.1.min(other.1));
            if shared.1 <= shared.0 {
                continue;
            }
            if MOST_NAMED <= all.len() {
                more += 1;
                continue;
            }
            all.push(Overlap {
                from: when::rfc3339(shared.0, zone),
                to: when::rfc3339(shared.1, zone),
                words: format!("{words} and {other_words}"),
                span: shared,
            });
        }
    }
    if let (Some(last), true) = (all.last_mut(), 0 < more) {
        last.words.push_str(&format!("; and {} more like it", number::count(more)));
    }
    all
}
