//! In which words is it said what may be wrong with the whole herd?

use super::{
    call::{Facts, by_certainty},
    number, when,
};
use crate::causes::{Cause, Finding};

/// The sentence after `All pens`.
pub fn says(finding: &Finding, facts: &Facts) -> String {
    let sure = number::chance(finding.probability);
    let since = when::day(finding.since, facts.at, facts.zone);
    let share = finding.reasons.first().map_or(0.0, |reason| reason.expected - reason.observed);
    let give = by_certainty(finding.probability, "", "maybe ", "perhaps ");
    let less = number::percent(share / 100.0);
    match finding.cause {
        Cause::HerdMilk => format!("{give}{less} less milk since {since}, {sure} sure."),
        Cause::HerdIntake => format!("{give}{less} less chewing and eating since {since}, {sure} sure."),
        _ => "nothing differs.".to_owned(),
    }
}

/// What to do.
pub fn action(finding: &Finding) -> String {
    match finding.cause {
        Cause::HerdMilk => {
            "Look at what concerns all: feed and water, heat, the boxes. See whether the tank fell as much."
        }
        Cause::HerdIntake => {
            "Look at what concerns all: the feed at the bunk, water, heat. Ask what changed in the ration."
        }
        _ => "Nothing to do.",
    }
    .to_owned()
}

/// What would decide.
pub fn decide(finding: &Finding) -> String {
    match finding.cause {
        Cause::HerdMilk => {
            "What would decide: the tank. If it fell as much it is the cows, if not it is a milk meter."
        }
        Cause::HerdIntake => "What would decide: the feed left at the bunk, and its smell and warmth.",
        _ => "",
    }
    .to_owned()
}
