//! Makes the answer about one cow: her stage, her calls, her lanes over any span, her calendar and the rows behind.

use cowpath_core::{
    expect::Signal,
    herd::{Life, Quarter},
    say::{self, number, when},
    signals::Line,
    tables::Visit,
    time::hours_between,
    units::{Kilograms, UnitSystem},
};
use jiff::{Timestamp, ToSpan, civil::Date};

use super::{
    cow::Cow,
    evidence,
    farm::{Barn, Ways},
    history::{Drawn, History},
    live::Seen,
    model,
    round::Round,
    view::View,
};

/// Held while a span is reckoned again: that takes two processors, and quick pages need them too.
static ONE_AT_A_TIME: std::sync::Mutex<()> = std::sync::Mutex::new(());

/// The days of a span asked for; both ends belong to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Span {
    /// First day.
    pub from: Option<Date>,
    /// Last day.
    pub to: Option<Date>,
}

/// One cow at a view's time, with the round of that time; `None` where no cow bears the number. Lanes and rows are in
/// `units`, which need not be the farm's: JSON is always metric.
#[allow(clippy::too_many_arguments, reason = "the callers hold these apart")]
pub fn cow(
    barn: &Barn,
    view: &View,
    history: Option<&History>,
    round: &Round,
    animal: &str,
    instance: Option<u32>,
    span: Span,
    units: UnitSystem,
) -> anyhow::Result<Option<Cow>> {
    let life = match instance {
        Some(instance) => {
            view.cast.lives.iter().find(|life| life.animal == animal && life.instance == instance)
        }
        None => view.cast.find(animal, view.at),
    };
    let Some(life) = life else { return Ok(None) };
    let ways = &Ways { units, ..view.ways.clone() };
    let zone = &ways.zone;
    let today = cowpath_core::time::farm_day(view.at, zone);
    let to_day = span.to.unwrap_or(today).min(today);
    let from_day = span.from.unwrap_or(to_day.saturating_sub(10.days())).min(to_day);
    let from = cowpath_core::time::day_starts(from_day, zone)?;
    let to = cowpath_core::time::day_starts(to_day.checked_add(1.day())?, zone)?.min(view.at);
    // A visit that had begun and not ended was not yet known.
    let visits: Vec<Visit> = barn
        .store
        .visits_of(animal, from..to)?
        .into_iter()
        .filter(|visit| life.present(visit.started_at) && visit.ended_at <= view.at)
        .collect();
    let milkings = milkings(barn, view, history, life, from, to)?;
    let mut wanted = vec![(Signal::Milk, None)];
    wanted.extend(Quarter::ALL.map(|quarter| (Signal::QuarterMilk, Some(quarter))));
    wanted.extend(Quarter::ALL.map(|quarter| (Signal::Conductivity, Some(quarter))));
    let calls: Vec<_> =
        round.calls.iter().filter(|call| call.animal.as_deref() == Some(animal)).cloned().collect();
    let speaking: Vec<(&str, Option<&str>)> = calls
        .iter()
        .flat_map(|call| &call.reasons)
        .filter(|reason| 0.5 < reason.weight)
        .map(|reason| (reason.signal, reason.quarter))
        .collect();
    let speaks = |signal: Signal, quarter: Option<Quarter>| {
        speaking.contains(&(say::reason::signal_word(signal), quarter.map(|quarter| quarter.code())))
    };
    let mut marks = evidence::marks(&view.cast, life, from, to);
    for call in &calls {
        if let Ok(since) = call.since.parse::<Timestamp>() {
            marks.push(super::lanes::Mark {
                at: since,
                word: format!("since {}", when::instant(since, view.at, zone)),
                onset: true,
            });
        }
    }
    // Her other signals are at hand for the days she is judged on, and drawn where those are most of the span.
    let short = hours_between(from, view.at) <= LINES_UP_TO_H;
    let lines: Vec<&Line> = view
        .others
        .heard
        .cows
        .get(&life.key)
        .map_or(Vec::new(), |hers| hers.lines.iter().filter(|_| short).collect());
    let lanes = evidence::lanes(ways, animal, from, to, &milkings, &visits, &wanted, &lines, &speaks, marks);
    let stage = life.stage(view.at);
    let summary = if let Some(not) = round.quiet.not_judged.iter().find(|not| not.animal == animal) {
        format!("Not judged: {}.", not.why)
    } else if calls.is_empty() {
        if milkings.is_empty() {
            "No milking in this span.".into()
        } else {
            say::summary::nothing_differs().into()
        }
    } else {
        calls.iter().map(|call| call.sentence.as_str()).collect::<Vec<_>>().join(" ")
    };
    Ok(Some(Cow {
        farm: ways.name.clone(),
        animal: animal.to_owned(),
        at: when::rfc3339(view.at, zone),
        at_words: when::heading(view.at, view.newest.unwrap_or(view.at), zone),
        stage_words: stage_words(life, view),
        summary,
        calls,
        lanes,
        from: from_day.to_string(),
        to: to_day.to_string(),
        spans: spans(&stage, today, zone),
        settled: view
            .rolled
            .herd
            .settled(life.key)
            .iter()
            .map(|settled| say::summary::settled(settled.log_change, settled.since, view.at, zone))
            .collect(),
        past: Vec::new(),
        calendar: calendar(life, view),
        row_head: row_head(ways),
        rows: visits.iter().rev().map(|visit| row(visit, &view.cast.boxes, ways)).collect(),
    }))
}

/// Her milkings of a span beside what was expected: at hand for the last ten days and as far as a history reaches,
/// reckoned again for any other span.
fn milkings(
    barn: &Barn,
    view: &View,
    history: Option<&History>,
    life: &Life,
    from: Timestamp,
    to: Timestamp,
) -> anyhow::Result<Vec<Drawn>> {
    if view.at.saturating_sub(super::view::TEN_DAYS)? <= from {
        let at_hand = view.milkings.get(&life.key).map_or(&[][..], Vec::as_slice);
        return Ok(at_hand
            .iter()
            .filter(|milking| from <= milking.started_at && milking.started_at < to)
            .map(Drawn::of)
            .collect());
    }
    let at_hand = history.filter(|history| history.last_batch == view.cast.last_batch);
    if let Some(hers) = at_hand.and_then(|history| history.of(life.key, from, to, view.at)) {
        return Ok(hers);
    }
    let _alone = ONE_AT_A_TIME.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let mut hers = Vec::new();
    model::roll(barn, &view.cast, &view.ways.zone, to, from, &mut |visit, scored| {
        if visit.life == life.key && from <= visit.started_at {
            hers.push(Drawn::of(scored));
        }
        Ok(())
    })?;
    Ok(hers)
}

/// Longest span in which the strips of the ten judged days are no sliver, h.
const LINES_UP_TO_H: f64 = 16.0 * 24.0;

fn spans(
    stage: &cowpath_core::herd::Stage,
    today: Date,
    zone: &jiff::tz::TimeZone,
) -> Vec<(String, String, String)> {
    let back = |days: i64| today.saturating_sub(days.days()).to_string();
    let mut spans = vec![
        ("10 days".to_owned(), back(10), today.to_string()),
        ("30 days".to_owned(), back(30), today.to_string()),
        ("90 days".to_owned(), back(90), today.to_string()),
    ];
    if let Some(calved) = stage.calved_at {
        spans.push((
            "this lactation".into(),
            cowpath_core::time::farm_day(calved, zone).to_string(),
            today.to_string(),
        ));
    }
    spans
}

fn calendar(life: &Life, view: &View) -> Vec<(String, String, String)> {
    let zone = &view.ways.zone;
    let mut entries: Vec<(Timestamp, String, String)> = view
        .cast
        .events_of(&life.animal)
        .iter()
        .filter(|event| event.at <= view.at && life.present(event.at))
        .map(|event| {
            let mut details: Vec<String> = Vec::new();
            details.extend(event.quarter.map(|quarter| quarter.words().to_owned()));
            details.extend(event.detail.as_deref().map(|detail| match event.kind.as_str() {
                "moved" => say::summary::moved_to(detail),
                _ => detail.to_owned(),
            }));
            if let (Some(value), false) = (event.value, event.kind == "calved") {
                details.push(number::plain(value, 1));
            }
            details.extend(
                event.until.map(|until| format!("milk held until {}", when::instant(until, view.at, zone))),
            );
            details.extend(event.note.clone());
            (event.at, event.kind.replace('-', " "), details.join(", "))
        })
        .collect();
    entries.sort_by_key(|entry| std::cmp::Reverse(entry.0));
    entries.into_iter().map(|(at, kind, details)| (when::instant(at, view.at, zone), kind, details)).collect()
}

fn row_head(ways: &Ways) -> Vec<String> {
    let kg = number::mass_unit(ways.units);
    let mut head = vec!["in".to_owned(), "out".into(), "box".into(), "outcome".into(), format!("milk, {kg}")];
    head.extend(Quarter::ALL.map(|quarter| format!("{}, {kg}", quarter.code())));
    head.extend(Quarter::ALL.map(|quarter| format!("{}, mS/cm", quarter.code())));
    head.extend([format!("feed eaten, {kg}"), "milk to".into()]);
    head
}

fn row(visit: &Visit, boxes: &[String], ways: &Ways) -> Vec<String> {
    let mass =
        |value: Option<f64>| value.map_or(String::new(), |kg| number::mass_figure(Kilograms(kg), ways.units));
    let mut cells = vec![
        when::minute(visit.started_at, &ways.zone),
        when::clock(visit.ended_at, &ways.zone),
        boxes.get(usize::from(visit.at_box.0)).cloned().unwrap_or_default(),
        visit.outcome.map_or(String::new(), |outcome| outcome.word().replace('-', " ")),
        mass(visit.milk_kg),
    ];
    cells.extend(visit.quarters.map(|quarter| mass(quarter.milk_kg)));
    cells.extend(
        visit.quarters.map(|quarter| quarter.ms_cm.map_or(String::new(), |value| number::plain(value, 1))),
    );
    cells.push(mass(visit.feed_eaten_kg));
    cells.push(visit.destination.map_or(String::new(), |destination| destination.word().to_owned()));
    cells
}

/// What is known of her in one line: lactation and day, pen, breed.
pub fn stage_words(life: &Life, view: &View) -> String {
    let mut words = vec![say::summary::stage(life.stage(view.at))];
    words.extend(life.pen(view.at).map(super::places::pen_words));
    words.extend(life.breed.clone());
    words.join(", ")
}

/// Every cow in the herd at a view's time: number, place, stage, and what her calls say.
pub fn herd_list(seen: &Seen) -> Vec<(String, String, String, Vec<String>)> {
    let Some(view) = &seen.view else { return Vec::new() };
    let herd = &view.rolled.herd;
    let heard = &view.others.heard.cows;
    // A number is free again once its cow has left; while no row tells of another that bears it, there is none.
    let free = |life: &Life| {
        0 < life.instance
            && life.official_id.is_none()
            && life.born_on.is_none()
            && life.calvings.is_empty()
            && life.pens.is_empty()
            && herd.last_milking(life.key).is_none()
            && !heard.contains_key(&life.key)
    };
    let present = view.cast.lives.iter().filter(|life| life.present(view.at) && !free(life));
    let mut rows: Vec<_> = present
        .map(|life| {
            let hers =
                seen.round.calls.iter().filter(|call| call.animal.as_deref() == Some(life.animal.as_str()));
            (
                life.animal.clone(),
                life.pen(view.at).map(super::places::pen_words).unwrap_or_default(),
                say::summary::stage(life.stage(view.at)),
                hers.map(|call| call.says.clone()).collect(),
            )
        })
        .collect();
    // 9 before 10, and names after numbers, as people look them up.
    rows.sort_by_key(|(animal, ..): &(String, String, String, Vec<String>)| {
        (animal.parse::<u64>().map_or((1, 0), |number| (0, number)), animal.clone())
    });
    rows
}
