//! The picture of a box's call: its course of the last ten days beside what would be nothing.

use cowpath_core::{
    causes::{Cause, boxes::BoxFault},
    say::{number, when},
};

use super::{
    evidence::{days, reach},
    lanes::{Lane, Lanes, Mark, Point, Strip},
    view::{TEN_DAYS, View},
};

/// The lane of the box; `None` where nothing is drawn (a standstill, a meter that always says the same).
pub fn of_box(view: &View, fault: &BoxFault, box_name: Option<&str>) -> Option<Lanes> {
    let finding = &fault.finding;
    let name = box_name?;
    let from = view.at.saturating_sub(TEN_DAYS).ok()?;
    let quarter = finding.quarter.map_or("", |quarter| quarter.words());
    // What is drawn, its unit, how a level is shown, and the decimals of a figure.
    let (lane, unit, shown, decimals): (String, &str, fn(f64) -> f64, usize) = match finding.cause {
        Cause::MilkMeter => ("milk here against elsewhere".into(), "%", |level| 100.0 * level.exp_m1(), 1),
        Cause::ConductivityProbe => (format!("{quarter} cup"), "mS/cm against their own", |level| level, 2),
        Cause::Attachment => (format!("{quarter} cup"), "% of milkings failed", |level| 100.0 * level, 0),
        Cause::FeedDispenser => ("eaten of offered".into(), "% against their own", |level| 100.0 * level, 0),
        _ => return None,
    };
    let points: Vec<Point> = fault
        .course
        .iter()
        .map(|seen| (seen, seen.at.min(view.at)))
        .filter(|(_, at)| from <= *at)
        .map(|(seen, at)| Point {
            at,
            observed: Some(shown(seen.level)),
            expected: shown(0.0),
            low95: shown(-1.96 * seen.sd),
            high95: shown(1.96 * seen.sd),
        })
        .collect();
    let last = points.last()?.observed?;
    let (low, high) = reach(&points);
    let figure = number::signed(last, decimals);
    Some(Lanes {
        title: format!("Box {name}, last ten days"),
        description: format!("{lane}, {unit}: last {figure}, usually 0."),
        from,
        to: view.at,
        days: days(from, view.at, &view.ways.zone),
        lanes: vec![Lane {
            name: lane,
            unit: unit.into(),
            speaks: true,
            low,
            high,
            strip: Strip::Points(points),
            last: figure,
            usual: "usually 0".into(),
        }],
        marks: vec![Mark {
            at: finding.since.max(from),
            word: format!("since {}", when::instant(finding.since, view.at, &view.ways.zone)),
            onset: true,
        }],
    })
}
