//! Makes the answer about a day of the boxes: which rows share time with it, what they count, what they cannot tell.

use std::{
    collections::{BTreeMap, BTreeSet},
    ops::Range,
};

use cowpath_core::{
    herd::BoxKey,
    say::{number, summary::Lacks, when},
    tables::Outcome,
    time::{day_seconds, day_starts, farm_day},
    units::{Kilograms, UnitSystem},
};
use cowpath_store::{Stay, Told};
use jiff::{SignedDuration, Timestamp, ToSpan, civil::Date};

use super::{
    boxes::{AskedBoxes, BoxDay, BoxState, BoxVisit, Boxes, Counts, DayAxis, HerVisit, Hers, VisitWords},
    farm::{Barn, Ways},
    overlap::overlaps,
    refused,
    tellings::Tellings,
};

/// Longest visit that is read as one.
const LONGEST_VISIT: SignedDuration = SignedDuration::from_hours(6);
/// Whether a box can tell of an outcome is seen from so many days up to the day shown.
const TOLD_WITHIN_DAYS: i64 = 14;

/// A day that was asked about, with how its clock is written.
struct Day<'a> {
    ways: &'a Ways,
    date: Date,
    from: Timestamp,
    to: Timestamp,
}

/// The boxes on a farm day.
///
/// # Errors
/// Where the file cannot be read, or the day lies beyond the calendar.
pub fn boxes(barn: &Barn, tellings: &Tellings, asked: &AskedBoxes, now: Timestamp) -> anyhow::Result<Boxes> {
    // One state of the file for all of it, whoever writes meanwhile.
    let _held = barn.store.hold()?;
    let mut ways = barn.ways()?;
    if asked.metric {
        ways.units = UnitSystem::Metric;
    }
    let zone = &ways.zone;
    let newest = barn.store.box_row_before(Timestamp::MAX)?;
    let date = asked.date.unwrap_or_else(|| farm_day(newest.unwrap_or(now), zone));
    let (from, to) = (day_starts(date, zone)?, day_starts(date.checked_add(1.day())?, zone)?);
    let day = Day { ways: &ways, date, from, to };
    let names = barn.store.boxes()?;
    let numbers = barn.store.numbers()?;

    let mut visits: BTreeMap<u16, Vec<BoxVisit>> = BTreeMap::new();
    for stay in barn.store.stays(from.saturating_sub(LONGEST_VISIT)?..to)? {
        if from < stay.ended_at || from <= stay.started_at {
            let animal = numbers.get(stay.number as usize).map_or("", String::as_str);
            visits.entry(stay.at_box.0).or_default().push(visit(animal, &stay, asked.animal.as_deref()));
        }
    }
    let mut states: BTreeMap<u16, Vec<BoxState>> = BTreeMap::new();
    for row in barn.store.box_states(from..to)? {
        let words = (day.clock(row.from), day.clock(row.to));
        let (began, ended) = (when::rfc3339(row.from, zone), when::rfc3339(row.to, zone));
        let state = BoxState { state: row.state, from: began, to: ended, span: (row.from, row.to), words };
        states.entry(row.at_box.0).or_default().push(state);
    }
    let told = told(barn, tellings, from..to, names.len())?;

    let near: BTreeSet<u16> =
        visits.keys().chain(states.keys()).copied().chain(told.iter().map(|told| told.at_box.0)).collect();
    let mut order: Vec<(u16, &str)> =
        near.iter().filter_map(|key| Some((*key, names.get(usize::from(*key))?.as_str()))).collect();
    // 9 before 10, and names after numbers.
    order.sort_by_key(|(_, name)| (name.parse::<u64>().map_or((1, 0), |number| (0, number)), *name));
    let all_names: Vec<String> = order.iter().map(|(_, name)| (*name).to_owned()).collect();
    order.retain(|(_, name)| asked.box_name.as_deref().is_none_or(|only| only == *name));
    let in_words = asked.words_up_to.is_none_or(|most| order.len() <= most);
    for (key, _) in &order {
        let own = visits.get_mut(key).into_iter().flatten();
        own.filter(|visit| in_words || visit.marked).for_each(|visit| day.put_into_words(visit));
    }
    let hers = asked.animal.as_deref().map(|animal| {
        let of_box = |(key, name): &(u16, &str)| {
            let own = visits.get(key).into_iter().flatten().filter(|visit| visit.marked);
            own.map(|visit| HerVisit { box_name: (*name).to_owned(), visit: visit.clone() })
                .collect::<Vec<_>>()
        };
        let mut hers: Vec<HerVisit> = order.iter().flat_map(of_box).collect();
        hers.sort_by_key(|own| own.visit.span);
        Hers { animal: animal.to_owned(), known: numbers.iter().any(|number| number == animal), visits: hers }
    });
    let mut days = Vec::with_capacity(order.len());
    for (key, name) in &order {
        let own: Vec<Told> = told.iter().filter(|told| told.at_box.0 == *key).copied().collect();
        let visits = visits.remove(key).unwrap_or_default();
        let states = states.remove(key).unwrap_or_default();
        days.push(day.of_box(name, visits, states, &own));
    }

    let earlier = barn.store.box_row_before(from)?.map(|at| farm_day(at, zone).to_string());
    let later = barn.store.box_row_from(to)?.map(|at| farm_day(at, zone).to_string());
    let seen = days.iter().any(|one| !one.visits.is_empty() || !one.states.is_empty());
    let last = days
        .iter()
        .flat_map(|one| {
            let visits = one.visits.iter().map(|visit| visit.span.1);
            visits.chain(one.states.iter().map(|state| state.span.1))
        })
        .max();
    let logs_end = last.filter(|last| later.is_none() && *last < to);
    let states_logged = barn.store.tells_box_states()?;
    let mut notes = Vec::new();
    notes.extend(refused::note(barn, Lacks::Boxes)?);
    if seen && !states_logged {
        notes.push(
            "The logs tell nothing of what boxes do between visits: cleaning, service, faults and times off are not \
             logged. What is empty may be any of them, or a box that waits."
                .to_owned(),
        );
    }
    let length = day_seconds(date, zone)?;
    if length != 86_400 {
        let hours = number::plain(length as f64 / 3600.0, usize::from(length % 3600 != 0));
        notes.push(format!("The clock was changed on this day: it has {hours} hours."));
    }
    if asked.box_name.as_ref().is_some_and(|_| days.is_empty()) {
        notes.push("No box of that name has a row near this day.".to_owned());
    }
    Ok(Boxes {
        farm: ways.name.clone(),
        date: date.to_string(),
        date_words: date.strftime("%A %-d %B %Y").to_string(),
        from: when::rfc3339(from, zone),
        to: when::rfc3339(to, zone),
        day_s: length,
        logs_end: logs_end.map(|at| when::rfc3339(at, zone)),
        summary: day.summary(&days, newest, logs_end, earlier.is_some()),
        earlier,
        later,
        seen,
        states_logged,
        notes,
        boxes: days,
        hers,
        names: all_names,
        axis: axis(&day, logs_end)?,
    })
}

/// Which outcomes the boxes told of within the two weeks up to a day's end. It is looked back a day at a time, and no
/// further than until every box of the farm has told of everything.
fn told(barn: &Barn, tellings: &Tellings, day: Range<Timestamp>, boxes: usize) -> anyhow::Result<Vec<Told>> {
    let mut known: BTreeMap<(BoxKey, Option<Outcome>), Told> = BTreeMap::new();
    let mut span = day;
    for _ in 0..TOLD_WITHIN_DAYS {
        for told in tellings.of(barn, span.clone())? {
            known.entry((told.at_box, told.outcome)).or_insert(told);
        }
        let everything = known.keys().filter(|(_, outcome)| outcome.is_some()).count();
        if everything == boxes * Outcome::WORDS.len() {
            break;
        }
        span = span.start.saturating_sub(24.hours())?..span.start;
    }
    Ok(known.into_values().collect())
}

impl Day<'_> {
    /// The time of day; with the day where it is another one, and with which of two where the clock was set back over it.
    fn clock(&self, at: Timestamp) -> String {
        let zone = &self.ways.zone;
        if farm_day(at, zone) != self.date {
            return when::minute(at, zone);
        }
        let either = zone.to_ambiguous_timestamp(zone.to_datetime(at));
        let twice = match (either.earlier(), either.later()) {
            (Ok(first), Ok(second)) if first == second => "",
            (Ok(first), _) if first == at => " before the clock was set back",
            _ => " after the clock was set back",
        };
        format!("{}{twice}", when::clock(at, zone))
    }

    fn put_into_words(&self, visit: &mut BoxVisit) {
        let zone = &self.ways.zone;
        visit.started_at = when::rfc3339(visit.span.0, zone);
        visit.ended_at = when::rfc3339(visit.span.1, zone);
        visit.words = VisitWords {
            started: self.clock(visit.span.0),
            ended: self.clock(visit.span.1),
            outcome: outcome_words(visit.outcome.and_then(Outcome::from_word)),
            milk: visit.milk_kg.map_or_else(String::new, |kg| number::mass(Kilograms(kg), self.ways.units)),
        };
    }

    fn of_box(&self, name: &str, visits: Vec<BoxVisit>, states: Vec<BoxState>, told: &[Told]) -> BoxDay {
        let counts = counts(&visits, self.from, told);
        let counted = if visits.is_empty() { Vec::new() } else { counted(&counts, self.ways.units) };
        let overlaps = overlaps(&visits, &states, &self.ways.zone, &|at| self.clock(at));
        let mut parts: Vec<String> =
            counted.iter().map(|(what, figure)| format!("{what}: {figure}")).collect();
        if visits.is_empty() {
            parts.push("no visit on this day".into());
        }
        parts.extend(of_states(&states));
        if !overlaps.is_empty() {
            parts.push(number::things(overlaps.len(), "overlap of two rows", "overlaps of two rows"));
        }
        let description = format!("Box {name}, {}: {}.", self.date.strftime("%-d %B"), parts.join("; "));
        BoxDay { name: name.to_owned(), visits, states, overlaps, counts, counted, description }
    }

    fn summary(
        &self,
        days: &[BoxDay],
        newest: Option<Timestamp>,
        logs_end: Option<Timestamp>,
        earlier: bool,
    ) -> String {
        let Some(newest) = newest else { return "No row of a box has been read yet.".into() };
        let seen = days.iter().filter(|one| !one.visits.is_empty() || !one.states.is_empty()).count();
        if seen == 0 {
            let newest = farm_day(newest, &self.ways.zone);
            return match earlier {
                _ if newest < self.date => format!(
                    "No row of a box was read for this day; the newest one is of {}.",
                    newest.strftime("%A %-d %B %Y")
                ),
                true => {
                    "No row of a box was read for this day, though there are some before and after it.".into()
                }
                false => "No row of a box was read for this day; the logs begin after it.".into(),
            };
        }
        let visits: usize = days.iter().map(|one| one.counts.visits).sum();
        let mut words = format!(
            "{} in {}.",
            match visits {
                1 => "1 visit".to_owned(),
                many => format!("{} visits", number::count(many)),
            },
            number::things(seen, "box", "boxes"),
        );
        if let Some(end) = logs_end {
            words.push_str(&format!(" The logs end at {}.", self.clock(end)));
        }
        words
    }
}

/// A visit without its words.
fn visit(animal: &str, stay: &Stay, marked: Option<&str>) -> BoxVisit {
    BoxVisit {
        animal: animal.to_owned(),
        started_at: String::new(),
        ended_at: String::new(),
        outcome: stay.outcome.map(Outcome::word),
        milk_kg: stay.milk_kg,
        span: (stay.started_at, stay.ended_at),
        words: VisitWords::default(),
        marked: marked == Some(animal),
    }
}

fn outcome_words(outcome: Option<Outcome>) -> &'static str {
    match outcome {
        Some(Outcome::Milked) => "milked",
        Some(Outcome::Incomplete) => "incomplete",
        Some(Outcome::Failed) => "failed",
        Some(Outcome::TurnedAway) => "turned away",
        Some(Outcome::Fed) => "fed only",
        None => "outcome not logged",
    }
}

/// `cleaning 3 times`.
fn of_states(states: &[BoxState]) -> Vec<String> {
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    for state in states {
        *times.entry(state.state.as_str()).or_default() += 1;
    }
    times
        .iter()
        .map(|(state, times)| format!("{state} {}", number::things(*times, "time", "times")))
        .collect()
}

/// What the day counts: visits that began on it. An outcome that the box never told of within the two weeks up to the
/// day's end is one its logs may not know, so its count is unknown and not 0.
fn counts(visits: &[BoxVisit], from: Timestamp, told: &[Told]) -> Counts {
    let begun: Vec<&BoxVisit> = visits.iter().filter(|visit| from <= visit.span.0).collect();
    let mut counts = Counts { visits: begun.len(), ..Counts::default() };
    if visits.is_empty() {
        return counts;
    }
    let of = |outcome: Outcome| {
        let known = told.iter().any(|told| told.outcome == Some(outcome));
        known.then(|| begun.iter().filter(|visit| visit.outcome == Some(outcome.word())).count())
    };
    counts.incomplete = of(Outcome::Incomplete);
    counts.failed = of(Outcome::Failed);
    counts.turned_away = of(Outcome::TurnedAway);
    counts.fed_only = of(Outcome::Fed);
    counts.not_said = begun.iter().filter(|visit| visit.outcome.is_none()).count();
    // Where the log does not say what came of a visit, milk says that she was milked.
    let milkings: Vec<&&BoxVisit> = begun
        .iter()
        .filter(|visit| match visit.outcome {
            Some(outcome) => outcome == Outcome::Milked.word() || outcome == Outcome::Incomplete.word(),
            None => visit.milk_kg.is_some_and(|milk_kg| 0.0 < milk_kg),
        })
        .collect();
    let tells = told.iter().any(|told| matches!(told.outcome, Some(Outcome::Milked | Outcome::Incomplete)));
    counts.milkings = (tells || !milkings.is_empty()).then_some(milkings.len());
    let measured: Vec<f64> = begun.iter().filter_map(|visit| visit.milk_kg).collect();
    counts.milk_kg = (!measured.is_empty()).then(|| measured.iter().sum());
    counts.not_measured = milkings.iter().filter(|visit| visit.milk_kg.is_none()).count();
    counts
}

fn counted(counts: &Counts, units: UnitSystem) -> Vec<(&'static str, String)> {
    let figure = |count: Option<usize>| count.map_or_else(|| "not logged".to_owned(), number::count);
    let mut milk =
        counts.milk_kg.map_or_else(|| "not logged".to_owned(), |kg| number::mass(Kilograms(kg), units));
    if counts.milk_kg.is_some() && 0 < counts.not_measured {
        milk.push_str(&format!(
            ", {} not measured",
            number::things(counts.not_measured, "milking", "milkings")
        ));
    }
    let mut counted = vec![
        ("milkings", figure(counts.milkings)),
        ("of them incomplete", figure(counts.incomplete)),
        ("failed", figure(counts.failed)),
        ("turned away", figure(counts.turned_away)),
        ("fed only", figure(counts.fed_only)),
        ("milk", milk),
    ];
    if 0 < counts.not_said {
        counted.push(("outcome not logged", number::count(counts.not_said)));
    }
    counted
}

fn axis(day: &Day<'_>, logs_end: Option<Timestamp>) -> anyhow::Result<DayAxis> {
    let zone = &day.ways.zone;
    let mut cuts = vec![day.from];
    for hour in [6, 12, 18] {
        cuts.push(day.date.at(hour, 0, 0, 0).to_zoned_datetime(zone.clone())?.timestamp());
    }
    cuts.push(day.to);
    let mut hours = Vec::new();
    // Clocks are changed by whole or half hours.
    let mut at = day.from;
    while at < day.to {
        let wall = zone.to_datetime(at).time();
        if wall.minute() == 0 {
            hours.push((at, format!("{:02}", wall.hour())));
        }
        at = at.checked_add(SignedDuration::from_mins(30))?;
    }
    Ok(DayAxis { cuts, hours, logs_end })
}
