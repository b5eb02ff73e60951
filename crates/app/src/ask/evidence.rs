//! The picture of evidence: each signal's strip over one span, what was, what was expected, and where they part.

use cowpath_core::{
    causes::{Cause, Finding},
    expect::Signal,
    herd::{Life, Quarter},
    say::{number, reason, when},
    signals::Line,
    tables::{Outcome, Visit},
};
use jiff::{SignedDuration, Timestamp, ToSpan, tz::TimeZone};

use super::{
    cast::Cast,
    farm::{Barn, Ways},
    history::Drawn,
    lanes::{Lane, Lanes, Mark, Point, Strip, Tick},
    line,
    view::{TEN_DAYS, View},
};

/// The lanes of a call on a cow: the last ten days, those that speak drawn strongest.
pub fn of_call(barn: &Barn, view: &View, life: &Life, finding: &Finding) -> anyhow::Result<Lanes> {
    let from = view.at.saturating_sub(TEN_DAYS)?;
    let mut visits = barn.store.visits_of(&life.animal, from..view.at)?;
    // A visit that had begun and not ended was not yet known.
    visits.retain(|visit| visit.ended_at <= view.at);
    let none = Vec::new();
    let milkings: Vec<Drawn> = view.milkings.get(&life.key).unwrap_or(&none).iter().map(Drawn::of).collect();
    let mut wanted = vec![(Signal::Milk, None)];
    if let Some(quarter) = finding.quarter {
        wanted.extend([(Signal::QuarterMilk, Some(quarter)), (Signal::Conductivity, Some(quarter))]);
    } else {
        wanted.push((Signal::Interval, None));
    }
    let speaks = |signal, quarter| {
        finding
            .reasons
            .iter()
            .any(|reason| reason.signal == signal && reason.quarter == quarter && 0.5 < reason.weight)
    };
    let mut marks = marks(&view.cast, life, from, view.at);
    marks.push(Mark {
        at: finding.since,
        word: format!("since {}", when::instant(finding.since, view.at, &view.ways.zone)),
        onset: true,
    });
    let lines = line::wanted(view, life, &finding.reasons);
    Ok(lanes(&view.ways, &life.animal, from, view.at, &milkings, &visits, &wanted, &lines, &speaks, marks))
}

/// The lane of the herd: its milk beside what was usual.
pub fn of_herd(view: &View, finding: &Finding) -> Option<Lanes> {
    if finding.cause != Cause::HerdMilk {
        return None;
    }
    let from = view.at.saturating_sub(TEN_DAYS).ok()?;
    let points: Vec<Point> = view
        .rolled
        .herd
        .herd_course()
        .iter()
        .filter(|point| from <= point.at && point.at <= view.at)
        .map(|point| Point {
            at: point.at,
            observed: Some(100.0 * point.log_effect.exp()),
            expected: 100.0,
            low95: 100.0 * (-1.96 * point.sd).exp(),
            high95: 100.0 * (1.96 * point.sd).exp(),
        })
        .collect();
    let last = points.last()?.observed?;
    let (low, high) = reach(&points);
    Some(Lanes {
        title: "The herd's milk, last ten days".into(),
        description: format!(
            "Milk of all cows together, in per cent of what was usual: last {}.",
            number::percent(last / 100.0)
        ),
        from,
        to: view.at,
        days: days(from, view.at, &view.ways.zone),
        lanes: vec![Lane {
            name: "all cows' milk".into(),
            unit: "% of usual".into(),
            speaks: true,
            low,
            high,
            strip: Strip::Points(points),
            last: number::percent(last / 100.0),
            usual: format!("usually {}", number::percent(1.0)),
        }],
        marks: vec![Mark {
            at: finding.since,
            word: format!("since {}", when::instant(finding.since, view.at, &view.ways.zone)),
            onset: true,
        }],
    })
}

/// Lanes of one cow over a span: the signals wanted, then her visits.
#[allow(clippy::too_many_arguments, reason = "the two callers hold these apart")]
pub fn lanes(
    ways: &Ways,
    animal: &str,
    from: Timestamp,
    to: Timestamp,
    milkings: &[Drawn],
    visits: &[Visit],
    wanted: &[(Signal, Option<Quarter>)],
    lines: &[&Line],
    speaks: &dyn Fn(Signal, Option<Quarter>) -> bool,
    mut marks: Vec<Mark>,
) -> Lanes {
    let mut strips = Vec::new();
    let mut seen = Vec::new();
    for (signal, quarter) in wanted {
        if let Some(lane) = signal_lane(ways, milkings, *signal, *quarter, speaks(*signal, *quarter)) {
            seen.push(format!("{} {}: {}, {}", lane.name, lane.unit, lane.last, lane.usual));
            strips.push(lane);
        }
    }
    for line in lines {
        if let Some(lane) = line::lane(ways, line, speaks(line.signal, line.quarter)) {
            seen.push(format!("{} {}: {}, {}", lane.name, lane.unit, lane.last, lane.usual));
            strips.push(lane);
        }
    }
    if let Some(lane) = visits_lane(from, to, visits) {
        strips.push(lane);
    }
    marks.retain(|mark| from <= mark.at && mark.at <= to);
    marks.sort_by_key(|mark| mark.at);
    // The span ends before `to`: a midnight there begins a day that is not in it.
    let last = to.saturating_sub(SignedDuration::from_millis(1)).unwrap_or(to).max(from);
    let span = when::span(from, last, &ways.zone);
    Lanes {
        title: format!("Cow {animal}, {span}"),
        description: if seen.is_empty() {
            "No milking in this span.".into()
        } else {
            format!("Last values: {}.", seen.join("; "))
        },
        from,
        to,
        days: days(from, to, &ways.zone),
        lanes: strips,
        marks,
    }
}

fn signal_lane(
    ways: &Ways,
    milkings: &[Drawn],
    signal: Signal,
    quarter: Option<Quarter>,
    speaks: bool,
) -> Option<Lane> {
    let shown = |value: f64| number::drawn(signal, value, ways.units);
    let points: Vec<Point> = milkings
        .iter()
        .filter_map(|milking| {
            let departure = milking.signal(signal, quarter)?;
            Some(Point {
                at: milking.started_at(),
                observed: Some(shown(departure.observed)),
                expected: shown(departure.expected),
                low95: shown(departure.low95),
                high95: shown(departure.high95),
            })
        })
        .collect();
    let last = milkings.iter().rev().find_map(|milking| milking.signal(signal, quarter))?;
    let (low, high) = reach(&points);
    Some(Lane {
        name: quarter.map_or_else(|| reason::signal(signal, None), |quarter| quarter.words().to_owned()),
        unit: reason::lane_unit(signal, ways.units),
        speaks,
        low,
        high,
        strip: Strip::Points(points),
        last: number::figure(signal, last.observed, ways.units),
        usual: format!("usually {}", number::figure(signal, last.expected, ways.units)),
    })
}

fn visits_lane(from: Timestamp, to: Timestamp, visits: &[Visit]) -> Option<Lane> {
    if visits.is_empty() {
        return None;
    }
    let milked = |visit: &Visit| {
        visit.outcome.map_or(visit.milk_kg.is_some_and(|milk_kg| 0.0 < milk_kg), |outcome| {
            matches!(outcome, Outcome::Milked | Outcome::Incomplete)
        })
    };
    let ticks: Vec<Tick> = visits
        .iter()
        .map(|visit| Tick {
            at: visit.started_at,
            outcome: visit.outcome.map_or("not logged".into(), |outcome| outcome.word().replace('-', " ")),
            dashed: !milked(visit),
        })
        .collect();
    let milkings = visits.iter().filter(|visit| milked(visit)).count() as f64;
    let days = cowpath_core::time::hours_between(from, to) / 24.0;
    Some(Lane {
        name: "visits".into(),
        unit: "not milked: dashed".into(),
        speaks: false,
        low: 0.0,
        high: 1.0,
        strip: Strip::Ticks(ticks),
        last: number::plain(milkings / days.max(1.0), 1),
        usual: "milkings a day".into(),
    })
}

/// When a person last recorded a diagnosis of the called quarter since the earliest likely onset, as known at the view's
/// time.
pub fn diagnosed_at(view: &View, life: &Life, finding: &Finding) -> Option<Timestamp> {
    finding.quarter?;
    let earliest = finding.since_between.0.min(finding.since);
    let events = view.cast.events_of(&life.animal).iter();
    let hers = events.filter(|event| {
        event.kind == "diagnosed" && event.quarter == finding.quarter && life.present(event.at)
    });
    hers.map(|event| event.at).filter(|at| earliest <= *at && *at <= view.at).max()
}

/// What is noted on her calendar within the span, as marks.
pub fn marks(cast: &Cast, life: &Life, from: Timestamp, to: Timestamp) -> Vec<Mark> {
    let mut marks: Vec<Mark> = life
        .calvings_by(to)
        .map(|calving| Mark { at: calving.at, word: "calved".into(), onset: false })
        .collect();
    marks.extend(
        cast.events_of(&life.animal)
            .iter()
            .filter(|event| {
                life.present(event.at)
                    && matches!(
                        event.kind.as_str(),
                        "heat" | "inseminated" | "treated" | "diagnosed" | "dried-off"
                    )
            })
            .map(|event| Mark { at: event.at, word: event.kind.replace('-', " "), onset: false }),
    );
    marks.retain(|mark| from <= mark.at && mark.at <= to);
    marks
}

/// Least and greatest value that must be seen, with a little room.
pub(super) fn reach(points: &[Point]) -> (f64, f64) {
    let values =
        points.iter().flat_map(|point| [point.observed.unwrap_or(point.expected), point.low95, point.high95]);
    let (low, high) = values
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    let room = ((high - low) * 0.06).max(1e-6);
    (low - room, high + room)
}

/// Starts of the farm days in a span, with how each is named.
pub(super) fn days(from: Timestamp, to: Timestamp, zone: &TimeZone) -> Vec<(Timestamp, String)> {
    let mut day = cowpath_core::time::farm_day(from, zone);
    let last = cowpath_core::time::farm_day(to, zone);
    let mut days = Vec::new();
    while day < last {
        let Ok(next) = day.checked_add(1.day()) else { break };
        day = next;
        if let Ok(start) = cowpath_core::time::day_starts(day, zone) {
            days.push((start, when::axis_day(day)));
        }
    }
    days
}
