//! The strip of one of her other signals: movement, feed, weight, what the milk holds.

use cowpath_core::{
    causes::Reason,
    expect::Signal,
    herd::Life,
    say::{number, reason},
    signals::Line,
};

use super::{
    evidence::reach,
    farm::Ways,
    lanes::{Lane, Point, Strip},
    view::View,
};

/// Strips of other signals under one call: more than a hand of them is read by nobody.
const MOST: usize = 5;
/// Weight from which a signal speaks, natural units.
const SPEAKS_FROM: f64 = 0.5;
/// Shown where they are measured, whether they speak or not: what a cow does all day.
const ALWAYS: [Signal; 2] = [Signal::Activity, Signal::Rumination];

/// Which of her other signals are drawn: those that speak, loudest first, then how she moves and ruminates.
pub fn wanted<'v>(view: &'v View, life: &Life, reasons: &[Reason]) -> Vec<&'v Line> {
    let Some(hers) = view.others.heard.cows.get(&life.key) else { return Vec::new() };
    let mut wanted: Vec<&Line> = Vec::new();
    for reason in reasons.iter().filter(|reason| SPEAKS_FROM < reason.weight.abs()) {
        let of = |line: &&Line| line.signal == reason.signal && line.quarter == reason.quarter;
        wanted.extend(hers.lines.iter().find(of));
    }
    wanted.truncate(MOST - ALWAYS.len());
    for signal in ALWAYS {
        if wanted.iter().all(|line| line.signal != signal) {
            wanted.extend(hers.lines.iter().find(|line| line.signal == signal));
        }
    }
    wanted
}

/// One strip; nothing where nothing was measured.
pub fn lane(ways: &Ways, line: &Line, speaks: bool) -> Option<Lane> {
    let shown = |value: f64| number::drawn(line.signal, value, ways.units);
    let points: Vec<Point> = line
        .points
        .iter()
        .map(|point| {
            let (low95, high95) = point.band(line.signal);
            Point {
                at: point.to,
                observed: Some(shown(point.observed)),
                expected: shown(point.expected),
                low95: shown(low95),
                high95: shown(high95),
            }
        })
        .collect();
    let last = line.points.last()?;
    let (low, high) = reach(&points);
    Some(Lane {
        name: reason::signal(line.signal, line.quarter),
        unit: reason::lane_unit(line.signal, ways.units),
        speaks,
        low,
        high,
        strip: Strip::Points(points),
        last: number::figure(line.signal, last.observed, ways.units),
        usual: format!("usually {}", number::figure(line.signal, last.expected, ways.units)),
    })
}
