//! A plan on its page: sentences, the picture of idle box time over herd sizes, both scenarios in figures, and the rest
//! folded away.

use std::{collections::BTreeMap, fmt::Write};

use cowpath_core::{
    say::{number, plan as say},
    traffic::{Cows, Figure, Mean, Setup, Traffic},
};

use super::{lanes::escaped, plan_pictures};
use crate::ask::{
    plan::{Plan, PlanRow},
    planning::{Ground, mass},
};

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
        ("milk", "her own".to_owned()),
        ("longest", "her own".to_owned()),
    ]);
    if let Cows::Drawn(about) = &setup.herd {
        usual.insert("milk", number::plain(about.yield_kg, 1));
        usual.insert("shortest", hours(&about.minimum_h));
        usual.insert("longest", number::plain(about.longest_h, 0));
    }
    usual
}

/// More cows than any field study found at a box, and fewer (`docs/sources.md` §1: 47 to 58): between them lies what fits.
const COWS_A_BOX: (usize, usize) = (45, 75);

/// Some ten herd sizes about a farm's own that reach from boxes with time to boxes without: `72-153/9`, and the last.
pub fn around(setup: &Setup) -> (String, usize) {
    let (cows, boxes) = (setup.cows.max(1), setup.boxes.max(1));
    let low = (2 * cows / 3).min(COWS_A_BOX.0 * boxes).max(1);
    let high = (4 * cows / 3).max(COWS_A_BOX.1 * boxes);
    let step = (high - low).div_ceil(9).max(1);
    let last = low + step * (high - low).div_ceil(step);
    (format!("{low}-{last}/{step}"), last)
}

/// No figure, for units alone.
const ZERO: Mean = Mean { mean: 0.0, low: 0.0, high: 0.0 };

/// The answer as far as it is reckoned.
pub fn answer(plan: &Plan, ground: &Ground) -> String {
    let mut out = String::new();
    for (place, sentence) in plan.sentences.iter().enumerate() {
        let class = if place == 0 { " class=\"large\"" } else { "" };
        let _ = write!(out, "<p{class}>{}</p>", escaped(sentence));
        // The picture proves what was said first.
        let first = place == 1.min(plan.sentences.len() - 1);
        if first && plan.scenarios.iter().any(|scenario| 1 < scenario.rows.len()) {
            out.push_str(&plan_pictures::idle_picture(plan));
        }
    }
    let _ = write!(
        out,
        "<p class=\"soft\"><span class=\"state\">{}</span> {} From {}.</p>",
        state(plan),
        escaped(&say::brackets(&plan.basis)),
        escaped(&plan.basis)
    );
    let notes = |out: &mut String| {
        for note in &plan.notes {
            let _ = write!(out, "<p class=\"note\">{}</p>", escaped(note));
        }
    };
    if !plan.fitted {
        notes(&mut out);
    }
    let _ = write!(out, "<p class=\"note\">{}", escaped(&say::terms(&plan.terms, ground.units)));
    let set = say::stated_prices(&plan.terms).map_or("Set others", |words| {
        let _ = write!(out, " {}", escaped(words));
        "Set yours"
    });
    let _ = write!(out, " <a href=\"/boxes/intervals#terms\">{set}</a>.</p>");
    out.push_str(&sides(plan, ground));
    out.push_str(&pictures(plan));
    out.push_str(&table(plan, ground));
    if !plan.beside.is_empty() {
        out.push_str(&beside(plan));
    }
    if plan.fitted {
        notes(&mut out);
    }
    out
}

/// How far it is.
fn state(plan: &Plan) -> String {
    let (done, days) = (plan.replicates, number::plain(plan.days, 0));
    match (plan.done, plan.sure) {
        (false, _) => format!("Reckoning: {done} of at most {} replicates are in.", plan.most_replicates),
        (true, true) => format!("Sure enough after {done} replicates of {days} days."),
        (true, false) => format!("{done} replicates of {days} days; the intervals say how sure it is."),
    }
}

/// The scenarios side by side in figures, with the cows that are told.
fn sides(plan: &Plan, ground: &Ground) -> String {
    let place = plan.told_place();
    let rows: Vec<(&PlanRow, f64)> = plan
        .scenarios
        .iter()
        .filter_map(|scenario| Some((scenario.rows.get(place)?, scenario.boxes as f64)))
        .collect();
    let Some((first, _)) = rows.first() else { return String::new() };
    let scenarios = &plan.scenarios[..rows.len()];
    let difference = plan.differences.get(place);
    let mut out = String::from("<section class=\"side-by-side\" aria-labelledby=\"sides-head\">");
    let _ = write!(out, "<h2 id=\"sides-head\">With {}</h2><p class=\"soft\">", say::cows(first.cows));
    for scenario in scenarios {
        let name = if scenario.name == "instead" { " Instead" } else { "As asked" };
        let _ = write!(out, "{name}: {}.", escaped(&scenario.head()));
    }
    out.push_str("</p><table class=\"sides\"><thead><tr><th scope=\"col\">figure</th>");
    for scenario in scenarios {
        let _ = write!(out, "<th scope=\"col\">{}</th>", scenario.name);
    }
    if difference.is_some() {
        out.push_str("<th scope=\"col\">difference</th>");
    }
    out.push_str("</tr></thead><tbody>");
    let unit = mass(ZERO, ground.units).1;
    let herd = |mean: Mean| mass(mean, ground.units).0;
    let mut row = |what: &str, decimals: usize, own: &dyn Fn(&PlanRow, f64) -> Mean, less: Option<Mean>| {
        // What is nothing everywhere is no row.
        let nothing = |mean: Mean| mean.low == 0.0 && mean.high == 0.0;
        if rows.iter().all(|(figures, boxes)| nothing(own(figures, *boxes))) {
            return;
        }
        let _ = write!(out, "<tr><th scope=\"row\">{}</th>", escaped(what));
        for (figures, boxes) in &rows {
            cell(&mut out, own(figures, *boxes), decimals, false);
        }
        if let Some(less) = less {
            cell(&mut out, less, decimals, true);
        }
        out.push_str("</tr>");
    };
    let milk = |own: &PlanRow, boxes: f64| herd(own.figures[Figure::MilkBox.word()].times(boxes));
    row(&format!("milk, {unit} a day"), 0, &milk, difference.map(|own| herd(own.milk_kg)));
    row(
        &format!("money a day, {}", plan.terms.currency),
        0,
        &|own, _| own.money,
        difference.map(|own| own.money),
    );
    let cows = first.cows as f64;
    let plain: [(&str, Figure, usize, f64); 11] = [
        ("milkings a cow-day", Figure::Milkings, 2, 1.0),
        ("hours between milkings", Figure::Interval, 1, 1.0),
        ("one in ten is shorter than, h", Figure::IntervalLow, 1, 1.0),
        ("one in ten is longer than, h", Figure::IntervalHigh, 1, 1.0),
        ("turned away a cow-day", Figure::TurnedAway, 2, 1.0),
        ("idle box time, %", Figure::Idle, 1, 100.0),
        ("waited a cow-day, min", Figure::Waiting, 0, 1.0),
        ("a wait, lowest ranks, min", Figure::WaitLow, 0, 1.0),
        ("a wait, highest ranks, min", Figure::WaitHigh, 0, 1.0),
        ("fetched a day", Figure::Brought, 1, cows),
        ("people, min a day", Figure::People, 0, 1.0),
    ];
    for (what, figure, decimals, factor) in plain {
        let own = |own: &PlanRow, _: f64| own.figures[figure.word()].times(factor);
        row(what, decimals, &own, difference.map(|less| less.figures[figure.word()].times(factor)));
    }
    out.push_str("</tbody></table></section>");
    out
}

/// A figure, its interval under it.
fn cell(out: &mut String, mean: Mean, decimals: usize, sign: bool) {
    let [middle, low, high] =
        [mean.mean, mean.low, mean.high].map(|value| say::grouped(value, decimals, sign));
    let _ = write!(out, "<td><b>{middle}</b>");
    if mean.low.is_finite() && low != high {
        let _ = write!(out, " <span>{low} to {high}</span>");
    }
    out.push_str("</td>");
}

/// When cows are milked and how long between, beside each other.
fn pictures(plan: &Plan) -> String {
    let place = plan.told_place();
    let mut out = String::from("<div class=\"both\">");
    let rows: Vec<(&str, &PlanRow)> = plan
        .scenarios
        .iter()
        .filter_map(|scenario| Some((scenario.name, scenario.rows.get(place)?)))
        .collect();
    let most = |of: fn(&PlanRow) -> &Vec<f64>| {
        rows.iter().flat_map(|(_, row)| of(row)).copied().fold(1e-9, f64::max)
    };
    let (longest, busiest) = (most(|row| &row.intervals), most(|row| &row.by_hour));
    for (name, row) in rows {
        let name = if plan.scenarios.len() == 2 { format!(", {name}") } else { String::new() };
        out.push_str("<section>");
        out.push_str(&plan_pictures::bars(
            &row.intervals,
            longest,
            &format!("Hours between milkings{name}"),
            &format!(
                "eight in ten between {} and {} hours",
                number::plain(row.figures[Figure::IntervalLow.word()].mean, 1),
                number::plain(row.figures[Figure::IntervalHigh.word()].mean, 1)
            ),
            " h",
        ));
        let busy = row.by_hour.iter().enumerate().max_by(|one, other| one.1.total_cmp(other.1));
        out.push_str(&plan_pictures::bars(
            &row.by_hour,
            busiest,
            &format!("Visits a box by hour of the day{name}"),
            &busy.map_or(String::new(), |(hour, visits)| {
                format!("most in the hour from {}: {}", say::clock(hour as f64), number::plain(*visits, 1))
            }),
            ":00",
        ));
        out.push_str("</section>");
    }
    out.push_str("</div>");
    out
}

/// Every herd size in figures.
fn table(plan: &Plan, ground: &Ground) -> String {
    let (unit, currency) = (mass(ZERO, ground.units).1, escaped(&plan.terms.currency));
    let mut out = format!(
        "<details class=\"fold\"><summary>Every herd size in figures</summary><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Every herd size in figures\"><table><thead><tr><th scope=\"col\">cows</th><th scope=\"col\">scenario</th><th scope=\"col\">milkings a cow-day</th><th scope=\"col\">idle %</th><th scope=\"col\">milk a box-day, {unit}</th><th scope=\"col\">waited a cow-day, min</th><th scope=\"col\">fetched a day</th><th scope=\"col\">{currency} a day</th><th scope=\"col\">gives way</th></tr></thead><tbody>",
    );
    let sizes = plan.scenarios.iter().map(|scenario| scenario.rows.len()).max().unwrap_or(0);
    for place in 0..sizes {
        for scenario in &plan.scenarios {
            let Some(row) = scenario.rows.get(place) else { continue };
            let of = |figure: Figure| row.figures[figure.word()];
            let (milk, _) = mass(of(Figure::MilkBox), ground.units);
            let gave: Vec<String> = row.exceeded.iter().map(|limit| say::limit(*limit).to_owned()).collect();
            let _ = write!(
                out,
                "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                row.cows,
                scenario.name,
                say::with_interval(of(Figure::Milkings), 2),
                say::with_interval(of(Figure::Idle).times(100.0), 1),
                say::grouped(milk.mean, 0, false),
                number::plain(of(Figure::Waiting).mean, 0),
                if scenario.fetched_unknown {
                    "not known".into()
                } else {
                    number::plain(of(Figure::Brought).mean * row.cows as f64, 1)
                },
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
