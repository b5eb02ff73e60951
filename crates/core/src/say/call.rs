//! In which words is a finding said?

use jiff::{Timestamp, tz::TimeZone};

use super::{box_call, cow_call, herd_call, number, reason, reason::SaidReason, when};
use crate::{
    causes::{Cause, Finding, MEAN_FROM_H, Subject, Urgency},
    time::hours_between,
    units::UnitSystem,
};

/// What a sentence needs to know besides the finding.
#[derive(Debug, Clone, Copy)]
pub struct Facts<'a> {
    /// Herd number or name, for a cow.
    pub animal: Option<&'a str>,
    /// Name of the box, for a box.
    pub box_name: Option<&'a str>,
    /// The time the page is made for.
    pub at: Timestamp,
    /// The farm's zone.
    pub zone: &'a TimeZone,
    /// The farm's units.
    pub units: UnitSystem,
    /// Days since she calved, if known.
    pub days_in_milk: Option<f64>,
    /// Her milkings since the earliest likely onset that the log sent to the tank or of which it does not say where they went.
    pub may_be_in_tank: &'a [Timestamp],
    /// Her milkings since the earliest likely onset that the log says were held.
    pub held_by_log: &'a [Timestamp],
    /// The log says where milk goes.
    pub destination_logged: bool,
    /// When a person last recorded a diagnosis of the called quarter since the earliest likely onset.
    pub diagnosed_at: Option<Timestamp>,
    /// Her last pregnancy check found her in calf and nothing has changed it since.
    pub in_calf: bool,
    /// Her last insemination.
    pub inseminated_at: Option<Timestamp>,
    /// When a person noted the heat that she may be in, or served her for it.
    pub noted_at: Option<Timestamp>,
}

/// A finding in words.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// `214: left rear looks inflamed, 93 % sure.`
    pub sentence: String,
    /// The same without the subject.
    pub says: String,
    /// What to do.
    pub action: String,
    /// Since when, which milkings may be in the tank, what was seen.
    pub why: String,
    /// Other causes considered, in words; empty where there are none.
    pub others: String,
    /// Cautions this call carries.
    pub cautions: Vec<String>,
    /// What speaks for and against, in the finding's order.
    pub reasons: Vec<SaidReason>,
    /// What would decide between this and the next likely.
    pub decide: String,
}

/// Says a finding.
pub fn call(finding: &Finding, facts: &Facts) -> Said {
    let says = says(finding, facts);
    Said {
        sentence: format!("{}: {says}", subject(finding, facts)),
        says,
        action: action(finding, facts),
        why: why(finding, facts),
        others: others(finding),
        cautions: cautions(finding, facts).into_iter().map(str::to_owned).collect(),
        reasons: finding
            .reasons
            .iter()
            .map(|one| match finding.subject {
                Subject::Herd => reason::herd(one),
                Subject::Box(_) => reason::of_box(one, facts.units),
                Subject::Cow(_) => reason::said(one, facts.units, told_by_mean(finding, facts)),
            })
            .collect(),
        decide: decide(finding),
    }
}

/// A cause among others: `ill without a clear cause`.
pub fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Well => "nothing wrong",
        Cause::Udder => "an inflamed quarter",
        Cause::Heat => "heat",
        Cause::Metabolic => "short of energy",
        Cause::Gut => "rumen or gut",
        Cause::Feet => "feet or legs",
        Cause::Fever => "ill all over",
        Cause::Unclear => "ill without a clear cause",
        Cause::MilkMeter => "the milk meter",
        Cause::ConductivityProbe => "a conductivity probe",
        Cause::Attachment => "a cup that does not attach",
        Cause::FeedDispenser => "the feed dispenser",
        Cause::IdleFault => "a box that stood still",
        Cause::HerdMilk => "less milk of the whole herd",
        Cause::HerdIntake => "less eaten by the whole herd",
    }
}

/// An urgency in the words of the round.
pub fn urgency(urgency: Urgency) -> &'static str {
    match urgency {
        Urgency::Now => "now",
        Urgency::Today => "today",
        Urgency::Watch => "watch",
    }
}

fn subject(finding: &Finding, facts: &Facts) -> String {
    match (facts.animal, facts.box_name, finding.cause) {
        (Some(animal), _, _) => animal.to_owned(),
        (None, Some(name), _) => format!("Box {name}"),
        (None, None, _) => "All pens".to_owned(),
    }
}

/// One of three verbs by certainty: `looks` from 0.8, `may be` from 0.5, `could be` below.
pub(super) fn by_certainty<'a>(probability: f64, sure: &'a str, half: &'a str, faint: &'a str) -> &'a str {
    match probability {
        0.8.. => sure,
        0.5..0.8 => half,
        _ => faint,
    }
}

/// The sentence without its subject, and what to do, by whom it is about.
fn says(finding: &Finding, facts: &Facts) -> String {
    match finding.subject {
        Subject::Cow(_) => cow_call::says(finding, facts),
        Subject::Box(_) => box_call::says(finding),
        Subject::Herd => herd_call::says(finding, facts),
    }
}

fn action(finding: &Finding, facts: &Facts) -> String {
    match finding.subject {
        Subject::Cow(_) => cow_call::action(finding, facts),
        Subject::Box(_) => box_call::action(finding),
        Subject::Herd => herd_call::action(finding),
    }
}

fn cautions(finding: &Finding, facts: &Facts) -> Vec<&'static str> {
    match finding.subject {
        Subject::Cow(_) => cow_call::cautions(finding, facts),
        Subject::Box(_) => vec![box_call::CAUTION],
        Subject::Herd => Vec::new(),
    }
}

fn decide(finding: &Finding) -> String {
    match finding.subject {
        Subject::Cow(_) => cow_call::decide(finding),
        Subject::Box(_) => box_call::decide(finding),
        Subject::Herd => herd_call::decide(finding),
    }
}

/// Whether the values of the reasons are means since the onset.
fn told_by_mean(finding: &Finding, facts: &Facts) -> bool {
    matches!(finding.subject, Subject::Cow(_)) && MEAN_FROM_H <= hours_between(finding.since, facts.at)
}

/// How much earlier than the likeliest onset the earliest likely one must be to be said, h.
const EARLIER_FROM_H: f64 = 1.0;

/// The soft line.
fn why(finding: &Finding, facts: &Facts) -> String {
    let since = when::instant(finding.since, facts.at, facts.zone);
    let mut parts = vec![format!("Since {since}")];
    if finding.cause == Cause::Udder {
        // The milkings that follow are named from the earliest likely onset on, so that one is said where it is not the same.
        let earliest = when::instant(finding.since_between.0, facts.at, facts.zone);
        if EARLIER_FROM_H <= hours_between(finding.since_between.0, finding.since) && earliest != since {
            parts[0].push_str(&format!(", maybe since {earliest}"));
        }
        // Who reads the call must know that somebody has already been at the cow.
        parts.extend(
            facts
                .diagnosed_at
                .map(|then| format!("diagnosed by a person {}", when::instant(then, facts.at, facts.zone))),
        );
        parts.extend(tank(facts));
    }
    // What a person noted makes it likelier: who reads the call must know that it rests on that too.
    let noted = facts.noted_at.filter(|_| finding.cause == Cause::Heat);
    parts
        .extend(noted.map(|then| format!("noted by a person {}", when::instant(then, facts.at, facts.zone))));
    let mut text = format!("{}.", parts.join("; "));
    let telling: Vec<String> = finding
        .reasons
        .iter()
        .filter(|reason| 0.5 <= reason.weight && matches!(finding.subject, Subject::Cow(_)))
        .filter(|reason| !reason::belies(reason, finding.cause, facts.units))
        .take(3)
        .map(|reason| reason::clause(reason, facts.units))
        .collect();
    if !telling.is_empty() {
        text.push(' ');
        let telling = telling.join("; ");
        if told_by_mean(finding, facts) {
            text.push_str("On average ");
            text.push_str(&telling);
        } else {
            text.push_str(&first_upper(&telling));
        }
        text.push('.');
    }
    text
}

/// Most milkings a sentence names one by one.
const NAMED_MILKINGS: usize = 6;

/// Which of her milkings since the onset may be in the tank, and which were held.
fn tank(facts: &Facts) -> Vec<String> {
    let milkings = |times: &[Timestamp]| {
        let words = |then: Timestamp| when::instant(then, facts.at, facts.zone);
        match times {
            [one] => format!("the milking of {}", when::list(&[*one], facts.at, facts.zone)),
            [first, .., last] if NAMED_MILKINGS < times.len() => {
                let today = if when::is_today(*last, facts.at, facts.zone) { "today " } else { "" };
                format!("her {} milkings from {} to {today}{}", times.len(), words(*first), words(*last))
            }
            _ => format!("the milkings of {}", when::list(times, facts.at, facts.zone)),
        }
    };
    let mut parts = Vec::new();
    if !facts.may_be_in_tank.is_empty() {
        let named = milkings(facts.may_be_in_tank);
        parts.push(if facts.destination_logged {
            format!("{named} went to the tank")
        } else {
            format!("{named} may be in the tank: the log does not say")
        });
    }
    if !facts.held_by_log.is_empty() {
        let named = milkings(facts.held_by_log);
        parts.push(format!("{named} {} held", if facts.held_by_log.len() == 1 { "was" } else { "were" }));
    }
    parts
}

/// Likelihood below which another cause is not said.
const SAID_FROM: f64 = 0.005;

fn others(finding: &Finding) -> String {
    let words: Vec<String> = finding
        .others
        .iter()
        .filter(|(_, probability)| SAID_FROM <= *probability)
        .map(|(other, probability)| format!("{} {}", cause(*other), number::chance(*probability)))
        .collect();
    if words.is_empty() { String::new() } else { format!("Other causes: {}.", words.join(", ")) }
}

fn first_upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
