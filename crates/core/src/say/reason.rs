//! In which words is it said what speaks for a call and against it?

use super::number;
use crate::{
    causes::{Cause, Reason, templates::lowers},
    expect::Signal,
    herd::Quarter,
    units::UnitSystem,
};

/// One reason in words.
#[derive(Debug, Clone, PartialEq)]
pub struct SaidReason {
    /// `left rear conductivity`.
    pub name: String,
    /// `7.1, usually 5.2 mS/cm`, in the farm's units.
    pub value: String,
    /// Unit in the farm's units.
    pub unit: &'static str,
}

/// A signal by its name in sentences and lanes: `milk`, `left rear share of milk`.
pub fn signal(signal: Signal, quarter: Option<Quarter>) -> String {
    let name = match signal {
        Signal::Milk => "milk",
        Signal::QuarterMilk => "share of milk",
        Signal::Conductivity => "conductivity",
        Signal::Kicks => "cup kicked off",
        Signal::Interval => "time between milkings",
        Signal::Rumination => "rumination",
        Signal::Activity => "activity",
        Signal::Eating => "eating time",
        Signal::Lying => "lying time",
        Signal::Feed => "box feed eaten",
        Signal::Visits => "visits to a box",
        Signal::Weight => "weight",
        Signal::FatProtein => "fat:protein",
        Signal::Lactose => "lactose",
        Signal::MilkTemperature => "milk temperature",
        Signal::Blood => "blood in milk",
        Signal::Cells => "somatic cell count",
        Signal::Flow => "milk flow",
        Signal::Attaching => "first cup on after",
    };
    match quarter {
        Some(quarter) => format!("{} {name}", quarter.words()),
        None => name.to_owned(),
    }
}

/// How strongly a reason speaks, of its weight (log-likelihood ratio, natural units): a person weighs words, and a weight
/// of a long case grows beyond any meaning as a figure. The steps are those of Kass and Raftery, *Bayes factors*, 1995
/// (from memory): twice the weight up to 2 is hardly worth a mention, up to 6 positive, up to 10 strong, beyond very strong.
pub fn strength(weight: f64) -> &'static str {
    let weight = weight.abs();
    if weight < 1.0 {
        "hardly"
    } else if weight < 3.0 {
        "rather"
    } else if weight < 5.0 {
        "strongly"
    } else {
        "very strongly"
    }
}

/// The same with which way it speaks: `strongly for`, `hardly against`.
pub fn speaks(weight: f64) -> String {
    format!("{} {}", strength(weight), if weight < 0.0 { "against" } else { "for" })
}

/// The word of a signal in JSON.
pub fn signal_word(signal: Signal) -> &'static str {
    match signal {
        Signal::Milk => "milk",
        Signal::QuarterMilk => "quarter-milk",
        Signal::Conductivity => "conductivity",
        Signal::Kicks => "kicks",
        Signal::Interval => "interval",
        Signal::Rumination => "rumination",
        Signal::Activity => "activity",
        Signal::Eating => "eating",
        Signal::Lying => "lying",
        Signal::Feed => "feed",
        Signal::Visits => "visits",
        Signal::Weight => "weight",
        Signal::FatProtein => "fat-protein",
        Signal::Lactose => "lactose",
        Signal::MilkTemperature => "milk-temperature",
        Signal::Blood => "blood",
        Signal::Cells => "cells",
        Signal::Flow => "flow",
        Signal::Attaching => "attaching",
    }
}

/// From the word of JSON.
pub fn signal_from_word(word: &str) -> Option<Signal> {
    Signal::ALL.into_iter().find(|own| signal_word(*own) == word)
}

/// A reason as a row of the table under a call.
///
/// `mean` says that the value is the mean since the onset.
pub fn said(reason: &Reason, units: UnitSystem, mean: bool) -> SaidReason {
    let unit = number::unit(reason.signal, units);
    let observed = number::figure(reason.signal, reason.observed, units);
    let expected = number::figure(reason.signal, reason.expected, units);
    let space = number::SPACE;
    let value = match reason.signal {
        Signal::Kicks => format!("at {observed}{space}% of milkings, usually {expected}{space}%"),
        Signal::Activity => format!("{observed}{space}% of her own"),
        _ if observed == expected => format!("{}, as expected", with_unit(&observed, unit)),
        _ if mean => format!("{observed} on average, usually {}", with_unit(&expected, unit)),
        _ => format!("{observed}, usually {}", with_unit(&expected, unit)),
    };
    SaidReason { name: signal(reason.signal, reason.quarter), value, unit }
}

/// Whether a sentence with its figures would belie itself: they read alike, or go the other way than the cause does. What it
/// weighs lay in single readings, and stands in the table.
pub fn belies(reason: &Reason, cause: Cause, units: UnitSystem) -> bool {
    let figure = |value: f64| number::figure(reason.signal, value, units);
    let alike = figure(reason.observed) == figure(reason.expected);
    alike || lowers(cause, reason.signal).is_some_and(|lowers| lowers != (reason.observed < reason.expected))
}

/// A figure and its unit; some signals have none.
fn with_unit(figure: &str, unit: &str) -> String {
    if unit.is_empty() { figure.to_owned() } else { format!("{figure}{}{unit}", number::SPACE) }
}

/// A herd's signal as a row of the table: it comes in percent of what the cows' own levels expect.
pub fn herd(reason: &Reason) -> SaidReason {
    let (observed, expected) = (number::plain(reason.observed, 1), number::plain(reason.expected, 1));
    SaidReason {
        name: format!("{} of all cows against their own levels", signal(reason.signal, None)),
        value: format!("{observed}, before {expected}{}%", number::SPACE),
        unit: "%",
    }
}

/// A box's signal as a row of the table.
pub fn of_box(reason: &Reason, units: UnitSystem) -> SaidReason {
    let (unit, scale) = match reason.signal {
        Signal::Milk | Signal::QuarterMilk => ("%", 1.0),
        other => (number::unit(other, units), 1.0),
    };
    let observed = number::plain(reason.observed * scale, 1);
    let expected = number::plain(reason.expected * scale, 1);
    SaidReason {
        name: format!("{} of all cows in this box", signal(reason.signal, reason.quarter)),
        value: format!("{observed}, usually {}", with_unit(&expected, unit)),
        unit,
    }
}

/// A reason as part of the soft line: `conductivity 7.1, usually 5.2 mS/cm`, `a third of that quarter's milk is missing`.
pub fn clause(reason: &Reason, units: UnitSystem) -> String {
    let said = said(reason, units, false);
    match reason.signal {
        Signal::QuarterMilk => match lost(reason) {
            Some(lost) => format!("{lost} of that quarter's share of the milk is missing"),
            None => format!("that quarter's share of the milk {}", said.value),
        },
        Signal::Conductivity => format!("conductivity {}", said.value),
        Signal::Kicks => format!("its cup was kicked off {}", said.value),
        _ => format!("{} {}", signal(reason.signal, None), said.value),
    }
}

/// How much of what was expected is missing, in words; nothing below a tenth.
fn lost(reason: &Reason) -> Option<&'static str> {
    let share = 1.0 - reason.observed / reason.expected;
    [
        (0.9, "nearly all"),
        (0.7, "three quarters"),
        (0.58, "two thirds"),
        (0.42, "half"),
        (0.29, "a third"),
        (0.22, "a quarter"),
        (0.16, "a fifth"),
        (0.1, "a tenth"),
    ]
    .into_iter()
    .find(|(least, _)| *least <= share)
    .map(|(_, words)| words)
}

/// What a strip of the picture is measured in: `kg a milking`, `share of milk, %`.
pub fn lane_unit(of: Signal, units: UnitSystem) -> String {
    match of {
        Signal::Milk => format!("{} a milking", number::mass_unit(units)),
        Signal::QuarterMilk => "share of milk, %".into(),
        Signal::Conductivity => "mS/cm".into(),
        Signal::Kicks => "% of milkings".into(),
        Signal::Interval => "h since last milking".into(),
        Signal::FatProtein => "ratio".into(),
        Signal::Activity => "% of her own".into(),
        Signal::Visits => "a day".into(),
        other => number::unit(other, units).into(),
    }
}
