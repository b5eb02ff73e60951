//! Where things lie: the time axis, the width of words, and the two kinds of drawing.

use std::fmt::{self, Write};

use jiff::Timestamp;

/// Mean width of a letter as a share of the type's size, for system sans-serif families; wide ones reach 0.6.
const LETTER: f64 = 0.57;

/// A drawing's measures, in its own px.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// Names above the strips, no scale, nothing beside them.
    pub phone: bool,
    /// Whole width.
    pub width: f64,
    /// Where the strips begin.
    pub left: f64,
    /// Where the strips end.
    pub right: f64,
    /// Start of the axis.
    pub from: Timestamp,
    /// End of the axis.
    pub to: Timestamp,
}

impl Frame {
    /// Names at the left, last values at the right.
    pub fn desk(from: Timestamp, to: Timestamp) -> Frame {
        Frame { phone: false, width: 740.0, left: 160.0, right: 632.0, from, to }
    }

    /// Names and last values above the strips.
    pub fn phone(from: Timestamp, to: Timestamp) -> Frame {
        Frame { phone: true, width: 328.0, left: 4.0, right: 324.0, from, to }
    }

    /// Whether an instant lies on the axis.
    pub fn holds(&self, at: Timestamp) -> bool {
        self.from <= at && at <= self.to
    }

    /// Where an instant lies, px.
    pub fn x(&self, at: Timestamp) -> f64 {
        let whole = (self.to.as_millisecond() - self.from.as_millisecond()).max(1) as f64;
        let part = (at.as_millisecond() - self.from.as_millisecond()) as f64;
        self.left + (self.right - self.left) * (part / whole)
    }
}

/// About how wide a word is at a size of type, px.
pub fn width_of(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * size * LETTER
}

/// `textLength` for a text that would be wider than its place, else nothing.
pub fn pressed(text: &str, size: f64, place: f64) -> String {
    // Only what is surely too wide is pressed; a guess that is a little off must not stretch letters.
    if place * 1.12 < width_of(text, size) {
        format!(" textLength=\"{place:.0}\" lengthAdjust=\"spacingAndGlyphs\"")
    } else {
        String::new()
    }
}

/// A coordinate in tenths of a px, written with one decimal, and none where it is nought. A page holds tens of
/// thousands of them, so they are written as whole numbers and never kept as text of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Px(i64);

/// A coordinate.
pub fn px(value: f64) -> Px {
    Px((value * 10.0).round() as i64)
}

impl fmt::Display for Px {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < 0 {
            out.write_str("-")?;
        }
        let tenths = self.0.unsigned_abs();
        fmt::Display::fmt(&(tenths / 10), out)?;
        match tenths % 10 {
            0 => Ok(()),
            tenth => {
                out.write_str(".")?;
                fmt::Display::fmt(&tenth, out)
            }
        }
    }
}

/// A line through points as a path, `M` and then steps, which are shorter to write than places. Steps are whole tenths
/// and add up to the place itself: rounding does not creep.
pub fn line(out: &mut String, points: &[(f64, f64)]) {
    let mut before: Option<(i64, i64)> = None;
    for (x, y) in points {
        let now = (px(*x).0, px(*y).0);
        // Writing into a String cannot fail.
        let _ = match before {
            None => write!(out, "M{} {}", Px(now.0), Px(now.1)),
            Some(before) => write!(out, "l{} {}", Px(now.0 - before.0), Px(now.1 - before.1)),
        };
        before = Some(now);
    }
}
