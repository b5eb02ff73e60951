//! In which words is it said what a farm's own answers have taught, and what a call costs?

use jiff::{Timestamp, tz::TimeZone};

use super::{found, number, when};
use crate::causes::{
    Cause, Cost,
    learned::{Learned, Step},
};

/// `Since 12 March the cause “udder” is taken to begin 1.4 times as often here as stated (90 % interval 1.0 to 1.9),
/// because …`; `since` is when it begins to count.
pub fn step(step: &Step, since: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    let name = found::cause(step.cause.word());
    let (low, high) = step.now.between;
    format!(
        "{} the cause “{name}” is taken to begin {}, because {}. Before, it was taken to begin {}.",
        begins(since, at, zone),
        times(step.now.factor, Some((low, high))),
        because(&step.now),
        times(step.before, None),
    )
}

/// What holds now: `udder: taken to begin 1.4 times as often here as stated …`
pub fn now(cause: Cause, learned: &Learned) -> String {
    format!(
        "The cause “{}” is taken to begin {}: {}.",
        found::cause(cause.word()),
        times(learned.factor, Some(learned.between)),
        because(learned)
    )
}

fn begins(since: Timestamp, at: Timestamp, zone: &TimeZone) -> String {
    if since <= at {
        format!("Since {}", when::day(since, at, zone))
    } else {
        format!("From {} on", when::day(since, at, zone))
    }
}

fn times(factor: f64, between: Option<(f64, f64)>) -> String {
    let interval = between.map_or(String::new(), |(low, high)| {
        format!(" (90 % interval {} to {})", number::plain(low, 1), number::plain(high, 1))
    });
    if factor == 1.0 {
        return format!("as often here as stated{interval}");
    }
    format!("{} times as often here as stated{interval}", number::plain(factor, 1))
}

fn because(learned: &Learned) -> String {
    let mut parts = Vec::new();
    if 0 < learned.answered {
        let (calls, were) = (
            if learned.answered == 1 { "answered call" } else { "answered calls" },
            if learned.answered == 1 || learned.right == 1 { "was" } else { "were" },
        );
        parts.push(format!(
            "{} of {} {calls} {were} right, where {} could be expected",
            learned.right,
            learned.answered,
            number::plain(learned.expected, 1)
        ));
    }
    if 0 < learned.instead {
        parts.push(format!("it was found instead of another cause {}", often(learned.instead)));
    }
    if 0 < learned.missed {
        let cases = if learned.missed == 1 { "case was" } else { "cases were" };
        parts.push(format!("{} {cases} never called", learned.missed));
    }
    if parts.is_empty() { "other causes were found where it was considered".into() } else { parts.join("; ") }
}

fn often(times: u32) -> String {
    match times {
        1 => "once".into(),
        2 => "twice".into(),
        times => format!("{times} times"),
    }
}

/// Cases no call named, beside those one did: `2 cases are known that no call named, beside 9 that a call did.`
pub fn missed(missed: u32, right: u32) -> String {
    match missed {
        0 => "No case is known that was not called.".into(),
        1 => format!("1 case is known that no call named, beside {right} that a call did."),
        missed => format!("{missed} cases are known that no call named, beside {right} that a call did."),
    }
}

/// What was learned was taken back.
pub fn taken_back(
    cause: &str,
    told_at: Timestamp,
    by: Option<&str>,
    at: Timestamp,
    zone: &TimeZone,
) -> String {
    let by = by.map_or(String::new(), |by| format!(" by {by}"));
    format!(
        "What was learned of “{}” up to {} was taken back{by}; what is answered after it counts.",
        found::cause(cause),
        if told_at <= at || when::is_today(told_at, at, zone) {
            when::instant(told_at, at, zone)
        } else {
            when::minute(told_at, zone)
        }
    )
}

/// What a case costs and what a look does: `A case costs 444 USD of 2015; a look now saves 25 % of it …`
pub fn cost(cost: &Cost) -> String {
    format!(
        "A case costs {} of {}; a look now saves {} of it, less with every hour, all of that within {} h. A look costs {} {}, one in passing {}.",
        number::money(cost.case, &cost.currency),
        cost.year,
        number::percent(cost.saved),
        number::plain(cost.hours, 0),
        figure(cost.call),
        cost.currency,
        figure(cost.glance),
    )
}

/// A figure of money as it was set: whole, or with what stands after the point.
pub fn figure(value: f64) -> String {
    let decimals = if value.fract() == 0.0 {
        0
    } else if (value * 10.0).fract().abs() < 1e-9 {
        1
    } else {
        2
    };
    number::plain(value, decimals)
}

/// What is to be known of a table whose money is not of one year and currency; empty where it is.
pub fn moneys(moneys: &std::collections::BTreeMap<&str, std::collections::BTreeSet<u16>>) -> String {
    let years: std::collections::BTreeSet<u16> = moneys.values().flatten().copied().collect();
    let span = match (years.first(), years.last()) {
        (Some(first), Some(last)) if first != last => {
            format!("money of {} years from {first} to {last}", years.len())
        }
        _ => String::new(),
    };
    match (moneys.len(), span.is_empty()) {
        (2.., _) => {
            let all: Vec<&str> = moneys.keys().copied().collect();
            format!(
                "These costs are in {}{}. Nothing is converted: they are weighed against each other as they stand. Set the rest \
                 in one currency, or what costs more is only what has more of its coins.",
                all.join(" and "),
                if span.is_empty() { String::new() } else { format!(", {span}") }
            )
        }
        (_, false) => format!(
            "These costs are {span}. Nothing is converted: they are weighed against each other as they stand, and the year \
             stands beside each."
        ),
        _ => String::new(),
    }
}
