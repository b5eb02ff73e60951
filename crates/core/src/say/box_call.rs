//! In which words is it said what may be wrong with a box?

use super::{call::by_certainty, number};
use crate::causes::{Cause, Finding};

/// The caution every call on a box carries.
pub const CAUTION: &str = "Switch the box off as its maker says before you reach into it.";

/// The sentence without the box's name.
pub fn says(finding: &Finding) -> String {
    let verb = by_certainty(finding.probability, "looks", "may be", "could be");
    let sure = number::chance(finding.probability);
    let cup = finding
        .quarter
        .map_or_else(|| "one cup".to_owned(), |quarter| format!("the {} cup", quarter.words()));
    match finding.cause {
        Cause::MilkMeter => format!("the milk meter {verb} off, {sure} sure."),
        Cause::ConductivityProbe => format!("the conductivity probe of {cup} {verb} off, {sure} sure."),
        Cause::Attachment => format!("{cup} {verb} slow or unable to attach, {sure} sure."),
        Cause::FeedDispenser => format!("the feed dispenser {verb} giving less than it says, {sure} sure."),
        Cause::IdleFault => {
            let verb = by_certainty(finding.probability, "stood", "may have stood", "could have stood");
            format!("{verb} still without saying why, {sure} sure.")
        }
        _ => "nothing differs.".to_owned(),
    }
}

/// What to do.
pub fn action(finding: &Finding) -> String {
    match finding.cause {
        Cause::MilkMeter => "Check the meter against a weighed milking, or against the tank.",
        Cause::ConductivityProbe => "Clean and check the probe as its maker says.",
        Cause::Attachment => "Look at the cup, its liner and hose, and at where it reaches for the teat.",
        Cause::FeedDispenser => "Weigh what it gives; look for bridging, an empty bin or a worn drive.",
        Cause::IdleFault => "Look at the box now: gate, power, air, messages.",
        _ => "Nothing to do.",
    }
    .to_owned()
}

/// What would decide.
pub fn decide(finding: &Finding) -> String {
    match finding.cause {
        Cause::MilkMeter => "What would decide: one milking weighed, or the tank against the boxes' sum.",
        Cause::ConductivityProbe => "What would decide: the same cows in another box.",
        Cause::Attachment => "What would decide: watching two milkings.",
        Cause::FeedDispenser => "What would decide: one portion weighed.",
        Cause::IdleFault => "What would decide: whether a cow can go in.",
        _ => "",
    }
    .to_owned()
}
