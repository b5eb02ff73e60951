//! What a plan comes to, in sentences.

use cowpath_core::{
    say::{number, plan as say},
    traffic::{Figure, Limit, Mean},
};

use super::{
    gains::big,
    plan::{AskedPlan, Plan, PlanRow, PlanScenario},
    plan_fetch, plan_parlour,
    planning::{Ground, mass},
};

/// Idle below this share of time: no box can hold such a demand.
const NO_TIME_LEFT: f64 = 0.02;

/// All of them, the shortest answer first.
pub fn sentences(plan: &Plan, asked: &AskedPlan, ground: &Ground) -> Vec<String> {
    let two = plan.scenarios.len() == 2;
    let mut sentences = Vec::new();
    for (place, scenario) in plan.scenarios.iter().enumerate() {
        let start = match (two, place) {
            (false, _) => String::new(),
            (true, 0) => "As asked, ".into(),
            (true, _) if scenario.words == say::boxes(scenario.boxes) => "Instead, ".into(),
            (true, _) => format!("Instead ({}), ", scenario.words),
        };
        sentences.extend(holds(plan, scenario, asked, ground, place).map(|words| format!("{start}{words}")));
        sentences.extend(brings(scenario, plan, ground));
    }
    sentences.extend(differs(plan, ground));
    let all: Vec<Vec<String>> = plan.scenarios.iter().map(limits).collect();
    for (scenario, limits) in plan.scenarios.iter().zip(&all) {
        if !limits.is_empty() {
            let limits = limits.join(" ");
            sentences.push(if two { format!("{}: {}", big(scenario.name), small(&limits)) } else { limits });
        }
    }
    sentences.extend(plan_fetch::sentence(plan, asked, ground));
    if let Some(parlour) = &asked.parlour {
        sentences.extend(plan_parlour::sentences(plan, parlour, ground));
    }
    sentences
}

/// Within a sentence.
fn small(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// How many cows fit; of one herd size, how it goes with them.
fn holds(
    plan: &Plan,
    scenario: &PlanScenario,
    asked: &AskedPlan,
    ground: &Ground,
    place: usize,
) -> Option<String> {
    let (least, most) = (scenario.rows.first()?, scenario.rows.last()?);
    let of = |row: &PlanRow, figure: Figure| row.figures[figure.word()];
    if least.cows == most.cows {
        let (milk, unit) = mass(of(least, Figure::MilkBox).times(scenario.boxes as f64), ground.units);
        return Some(format!(
            "{} with {}: {} milkings a cow and day, {}{}% of box time idle; {}{}{unit} of milk and {}{}{} a day.",
            say::cows(least.cows),
            say::boxes(scenario.boxes),
            say::with_interval(of(least, Figure::Milkings), 2),
            say::with_interval(of(least, Figure::Idle).times(100.0), 1),
            number::SPACE,
            say::with_interval(milk, 0),
            number::SPACE,
            say::with_interval(least.money, 0),
            number::SPACE,
            plan.terms.currency,
        ));
    }
    let idle = |row: &PlanRow| of(row, Figure::Idle).mean;
    let reserve = asked.bounds.idle;
    let other = given_way(scenario).first().copied().filter(|_| reserve <= idle(most));
    let words = match other {
        Some(first) => say::other_limit(scenario.boxes, reserve, most.cows, first),
        None => say::capacity(
            scenario.boxes,
            reserve,
            (least.cows, most.cows),
            scenario.capacity,
            (idle(least), idle(most)),
        ),
    };
    let more = scenario.beyond.as_ref().filter(|_| other.is_none()).map(|own| {
        let by = own.to as i64 - own.from as i64;
        // Part of a cow is none; of a difference the nearest whole one is told.
        let whole = |cows: f64| if place == 0 { cows.floor() } else { cows.round() } as i64;
        let ends = own.cows.low.is_finite().then(|| (whole(own.cows.low), whole(own.cows.high)));
        let than =
            if place == 0 { format!("the {} now", number::count(own.from)) } else { "as asked".into() };
        say::more(by, ends, &than)
    });
    Some(format!("{words}{}.", more.map_or(String::new(), |more| format!(": {more}"))))
}

/// What the cows that fit bring, against now or against the other scenario.
fn brings(scenario: &PlanScenario, plan: &Plan, ground: &Ground) -> Option<String> {
    let own = scenario.beyond.as_ref()?;
    let (milk, unit) = mass(own.milk_kg, ground.units);
    (own.from != own.to).then(|| say::brings(own.from, own.to, milk, unit, own.money, &plan.terms.currency))
}

/// What differs between the scenarios with the same cows.
fn differs(plan: &Plan, ground: &Ground) -> Option<String> {
    let difference = plan.differences.get(plan.told_place())?;
    let figure = |figure: Figure| -> Mean { difference.figures[figure.word()] };
    let (milk, unit) = mass(difference.milk_kg, ground.units);
    let told = say::Differs {
        instead: plan.scenarios.get(1)?.words.clone(),
        milkings: figure(Figure::Milkings),
        milk,
        unit,
        waiting_min: figure(Figure::Waiting),
        idle: figure(Figure::Idle),
        people_min: figure(Figure::People),
        money: difference.money,
        currency: plan.terms.currency.clone(),
    };
    Some(say::differs(difference.cows, &told))
}

/// Which limits give way, and from how many cows on no box can hold it.
fn limits(scenario: &PlanScenario) -> Vec<String> {
    let of = |row: &PlanRow, figure: Figure| row.figures[figure.word()];
    let mut all: Vec<String> = say::gives_way(&given_way(scenario)).into_iter().collect();
    let full = scenario.rows.iter().find(|row| of(row, Figure::Idle).mean < NO_TIME_LEFT);
    if let Some(row) = full {
        all.push(say::too_much(
            row.cows,
            scenario.boxes,
            of(row, Figure::Idle),
            of(row, Figure::Milkings),
            of(row, Figure::Waiting),
        ));
    }
    all
}

/// Limits that give way, each with the fewest cows at which it does, in rising order.
fn given_way(scenario: &PlanScenario) -> Vec<(usize, Limit)> {
    let limits = [Limit::Idle, Limit::LongIntervals, Limit::Waiting, Limit::People];
    let mut all: Vec<(usize, Limit)> = limits
        .into_iter()
        .filter_map(|limit| {
            let row = scenario.rows.iter().find(|row| row.exceeded.contains(&limit))?;
            Some((row.cows, limit))
        })
        .collect();
    all.sort();
    all
}
