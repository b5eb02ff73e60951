//! Which rows of a box say that it was in two uses at once? They are named, and none is smoothed away.

use cowpath_core::say::{number, when};
use jiff::{Timestamp, tz::TimeZone};

use super::boxes::{BoxState, BoxVisit, Overlap};

/// Overlaps that are named one by one; of more their number is told.
const MOST_NAMED: usize = 12;

/// Every two rows of a box that share time, in order of begin. More than a dozen are told by their number alone at the
/// end: such a log has one fault, not forty. `clock` puts a time into words.
pub fn overlaps(
    visits: &[BoxVisit],
    states: &[BoxState],
    zone: &TimeZone,
    clock: &dyn Fn(Timestamp) -> String,
) -> Vec<Overlap> {
    let mut rows: Vec<((Timestamp, Timestamp), &str)> = visits
        .iter()
        .map(|visit| (visit.span, visit.animal.as_str()))
        .chain(states.iter().map(|state| (state.span, state.state.as_str())))
        .collect();
    rows.sort_unstable();
    // Few rows overlap: only they are put into words.
    let words =
        |(span, who): &((Timestamp, Timestamp), &str)| format!("{who} {}–{}", clock(span.0), clock(span.1));
    let mut all = Vec::new();
    let mut more = 0_usize;
    for (place, own) in rows.iter().enumerate() {
        let span = own.0;
        for other in rows[place + 1..].iter().take_while(|(other, _)| other.0 < span.1) {
            let shared = (other.0.0, span.1.min(other.0.1));
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
                words: format!("{} and {}", words(own), words(other)),
                span: shared,
            });
        }
    }
    if let (Some(last), true) = (all.last_mut(), 0 < more) {
        last.words.push_str(&format!("; and {} more like it", number::count(more)));
    }
    all
}
