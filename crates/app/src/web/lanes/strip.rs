//! What lies in one strip: points with their band, or ticks; thinned where there are more than the eye can part.

use std::fmt::Write;

use jiff::Timestamp;

use super::axis::{Frame, line, px};
use crate::ask::lanes::{Lane, Point, Tick};

/// Least px between two dots; closer than that a line is drawn instead.
const DOT_PX: f64 = 4.0;

/// Width of one column of a thinned line, px.
const COLUMN_PX: f64 = 4.0;

/// Least px between two ticks; closer than that bars are drawn instead.
const TICK_PX: f64 = 3.5;

/// Ms of 24 hours.
const DAY_MS: f64 = 86_400_000.0;

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
        line(&mut band, &around);
        band.push('Z');
        let mut along = vec![(before, y(first.expected))];
        along.extend(kept.iter().map(|point| at(point, point.expected)));
        along.push((beyond, y(last.expected)));
        line(&mut expected, &along);
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

/// Visits as upright ticks: whole where she was milked, dashed where not. Where they would run together, as bars of
/// visits a day instead, the dashed ones on top of the whole ones.
pub fn ticks(out: &mut String, ticks: &[Tick], frame: Frame, place: Place) {
    let shown: Vec<&Tick> = ticks.iter().filter(|tick| frame.holds(tick.at)).collect();
    if (frame.right - frame.left) / TICK_PX < shown.len() as f64 {
        return tick_bars(out, &shown, frame, place);
    }
    for (dashed, class) in [(false, "tick"), (true, "tick dashed")] {
        let mut path = String::new();
        for tick in shown.iter().filter(|tick| tick.dashed == dashed) {
            let _ =
                write!(path, "M{} {}V{}", px(frame.x(tick.at)), px(place.top + 3.0), px(place.bottom - 3.0));
        }
        if !path.is_empty() {
            let _ = write!(out, "<path class=\"{class}\" d=\"{path}\"/>");
        }
    }
}

/// Bars of as many whole days as make a bar wide enough. The last stretch is left out where the axis cuts it short: it
/// would look like fewer visits.
fn tick_bars(out: &mut String, shown: &[&Tick], frame: Frame, place: Place) {
    let days = (frame.to.as_millisecond() - frame.from.as_millisecond()) as f64 / DAY_MS;
    let day_px = (frame.right - frame.left) / days.max(1e-9);
    let wide = day_px * (COLUMN_PX / day_px).ceil().max(1.0);
    let columns = ((frame.right - frame.left) / wide).floor() as usize;
    let mut counts = vec![(0_usize, 0_usize); columns];
    for tick in shown {
        let column = ((frame.x(tick.at) - frame.left) / wide) as usize;
        if let Some((whole, dashed)) = counts.get_mut(column) {
            *if tick.dashed { dashed } else { whole } += 1;
        }
    }
    let most = counts.iter().map(|(whole, dashed)| whole + dashed).max().unwrap_or(0).max(1) as f64;
    let tall = (place.bottom - place.top - 2.0) / most;
    let bar = |path: &mut String, column: usize, low: usize, count: usize| {
        if count > 0 {
            let (x, y) = (frame.left + wide * column as f64 + 0.5, place.bottom - tall * low as f64);
            let (w, h) = (wide - 1.0, tall * count as f64);
            let _ = write!(path, "M{} {}h{}v{}h{}z", px(x), px(y), px(w), px(-h), px(-w));
        }
    };
    let (mut whole_path, mut dashed_path) = (String::new(), String::new());
    for (column, (whole, dashed)) in counts.iter().enumerate() {
        bar(&mut whole_path, column, 0, *whole);
        bar(&mut dashed_path, column, *whole, *dashed);
    }
    let _ = write!(
        out,
        "<path class=\"visits\" d=\"{whole_path}\"/><path class=\"visits dashed\" d=\"{dashed_path}\"/>"
    );
}

/// The measured values as a line through the middle one of each column, in value; what lies outside its band also as a
/// hollow point, so that nothing that speaks is thinned away.
fn measured_line(out: &mut String, shown: &[&Point], frame: Frame, y: impl Fn(f64) -> f64) {
    let measured: Vec<&Point> = shown.iter().copied().filter(|point| point.observed.is_some()).collect();
    let mut path = String::new();
    for stretch in unbroken(&measured) {
        let mut along: Vec<(f64, f64)> = Vec::new();
        for column in columns(stretch, frame, COLUMN_PX) {
            let mut heights: Vec<f64> = column.iter().filter_map(|point| point.observed).map(&y).collect();
            heights.sort_by(f64::total_cmp);
            let middle = column.get(column.len() / 2).map(|point| frame.x(point.at));
            along.extend(middle.zip(heights.get(heights.len() / 2).copied()));
        }
        line(&mut path, &along);
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
