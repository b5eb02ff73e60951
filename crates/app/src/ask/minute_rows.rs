//! Makes the ledger of box minutes: reads the rows of a span, splits each day of each box, and adds up by cow.

use std::{
    collections::{BTreeMap, BTreeSet},
    ops::ControlFlow,
};

use cowpath_core::{
    minutes::ledger::{self, Ledger, Row, Spent, State, Stay, Use, whole_seconds},
    say::{number, when},
    tables::Visit,
    time::{day_starts, farm_day},
    units::{Kilograms, UnitSystem},
};
use jiff::{SignedDuration, Timestamp, ToSpan, civil::Date, tz::TimeZone};

use super::{
    box_minutes::{
        AskedMinutes, BoxMinutes, DayMinutes, Handling, HourMinutes, Seconds, SharedTime, Stretch,
    },
    dear,
    farm::{Barn, Ways},
    minute_cows, trends,
};
use crate::trouble::user;

/// Longest visit that is read as one.
const LONGEST_VISIT: SignedDuration = SignedDuration::from_hours(6);
/// A stretch without a row so long is named, ms: a box in use has a visit every ten minutes.
const SILENT_MS: i64 = 2 * 3_600_000;
/// Days without being told.
const USUAL_DAYS: i64 = 7;
/// A box without a row in so many days before the span, and none in it, is no longer one of the farm's.
const IN_USE_DAYS: i64 = 14;
/// Days that are split at once: an answer of more would not be read.
const MOST_DAYS: i32 = 400;
/// With a row so late a day counts as over.
pub(super) const DAY_ENDS_WITHIN: SignedDuration = SignedDuration::from_hours(1);
/// Overlaps of one box and day that are told one by one.
const MOST_SHARED: usize = 12;

/// Rows of a span.
pub(super) struct Rows {
    /// Visits by box: whose (place among the herd numbers), and the row.
    pub(super) visits: BTreeMap<u16, Vec<(u32, Visit)>>,
    pub(super) states: BTreeMap<u16, Vec<State>>,
}

/// Reads the rows that share time with a span, in order of begin.
pub(super) fn rows(barn: &Barn, from: Timestamp, to: Timestamp) -> anyhow::Result<Rows> {
    let mut rows = Rows { visits: BTreeMap::new(), states: BTreeMap::new() };
    barn.store.minute_visits(from.saturating_sub(LONGEST_VISIT)?..to, &mut |number, visit| {
        if from < visit.ended_at {
            rows.visits.entry(visit.at_box.0).or_default().push((number, *visit));
        }
        ControlFlow::Continue(())
    })?;
    for row in barn.store.box_states(from..to)? {
        let (from, to) = (row.from.as_millisecond(), row.to.as_millisecond());
        rows.states.entry(row.at_box.0).or_default().push(State {
            what: Use::of_state(&row.state),
            from,
            to,
        });
    }
    Ok(rows)
}

/// The ledger as asked.
///
/// # Errors
/// Where the file cannot be read or the span cannot be.
pub fn box_minutes(barn: &Barn, asked: &AskedMinutes, now: Timestamp) -> anyhow::Result<BoxMinutes> {
    let _held = barn.store.hold()?;
    let mut ways = barn.ways()?;
    if asked.metric {
        ways.units = UnitSystem::Metric;
    }
    let zone = ways.zone.clone();
    let newest = barn.store.box_row_before(Timestamp::MAX)?;
    let last = match asked.to {
        Some(last) => last,
        None => last_over(barn, newest.unwrap_or(now), &zone)?,
    };
    let first = match asked.from {
        Some(first) => first,
        None => last.checked_sub((USUAL_DAYS - 1).days())?,
    };
    let long = first.until(last)?.get_days();
    if long < 0 {
        return Err(user(
            "the span ends before it begins",
            "nothing was changed",
            "give the earlier day first",
        ));
    }
    if MOST_DAYS <= long {
        return Err(user(
            format!("{first} to {last} is more than {MOST_DAYS} days"),
            "nothing was changed",
            "ask for a shorter span: the ledger is told by box and day",
        ));
    }
    let (from, to) = (day_starts(first, &zone)?, day_starts(last.checked_add(1.day())?, &zone)?);
    // A trend needs a fortnight, whatever week is asked for; of a single day none is told.
    let since = if first == last { first } else { first.min(last.checked_sub((trends::DAYS - 1).days())?) };
    let rows = rows(barn, day_starts(since, &zone)?, to)?;
    let names = barn.store.boxes()?;
    let numbers = barn.store.numbers()?;
    let order = in_use(barn, &rows, &names, from)?;
    let mut days = Vec::new();
    let mut spent: BTreeMap<u32, Spent> = BTreeMap::new();
    let mut earlier = Vec::new();
    let mut date = since;
    while date <= last {
        for (key, name) in &order {
            let (day, ledger) = one_day(&ways, &rows, &numbers, *key, name, date)?;
            if date < first {
                earlier.push(day);
                continue;
            }
            for (cow, own) in &ledger.cows {
                spent.entry(*cow).or_default().add(own);
            }
            days.push(day);
        }
        date = date.checked_add(1.day())?;
    }
    dear::mark_unseen(&mut days);
    let begun: Vec<&(u32, Visit)> = rows
        .visits
        .values()
        .flatten()
        .filter(|(_, visit)| from <= visit.started_at && visit.started_at < to)
        .collect();
    // A cow is there from her first row of the span to its last known hour.
    let ends = newest.map_or(to, |newest| newest.min(to));
    let cows = minute_cows::cows(&begun, &spent, &numbers, from, ends);
    let boxes: usize = order.len();
    let box_days = days.iter().filter(|day| day.seen).count().max(1);
    let states_logged = barn.store.tells_box_states()?;
    let trends = trends::trends(&trends::whole_days(barn, &zone, newest, earlier.iter().chain(&days))?);
    Ok(BoxMinutes {
        farm: ways.name.clone(),
        from: first.to_string(),
        to: last.to_string(),
        summary: dear::summary(&days, boxes, ways.units),
        notes: notes(&days, states_logged, newest.filter(|newest| farm_day(*newest, &zone) == last), &ways),
        trend: trends::words(&trends, &last.to_string(), ways.units),
        trends,
        habits: dear::habits(&cows, ways.units),
        take_off: dear::take_off(&begun, box_days, ways.units),
        days,
        cows,
        states_logged,
    })
}

/// The last farm day that is over: that of the newest row, or the one before while it still goes on and there is one.
fn last_over(barn: &Barn, newest: Timestamp, zone: &TimeZone) -> anyhow::Result<Date> {
    let day = farm_day(newest, zone);
    let (begins, ends) = (day_starts(day, zone)?, day_starts(day.checked_add(1.day())?, zone)?);
    let goes_on = newest < ends.saturating_sub(DAY_ENDS_WITHIN)?;
    if goes_on && barn.store.box_row_before(begins)?.is_some() {
        Ok(day.checked_sub(1.day())?)
    } else {
        Ok(day)
    }
}

/// Boxes of the span in the order people look them up: with a row in it, or not long before.
fn in_use(barn: &Barn, rows: &Rows, names: &[String], from: Timestamp) -> anyhow::Result<Vec<(u16, String)>> {
    let mut keys: BTreeSet<u16> = rows.visits.keys().chain(rows.states.keys()).copied().collect();
    // Days before are looked at only for boxes that the span does not show.
    if keys.len() < names.len() {
        let before = from.saturating_sub(SignedDuration::from_hours(24 * IN_USE_DAYS))?..from;
        keys.extend(barn.store.outcomes_told(before)?.iter().map(|told| told.at_box.0));
    }
    let mut order: Vec<(u16, String)> =
        keys.into_iter().filter_map(|key| Some((key, names.get(usize::from(key))?.clone()))).collect();
    // 9 before 10, and names after numbers.
    order.sort_by_key(|(_, name)| (name.parse::<u64>().map_or((1, 0), |number| (0, number)), name.clone()));
    Ok(order)
}

fn one_day(
    ways: &Ways,
    rows: &Rows,
    numbers: &[String],
    key: u16,
    name: &str,
    date: Date,
) -> anyhow::Result<(DayMinutes, Ledger)> {
    let zone = &ways.zone;
    let (from, to) = (day_starts(date, zone)?, day_starts(date.checked_add(1.day())?, zone)?);
    let cuts = hours(ways, from, to)?;
    let (from_ms, to_ms) = (from.as_millisecond(), to.as_millisecond());
    let own = rows.visits.get(&key).map_or(&[][..], Vec::as_slice);
    // Visits come in order of begin; of those that begin before the day only the last hours' can reach into it.
    let reach = from.saturating_sub(LONGEST_VISIT)?;
    let first = own.partition_point(|(_, visit)| visit.started_at < reach);
    let after = own.partition_point(|(_, visit)| visit.started_at < to);
    let own: Vec<&(u32, Visit)> =
        own[first..after].iter().filter(|(_, visit)| from < visit.ended_at).collect();
    let stays: Vec<Stay> = own.iter().map(|(cow, visit)| Stay::of(*cow, visit)).collect();
    let states: Vec<State> = rows
        .states
        .get(&key)
        .into_iter()
        .flatten()
        .filter(|state| state.from < to_ms && from_ms < state.to || state.to < state.from)
        .copied()
        .collect();
    let ledger = ledger::ledger(&cuts, &stays, &states, SILENT_MS);
    let spent = ledger.day();
    let instant = |ms: i64| Timestamp::from_millisecond(ms).unwrap_or(from);
    let words = |row: Row| match row {
        Row::Stay(place) => {
            let (cow, visit) = own[place];
            let who = numbers.get(*cow as usize).map_or("a cow", String::as_str);
            format!("{who} {}–{}", clock(ways, visit.started_at), clock(ways, visit.ended_at))
        }
        Row::State(place) => {
            let state = &states[place];
            let what = format!("{:?}", state.what).to_lowercase();
            format!("{what} {}–{}", clock(ways, instant(state.from)), clock(ways, instant(state.to)))
        }
    };
    let mut shared: Vec<SharedTime> = ledger
        .shared
        .iter()
        .take(MOST_SHARED)
        .map(|own| SharedTime {
            from: when::rfc3339(instant(own.from), zone),
            to: when::rfc3339(instant(own.to), zone),
            words: format!("{} and {}", words(own.given), words(own.claimed)),
        })
        .collect();
    let more = ledger.shared.len().saturating_sub(MOST_SHARED);
    if let Some(last) = shared.last_mut().filter(|_| 0 < more) {
        last.words.push_str(&format!("; and {} more like it", number::count(more)));
    }
    let gaps = ledger.gaps.iter().map(|(from, to)| Stretch {
        from: when::rfc3339(instant(*from), zone),
        to: when::rfc3339(instant(*to), zone),
        words: format!("{} to {}", clock(ways, instant(*from)), clock(ways, instant(*to))),
    });
    let begun = || own.iter().zip(&stays).filter(|((_, visit), _)| from <= visit.started_at);
    let milk: Vec<f64> = begun().filter_map(|((_, visit), _)| milk_kg(visit)).collect();
    let hours = cuts.windows(2).zip(&ledger.pieces).map(|(cut, piece)| HourMinutes {
        from: when::rfc3339(instant(cut[0]), zone),
        seconds: seconds(piece).0,
        name: format!("{:02}", zone.to_datetime(instant(cut[0])).hour()),
    });
    let (all, handling) = seconds(&spent);
    let mut day = DayMinutes {
        name: name.to_owned(),
        date: date.to_string(),
        day_s: (to_ms - from_ms) / 1000,
        seen: true,
        seconds: all,
        handling,
        unsplit_s: ledger.unsplit_ms / 1000,
        milkings: begun().filter(|(_, stay)| stay.milked()).count() as u32,
        milk_kg: (!milk.is_empty()).then(|| milk.iter().sum()),
        hours: hours.collect(),
        shared,
        gaps: gaps.collect(),
        backwards: ledger.backwards.len(),
        words: String::new(),
    };
    day.words = dear::day(&day, ways.units);
    Ok((day, ledger))
}

/// Whole seconds by use, and handling in its parts.
fn seconds(spent: &Spent) -> (Seconds, Handling) {
    let of = whole_seconds(spent.0);
    let own = |of_use: Use| of[of_use as usize];
    let handling = Handling {
        preparing: own(Use::Preparing),
        leaving: own(Use::Leaving),
        not_split: own(Use::Handling),
    };
    let seconds = Seconds {
        handling: handling.preparing + handling.leaving + handling.not_split,
        milk_flow: own(Use::MilkFlow),
        last_quarter: own(Use::LastQuarter),
        incomplete: own(Use::Incomplete),
        turned_away: own(Use::TurnedAway),
        fed_only: own(Use::FedOnly),
        failed: own(Use::Failed),
        cleaning: own(Use::Cleaning),
        service: own(Use::Service),
        fault: own(Use::Fault),
        off: own(Use::Off),
        idle: own(Use::Idle),
    };
    (seconds, handling)
}

/// The day's begin, its whole hours of the wall clock, its end, ms.
fn hours(ways: &Ways, from: Timestamp, to: Timestamp) -> anyhow::Result<Vec<i64>> {
    let mut cuts = vec![from.as_millisecond()];
    // Clocks are changed by whole or half hours.
    let mut at = from.checked_add(SignedDuration::from_mins(30))?;
    while at < to {
        if ways.zone.to_datetime(at).minute() == 0 {
            cuts.push(at.as_millisecond());
        }
        at = at.checked_add(SignedDuration::from_mins(30))?;
    }
    cuts.push(to.as_millisecond());
    Ok(cuts)
}

fn clock(ways: &Ways, at: Timestamp) -> String {
    ways.zone.to_datetime(at).strftime("%H:%M").to_string()
}

/// Milk of the whole udder, kg: as measured, or the sum of four measured quarters.
pub(super) fn milk_kg(visit: &Visit) -> Option<f64> {
    visit.milk_kg.or_else(|| visit.quarters.iter().map(|quarter| quarter.milk_kg).sum::<Option<f64>>())
}

fn notes(days: &[DayMinutes], states_logged: bool, newest: Option<Timestamp>, ways: &Ways) -> Vec<String> {
    let mut notes = Vec::new();
    if days.is_empty() {
        notes.push("No row of a box was read for these days, nor for the two weeks before them.".to_owned());
        return notes;
    }
    if !states_logged {
        notes.push(
            "The logs tell nothing of cleaning, service, faults and times off: all of them stand as idle here."
                .to_owned(),
        );
    }
    let unseen: BTreeSet<&str> = days.iter().filter(|day| !day.seen).map(|day| &*day.date).collect();
    if let (Some(first), Some(last)) = (unseen.first(), unseen.last()) {
        let these = if first == last { (*first).to_owned() } else { format!("{first} to {last}") };
        notes.push(format!(
            "Without a visit in any box, and in no sum: {}, {these}.",
            number::things(unseen.len(), "day", "days")
        ));
    }
    if let Some(newest) = newest {
        notes.push(format!(
            "The last visit or state of a box began {}: what comes after it on that day stands as idle.",
            when::minute(newest, &ways.zone)
        ));
    }
    let sum = |of: fn(&DayMinutes) -> usize| days.iter().filter(|day| day.seen).map(of).sum::<usize>();
    let (shared, gaps, backwards) =
        (sum(|day| day.shared.len()), sum(|day| day.gaps.len()), sum(|day| day.backwards));
    if 0 < shared {
        notes.push(format!(
            "{} in which two rows of a box claim the same time; it is counted once, for the visit, or the row that began first.",
            number::things(shared, "stretch", "stretches")
        ));
    }
    if 0 < gaps {
        notes.push(format!(
            "{} of two hours and more without a row of the box: it may have stood idle, or its log may have a hole.",
            number::things(gaps, "stretch", "stretches")
        ));
    }
    if 0 < backwards {
        notes.push(format!(
            "{} end before they begin and count for nothing.",
            number::things(backwards, "row", "rows")
        ));
    }
    let unsplit: i64 = days.iter().map(|day| day.unsplit_s).sum();
    if 0 < unsplit {
        notes.push(format!(
            "Of milkings without seconds of flow, {} box minutes could not be split and stand as milk flow, or as handling where no outcome is logged.",
            number::count((unsplit / 60) as usize)
        ));
    }
    notes
}

/// Milk of many in the farm's unit, whole: `3,982 kg`.
pub(super) fn whole_mass(kg: f64, units: UnitSystem) -> String {
    let value = match units {
        UnitSystem::Metric => kg,
        UnitSystem::Us => Kilograms(kg).pounds(),
    };
    format!("{}{}{}", number::count(value.max(0.0).round() as usize), number::SPACE, number::mass_unit(units))
}

/// Milk in the farm's unit: for words.
pub(super) fn mass(kg: f64, units: UnitSystem) -> String {
    number::mass(Kilograms(kg), units)
}
