//! In which words is it said what may be wrong with a box?

use jiff::{Timestamp, tz::TimeZone};

use super::{
    call::{Facts, Said, by_certainty},
    number, when,
};
use crate::{
    causes::{
        Cause, Finding,
        boxes::{BoxFault, ClockOff, LOG_D},
    },
    expect::Signal,
    time::hours_between,
    units::{Kilograms, UnitSystem},
};

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

/// Puts into the words of a call what the rows of its box show; `instead` is the name of the box that may be off instead.
pub fn tell(said: &mut Said, fault: &BoxFault, instead: Option<&str>, facts: &Facts) {
    said.says = shown(fault, instead, facts.units);
    if let Some((subject, _)) = said.sentence.split_once(": ") {
        said.sentence = format!("{subject}: {}", said.says);
    }
    said.why = why(fault, facts);
    if let (Some(other), Cause::MilkMeter) = (instead, fault.finding.cause) {
        said.action = format!(
            "Weigh one milking in this box and one in box {other}, or hold both against the tank: their rows alone do not say \
             which of the two is off."
        );
    }
    if fault.finding.cause == Cause::IdleFault && fault.goes_on {
        // A log that is late looks the same as long as it is late.
        said.decide = "What would decide: whether a cow can go in. If one can, its log has not come: read it, and this call goes."
            .to_owned();
    } else if fault.finding.cause == Cause::IdleFault {
        said.action =
            "Ask what happened then: gate, power, air, messages. See which cows are late.".to_owned();
        said.decide = "What would decide: the messages of the box at that time.".to_owned();
    }
    let unit = if fault.finding.cause == Cause::ConductivityProbe { "mS/cm" } else { "%" };
    for (reason, words) in fault.finding.reasons.iter().zip(&mut said.reasons) {
        let (observed, expected) = (number::plain(reason.observed, 1), number::plain(reason.expected, 1));
        let space = number::SPACE;
        let (name, value) = match reason.signal {
            Signal::Milk => (
                "milk of the cows milked here against their own levels".to_owned(),
                format!("{}{space}%", number::signed(reason.observed, 1)),
            ),
            Signal::Conductivity => (
                format!("{} conductivity of the cows milked here against their own", cup(&fault.finding)),
                format!("{}{space}mS/cm", number::signed(reason.observed, 2)),
            ),
            Signal::QuarterMilk => (
                format!("milkings in which the {} gave next to nothing", cup(&fault.finding)),
                format!("{observed}{space}%, usually {expected}{space}%"),
            ),
            Signal::Feed => (
                "eaten of what was offered".to_owned(),
                format!("{observed}{space}%, usually {expected}{space}%"),
            ),
            _ => {
                let usual = number::plain(missed(fault), 1);
                ("visits in that time".to_owned(), format!("none, usually {usual}"))
            }
        };
        (words.name, words.value) = (name, value);
        words.unit = if reason.signal == Signal::Visits { "visits" } else { unit };
    }
    if let Some(times) = fault.frozen {
        said.reasons.iter_mut().for_each(|words| {
            words.value = format!("the same figure {}", number::things(times as usize, "time", "times"));
        });
    }
}

/// A fault on a page beside the round: `Box 1: the milk meter looks 11 % too low, 95 % sure, since 3 February.`
pub fn since(
    fault: &BoxFault,
    box_name: &str,
    instead: Option<&str>,
    (at, zone): (jiff::Timestamp, &jiff::tz::TimeZone),
    units: UnitSystem,
) -> String {
    let says = shown(fault, instead, units);
    format!(
        "Box {box_name}: {}, since {}.",
        says.trim_end_matches('.'),
        when::day(fault.finding.since, at, zone)
    )
}

fn cup(finding: &Finding) -> &'static str {
    finding.quarter.map_or("quarter", |quarter| quarter.words())
}

/// The sentence with how far off it is.
fn shown(fault: &BoxFault, instead: Option<&str>, units: UnitSystem) -> String {
    let finding = &fault.finding;
    let sure = number::chance(finding.probability);
    let verb = by_certainty(finding.probability, "looks", "may be", "could be");
    let by = number::percent(fault.level.exp_m1().abs());
    match finding.cause {
        Cause::MilkMeter if fault.frozen.is_some() => format!(
            "the milk meter always says {}, {sure} sure.",
            number::mass(Kilograms(fault.level), units)
        ),
        Cause::MilkMeter => {
            let side = if fault.level < 0.0 { "low" } else { "high" };
            let other = if fault.level < 0.0 { "high" } else { "low" };
            let instead = instead.map_or_else(String::new, |name| format!(", or box {name}'s {by} {other}"));
            format!("the milk meter {verb} {by} too {side}{instead}, {sure} sure.")
        }
        Cause::ConductivityProbe if fault.frozen.is_some() => {
            let figure = number::plain(fault.level, 2);
            let space = number::SPACE;
            format!(
                "the conductivity probe of the {} cup always says {figure}{space}mS/cm, {sure} sure.",
                cup(finding)
            )
        }
        Cause::ConductivityProbe => {
            let side = if fault.level < 0.0 { "low" } else { "high" };
            let by = number::plain(fault.level.abs(), 1);
            let space = number::SPACE;
            format!(
                "the conductivity probe of the {} cup {verb} {by}{space}mS/cm too {side}, {sure} sure.",
                cup(finding)
            )
        }
        Cause::FeedDispenser => {
            let less = number::percent(fault.level.abs());
            format!("the feed dispenser {verb} to give {less} less than it says, {sure} sure.")
                .replace("looks to give", "seems to give")
                .replace("be to give", "give")
        }
        Cause::IdleFault => {
            let hours = number::plain(fault.level, 1);
            let space = number::SPACE;
            if fault.goes_on {
                let verb =
                    by_certainty(finding.probability, "has stood", "may have stood", "could have stood");
                format!("it {verb} still for {hours}{space}h without saying why, {sure} sure.")
            } else {
                let verb = by_certainty(finding.probability, "stood", "may have stood", "could have stood");
                format!("it {verb} still for {hours}{space}h without saying why, {sure} sure.")
            }
        }
        _ => says(finding),
    }
}

/// From when it is said that it may have begun earlier, h.
const EARLIER_FROM_H: f64 = 12.0;

/// Visits that a box which stood still would have had: its reason tells them by the day, a person counts those of its hours.
fn missed(fault: &BoxFault) -> f64 {
    fault.finding.reasons.first().map_or(0.0, |reason| reason.expected) * fault.level / 24.0
}

/// Since when, and which rows show it.
fn why(fault: &BoxFault, facts: &Facts) -> String {
    let finding = &fault.finding;
    let since = when::instant(finding.since, facts.at, facts.zone);
    if finding.cause == Cause::IdleFault {
        let visits = number::plain(missed(fault), 0);
        let none = if fault.goes_on {
            format!("No row of a visit since {since}")
        } else {
            format!("From {since} no cow was let in")
        };
        return format!(
            "{none}; by its own visits at those hours {visits} would have come. No row says that it was cleaned, served or off."
        );
    }
    let earliest = when::instant(finding.since_between.0, facts.at, facts.zone);
    let maybe =
        if EARLIER_FROM_H <= hours_between(finding.since_between.0, finding.since) && earliest != since {
            format!(", maybe since {earliest}")
        } else {
            String::new()
        };
    // Rows are counted as far back as they are read: of an older fault that is said, for it is no count since then.
    let older = LOG_D as f64 * 24.0 < hours_between(finding.since, facts.at);
    let weeks = if older { format!(" in the last {LOG_D} days") } else { String::new() };
    let rows = format!(
        "{} of {}{weeks}",
        number::things(fault.readings as usize, "milking", "milkings"),
        number::things(fault.cows as usize, "cow", "cows")
    );
    let (first, second) =
        finding.reasons.first().map_or((0.0, 0.0), |reason| (reason.observed, reason.expected));
    let space = number::SPACE;
    let shows = match finding.cause {
        _ if fault.frozen.is_some() => format!("{rows} have the same figure"),
        Cause::MilkMeter => {
            let side = if first < 0.0 { "below" } else { "above" };
            let tank = if fault.tank_says { ", and the tank says so too" } else { "" };
            format!(
                "{rows} here lie {} {side} what the same cows give elsewhere or gave before{tank}",
                number::percent(first.abs() / 100.0)
            )
        }
        Cause::ConductivityProbe => format!(
            "{rows} here read {}{space}mS/cm in the {} against what the same quarters read elsewhere or before",
            number::signed(first, 1),
            cup(finding)
        ),
        Cause::Attachment => format!(
            "in {rows} the {} gave next to nothing {}{space}% of the time, usually {}{space}%",
            cup(finding),
            number::plain(first, 0),
            number::plain(second, 0)
        ),
        _ => format!(
            "{} of {} here ate {}{space}% of what was offered, usually {}{space}%",
            number::things(fault.readings as usize, "visit", "visits"),
            number::things(fault.cows as usize, "cow", "cows"),
            number::plain(first, 0),
            number::plain(second, 0)
        ),
    };
    format!("Since {since}{maybe}: {shows}.")
}

/// A note that the visits of all boxes end together, though other rows go on to `known`.
pub fn log_ends(since: Timestamp, known: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    let hours = number::plain(hours_between(since, known), 1);
    let space = number::SPACE;
    format!(
        "No visit in any box since {}, {hours}{space}h, though other rows go on: either the log of the boxes has not arrived, or \
         all of them stand still, as in a power cut. Look at a box first, then read the log. Of those hours nothing is called \
         of a box or of cows that did not come.",
        when::instant(since, at, zone)
    )
}

/// A note that a box's clock looks or looked off; `or` is the other box whose clock may be the wrong one.
pub fn clock(name: &str, or: Option<&str>, off: &ClockOff, at: Timestamp, zone: &TimeZone) -> String {
    let side = if off.hours < 0.0 { "behind" } else { "ahead" };
    let by = number::plain(off.hours.abs(), 1);
    let space = number::SPACE;
    let whose =
        or.map_or_else(String::new, |other| format!(", or that of box {other} as much the other way"));
    let shown = "cows that go from box to box seem to take too little time one way and too much the other";
    let from = when::day(off.from, at, zone);
    match off.until {
        None => format!(
            "The clock of box {name} looks about {by}{space}h {side} since {from}{whose}: {shown}. Set it right; until then no \
             standstill and no meter is called by its times, and calls that rest on intervals are unsure."
        ),
        Some(until) => format!(
            "The clock of box {name} was about {by}{space}h {side} from {from} to {}{whose}: {shown}. Times of milkings in those \
             days are wrong, and calls that rest on them are unsure.",
            when::day(until, at, zone)
        ),
    }
}

#[cfg(test)]
mod tests;
