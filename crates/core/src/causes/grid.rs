//! When may it have begun?
//!
//! Cells of time that cover the last 10 days up to her last milking: half an interval between milkings in the last day,
//! a whole one in the last two, 12 hours to the fourth day, a day before that. An onset after her last milking has left no trace and has no cell.

/// How far back an onset is looked for, h.
pub const SPAN_H: f64 = 240.0;

/// A cell of onsets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Its middle, hours from the time of judging (negative).
    pub hours: f64,
    /// Its width, days.
    pub width_days: f64,
}

/// Cells of onset for milkings begun at `milked_h` (hours from the time of judging, ascending, none after 0).
///
/// None lies before `earliest_h` (she calved then), and none after her last milking.
pub fn onsets(milked_h: &[f64], earliest_h: f64) -> Vec<Onset> {
    let Some(last) = milked_h.last().copied() else { return Vec::new() };
    let start = earliest_h.max(-SPAN_H);
    let mut edges = vec![start.min(last)];
    let fine = milked_h.partition_point(|hours| *hours < -48.0);
    let fine_from =
        milked_h.get(fine.saturating_sub(1)).copied().unwrap_or(last).clamp(start.min(last), last);
    let push = |edges: &mut Vec<f64>, edge: f64| {
        if edges.last().is_some_and(|before| 0.05 < edge - before) {
            edges.push(edge);
        }
    };
    for (from, to, wide_h) in [(start, -96.0, 24.0), (start.max(-96.0), fine_from, 12.0)] {
        let to = fine_from.min(to);
        if from < to {
            let cells = ((to - from) / wide_h).ceil();
            for cell in 1..=cells as usize {
                push(&mut edges, from + (to - from) * cell as f64 / cells);
            }
        }
    }
    for hours in milked_h[fine..].iter().copied().filter(|hours| fine_from < *hours) {
        if -24.0 <= hours
            && let Some(before) = edges.last().copied()
        {
            push(&mut edges, (before + hours) / 2.0);
        }
        push(&mut edges, hours);
    }
    edges
        .windows(2)
        .map(|pair| Onset { hours: (pair[0] + pair[1]) / 2.0, width_days: (pair[1] - pair[0]) / 24.0 })
        .collect()
}
