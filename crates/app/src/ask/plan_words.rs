//! What a plan comes to, in sentences.

use cowpath_core::{
    say::{number, plan as say},
    traffic::{Figure, Limit, Mean},
};

use super::{
    gains::big,
    plan::{AskedPlan, Plan, PlanRow, PlanScenario},
    plan_parlour,
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
    for scenario in &plan.scenarios {
        let limits = limits(scenario);
        if !limits.is_empty() {
            let limits = limits.join(" ");
            sentences.push(if two { format!("{}: {}", big(scenario.name), small(&limits)) } else { limits });
        }
    }
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
    let words = say::capacity(
        scenario.boxes,
        asked.bounds.idle,
        (least.cows, most.cows),
        scenario.capacity,
        (of(least, Figure::Idle).mean, of(most, Figure::Idle).mean),
    );
    let more = match (scenario.capacity, plan.cows_now) {
        _ if place == 1 => scenario.beyond.as_ref().map(|own| say::more(own.cows, "as asked")),
        (Some(fits), Some(now)) => Some(say::more(fits.plus(-(now as f64)), &format!("the {now} now"))),
        _ => None,
    };
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
    let limits = [Limit::Idle, Limit::LongIntervals, Limit::Waiting, Limit::People];
    let mut first: Vec<(usize, Limit)> = limits
        .into_iter()
        .filter_map(|limit| {
            let row = scenario.rows.iter().find(|row| row.exceeded.contains(&limit))?;
            Some((row.cows, limit))
        })
        .collect();
    first.sort();
    let mut all: Vec<String> = say::gives_way(&first).into_iter().collect();
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
