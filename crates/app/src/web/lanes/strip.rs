//! What lies in one strip: points with their band, or ticks; thinned where there are more than the eye can part.

use std::fmt::Write;

use jiff::Timestamp;

use super::axis::{Frame, line, px};
use crate::ask::lanes::{Lane, Point, Tick};

/// Least px between two dots; closer than that a line is drawn instead.
const DOT_PX: f64 = 4.0;

/// Width of one column of a thinned line, px.
const COLUMN_PX: f64 = 4.0;

/// A line is broken where nothing came for this long, in ms, and for four times the usual time between points.
const BREAK_MS: i64 = 36 * 3_600_000;

/// Where a strip lies in its drawing, px.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// Height of the words above it.
    pub words: f64,
    /// Upper edge.
    pub top: f64,
    /// Lower edge.
    pub bottom: f64,
}

/// Points, their expected values dashed, their band.
pub fn points(out: &mut String, lane: &Lane, points: &[Point], frame: Frame, place: Place) {
    let shown: Vec<&Point> = points.iter().filter(|point| frame.holds(point.at)).collect();
    let y = |value: f64| {
        let share = ((value - lane.low) / (lane.high - lane.low).max(1e-9)).clamp(0.0, 1.0);
        place.bottom - 4.0 - (place.bottom - place.top - 8.0) * share
    };
    let dense = (frame.right - frame.left) / DOT_PX < shown.len() as f64;
    let mut band = String::new();
    let mut expected = String::new();
    for stretch in unbroken(&shown) {
        let kept = if dense { one_a_column(stretch, frame) } else { stretch.to_vec() };
        let (Some(first), Some(last)) = (kept.first(), kept.last()) else { continue };
        let at = |point: &Point, value: f64| (frame.x(point.at), y(value));
        // The band reaches a little beyond its first and last point, so that one point alone has a band too.
        let before = (frame.x(first.at) - 3.0).max(frame.left);
        let beyond = (frame.x(last.at) + 3.0).min(frame.right);
        let mut around = vec![(before, y(first.high95))];
        around.extend(kept.iter().map(|point| at(point, point.high95)));
        around.extend([(beyond, y(last.high95)), (beyond, y(last.low95))]);
        around.extend(kept.iter().rev().map(|point| at(point, point.low95)));
        around.push((before, y(first.low95)));
        band.push_str(&line(&around));
        band.push('Z');
        let mut along = vec![(before, y(first.expected))];
        along.extend(kept.iter().map(|point| at(point, point.expected)));
        along.push((beyond, y(last.expected)));
        expected.push_str(&line(&along));
    }
    let _ = write!(out, "<path class=\"band\" d=\"{band}\"/><path class=\"expected\" d=\"{expected}\"/>");
    if dense {
        measured_line(out, &shown, frame, y);
    } else {
        for point in &shown {
            let Some(observed) = point.observed else { continue };
            let (x, y) = (px(frame.x(point.at)), px(y(observed)));
            let _ = if point.outside() {
                write!(out, "<circle class=\"dot outside\" cx=\"{x}\" cy=\"{y}\" r=\"3.6\"/>")
            } else {
                write!(out, "<circle class=\"dot\" cx=\"{x}\" cy=\"{y}\" r=\"2.3\"/>")
            };
        }
    }
}

/// Visits as upright ticks: whole where she was milked, dashed where not.
pub fn ticks(out: &mut String, ticks: &[Tick], frame: Frame, place: Place) {
    for (dashed, class) in [(false, "tick"), (true, "tick dashed")] {
        let mut path = String::new();
        let mut last = f64::NEG_INFINITY;
        for tick in ticks.iter().filter(|tick| tick.dashed == dashed && frame.holds(tick.at)) {
            let x = frame.x(tick.at);
            // Two ticks on one px are one tick to the eye.
            if x - last < 1.0 {
                continue;
            }
            last = x;
            let _ = write!(path, "M{} {}V{}", px(x), px(place.top + 3.0), px(place.bottom - 3.0));
        }
        if !path.is_empty() {
            let _ = write!(out, "<path class=\"{class}\" d=\"{path}\"/>");
        }
    }
}

/// The measured values as a line: least and greatest of each column, in order of time; what lies outside its band also
/// as a hollow point.
fn measured_line(out: &mut String, shown: &[&Point], frame: Frame, y: impl Fn(f64) -> f64) {
    let measured: Vec<&Point> = shown.iter().copied().filter(|point| point.observed.is_some()).collect();
    let mut path = String::new();
    for stretch in unbroken(&measured) {
        let mut along: Vec<(f64, f64)> = Vec::new();
        for column in columns(stretch, frame, COLUMN_PX) {
            let height = |point: &&Point| y(point.observed.unwrap_or(point.expected));
            let least = column.iter().enumerate().min_by(|a, b| height(a.1).total_cmp(&height(b.1)));
            let most = column.iter().enumerate().max_by(|a, b| height(a.1).total_cmp(&height(b.1)));
            if let (Some(least), Some(most)) = (least, most) {
                let mut ends = [least, most];
                ends.sort_by_key(|(index, _)| *index);
                let both = if ends[0].0 == ends[1].0 { 1 } else { 2 };
                along.extend(ends.iter().take(both).map(|(_, point)| (frame.x(point.at), height(point))));
            }
        }
        path.push_str(&line(&along));
    }
    let _ = write!(out, "<path class=\"measured\" d=\"{path}\"/>");
    let outside: Vec<&Point> = measured.into_iter().filter(|point| point.outside()).collect();
    for column in columns(&outside, frame, 1.5 * COLUMN_PX) {
        let Some(point) = column.first() else { continue };
        let Some(observed) = point.observed else { continue };
        let _ = write!(
            out,
            "<circle class=\"dot outside\" cx=\"{}\" cy=\"{}\" r=\"2.6\"/>",
            px(frame.x(point.at)),
            px(y(observed))
        );
    }
}

/// Stretches without a long gap.
fn unbroken<'a, 'b>(points: &'a [&'b Point]) -> Vec<&'a [&'b Point]> {
    let gap = |a: Timestamp, b: Timestamp| b.as_millisecond() - a.as_millisecond();
    let mut gaps: Vec<i64> = points.windows(2).map(|two| gap(two[0].at, two[1].at)).collect();
    gaps.sort_unstable();
    let usual = gaps.get(gaps.len() / 2).copied().unwrap_or(0);
    let longest = BREAK_MS.max(4 * usual);
    points.chunk_by(|a, b| gap(a.at, b.at) <= longest).collect()
}

/// Points by columns of the drawing.
fn columns<'a, 'b>(points: &'a [&'b Point], frame: Frame, wide: f64) -> Vec<&'a [&'b Point]> {
    let column = |point: &Point| ((frame.x(point.at) - frame.left) / wide) as i64;
    points.chunk_by(|a, b| column(a) == column(b)).collect()
}

/// The first point of each column, and the very last.
fn one_a_column<'b>(points: &[&'b Point], frame: Frame) -> Vec<&'b Point> {
    let mut kept: Vec<&Point> =
        columns(points, frame, 1.5 * COLUMN_PX).iter().filter_map(|column| column.first().copied()).collect();
    if let (Some(last), Some(end)) = (points.last(), kept.last())
        && end.at != last.at
    {
        kept.push(last);
    }
    kept
}
