//! What intervals come to, in sentences: what to type in, how sure it is, and what was assumed.

use cowpath_core::{
    minutes::{intervals::Best, terms::Terms},
    say::number::{self, SPACE},
    units::UnitSystem,
};

use super::{
    gains::{self, signed_mass},
    intervals::{Advice, Changes, Intervals, Minutes},
    minute_rows::{mass, whole_mass},
    settled::Stand,
};

/// With fewer days of box logs no gain is told as sure. Stated default: habits of a week hold each of its days once, and the
/// pens of a plan are fitted from as many on.
pub(super) const ENOUGH_DAYS: f64 = 7.0;
/// Minutes of the cows of now and of the log that differ by more than this share are both told.
const ALIKE: f64 = 0.01;

/// What must be known before anything is typed in.
pub(super) const CAUTIONS: [&str; 4] = [
    "A box lets a cow in from its shortest interval on; when she comes is hers. The mean interval will be longer than what you type in by what she waits.",
    "Change one group at a time, by half an hour to an hour, and look again after two weeks: cows learn slowly.",
    "Fresh cows, treated cows and cows with a call on the round keep the settings a person gave them.",
    "The gain of shorter intervals is what trials found for some weeks; within a day it may be smaller.",
];

/// `3.2 days`, `14 days`.
pub(super) fn days(days: f64) -> String {
    format!("{}{SPACE}days", number::plain(days, usize::from(days < ENOUGH_DAYS)))
}

/// Which days it is from, as a sentence.
pub(super) fn from_days(of: f64) -> String {
    // What is short of two weeks by hours is two weeks to whoever reads it.
    if 13.0 < of {
        "From the last 14 days.".into()
    } else {
        format!("From the {} of the last 14 that have visits.", days(of))
    }
}

/// Whether money is lost for sure: the milk is worth less, and no work that is spared makes up for it.
fn loses(change: &Changes) -> bool {
    change.milk_money.high90 < 0.0 && change.money.low90 <= 0.0
}

/// Settles what is to be typed in. Where one interval for each group loses for sure, none is offered.
pub(super) fn advise(answer: &mut Intervals) {
    let by_cow = answer.change.as_ref().filter(|change| !loses(change) && 0.0 < change.money.mean);
    answer.advice = match &answer.change_by_group {
        Some(by_group) if !loses(by_group) => Some(Advice::ByGroup),
        _ if by_cow.is_some() => Some(Advice::ByCow),
        _ => Some(Advice::Leave),
    };
    if answer.advice == Some(Advice::ByGroup) {
        return;
    }
    for group in &mut answer.groups {
        let now = group.words[3].clone();
        group.words = [now.clone(), "leave".into(), "leave".into(), now];
    }
}

/// `43.3 kg of milk a day more than now, with 90 % certainty …`.
fn told(change: &Changes, units: UnitSystem) -> String {
    let more = if change.milk_kg.mean < 0.0 { "less" } else { "more" };
    let sure = if change.enough_days {
        format!(
            ", with 90{SPACE}% certainty {} to {}",
            signed_mass(change.milk_kg.low90, units),
            signed_mass(change.milk_kg.high90, units)
        )
    } else {
        ", not sure".into()
    };
    format!("{} of milk a day {more} than now{sure}", mass(change.milk_kg.mean.abs(), units))
}

/// The answer in a few sentences: first what the table of settings is worth.
pub(super) fn summary(
    answer: &Intervals,
    minutes: &Minutes,
    best: &Best,
    terms: &Terms,
    units: UnitSystem,
) -> String {
    let mut words = Vec::new();
    if minutes.days < ENOUGH_DAYS {
        words.push(format!(
            "Only {} of box logs lie behind this, less than a week: a first look, and nothing to type in yet.",
            days(minutes.days)
        ));
    }
    match (&answer.change_by_group, answer.advice) {
        (Some(change), Some(Advice::ByGroup)) => {
            words.push(format!("An interval for each group: {}.", told(change, units)));
        }
        (Some(change), _) => words.push(format!(
            "Leave the groups as they are: with one interval for each group it would be {}, which loses money.",
            told(change, units)
        )),
        (None, _) => {}
    }
    let whole = format!(
        "{} give {} a day in {} box minutes.",
        number::things(best.cows.len(), "cow", "cows"),
        whole_mass(best.milk_kg, units),
        number::count(best.minutes.round() as usize)
    );
    words.push(match &answer.change {
        Some(change) => format!("One for each cow: {}; then {whole}", told(change, units)),
        None => format!("With an interval for each cow {whole}"),
    });
    if best.worth <= 0.0 {
        words.push(
            "Another box minute is worth nothing: every cow is at the shortest interval her limit allows, and the boxes have time left."
                .into(),
        );
    } else {
        let ten = answer.worth_of_ten.map_or(String::new(), |ten| {
            format!(", ten more are worth {} a day", gains::money(ten, &terms.currency))
        });
        words.push(format!(
            "One more box minute a day is worth {}{ten}.",
            gains::money(best.worth, &terms.currency)
        ));
    }
    if let Some(half) = answer.worth_of_half_hour.filter(|half| 0.005 <= *half) {
        words.push(format!(
            "Limits half an hour shorter would be worth {} a day.",
            gains::money(half, &terms.currency)
        ));
    }
    if minutes.for_milking < minutes.used_now {
        words.push(format!(
            "Milkings now take {} minutes a day, more than there are beside the idle reserve.",
            number::count(minutes.used_now.round() as usize)
        ));
    }
    words.join(" ")
}

/// What is assumed or not known.
pub(super) fn notes(stand: &Stand<'_>, minutes: &Minutes, terms: &Terms) -> Vec<String> {
    let mut notes = Vec::new();
    if minutes.days < ENOUGH_DAYS {
        notes.push(format!(
            "Only {} of box logs lie behind this: habits of cows and boxes are little known, and what a cow’s own days do not tell \
             is the herd’s or a stated default.",
            days(minutes.days)
        ));
    }
    if ALIKE * minutes.used_now < (minutes.now_by_cow - minutes.used_now).abs() {
        notes.push(format!(
            "Milkings took {} minutes a day in these days; {} of now take {} at the intervals they have. Cows that came or went \
             in these days make the difference.",
            number::count(minutes.used_now.round() as usize),
            number::things(stand.curves.len(), "cow", "cows"),
            number::count(minutes.now_by_cow.round() as usize)
        ));
    }
    if !stand.flows_logged {
        notes.push("No seconds of flow are logged: handling is taken to be two minutes a milking, and the rest of a stay to be flow.".into());
    }
    if let Some(wait_h) = stand.wait_h {
        notes.push(format!(
            "Cows here come {} after their shortest intervals, in the middle: a mean interval lies so much above what is typed in, \
             and no mean is aimed at that is nearer to the farm’s shortest than that.",
            gains::hours(wait_h)
        ));
    }
    if 0 < minutes.boxes {
        notes.push(format!(
            "A box costs {} a day, that is {} a minute of its day.",
            gains::money(terms.box_day, &terms.currency),
            gains::money(terms.box_day / 1440.0, &terms.currency)
        ));
    }
    notes.push("All boxes are taken as one: where pens cannot reach each other’s boxes, a pen with fewer cows a box has minutes that the others cannot use.".into());
    notes
}

#[cfg(test)]
mod tests;
