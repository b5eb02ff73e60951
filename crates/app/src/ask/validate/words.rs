//! The report as a page of Markdown, which is also what the command prints.

use std::fmt::Write as _;

use super::{
    REPORTED_FROM, Report, TUNED_ON,
    report::{CurvePoint, Herds, Line, RuleLines, Told},
};

/// How the figures were counted.
const COUNTING: &str = "\
Counting: a call counts once, from its first to its last round. Called within 24 h: by a round from the case's first \
departure to 24 h after its first sign, right cause. False: shown as `now` or `today` with no true case of that cow from 3 \
days before to 3 days after; a heat excuses only a heat call. Calibration: every shown cow, cause and round. Intervals are \
exact for shares and counts, as if cases were independent; of the calibration error they are the jackknife's over herds. Each identity of a \
call counts as one false call.\n";

/// The page.
pub fn page(report: &Report) -> String {
    let mut text = heading(&report.herds);
    text += COUNTING;
    text += "\n| what | figure | 95 % interval | n | asked | simple rule on the same herds |\n|---|---|---|---|---|---|\n";
    for line in &report.rows {
        let beside = line.rule.zip(line.rule_figure).map_or(String::new(), |(rule, figure)| {
            format!("{}: {}", rule, with_interval(line.unit, &figure))
        });
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} |",
            line.what,
            figure(line.unit, &line.figure),
            interval(line.unit, &line.figure),
            line.figure.n,
            line.aim,
            beside
        );
    }
    text += "\n### Beside the simple rules, at equal false calls and at equal cases called\n\n";
    text += "Here both are counted alike: marks of one cow less than five days apart are one call, and the program calls from a threshold of \
             its stated probability, whatever a look costs.\n\n";
    text += "| rule | hours | rule calls | rule's false calls | program at as many false calls | program's false calls at as many called |\n|---|---|---|---|---|---|\n";
    for rule in &report.rules {
        for (place, hours) in [24, 48].into_iter().enumerate() {
            equal(&mut text, rule, place, hours);
        }
    }
    text += "\n### Curves: cases called against false calls for 100 cow-days\n\n";
    text += "| | from | within 24 h | within 48 h | false calls for 100 cow-days |\n|---|---|---|---|---|\n";
    for rule in &report.rules {
        let kinds = rule.kinds.join(", ");
        for point in &rule.rule_curve {
            curve(&mut text, rule.rule, point);
        }
        for point in &rule.curve {
            curve(&mut text, &format!("stated probability of {kinds}"), point);
        }
    }
    text += "\n### Stated probabilities\n\n| cause | stated | times | mean stated | held |\n|---|---|---|---|---|\n";
    for tenth in &report.calibration {
        let _ = writeln!(
            text,
            "| {} | {} to {} % | {} | {:.2} | {:.2} |",
            tenth.cause,
            tenth.from_pct,
            tenth.from_pct + 10,
            tenth.times,
            tenth.stated,
            tenth.held
        );
    }
    text += "\n### What looks like trouble and is none, and what moves the herd\n\n";
    text += "| what | spans | false cow calls begun in one or a day after | as many by chance | named by a call of the herd |\n|---|---|---|---|---|\n";
    for decoy in &report.decoys {
        let _ = writeln!(
            text,
            "| {} | {} | {} | {:.1} | {} |",
            decoy.kind, decoy.spans, decoy.calls, decoy.by_chance, decoy.named
        );
    }
    text += "\n### Calls shown as `now` or `today`, by what the cow truly had\n\n| call | her cases within three days | calls |\n|---|---|---|\n";
    for calls in &report.calls {
        let kinds = if calls.kinds.is_empty() { "none".to_owned() } else { calls.kinds.join(", ") };
        let _ = writeln!(text, "| {} | {kinds} | {} |", calls.cause, calls.calls);
    }
    if let (Some(of_seven_days), Some(covered)) = (report.milk.of_seven_days, report.milk.covered) {
        let _ = writeln!(
            text,
            "\nMilk: {} milkings, mean absolute error {of_seven_days:.3} of that of her seven days' mean rate times the interval (asked: at \
             most 0.85); the 95 % interval covers {:.1} %.",
            report.milk.milkings,
            100.0 * covered
        );
    }
    text
}

/// The herds' figures with every sensor and without some, a row each.
pub fn ablation(reports: &[Report]) -> String {
    let Some(first) = reports.first() else { return String::new() };
    let mut text = heading(&first.herds);
    text += "Each row is the same herds with the columns of some signals left out of their logs: what is lost is what they add. Without \
             `activity` steps are left out too, which would stand in for it; `movement` is the whole table.\n\n";
    let asked: Vec<&Line> = first.rows.iter().filter(|line| !line.aim.is_empty()).collect();
    let heads: Vec<&str> = asked.iter().map(|line| line.what.as_str()).collect();
    let _ = writeln!(text, "| left out | {} |\n|---|{}", heads.join(" | "), "---|".repeat(heads.len()));
    for report in reports {
        let own = report.rows.iter().filter(|line| !line.aim.is_empty());
        let cells: Vec<String> = own.map(|line| with_interval(line.unit, &line.figure)).collect();
        let words =
            if report.herds.without.is_empty() { "nothing".into() } else { report.herds.without.join(", ") };
        let _ = writeln!(text, "| {words} | {} |", cells.join(" | "));
    }
    text
}

/// `1 herd`, `20 herds`.
fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// Which herds, and which seeds were used for what.
pub fn heading(herds: &Herds) -> String {
    let seeds = match (herds.seeds.first(), herds.seeds.last()) {
        (Some(first), Some(last)) if first != last => format!("seeds {first} to {last}"),
        (Some(first), _) => format!("seed {first}"),
        _ => "no seed".into(),
    };
    let without = match herds.without[..] {
        [] => String::new(),
        ref words => format!(", without {}", words.join(", ")),
    };
    let often = if herds.every_milking { "after every milking" } else { "at 05:30 and 16:00" };
    format!(
        "{} of {} cows, {} and {} days, {seeds}{without}; rounds {often}: {}, over {:.0} cow-days judged, {:.1} calls a \
         round. Templates and defaults may be looked at on seeds {} to {}, figures are reported on {REPORTED_FROM} and on. Reckoning: {}.\n\n",
        count(herds.seeds.len(), "herd", "herds"),
        herds.cows,
        count(herds.boxes as usize, "box", "boxes"),
        herds.days,
        herds.rounds,
        herds.cow_days,
        herds.calls_a_round,
        TUNED_ON.start(),
        TUNED_ON.end(),
        herds.model,
    )
}

fn one(unit: &str, value: f64) -> String {
    match unit {
        "share" => format!("{:.0} %", 100.0 * value),
        "up" => format!("{:+.0} %", 100.0 * value),
        "per 100 days" => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    }
}

/// `27 of 38 = 71 %`, `75 = 0.22`, `0.102`.
pub fn figure(unit: &str, told: &Told) -> String {
    let value = told.value.map_or("none".into(), |value| one(unit, value));
    match (unit, told.count) {
        ("share", Some(count)) => format!("{count} of {} = {value}", told.n),
        (_, Some(count)) => format!("{count} = {value}"),
        _ => value,
    }
}

/// `54 to 85 %`.
pub fn interval(unit: &str, told: &Told) -> String {
    match told.low95.zip(told.high95) {
        Some((low, high)) if high.is_finite() => {
            let low = one(unit, low);
            format!("{} to {}", low.strip_suffix(" %").unwrap_or(&low), one(unit, high))
        }
        _ => String::new(),
    }
}

fn with_interval(unit: &str, told: &Told) -> String {
    let interval = interval(unit, told);
    if interval.is_empty() { figure(unit, told) } else { format!("{} ({interval})", figure(unit, told)) }
}

fn equal(text: &mut String, rule: &RuleLines, place: usize, hours: u32) {
    let within = |point: &CurvePoint| if place == 0 { point.within_24h } else { point.within_48h };
    let ours = rule.at_equal_false[place].map_or("none".into(), |point| {
        format!("{}, from {:.1} %", with_interval("share", &within(&point)), 100.0 * point.from)
    });
    let fewest = rule.at_equal_called[place].map_or("never calls as many".into(), |point| {
        format!("{}, from {:.1} %", with_interval("per 100 days", &point.false_calls), 100.0 * point.from)
    });
    let _ = writeln!(
        text,
        "| {} | {hours} | {} | {} | {ours} | {fewest} |",
        rule.rule,
        with_interval("share", &within(&rule.stands)),
        with_interval("per 100 days", &rule.stands.false_calls),
    );
}

fn curve(text: &mut String, what: &str, point: &CurvePoint) {
    let _ = writeln!(
        text,
        "| {what} | {:.1} % | {} | {} | {} |",
        100.0 * point.from,
        figure("share", &point.within_24h),
        figure("share", &point.within_48h),
        figure("per 100 days", &point.false_calls)
    );
}

/// A row as cells of CSV: without, what, figure, interval, count, n, unit, asked, rule, its figure.
pub fn cells(herds: &Herds, line: &Line) -> Vec<String> {
    let number = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
    let rule = line.rule_figure;
    vec![
        herds.without.join(" "),
        line.what.clone(),
        number(line.figure.value),
        number(line.figure.low95),
        number(line.figure.high95),
        line.figure.count.map_or(String::new(), |count| count.to_string()),
        line.figure.n.to_string(),
        line.unit.to_owned(),
        line.aim.to_owned(),
        line.rule.unwrap_or_default().to_owned(),
        number(rule.and_then(|own| own.value)),
        number(rule.and_then(|own| own.low95)),
        number(rule.and_then(|own| own.high95)),
    ]
}
