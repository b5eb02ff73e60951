//! One drawing: axis, marks, and the strips with their names.

use std::fmt::Write;

use super::{
    axis::{Frame, pressed, px, width_of},
    escaped,
    strip::{self, Place},
};
use crate::ask::lanes::{Lane, Lanes, Strip};

/// Sizes of type in the picture, px.
const NAME: f64 = 13.0;
const SMALL: f64 = 12.0;

/// Between strips, px.
const GAP: f64 = 10.0;

/// Height of a row of words, px.
const ROW: f64 = 16.0;

/// Writes one drawing as SVG. Strings are written, which cannot fail; their results are let go.
pub fn svg(out: &mut String, lanes: &Lanes, key: &str, frame: Frame) {
    let marks = placed_marks(lanes, frame);
    let mark_rows = marks.iter().map(|mark| mark.row + 1).max().unwrap_or(0);
    let top = mark_rows as f64 * ROW + 4.0;
    let mut places = Vec::with_capacity(lanes.lanes.len());
    let mut y = top;
    for lane in &lanes.lanes {
        let words = if frame.phone { phone_words(lane, frame) as f64 * ROW } else { 0.0 };
        let height = height_of(lane, frame.phone);
        places.push(Place { words, top: y + words, bottom: y + words + height });
        y += words + height + GAP;
    }
    let end = y - GAP;
    let height = end + 20.0;
    let kind = if frame.phone { "phone" } else { "desk" };
    let _ = write!(
        out,
        "<svg class=\"lanes {kind}\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{key}-title {key}-desc\" \
         data-from=\"{}\" data-to=\"{}\" data-left=\"{}\" data-right=\"{}\">\
         <title id=\"{key}-title\">{}</title><desc id=\"{key}-desc\">{}</desc>",
        px(frame.width),
        px(height),
        frame.from.as_millisecond(),
        frame.to.as_millisecond(),
        px(frame.left),
        px(frame.right),
        escaped(&lanes.title),
        escaped(&lanes.description),
    );
    days(out, lanes, frame, &places, end);
    for (index, (lane, place)) in lanes.lanes.iter().zip(&places).enumerate() {
        let class = if lane.speaks { "lane speaks" } else { "lane" };
        let _ = write!(
            out,
            "<g class=\"{class}\" data-lane=\"{index}\" data-top=\"{}\" data-bottom=\"{}\">",
            px(place.top),
            px(place.bottom)
        );
        if frame.phone {
            phone_names(out, lane, frame, *place);
        } else {
            desk_names(out, lane, frame, *place);
        }
        let _ = write!(
            out,
            "<path class=\"base\" d=\"M{} {}H{}\"/>",
            px(frame.left),
            px(place.bottom),
            px(frame.right)
        );
        match &lane.strip {
            Strip::Points(points) => strip::points(out, lane, points, frame, *place),
            Strip::Ticks(ticks) => strip::ticks(out, ticks, frame, *place),
        }
        out.push_str("</g>");
    }
    for mark in &marks {
        let class = if mark.onset { "mark onset" } else { "mark" };
        if let Some(x) = mark.x {
            // Only within the strips: the rows of words between them stay free.
            let mut path = String::new();
            for place in &places {
                let _ = write!(path, "M{} {}V{}", px(x), px(place.top), px(place.bottom));
            }
            let _ = write!(out, "<path class=\"{class}\" d=\"{path}\"/>");
        }
        let _ = write!(
            out,
            "<text class=\"{class}\" x=\"{}\" y=\"{}\" text-anchor=\"{}\">{}</text>",
            px(mark.word_x),
            px(mark.row as f64 * ROW + 12.0),
            mark.anchor,
            escaped(&mark.word)
        );
    }
    out.push_str("</svg>");
}

fn height_of(lane: &Lane, phone: bool) -> f64 {
    match (&lane.strip, lane.speaks, phone) {
        (Strip::Ticks(_), _, _) => 24.0,
        (Strip::Points(_), true, _) => 60.0,
        (Strip::Points(_), false, true) => 40.0,
        (Strip::Points(_), false, false) => 46.0,
    }
}

/// Day lines within the strips, and the names of as many days as find room.
fn days(out: &mut String, lanes: &Lanes, frame: Frame, places: &[Place], end: f64) {
    let shown: Vec<(f64, &str)> = lanes
        .days
        .iter()
        .filter(|(at, _)| frame.holds(*at))
        .map(|(at, name)| (frame.x(*at), name.as_str()))
        .collect();
    let widest = shown.iter().map(|(_, name)| width_of(name, SMALL)).fold(0.0, f64::max) + 10.0;
    let day_px = (frame.right - frame.left) / shown.len().max(1) as f64;
    let every = (widest / day_px.max(0.1)).ceil().max(1.0) as usize;
    let mut path = String::new();
    for (index, (x, name)) in shown.iter().enumerate() {
        let named = index % every == 0;
        if 6.0 <= day_px || named {
            for place in places {
                let _ = write!(path, "M{} {}V{}", px(*x), px(place.top), px(place.bottom));
            }
        }
        if named && x + width_of(name, SMALL) < frame.width {
            let _ = write!(
                out,
                "<text class=\"day\" x=\"{}\" y=\"{}\">{}</text>",
                px(x + 2.0),
                px(end + 15.0),
                escaped(name)
            );
        }
    }
    let _ = write!(out, "<path class=\"day\" d=\"{path}\"/>");
}

/// Name and unit left of the strip with its scale, last value and what was usual right of it.
fn desk_names(out: &mut String, lane: &Lane, frame: Frame, place: Place) {
    let middle = (place.top + place.bottom) / 2.0;
    let scale_px = 36.0;
    let room = frame.left - scale_px - 6.0;
    for (class, text, size, y) in
        [("name", &lane.name, NAME, middle - 2.0), ("unit", &lane.unit, SMALL, middle + 12.0)]
    {
        let _ = write!(
            out,
            "<text class=\"{class}\" x=\"0\" y=\"{}\"{}>{}</text>",
            px(y),
            pressed(text, size, room),
            escaped(text)
        );
    }
    let at = frame.right + 8.0;
    let room = frame.width - at;
    for (class, text, size, y) in
        [("is", &lane.last, NAME, middle - 2.0), ("usual", &lane.usual, SMALL, middle + 12.0)]
    {
        let _ = write!(
            out,
            "<text class=\"{class}\" x=\"{}\" y=\"{}\"{}>{}</text>",
            px(at),
            px(y),
            pressed(text, size, room),
            escaped(text)
        );
    }
    if let Strip::Points(_) = lane.strip {
        for (value, y) in [(lane.high, place.top + 9.0), (lane.low, place.bottom - 1.0)] {
            let _ = write!(
                out,
                "<text class=\"scale\" x=\"{}\" y=\"{}\" text-anchor=\"end\">{}</text>",
                px(frame.left - 5.0),
                px(y),
                crate::web::figure::of_strip(value, lane.low, lane.high)
            );
        }
    }
}

/// How many rows of words a strip has above it on a phone: two where one would be too narrow.
fn phone_words(lane: &Lane, frame: Frame) -> usize {
    let left = width_of(&lane.name, NAME) + width_of(&lane.unit, SMALL);
    let right = width_of(&lane.last, NAME) + width_of(&lane.usual, SMALL);
    if left + right + 24.0 < frame.right - frame.left { 1 } else { 2 }
}

/// Name and unit left, last value and what was usual right, above the strip.
fn phone_names(out: &mut String, lane: &Lane, frame: Frame, place: Place) {
    let first = place.top - place.words + 12.0;
    let room = frame.right - frame.left;
    let both = |a: &str, b: &str| format!("{a} {b}");
    let left = both(&lane.name, &lane.unit);
    let right = both(&lane.last, &lane.usual);
    let _ = write!(
        out,
        "<text x=\"{}\" y=\"{}\"{}><tspan class=\"name\">{}</tspan> <tspan class=\"unit\">{}</tspan></text>\
         <text x=\"{}\" y=\"{}\" text-anchor=\"end\"{}><tspan class=\"is\">{}</tspan> <tspan class=\"usual\">{}</tspan></text>",
        px(frame.left),
        px(first),
        pressed(&left, SMALL, room),
        escaped(&lane.name),
        escaped(&lane.unit),
        px(frame.right),
        px(place.top - 4.0),
        pressed(&right, SMALL, room),
        escaped(&lane.last),
        escaped(&lane.usual),
    );
}

/// A mark with its place and the row its word stands in.
struct Marked {
    /// Where; `None` where it lies before the axis.
    x: Option<f64>,
    word: String,
    word_x: f64,
    anchor: &'static str,
    row: usize,
    onset: bool,
}

/// Marks in order of time; words that would run into each other go one row down. An onset before the axis is told at its
/// beginning.
fn placed_marks(lanes: &Lanes, frame: Frame) -> Vec<Marked> {
    let mut order: Vec<_> = lanes.marks.iter().collect();
    order.sort_by(|a, b| (a.at, &a.word).cmp(&(b.at, &b.word)));
    let mut row_ends: Vec<f64> = Vec::new();
    let mut marked = Vec::new();
    for mark in order {
        let before = mark.at < frame.from;
        if frame.to < mark.at || (before && !mark.onset) {
            continue;
        }
        let word = if before { format!("← {}", mark.word) } else { mark.word.clone() };
        let wide = width_of(&word, SMALL);
        let x = frame.x(mark.at.max(frame.from));
        let (word_x, anchor, begins) = if before || x - wide / 2.0 < frame.left {
            (x.max(frame.left), "start", x.max(frame.left))
        } else if frame.right < x + wide / 2.0 {
            (frame.right, "end", frame.right - wide)
        } else {
            (x, "middle", x - wide / 2.0)
        };
        let row = row_ends.iter().position(|end| *end + 6.0 < begins).unwrap_or(row_ends.len());
        if row == row_ends.len() {
            row_ends.push(0.0);
        }
        row_ends[row] = begins + wide;
        marked.push(Marked { x: (!before).then_some(x), word, word_x, anchor, row, onset: mark.onset });
    }
    marked
}
