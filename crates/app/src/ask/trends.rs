//! Trends of the ledger: what of the boxes' time rises or falls over a fortnight by more than days differ.

use std::collections::BTreeMap;

use cowpath_core::{
    minutes::trend::{self, Trend},
    say::{
        number::{self, SPACE},
        plan::list,
    },
    time::day_starts,
    units::{Kilograms, UnitSystem},
};
use jiff::{SignedDuration, Timestamp, ToSpan, civil::Date, tz::TimeZone};

use super::{
    box_minutes::{DayMinutes, Trending},
    farm::Barn,
    minute_rows::DAY_ENDS_WITHIN,
};

/// Days over which a trend is told, where no longer span was asked for.
pub(super) const DAYS: i64 = 14;

/// A day of all boxes together: its number, and the boxes' own days.
pub(super) struct Day<'a> {
    pub(super) number: f64,
    pub(super) boxes: Vec<&'a DayMinutes>,
}

/// What is followed: name, words, whether it is minutes a box and day, and its figure of a day.
type Followed = (&'static str, &'static str, bool, fn(&Day<'_>) -> f64);

const FOLLOWED: [Followed; 7] = [
    ("idle", "idle time", true, |day| day.minutes(|own| own.seconds.idle)),
    ("milk-flow", "milk flow", true, |day| day.minutes(|own| own.seconds.milk_flow)),
    ("last-quarter", "waiting for one last quarter", true, |day| day.minutes(|own| own.seconds.last_quarter)),
    ("handling", "handling", true, |day| day.minutes(|own| own.seconds.handling)),
    ("turned-away", "time turned away or fed only", true, |day| {
        day.minutes(|own| own.seconds.turned_away + own.seconds.fed_only)
    }),
    ("failed", "failed or incomplete time", true, |day| {
        day.minutes(|own| own.seconds.failed + own.seconds.incomplete)
    }),
    ("milk-minute", "milk a minute in use", false, |day| {
        let used: i64 = day.boxes.iter().map(|own| own.day_s - own.seconds.idle).sum();
        let kg: f64 = day.boxes.iter().filter_map(|own| own.milk_kg).sum();
        if 0 < used && 0.0 < kg { 60.0 * kg / used as f64 } else { f64::NAN }
    }),
];

impl Day<'_> {
    /// Minutes a box.
    fn minutes(&self, of: fn(&DayMinutes) -> i64) -> f64 {
        self.boxes.iter().map(|own| of(own)).sum::<i64>() as f64 / 60.0 / self.boxes.len().max(1) as f64
    }
}

/// Days of which the log tells from begin to end: boxes ran the day before, and the newest row is not before their end.
pub(super) fn whole_days<'a>(
    barn: &Barn,
    zone: &TimeZone,
    newest: Option<Timestamp>,
    days: impl Iterator<Item = &'a DayMinutes>,
) -> anyhow::Result<Vec<Day<'a>>> {
    let mut whole: Vec<Day<'a>> = Vec::new();
    let mut by_date: BTreeMap<&str, Vec<&DayMinutes>> = BTreeMap::new();
    days.for_each(|day| by_date.entry(&day.date).or_default().push(day));
    for (date, boxes) in by_date {
        let date: Date = date.parse()?;
        let (begins, ends) = (day_starts(date, zone)?, day_starts(date.checked_add(1.day())?, zone)?);
        let before = barn.store.box_row_before(begins)?;
        let ran_before =
            before.is_some_and(|row| begins.duration_since(row) < SignedDuration::from_hours(24));
        let over =
            newest.is_some_and(|newest| ends.saturating_sub(DAY_ENDS_WITHIN).is_ok_and(|end| end <= newest));
        if ran_before && over && boxes.iter().any(|own| 0 < own.milkings) {
            whole.push(Day { number: begins.as_second() as f64 / 86_400.0, boxes });
        }
    }
    Ok(whole)
}

/// Trends of the days that are whole; empty with too few.
pub(super) fn trends(days: &[Day<'_>]) -> Vec<Trending> {
    let certainty = trend::limit(FOLLOWED.len());
    let told = FOLLOWED.iter().filter_map(|(what, .., of)| {
        let figures: Vec<(f64, f64)> = days.iter().map(|day| (day.number, of(day))).collect();
        // What is nothing on every day has no trend.
        let own = trend::trend(&figures, certainty).filter(|own| own.first != 0.0 || own.last != 0.0)?;
        Some(Trending { what, days: figures.len(), sure: own.sure(), trend: own })
    });
    told.collect()
}

/// In sentences: what changes for sure and by how much, then what is no more than noise.
pub(super) fn words(trends: &[Trending], last: &str, units: UnitSystem) -> String {
    let Some(days) = trends.first().map(|own| own.days) else { return String::new() };
    let of = |own: &Trending| FOLLOWED.iter().find(|(what, ..)| *what == own.what);
    let (sure, unsure): (Vec<_>, Vec<_>) = trends.iter().partition(|own| own.sure);
    let mut words = format!("Over the {days} days to {last}");
    if sure.is_empty() {
        words.push_str(" nothing rises or falls by more than days differ by themselves.");
    } else {
        let all: Vec<String> = sure
            .iter()
            .filter_map(|own| {
                let (_, name, minutes, _) = of(own)?;
                Some(format!("{name} {}", changes(&own.trend, *minutes, units)))
            })
            .collect();
        words.push_str(&format!(": {}. That is more than days differ by themselves.", list(&all, "and")));
    }
    let all: Vec<String> = unsure
        .iter()
        .filter_map(|own| {
            let (_, name, minutes, _) = of(own)?;
            let change = figure(own.trend.change, *minutes, units, true);
            let unit = if *minutes { String::new() } else { format!("{SPACE}{}", unit(false, units)) };
            Some(format!("{name} {change}{unit} ({})", span(&own.trend, *minutes, units)))
        })
        .collect();
    if !all.is_empty() {
        words
            .push_str(&format!(" Within day-to-day noise, in minutes a box and day: {}.", list(&all, "and")));
    }
    words
}

/// `falls from 204 to 176 min a box and day (−45 to −11)`.
fn changes(own: &Trend, minutes: bool, units: UnitSystem) -> String {
    let way = if own.change < 0.0 { "falls" } else { "rises" };
    let whose = if minutes { " a box and day" } else { "" };
    format!(
        "{way} from {} to {}{SPACE}{}{whose} ({})",
        figure(own.first, minutes, units, false),
        figure(own.last, minutes, units, false),
        unit(minutes, units),
        span(own, minutes, units)
    )
}

fn span(own: &Trend, minutes: bool, units: UnitSystem) -> String {
    format!("{} to {}", figure(own.low, minutes, units, true), figure(own.high, minutes, units, true))
}

fn unit(minutes: bool, units: UnitSystem) -> &'static str {
    if minutes { "min" } else { number::mass_unit(units) }
}

fn figure(value: f64, minutes: bool, units: UnitSystem, sign: bool) -> String {
    let value = if minutes || units == UnitSystem::Metric { value } else { Kilograms(value).pounds() };
    let decimals = if minutes { 0 } else { 2 };
    if sign { number::signed(value, decimals) } else { number::plain(value, decimals) }
}
