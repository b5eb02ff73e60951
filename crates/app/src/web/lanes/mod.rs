//! The picture of a cow: strips on one time axis, drawn on the server as SVG, twice (desk and phone), with the same
//! figures as a table beneath.
//!
//! What was measured is a dot, filled inside its expected band and hollow outside; what was expected is a dashed line;
//! the band is a pale area. Nothing is told by colour alone: the picture reads the same in grey print.

pub mod axis;
mod draw;
mod strip;
mod twin;

use jiff::{Timestamp, tz::TimeZone};

use crate::ask::lanes::Lanes;

/// What the phone's drawing shows. A desk picture is never shrunk or scrolled to a phone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Phone {
    /// The last four days, on the round.
    LastFourDays,
    /// The whole span, where the reader chose it.
    Whole,
}

/// The figure: both drawings and the table, as HTML. `key` tells it apart on its page.
pub fn picture(lanes: &Lanes, key: &str, phone: Phone, zone: &TimeZone) -> String {
    if lanes.lanes.is_empty() || lanes.to <= lanes.from {
        return "<p class=\"soft\">No picture: no milkings were read for this span.</p>".into();
    }
    let phone_from = match phone {
        Phone::Whole => lanes.from,
        Phone::LastFourDays => four_days_before(lanes.to).max(lanes.from),
    };
    let mut out = String::with_capacity(48 * 1024);
    out.push_str("<figure class=\"picture\">");
    draw::svg(&mut out, lanes, &format!("{key}-desk"), axis::Frame::desk(lanes.from, lanes.to));
    draw::svg(&mut out, lanes, &format!("{key}-phone"), axis::Frame::phone(phone_from, lanes.to));
    twin::table(&mut out, lanes, zone);
    out.push_str("</figure>");
    out
}

/// The instant four times 24 hours earlier: a window of the axis, not of the calendar.
fn four_days_before(at: Timestamp) -> Timestamp {
    at.checked_sub(jiff::SignedDuration::from_hours(96)).unwrap_or(at)
}

/// Text made safe for HTML and for SVG.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(letter),
        }
    }
    out
}
