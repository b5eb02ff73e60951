//! The pictures of a plan: idle box time over herd sizes, and bars of 24.

use std::fmt::Write;

use cowpath_core::{
    say::{number, plan as say},
    traffic::Figure,
};

use super::lanes::escaped;
use crate::ask::plan::{Plan, PlanRow, PlanScenario};

/// Size of the picture of idle time.
const WIDE: f64 = 360.0;
const HIGH: f64 = 214.0;
/// Room for the figures of its axes, and above the highest.
const LEFT: f64 = 40.0;
const RIGHT: f64 = 10.0;
const BELOW: f64 = 42.0;
const ABOVE: f64 = 12.0;
/// Distance of lines between which a name has room.
const NAME_HIGH: f64 = 24.0;

/// A round step that makes at most so many marks of a span.
fn step(span: f64, most: f64, steps: &[f64]) -> f64 {
    let last = steps.last().copied().unwrap_or(1.0);
    steps.iter().copied().find(|step| span / step <= most).unwrap_or((span / most / last).ceil() * last)
}

/// From cows and shares to places.
struct Axes {
    low: f64,
    high: f64,
    most: f64,
}

impl Axes {
    fn of(plan: &Plan) -> Axes {
        let rows = || plan.scenarios.iter().flat_map(|scenario| &scenario.rows);
        let cows = || rows().map(|row| row.cows as f64);
        Axes {
            low: cows().fold(f64::INFINITY, f64::min),
            high: cows().fold(0.0, f64::max),
            most: rows().map(|row| idle(row).0).fold(plan.bounds.idle, f64::max).max(0.05) * 1.05,
        }
    }

    fn x(&self, cows: f64) -> f64 {
        LEFT + (cows - self.low) / (self.high - self.low).max(1.0) * (WIDE - LEFT - RIGHT)
    }

    fn y(&self, share: f64) -> f64 {
        ABOVE + (HIGH - BELOW - ABOVE) * (1.0 - (share / self.most).clamp(0.0, 1.0))
    }

    fn holds(&self, cows: f64) -> bool {
        self.low <= cows && cows <= self.high
    }
}

/// Mean, lower and upper end.
fn idle(row: &PlanRow) -> (f64, f64, f64) {
    let mean = row.figures[Figure::Idle.word()];
    (mean.mean, mean.low, mean.high)
}

/// What the picture shows, in words.
fn idle_label(plan: &Plan) -> String {
    let told: Vec<String> = plan
        .scenarios
        .iter()
        .filter_map(|scenario| {
            let (first, last) = (scenario.rows.first()?, scenario.rows.last()?);
            Some(format!(
                "{}: {} of box time idle with {}, {} with {}",
                scenario.name,
                number::percent(idle(first).0),
                say::cows(first.cows),
                number::percent(idle(last).0),
                say::cows(last.cows)
            ))
        })
        .collect();
    format!("Idle box time by number of cows. {}. The same in figures below.", told.join("; "))
}

/// Idle share over herd sizes: a line a scenario, whiskers for the intervals, the reserve across, and where a line falls
/// through it.
pub fn idle_picture(plan: &Plan) -> String {
    let axes = Axes::of(plan);
    let mut out = format!(
        "<figure class=\"picture plan\"><svg viewBox=\"0 0 {WIDE} {HIGH}\" role=\"img\" aria-label=\"{}\">",
        escaped(&idle_label(plan))
    );
    frame(&mut out, plan, &axes);
    for (place, scenario) in plan.scenarios.iter().enumerate() {
        line(&mut out, scenario, &axes, if place == 0 { "first" } else { "second" });
    }
    let two = plan.scenarios.len() == 2;
    // While it fills there is less of the second.
    if two && plan.scenarios[0].rows.len() == plan.scenarios[1].rows.len() {
        names(&mut out, plan, &axes);
    }
    let mut before = f64::NEG_INFINITY;
    for scenario in &plan.scenarios {
        let Some(fits) = scenario.capacity.filter(|fits| axes.holds(fits.mean)) else { continue };
        let (x, y) = (axes.x(fits.mean), axes.y(plan.bounds.idle));
        // Beside another one there is room below.
        let up = if (x - before).abs() < NAME_HIGH { -18.0 } else { 9.0 };
        before = x;
        let anchor = if WIDE - 50.0 < x { "end" } else { "start" };
        let _ = write!(
            out,
            "<circle class=\"fits\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\"/><text class=\"is\" x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{}</text>",
            y - up,
            say::whole(fits.mean)
        );
    }
    let lines = if two { " Whole line: as asked; broken: instead." } else { "" };
    let _ = write!(
        out,
        "</svg><figcaption class=\"soft\">Idle box time by number of cows.{lines} A ring: so many cows fit.</figcaption></figure>"
    );
    out
}

/// Which line is which. Lines fall: above one and to its right there is room, below it and to its left.
fn names(out: &mut String, plan: &Plan, axes: &Axes) {
    let at = |scenario: &PlanScenario, place: usize| {
        scenario.rows.get(place).map_or((0.0, 0.0), |row| (axes.x(row.cows as f64), axes.y(idle(row).0)))
    };
    let (first, second) = (&plan.scenarios[0], &plan.scenarios[1]);
    // Far apart both are named near their begin, else one above and one below in the middle.
    let begin = first.rows.len() / 8;
    let apart = NAME_HIGH < (at(first, begin).1 - at(second, begin).1).abs();
    let place = if apart { begin } else { first.rows.len() / 2 };
    let lower = usize::from(at(first, place).1 < at(second, place).1);
    for (own, scenario) in [first, second].into_iter().enumerate() {
        let (x, y) = at(scenario, place);
        let (dx, dy, anchor) = if apart || own != lower { (6.0, -4.0, "start") } else { (-6.0, 13.0, "end") };
        let _ = write!(
            out,
            "<text class=\"of\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{}</text>",
            x + dx,
            y + dy,
            scenario.name
        );
    }
}

/// Axes, their marks, the reserve, and the cows of now.
fn frame(out: &mut String, plan: &Plan, axes: &Axes) {
    let across = |out: &mut String, class: &str, share: f64| {
        let y = axes.y(share);
        let _ = write!(
            out,
            "<line class=\"{class}\" x1=\"{LEFT}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>",
            WIDE - RIGHT
        );
    };
    across(out, "axis", 0.0);
    let by = step(axes.most, 5.0, &[0.02, 0.05, 0.1, 0.2]);
    let mut share = 0.0;
    while share <= axes.most {
        let _ = write!(
            out,
            "<text x=\"{:.0}\" y=\"{:.1}\" text-anchor=\"end\">{}{}%</text>",
            LEFT - 5.0,
            axes.y(share) + 4.0,
            number::plain(100.0 * share, 0),
            number::SPACE
        );
        share += by;
    }
    let by = step(axes.high - axes.low, 7.0, &[1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0]);
    let mut cows = (axes.low / by).ceil() * by;
    while cows <= axes.high {
        let (x, y) = (axes.x(cows), HIGH - BELOW);
        let _ = write!(
            out,
            "<path class=\"axis\" d=\"M{x:.1} {y:.1}v4\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            y + 16.0,
            number::plain(cows, 0)
        );
        cows += by;
    }
    let _ = write!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">cows</text>",
        WIDE - RIGHT,
        HIGH - BELOW + 32.0
    );
    across(out, "reserve", plan.bounds.idle);
    let _ = write!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{} kept idle</text>",
        WIDE - RIGHT,
        axes.y(plan.bounds.idle) - 4.0,
        number::percent(plan.bounds.idle)
    );
    if let Some(now) = plan.cows_now.map(|now| now as f64).filter(|now| axes.holds(*now)) {
        let (x, y) = (axes.x(now), HIGH - BELOW);
        // A mark at an end keeps its word within the picture.
        let anchor = if x < LEFT + 22.0 { "start" } else { "middle" };
        let _ = write!(
            out,
            "<path class=\"now\" d=\"M{x:.1} {:.1}V{y:.1}\"/><text class=\"is\" x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{} now</text>",
            axes.y(axes.most),
            y + 32.0,
            number::plain(now, 0)
        );
    }
}

fn line(out: &mut String, scenario: &PlanScenario, axes: &Axes, class: &str) {
    let points: Vec<String> = scenario
        .rows
        .iter()
        .map(|row| format!("{:.1},{:.1}", axes.x(row.cows as f64), axes.y(idle(row).0)))
        .collect();
    let _ = write!(out, "<polyline class=\"{class}\" points=\"{}\"/>", points.join(" "));
    for row in &scenario.rows {
        let ((_, low, high), x) = (idle(row), axes.x(row.cows as f64));
        if low.is_finite() {
            let _ = write!(
                out,
                "<line class=\"{class} whisker\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{:.1}\" y2=\"{:.1}\"/>",
                axes.y(low),
                axes.y(high)
            );
        }
    }
}

/// Bars of 24, the highest of all of them `most`.
pub fn bars(values: &[f64], most: f64, what: &str, told: &str, unit: &str) -> String {
    let mut out = format!(
        "<figure class=\"picture plan small\"><svg viewBox=\"0 0 244 84\" role=\"img\" aria-label=\"{}: {}\"><path class=\"axis\" d=\"M0 64.5H244\"/>",
        escaped(what),
        escaped(told)
    );
    for (place, value) in values.iter().enumerate().take(24) {
        let high = 60.0 * value / most;
        let _ = write!(
            out,
            "<rect class=\"bar\" x=\"{}\" y=\"{:.1}\" width=\"8\" height=\"{high:.1}\"/>",
            place * 10 + 1,
            64.0 - high
        );
    }
    for hour in [0, 6, 12, 18] {
        let _ = write!(out, "<text x=\"{}\" y=\"78\">{hour}{unit}</text>", hour * 10);
    }
    let _ = write!(
        out,
        "</svg><figcaption class=\"soft\">{}: {}.</figcaption></figure>",
        escaped(what),
        escaped(told)
    );
    out
}
