//! In which words is a finding said?

use jiff::{Timestamp, tz::TimeZone};

use super::{number, reason, reason::SaidReason, when};
use crate::{
    causes::{Cause, Finding, MEAN_FROM_H, Reason, Subject, Urgency},
    expect::Signal,
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
        action: action(finding),
        why: why(finding, facts),
        others: others(finding),
        cautions: cautions(finding, facts).into_iter().map(str::to_owned).collect(),
        reasons: finding
            .reasons
            .iter()
            .map(|one| match finding.cause {
                Cause::HerdMilk => reason::herd_milk(one),
                _ => reason::said(one, facts.units, told_by_mean(finding, facts)),
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
        Cause::Unclear => "ill without a clear cause",
        Cause::HerdMilk => "less milk of the whole herd",
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
fn by_certainty<'a>(probability: f64, sure: &'a str, half: &'a str, faint: &'a str) -> &'a str {
    match probability {
        0.8.. => sure,
        0.5..0.8 => half,
        _ => faint,
    }
}

fn says(finding: &Finding, facts: &Facts) -> String {
    let verb = by_certainty(finding.probability, "looks", "may be", "could be");
    let sure = number::chance(finding.probability);
    match finding.cause {
        Cause::Udder => {
            let quarter = finding.quarter.map_or("a quarter", |quarter| quarter.words());
            format!("{quarter} {verb} inflamed, {sure} sure.")
        }
        Cause::Unclear => format!("{verb} unwell, {}; {sure} sure.", signs(finding)),
        Cause::HerdMilk => {
            let since = when::day(finding.since, facts.at, facts.zone);
            let share = finding.reasons.first().map_or(0.0, |reason| reason.expected - reason.observed);
            let give = by_certainty(finding.probability, "", "maybe ", "perhaps ");
            format!("{give}{} less milk since {since}, {sure} sure.", number::percent(share / 100.0))
        }
        Cause::Well => "nothing differs.".to_owned(),
    }
}

/// What speaks for an unclear finding: `with less milk and longer between milkings`.
fn signs(finding: &Finding) -> String {
    let telling: Vec<&Reason> = finding.reasons.iter().filter(|reason| 0.5 <= reason.weight).collect();
    let telling = if telling.is_empty() { finding.reasons.iter().take(1).collect() } else { telling };
    let words: Vec<String> = telling
        .iter()
        .map(|reason| match reason.signal {
            Signal::Milk => "less milk".to_owned(),
            Signal::Interval => "longer between milkings".to_owned(),
            other => format!("{} unlike hers", reason::signal(other, reason.quarter)),
        })
        .collect();
    match &words[..] {
        [] => "no one sign stands out".to_owned(),
        _ => when::join(&words),
    }
}

fn action(finding: &Finding) -> String {
    let quarter = finding.quarter.map_or("all four quarters", |quarter| quarter.words());
    match (finding.cause, finding.urgency) {
        (Cause::Udder, Urgency::Now) => format!(
            "Keep her milk out of the tank until someone has looked. Bring her in and strip {quarter}."
        ),
        (Cause::Udder, Urgency::Today) => {
            format!(
                "Strip {quarter} today and feel it. Clots, watery or bloody milk: keep her milk out of the tank."
            )
        }
        (Cause::Udder, Urgency::Watch) => format!("Look at the foremilk of {quarter} when you pass her."),
        (Cause::Unclear, Urgency::Now) => {
            "Go to her now: is she eating, standing well, warm? Strip all four quarters.".to_owned()
        }
        (Cause::Unclear, Urgency::Today) => {
            "Look at her today: appetite, dung, feet, temperature; strip all four quarters.".to_owned()
        }
        (Cause::Unclear, Urgency::Watch) => {
            "Look at her when you pass: does she eat and walk as usual?".to_owned()
        }
        (Cause::HerdMilk, _) => {
            "Look at what concerns all: feed and water, heat, the boxes. See whether the tank fell as much."
                .to_owned()
        }
        (Cause::Well, _) => "Nothing to do.".to_owned(),
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
    let mut text = format!("{}.", parts.join("; "));
    let telling: Vec<String> = finding
        .reasons
        .iter()
        .filter(|reason| 0.5 <= reason.weight && finding.cause != Cause::HerdMilk)
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

fn decide(finding: &Finding) -> String {
    let quarter = finding.quarter.map_or("all four quarters", |quarter| quarter.words());
    let next = finding.others.first().map_or(Cause::Well, |(cause, _)| *cause);
    match (finding.cause, next) {
        (Cause::Udder, Cause::Unclear) => {
            format!("What would decide: the foremilk of {quarter}, and whether she eats.")
        }
        (Cause::Udder, _) => format!("What would decide: the foremilk of {quarter}."),
        (Cause::Unclear, Cause::Udder) => {
            "What would decide: the foremilk of all four quarters, and her temperature.".to_owned()
        }
        (Cause::Unclear, _) => "What would decide: whether she eats, and her next two milkings.".to_owned(),
        (Cause::HerdMilk, _) => {
            "What would decide: the tank. If it fell as much it is the cows, if not it is a milk meter."
                .to_owned()
        }
        (Cause::Well, _) => String::new(),
    }
}

fn cautions(finding: &Finding, facts: &Facts) -> Vec<&'static str> {
    let mut cautions = Vec::new();
    match finding.cause {
        Cause::Udder => cautions.extend([
            "A hot, hard quarter or a cow that will not eat: call the veterinarian now.",
            "Watery, bloody or clotted milk is not sold. Treated milk stays out of the tank as the label and the \
             veterinarian say.",
        ]),
        Cause::Unclear => cautions.push("A cow that cannot rise or will not eat: call the veterinarian now."),
        Cause::HerdMilk | Cause::Well => {}
    }
    if matches!(finding.cause, Cause::Udder | Cause::Unclear)
        && facts.days_in_milk.is_some_and(|days| days < FRESH_DAYS)
    {
        cautions.push(
            "A fresh cow with cold ears, unsteady, or down: milk fever kills within hours, call the veterinarian. Off \
             feed with a hollow left side: today.",
        );
    }
    cautions
}

/// Days after calving in which the fresh cow's caution is said. Common practice, no source.
const FRESH_DAYS: f64 = 30.0;

fn first_upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
