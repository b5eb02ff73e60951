//! A plan on its page: sentences, the picture of idle box time over herd sizes, intervals, and the figures.

use std::{collections::BTreeMap, fmt::Write};

use cowpath_core::{
    say::{number, plan as say},
    traffic::{Cows, Figure, Mean, Setup, Traffic},
};

use super::lanes::escaped;
use crate::ask::{
    plan::{Plan, PlanRow},
    planning::{Ground, mass},
};

/// Size of the picture of idle time.
const WIDE: f64 = 460.0;
const HIGH: f64 = 190.0;
/// Room for the figures of its axes.
const LEFT: f64 = 34.0;
const BELOW: f64 = 28.0;

/// What stands in a field that nobody fills: the farm as it is.
pub fn usual(setup: &Setup) -> BTreeMap<&'static str, String> {
    let hours = |hours: &[f64]| {
        if hours.is_empty() {
            return "none".to_owned();
        }
        hours
            .iter()
            .map(|hour| number::plain(*hour, usize::from(hour.fract() != 0.0)))
            .collect::<Vec<_>>()
            .join("/")
    };
    let mut usual = BTreeMap::from([
        ("boxes", setup.boxes.to_string()),
        ("fetch", hours(&setup.fetching.rounds_h)),
        ("feed", hours(&setup.feeding.delivered_h)),
        ("pushes", hours(&setup.feeding.pushed_h)),
        ("traffic", if setup.traffic == Traffic::Free { "free" } else { "guided" }.to_owned()),
        ("visit", number::plain(setup.visit_min(), 1)),
        ("patience", number::plain(setup.queue.patience_min, 0)),
        ("shortest", "her own".to_owned()),
        ("fresh-pen", "none".to_owned()),
    ]);
    if let Cows::Drawn(about) = &setup.herd {
        usual.insert("milk", number::plain(about.yield_kg, 1));
        usual.insert("shortest", hours(&about.minimum_h));
        usual.insert("longest", number::plain(about.longest_h, 0));
    }
    usual
}

/// Herd sizes about a farm's own: `80-160/10`.
pub fn around(cows: usize) -> String {
    let step = (cows / 12).max(1);
    format!("{}-{}/{step}", cows.saturating_sub(4 * step).max(1), cows + 4 * step)
}

/// The answer as far as it is reckoned.
pub fn answer(plan: &Plan, ground: &Ground) -> String {
    let mut out = String::new();
    for (place, sentence) in plan.sentences.iter().enumerate() {
        let class = if place == 0 { " class=\"large\"" } else { "" };
        let _ = write!(out, "<p{class}>{}</p>", escaped(sentence));
    }
    let state = match (plan.done, plan.sure) {
        (false, _) => {
            format!("Reckoning: {} of at most {} replicates are in.", plan.replicates, plan.most_replicates)
        }
        (true, true) => format!(
            "Sure enough after {} replicates of {} days.",
            plan.replicates,
            number::plain(plan.days, 0)
        ),
        (true, false) => format!(
            "{} replicates of {} days; the intervals say how sure it is.",
            plan.replicates,
            number::plain(plan.days, 0)
        ),
    };
    let _ = write!(
        out,
        "<p class=\"soft\">{state} In brackets: 95{}% interval. From {}.</p>",
        number::SPACE,
        escaped(&plan.basis)
    );
    if plan.scenarios.iter().any(|scenario| 1 < scenario.rows.len()) {
        out.push_str(&idle_picture(plan));
    }
    out.push_str("<div class=\"both\">");
    for scenario in &plan.scenarios {
        let _ = write!(
            out,
            "<section><h2>{}</h2><p class=\"soft\">{}</p>",
            if scenario.name == "instead" { "Instead" } else { "As asked" },
            escaped(&scenario.head())
        );
        if let Some(row) = scenario.rows.get(scenario.rows.len() / 2) {
            out.push_str(&interval_picture(row));
            out.push_str(&figures(row, ground));
        }
        out.push_str("</section>");
    }
    out.push_str("</div>");
    out.push_str(&table(plan, ground));
    if !plan.beside.is_empty() {
        out.push_str(&beside(plan));
    }
    for note in &plan.notes {
        let _ = write!(out, "<p class=\"note\">{}</p>", escaped(note));
    }
    out
}

/// Idle share over herd sizes: a line a scenario, whiskers for the intervals, the reserve across.
fn idle_picture(plan: &Plan) -> String {
    let rows = || plan.scenarios.iter().flat_map(|scenario| &scenario.rows);
    let cows = || rows().map(|row| row.cows as f64);
    let (low, high) = (cows().fold(f64::INFINITY, f64::min), cows().fold(0.0, f64::max));
    let idle = |row: &PlanRow| row.figures[Figure::Idle.word()];
    let most = rows().map(|row| idle(row).mean).fold(plan.bounds.idle, f64::max).max(0.05) * 1.1;
    let x = |cows: f64| LEFT + (cows - low) / (high - low).max(1.0) * (WIDE - LEFT - 8.0);
    let y = |share: f64| (HIGH - BELOW) * (1.0 - (share / most).clamp(0.0, 1.0)) + 4.0;
    let mut out = format!(
        "<figure class=\"picture plan\"><svg viewBox=\"0 0 {WIDE} {HIGH}\" role=\"img\" aria-label=\"Idle box time by number of cows; the same in figures below\">"
    );
    let reserve = y(plan.bounds.idle);
    let _ = write!(
        out,
        "<line class=\"reserve\" x1=\"{LEFT}\" x2=\"{WIDE}\" y1=\"{reserve:.1}\" y2=\"{reserve:.1}\"/><line class=\"axis\" x1=\"{LEFT}\" x2=\"{WIDE}\" y1=\"{0:.1}\" y2=\"{0:.1}\"/>",
        y(0.0)
    );
    for share in [0.0, 0.5 * most / 1.1, most / 1.1] {
        let _ = write!(
            out,
            "<text x=\"{:.0}\" y=\"{:.1}\" text-anchor=\"end\">{} %</text>",
            LEFT - 4.0,
            y(share) + 4.0,
            number::plain(100.0 * share, 0)
        );
    }
    for at in [low, 0.5 * (low + high), high] {
        let anchor = if at == low {
            "start"
        } else if at == high {
            "end"
        } else {
            "middle"
        };
        let _ = write!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{} cows</text>",
            x(at),
            HIGH - 8.0,
            number::plain(at, 0)
        );
    }
    for (place, scenario) in plan.scenarios.iter().enumerate() {
        let points: Vec<String> = scenario
            .rows
            .iter()
            .map(|row| format!("{:.1},{:.1}", x(row.cows as f64), y(idle(row).mean)))
            .collect();
        let class = if place == 0 { "first" } else { "second" };
        let _ = write!(out, "<polyline class=\"{class}\" points=\"{}\"/>", points.join(" "));
        for row in scenario.rows.iter().filter(|row| idle(row).low.is_finite()) {
            let at = x(row.cows as f64);
            let _ = write!(
                out,
                "<line class=\"{class} whisker\" x1=\"{at:.1}\" x2=\"{at:.1}\" y1=\"{:.1}\" y2=\"{:.1}\"/>",
                y(idle(row).low),
                y(idle(row).high)
            );
        }
    }
    let second = if plan.scenarios.len() == 2 { "; broken: instead" } else { "" };
    let _ = write!(
        out,
        "</svg><figcaption class=\"soft\">Idle box time by number of cows. Whole line: as asked{second}; thin: the reserve of {} %.</figcaption></figure>",
        number::plain(100.0 * plan.bounds.idle, 0)
    );
    out
}

/// Hours between milkings, as bars.
fn interval_picture(row: &PlanRow) -> String {
    let most = row.intervals.iter().copied().fold(0.01, f64::max);
    let mut out = format!(
        "<figure class=\"picture plan\"><svg viewBox=\"0 0 240 84\" role=\"img\" aria-label=\"Hours between milkings with {}: eight in ten between {} and {} hours\">",
        say::cows(row.cows),
        number::plain(row.figures[Figure::IntervalLow.word()].mean, 1),
        number::plain(row.figures[Figure::IntervalHigh.word()].mean, 1)
    );
    for (hour, share) in row.intervals.iter().enumerate() {
        let high = 60.0 * share / most;
        let _ = write!(
            out,
            "<rect class=\"bar\" x=\"{}\" y=\"{:.1}\" width=\"8\" height=\"{high:.1}\"/>",
            hour * 10,
            64.0 - high
        );
    }
    for hour in [0, 6, 12, 18] {
        let _ = write!(out, "<text x=\"{}\" y=\"80\">{hour} h</text>", hour * 10);
    }
    let _ = write!(
        out,
        "</svg><figcaption class=\"soft\">Hours between milkings, {}.</figcaption></figure>",
        say::cows(row.cows)
    );
    out
}

/// The figures of a scenario at one herd size.
fn figures(row: &PlanRow, ground: &Ground) -> String {
    let of = |figure: Figure| row.figures[figure.word()];
    let percent = |mean: Mean| format!("{} %", say::with_interval(mean.times(100.0), 1));
    let (milk, unit) = mass(of(Figure::MilkBox), ground.units);
    let lines = [
        ("milkings a cow-day", say::with_interval(of(Figure::Milkings), 2)),
        ("turned away a cow-day", say::with_interval(of(Figure::TurnedAway), 2)),
        ("idle", percent(of(Figure::Idle))),
        ("milk a box-day", format!("{} {unit}", say::with_interval(milk, 0))),
        ("hours between milkings", say::with_interval(of(Figure::Interval), 1)),
        (
            "eight in ten of them",
            format!(
                "{} to {} h",
                number::plain(of(Figure::IntervalLow).mean, 1),
                number::plain(of(Figure::IntervalHigh).mean, 1)
            ),
        ),
        ("wait, lowest ranks", format!("{} min", say::with_interval(of(Figure::WaitLow), 0))),
        ("wait, highest ranks", format!("{} min", say::with_interval(of(Figure::WaitHigh), 0))),
        ("waited a cow-day", format!("{} min", say::with_interval(of(Figure::Waiting), 0))),
        ("fetched a day", say::with_interval(of(Figure::Brought).times(row.cows as f64), 1)),
        ("people a day", format!("{} min", say::with_interval(of(Figure::People), 0))),
        ("money a day", say::with_interval(row.money, 0)),
    ];
    let mut out = String::from("<dl class=\"counts\">");
    for (what, figure) in lines {
        let _ = write!(out, "<div><dt>{what}</dt><dd>{}</dd></div>", escaped(&figure));
    }
    out.push_str("</dl>");
    out
}

/// Every herd size in figures.
fn table(plan: &Plan, ground: &Ground) -> String {
    let mut out = String::from(
        "<details class=\"fold\"><summary>Every herd size in figures</summary><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Every herd size in figures\"><table><thead><tr><th scope=\"col\">cows</th><th scope=\"col\">scenario</th><th scope=\"col\">milkings a cow-day</th><th scope=\"col\">idle %</th><th scope=\"col\">milk a box-day</th><th scope=\"col\">waited a cow-day, min</th><th scope=\"col\">fetched a day</th><th scope=\"col\">money a day</th><th scope=\"col\">gives way</th></tr></thead><tbody>",
    );
    let sizes = plan.scenarios.iter().map(|scenario| scenario.rows.len()).max().unwrap_or(0);
    for place in 0..sizes {
        for scenario in &plan.scenarios {
            let Some(row) = scenario.rows.get(place) else { continue };
            let of = |figure: Figure| row.figures[figure.word()];
            let (milk, unit) = mass(of(Figure::MilkBox), ground.units);
            let gave: Vec<String> = row.exceeded.iter().map(|limit| say::limit(*limit).to_owned()).collect();
            let _ = write!(
                out,
                "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{} {unit}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                row.cows,
                scenario.name,
                say::with_interval(of(Figure::Milkings), 2),
                say::with_interval(of(Figure::Idle).times(100.0), 1),
                number::plain(milk.mean, 0),
                number::plain(of(Figure::Waiting).mean, 0),
                number::plain(of(Figure::Brought).mean * row.cows as f64, 1),
                say::with_interval(row.money, 0),
                gave.join("; ")
            );
        }
    }
    out.push_str("</tbody></table></div></details>");
    out
}

/// The fitted pens beside the log.
fn beside(plan: &Plan) -> String {
    let mut out = String::from(
        "<details class=\"fold\"><summary>The pens as fitted, beside the log</summary><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"The pens as fitted, beside the log\"><table><thead><tr><th scope=\"col\">figure</th><th scope=\"col\">in the log</th><th scope=\"col\">simulated</th></tr></thead><tbody>",
    );
    for one in &plan.beside {
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>",
            one.what,
            number::plain(one.observed, 2),
            number::plain(one.simulated, 2)
        );
    }
    out.push_str("</tbody></table></div></details>");
    out
}
