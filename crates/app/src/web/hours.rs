//! The minutes of a box's day by hour, as 24 columns that are each filled without remainder, with their figures beside.
//!
//! What it was used for is told by fill and by place, from the bottom: milk flow, one last quarter, handling, other
//! visits, what the box did instead, and idle on top, which is empty.

use std::fmt::Write;

use cowpath_core::say::number;

use super::lanes::{axis::px, escaped};
use crate::ask::box_minutes::{DayMinutes, Seconds};

const WIDTH: f64 = 328.0;
const TALL: f64 = 60.0;
const HEIGHT: f64 = 76.0;

/// What is drawn together: class, words, seconds.
fn kinds(seconds: &Seconds) -> [(&'static str, &'static str, i64); 6] {
    [
        ("flow", "milk flow", seconds.milk_flow),
        ("last", "one last quarter", seconds.last_quarter),
        ("handling", "handling", seconds.handling),
        (
            "other",
            "turned away, fed, failed, incomplete",
            seconds.turned_away + seconds.fed_only + seconds.failed + seconds.incomplete,
        ),
        (
            "away",
            "cleaning, service, fault, off",
            seconds.cleaning + seconds.service + seconds.fault + seconds.off,
        ),
        ("idle", "idle", seconds.idle),
    ]
}

/// The picture with its text twin; the twin where `table`.
pub fn drawn(day: &DayMinutes, name: &str, table: bool) -> String {
    let mut out = String::with_capacity(8 * 1024);
    let title = format!("{name}: minutes by hour");
    let _ = write!(
        out,
        "<figure class=\"hours\"><svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}. {}\">",
        px(WIDTH),
        px(HEIGHT),
        escaped(&title),
        escaped(&day.words)
    );
    let wide = WIDTH / day.hours.len().max(1) as f64;
    for (place, hour) in day.hours.iter().enumerate() {
        let x = place as f64 * wide;
        let all = kinds(&hour.seconds);
        let whole: i64 = all.iter().map(|(.., seconds)| seconds).sum();
        let mut y = TALL;
        for (class, _, seconds) in all.iter().take(5).filter(|(.., seconds)| 0 < *seconds) {
            let tall = TALL * *seconds as f64 / whole.max(1) as f64;
            y -= tall;
            let _ = write!(
                out,
                "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
                px(x + 0.7),
                px(y),
                px(wide - 1.4),
                px(tall)
            );
        }
        if place % 3 == 0 {
            let _ =
                write!(out, "<text x=\"{}\" y=\"{}\">{}</text>", px(x + 1.0), px(HEIGHT - 3.0), hour.name);
        }
    }
    let _ = write!(out, "<path class=\"base\" d=\"M0 {0}H{1}M0 0H{1}\"/></svg>", px(TALL), px(WIDTH));
    out.push_str("<figcaption><ul class=\"legend\">");
    for (class, words, seconds) in kinds(&day.seconds).iter().filter(|(.., seconds)| 0 < *seconds) {
        let _ = write!(
            out,
            "<li><svg width=\"14\" height=\"14\" aria-hidden=\"true\"><rect class=\"{class}\" x=\"1\" y=\"1\" width=\"12\" height=\"12\"/></svg> {words} {} min</li>",
            number::count((seconds + 30) as usize / 60)
        );
    }
    out.push_str("</ul></figcaption>");
    if table {
        twin(&mut out, day, &title);
    }
    out.push_str("</figure>");
    out
}

fn twin(out: &mut String, day: &DayMinutes, title: &str) {
    let title = escaped(title);
    let _ = write!(
        out,
        "<details class=\"fold\"><summary>Minutes by hour in figures</summary><div class=\"scroll\" tabindex=\"0\" role=\"region\" \
         aria-label=\"{title}\"><table><thead><tr><th scope=\"col\">hour</th>"
    );
    let shown: Vec<usize> = (0..12).filter(|place| 0 < day.seconds.named()[*place].1).collect();
    for place in &shown {
        let _ = write!(out, "<th scope=\"col\">{}</th>", day.seconds.named()[*place].0);
    }
    out.push_str("</tr></thead><tbody>");
    for hour in &day.hours {
        let _ = write!(out, "<tr><th scope=\"row\">{}</th>", hour.name);
        for place in &shown {
            let _ = write!(out, "<td>{:.1}</td>", hour.seconds.named()[*place].1 as f64 / 60.0);
        }
        out.push_str("</tr>");
    }
    out.push_str("</tbody></table></div></details>");
}
