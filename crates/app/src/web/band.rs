//! The band of a box's day, drawn on the server as SVG: one strip of 24 hours on a desk, four rows of six on a phone.
//!
//! What came of a visit is told by shape and place: above the line, filled where she was milked, filled to half where
//! the milking was incomplete, hollow with a cross where it failed, dotted where the log does not say; under the line,
//! as a dashed stroke where she was turned away and as a block where she was fed only. What a box did instead is told by the direction of its hatch and by its
//! word. What is empty stays empty, and where two rows share time the shared time has a bracket under it.

use std::fmt::Write;

use jiff::Timestamp;

use super::lanes::{
    axis::{Frame, px, width_of},
    escaped,
};
use crate::ask::boxes::{BoxDay, BoxVisit, DayAxis};

/// Sizes of type, px.
const SMALL: f64 = 12.0;
/// The strip lies between these, px.
const TOP: f64 = 16.0;
const BASE: f64 = 46.0;
/// Who was not milked stands between the base and this, px.
const BOTTOM: f64 = 60.0;
/// Row of the brackets, px.
const BRACKET: f64 = 65.0;
/// Whole height with the hours' row, px.
const HEIGHT: f64 = 84.0;
/// No visit is drawn narrower, px.
const NARROWEST: f64 = 1.8;
/// Hours named on a desk: every third.
const EVERY: usize = 3;

/// Both drawings of a day; `key` tells the box apart on its page.
pub fn drawings(day: &BoxDay, axis: &DayAxis, title: &str, key: &str) -> String {
    let mut out = String::with_capacity(16 * 1024);
    let (Some(first), Some(last)) = (axis.cuts.first(), axis.cuts.last()) else { return out };
    let desk = Frame { phone: false, width: 740.0, left: 2.0, right: 738.0, from: *first, to: *last };
    svg(&mut out, day, axis, desk, title, &format!("{key}-desk"), EVERY);
    let pieces: Vec<(Timestamp, Timestamp)> = axis.cuts.windows(2).map(|two| (two[0], two[1])).collect();
    let length = |(from, to): &(Timestamp, Timestamp)| (to.as_millisecond() - from.as_millisecond()) as f64;
    let longest = pieces.iter().map(length).fold(1.0, f64::max);
    for (place, piece) in pieces.iter().enumerate() {
        // After the logs' end there is nothing to draw.
        if axis.logs_end.is_some_and(|end| end <= piece.0) {
            break;
        }
        let right = 4.0 + 320.0 * length(piece) / longest;
        let phone = Frame { phone: true, width: 328.0, left: 4.0, right, from: piece.0, to: piece.1 };
        let hours = format!("{title}, {} of {} rows", place + 1, pieces.len());
        svg(&mut out, day, axis, phone, &hours, &format!("{key}-phone{}", place + 1), 1);
    }
    out
}

/// The hatches, once a page. They stand in a drawing of their own that is always there: what a hidden drawing holds
/// cannot be used.
pub const HATCHES: &str = "<svg class=\"hatches\" width=\"0\" height=\"0\" aria-hidden=\"true\" focusable=\"false\"><defs>\
    <pattern id=\"hatch-cleaning\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"M-1 7L7 -1M-1 1L1 -1M5 7L7 5\"/></pattern>\
    <pattern id=\"hatch-service\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\"><path d=\"M3.5 0V7M0 3.5H7\"/></pattern>\
    <pattern id=\"hatch-fault\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\"><path class=\"thick\" d=\"M-1 -1L5 5M-1 3L1 5M3 -1L5 1\"/></pattern>\
    <pattern id=\"hatch-off\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 3H6\"/></pattern>\
    </defs></svg>";

/// A sign of the legend: what is drawn for a visit of an outcome, or for a state.
pub fn sign(kind: &str) -> String {
    let mut out = String::from(
        "<svg class=\"lanes sign\" width=\"22\" height=\"22\" viewBox=\"0 0 22 22\" aria-hidden=\"true\">",
    );
    let mut shapes = Shapes::default();
    let place = Place { top: 1.0, base: 12.0, bottom: 21.0 };
    match kind {
        "cleaning" | "service" | "fault" | "off" => {
            let _ = write!(
                out,
                "<rect class=\"state {kind}\" x=\"1\" y=\"2\" width=\"20\" height=\"18\" fill=\"url(#hatch-{kind})\"/>"
            );
        }
        "overlap" => out.push_str("<path class=\"overlap\" d=\"M3 8V13H19V8\"/>"),
        "her" => shapes.pointers.push_str("M7 5h9l-4.5 8z"),
        _ => {
            out.push_str("<path class=\"base\" d=\"M1 12H21\"/>");
            shapes.visit(kind, 8.0, 6.0, place);
        }
    }
    shapes.write(&mut out);
    out.push_str("</svg>");
    out
}

/// The kind of a visit as its shape goes by.
pub fn kind(visit: &BoxVisit) -> &'static str {
    visit.outcome.unwrap_or("not-said")
}

#[derive(Clone, Copy)]
struct Place {
    top: f64,
    base: f64,
    bottom: f64,
}

/// Visits gathered by shape: a page holds hundreds of each.
#[derive(Default)]
struct Shapes {
    filled: String,
    hollow: String,
    crossed: String,
    dashed: String,
    dotted: String,
    pointers: String,
    around: String,
}

impl Shapes {
    fn visit(&mut self, kind: &str, x: f64, wide: f64, place: Place) {
        let (tall, deep) = (place.base - place.top, place.bottom - place.base);
        let bar = |path: &mut String, x: f64, wide: f64, tall: f64| {
            let _ = write!(path, "M{} {}h{}v{}h{}z", px(x), px(place.base), px(wide), px(-tall), px(-wide));
        };
        // Outlines lie within the visit's own time.
        let (inner_x, inner) = (x + 0.6, (wide - 1.2).max(0.8));
        match kind {
            "milked" => bar(&mut self.filled, x, wide, tall),
            "incomplete" => {
                bar(&mut self.hollow, inner_x, inner, tall);
                bar(&mut self.filled, x, wide, tall / 2.0);
            }
            "failed" => {
                bar(&mut self.hollow, inner_x, inner, tall);
                let (left, right) = (x + wide / 2.0 - 3.0, x + wide / 2.0 + 3.0);
                let (high, low) = (place.top + 0.5 * tall - 4.0, place.top + 0.5 * tall + 4.0);
                let _ = write!(
                    self.crossed,
                    "M{} {}L{} {}M{} {}L{} {}",
                    px(left),
                    px(high),
                    px(right),
                    px(low),
                    px(left),
                    px(low),
                    px(right),
                    px(high)
                );
            }
            "turned-away" => {
                let middle = x + wide / 2.0;
                let _ = write!(self.dashed, "M{} {}V{}", px(middle), px(place.base + 1.0), px(place.bottom));
            }
            "fed" => bar(&mut self.filled, x, wide, -deep * 0.6),
            _ => bar(&mut self.dotted, inner_x, inner, tall),
        }
    }

    fn write(&self, out: &mut String) {
        for (class, path) in [
            ("filled", &self.filled),
            ("hollow", &self.hollow),
            ("turned", &self.dashed),
            ("unsaid", &self.dotted),
            ("crossed", &self.crossed),
            ("around", &self.around),
            ("pointer-her", &self.pointers),
        ] {
            if !path.is_empty() {
                let _ = write!(out, "<path class=\"{class}\" d=\"{path}\"/>");
            }
        }
    }
}

/// Writes one drawing. Strings are written, which cannot fail; their results are let go.
fn svg(out: &mut String, day: &BoxDay, axis: &DayAxis, frame: Frame, title: &str, key: &str, every: usize) {
    let class = if frame.phone { "phone" } else { "desk" };
    let _ = write!(
        out,
        "<svg class=\"lanes band {class}\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{key}-title {key}-desc\" \
         data-from=\"{}\" data-to=\"{}\" data-left=\"{}\" data-right=\"{}\"><title id=\"{key}-title\">{}</title>\
         <desc id=\"{key}-desc\">{}</desc>",
        px(frame.width),
        px(HEIGHT),
        frame.from.as_millisecond(),
        frame.to.as_millisecond(),
        px(frame.left),
        px(frame.right),
        escaped(title),
        escaped(&day.description),
    );
    hours(out, axis, frame, every);
    let _ = write!(out, "<g data-lane=\"0\" data-top=\"{}\" data-bottom=\"{}\">", px(TOP), px(BOTTOM));
    let known = axis.logs_end.filter(|end| frame.holds(*end));
    let end = known.map_or(frame.right, |end| frame.x(end));
    let _ = write!(out, "<path class=\"base\" d=\"M{} {}H{}\"/>", px(frame.left), px(BASE), px(end));
    states(out, day, frame);
    let mut shapes = Shapes::default();
    for visit in &day.visits {
        let Some((x, wide)) = extent(frame, visit.span) else { continue };
        shapes.visit(kind(visit), x, wide, Place { top: TOP, base: BASE, bottom: BOTTOM });
        if visit.marked {
            let middle = x + wide / 2.0;
            let _ = write!(shapes.pointers, "M{} {}h9l-4.5 8z", px(middle - 4.5), px(TOP - 11.0));
            let _ = write!(
                shapes.around,
                "M{} {}h{}v{}h{}z",
                px(x - 1.5),
                px(BOTTOM + 1.5),
                px(wide + 3.0),
                px(TOP - BOTTOM - 3.0),
                px(-wide - 3.0)
            );
        }
    }
    shapes.write(out);
    for shared in &day.overlaps {
        if let Some((x, wide)) = extent(frame, shared.span) {
            let _ = write!(
                out,
                "<path class=\"overlap\" d=\"M{0} {1}V{2}H{3}V{1}\"/>",
                px(x),
                px(BOTTOM + 1.0),
                px(BRACKET),
                px(x + wide)
            );
        }
    }
    out.push_str("</g>");
    if let Some(at) = known {
        let word = "logs end";
        let x = frame.x(at);
        let (x_word, anchor) =
            if x + width_of(word, SMALL) < frame.width { (x + 4.0, "start") } else { (x - 4.0, "end") };
        let _ = write!(
            out,
            "<path class=\"ends\" d=\"M{0} {1}V{2}\"/><text class=\"ends\" x=\"{3}\" y=\"{4}\" text-anchor=\"{anchor}\">{word}</text>",
            px(x),
            px(TOP - 10.0),
            px(BOTTOM),
            px(x_word),
            px(TOP - 4.0)
        );
    }
    out.push_str("</svg>");
}

/// Where a span lies in a drawing, px, at least as wide as can be seen; `None` where it lies outside.
fn extent(frame: Frame, (from, to): (Timestamp, Timestamp)) -> Option<(f64, f64)> {
    if frame.to <= from || (to <= frame.from && from < frame.from) {
        return None;
    }
    let x = frame.x(from.max(frame.from));
    let wide = (frame.x(to.min(frame.to)) - x).max(NARROWEST);
    Some((x.min(frame.right - NARROWEST), wide))
}

/// Lines of whole hours within the strip, and names of as many as find room.
fn hours(out: &mut String, axis: &DayAxis, frame: Frame, every: usize) {
    let mut path = String::new();
    let mut free = f64::NEG_INFINITY;
    for (at, name) in axis.hours.iter().filter(|(at, _)| frame.holds(*at)) {
        let x = frame.x(*at);
        let hour: usize = name.parse().unwrap_or(0);
        if !hour.is_multiple_of(every) {
            continue;
        }
        let _ = write!(path, "M{} {}V{}", px(x), px(TOP), px(BOTTOM));
        if free < x && x + width_of(name, SMALL) < frame.width {
            let _ = write!(
                out,
                "<text class=\"day\" x=\"{}\" y=\"{}\">{name}</text>",
                px(x + 1.0),
                px(HEIGHT - 5.0)
            );
            free = x + width_of(name, SMALL) + 8.0;
        }
    }
    let _ = write!(out, "<path class=\"day\" d=\"{path}\"/>");
}

/// States, hatched, with their word where it finds room.
fn states(out: &mut String, day: &BoxDay, frame: Frame) {
    for state in &day.states {
        let Some((x, wide)) = extent(frame, state.span) else { continue };
        let name = match state.state.as_str() {
            known @ ("cleaning" | "service" | "fault" | "off") => known,
            _ => "off",
        };
        let _ = write!(
            out,
            "<rect class=\"state {name}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"url(#hatch-{name})\"/>",
            px(x),
            px(TOP),
            px(wide),
            px(BASE - TOP)
        );
        let word = width_of(name, SMALL);
        if word + 10.0 < wide {
            let middle = x + wide / 2.0;
            let _ = write!(
                out,
                "<rect class=\"behind\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"16\"/>\
                 <text class=\"state\" x=\"{}\" y=\"{}\" text-anchor=\"middle\">{name}</text>",
                px(middle - word / 2.0 - 3.0),
                px((TOP + BASE) / 2.0 - 8.0),
                px(word + 6.0),
                px(middle),
                px((TOP + BASE) / 2.0 + 4.0)
            );
        }
    }
}
