//! When may it have begun?
//!
//! Cells of time that cover the last 10 days up to her last reading: half an interval between milkings in the last day,
//! a whole one in the last two, 12 hours to the fourth day, a day before that. After her last milking her other signals go on, and
//! a cow in heat may stay away for half a day: from there on cells reach from reading to reading. An onset after the last of
//! all has left no trace and has no cell.

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

/// Readings nearer than this to the last one bound no cell of their own, h.
const APART_H: f64 = 3.0;

/// Milkings, and after the last of them the other readings as far as they lie apart; hours from the time of judging, ascending.
pub fn read_at(milked_h: &[f64], others_h: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut read = milked_h.to_vec();
    let Some(milked) = milked_h.last().copied() else { return read };
    let mut after: Vec<f64> = others_h.filter(|hours| milked < *hours).collect();
    after.sort_by(f64::total_cmp);
    for hours in after {
        if read.last().is_some_and(|last| APART_H <= hours - last) {
            read.push(hours);
        }
    }
    read
}

/// Cells of onset for milkings begun, and readings made after them, at `read_h` (hours from the time of judging, ascending,
/// none after 0).
///
/// None lies before `earliest_h` (she calved then), and none after the last of them.
pub fn onsets(read_h: &[f64], earliest_h: f64) -> Vec<Onset> {
    let Some(last) = read_h.last().copied() else { return Vec::new() };
    let start = earliest_h.max(-SPAN_H);
    let mut edges = vec![start.min(last)];
    let fine = read_h.partition_point(|hours| *hours < -48.0);
    let fine_from = read_h.get(fine.saturating_sub(1)).copied().unwrap_or(last).clamp(start.min(last), last);
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
    for hours in read_h[fine..].iter().copied().filter(|hours| fine_from < *hours) {
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
