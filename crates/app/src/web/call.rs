//! One call as both pages show it: the sentence, what to do, and what stands behind it.

use cowpath_core::{
    herd::Quarter,
    say::{found as words, reason},
};
use jiff::tz::TimeZone;

use super::{address, figure, found, lanes};
use crate::ask::round::{RoundCall, RoundReason};

/// Weight at which a bar is full; stronger signs stretch the scale of their call …
const FULL_BAR: f64 = 8.0;
/// … up to this one: the bars of what speaks beside a sign of a very long case can still be told apart.
const MOST_STRETCHED: f64 = 16.0;

/// Length of a full bar, px.
const BAR_PX: f64 = 120.0;

/// A call with what the template needs beside its own words.
pub struct ShownCall<'a> {
    /// The call.
    pub call: &'a RoundCall,
    /// Tells the call apart on its page.
    pub key: String,
    /// Number of the cow or name of the box, set large.
    pub subject: String,
    /// The sentence without it.
    pub says: String,
    /// Link to her page.
    pub link: Option<String>,
    /// The lanes, as HTML.
    pub picture: String,
    /// What speaks for and against.
    pub reasons: Vec<ShownReason<'a>>,
    /// Shown open.
    pub open: bool,
    /// What can be said to be found: label and the button's word; empty where the page shows another time.
    pub choices: Vec<(&'static str, String)>,
    /// Causes to choose from: word, what it is called.
    pub causes: &'static [(&'static str, &'static str)],
    /// The page an answer comes back to.
    pub back: String,
}

/// A reason with its bar.
pub struct ShownReason<'a> {
    /// The reason.
    pub reason: &'a RoundReason,
    /// Speaks for the call.
    pub speaks_for: bool,
    /// How strongly it speaks, in words.
    pub strength: &'static str,
    /// Length of its bar, px.
    pub bar_px: String,
}

/// A call made ready; `at` is the time the reader asked for, kept in links.
pub fn shown<'a>(call: &'a RoundCall, index: usize, at: Option<&str>, zone: &TimeZone) -> ShownCall<'a> {
    let key = format!("call{}", index + 1);
    let (subject, says) = parted(call);
    let picture =
        call.lanes.as_ref().map(|lanes| lanes::picture(lanes, &key, lanes::Phone::LastFourDays, zone));
    ShownCall {
        call,
        subject,
        says: figure::bound(says),
        link: call.animal.as_deref().map(|animal| address::cow(animal, at)),
        picture: picture.unwrap_or_default(),
        reasons: reasons(call),
        open: index == 0,
        choices: if at.is_some() { Vec::new() } else { choices(call) },
        causes: &words::CAUSES,
        back: "/round".to_owned(),
        key,
    }
}

fn choices(call: &RoundCall) -> Vec<(&'static str, String)> {
    let quarter = call.quarter.and_then(Quarter::from_code);
    words::choices(call.cause, quarter).iter().map(|choice| (choice.label, found::button(choice))).collect()
}

/// The subject and what is said of it. The sentence begins with the subject, a colon and a space.
fn parted(call: &RoundCall) -> (String, &str) {
    if !call.says.is_empty()
        && let Some(subject) = call.sentence.strip_suffix(call.says.as_str())
    {
        let subject = subject.trim_end().trim_end_matches(':');
        if !subject.is_empty() {
            return (subject.to_owned(), &call.says);
        }
    }
    let subject = match (&call.animal, &call.box_name) {
        (Some(animal), _) => animal.clone(),
        (None, Some(name)) if name.to_lowercase().starts_with("box") => name.clone(),
        (None, Some(name)) => format!("Box {name}"),
        (None, None) => "Herd".to_owned(),
    };
    (subject, if call.says.is_empty() { &call.sentence } else { &call.says })
}

fn reasons(call: &RoundCall) -> Vec<ShownReason<'_>> {
    let strongest = call.reasons.iter().map(|reason| reason.weight.abs()).fold(FULL_BAR, f64::max);
    let full = strongest.min(MOST_STRETCHED);
    let shown = call.reasons.iter().map(|own| ShownReason {
        reason: own,
        speaks_for: 0.0 <= own.weight,
        strength: reason::strength(own.weight),
        bar_px: format!("{:.1}", (BAR_PX * (own.weight.abs() / full).min(1.0)).max(3.0)),
    });
    shown.collect()
}
