//! What a plan comes to, in sentences.

use cowpath_core::{
    say::{number, plan as say},
    traffic::{Figure, Limit},
};

use super::{
    plan::{AskedPlan, Plan, PlanScenario},
    planning::{Ground, mass},
};

/// Idle below this share of time: no box can hold such a demand.
const NO_TIME_LEFT: f64 = 0.02;
/// Three against two milkings a day, kg, with the ends of its 95 % interval (`docs/sources.md` §2).
const THREE_BEYOND_TWO: (f64, f64, f64) = (3.5, 3.1, 3.9);

/// All of them, the shortest answer first.
pub fn sentences(plan: &Plan, asked: &AskedPlan, ground: &Ground) -> Vec<String> {
    let mut sentences = Vec::new();
    for scenario in &plan.scenarios {
        let start =
            if plan.scenarios.len() == 2 { format!("{}: ", capital(scenario.name)) } else { String::new() };
        for sentence in of_scenario(scenario, asked) {
            sentences.push(format!("{start}{sentence}"));
        }
    }
    if let Some(difference) = middle(&plan.differences) {
        let figure = |figure: Figure| difference.figures[figure.word()];
        let (milk, unit) = mass(difference.milk_kg, ground.units);
        let told = say::Differs {
            instead: plan.scenarios[1].words.clone(),
            milkings: figure(Figure::Milkings),
            milk,
            unit,
            waiting_min: figure(Figure::Waiting),
            idle: figure(Figure::Idle),
            people_min: figure(Figure::People),
            money: difference.money,
            currency: plan.terms.currency.clone(),
        };
        sentences.push(say::differs(difference.cows, &told));
    }
    if let Some(parlour) = asked.parlour {
        sentences.extend(from_parlour(plan, parlour, ground));
    }
    sentences
}

fn of_scenario(scenario: &PlanScenario, asked: &AskedPlan) -> Vec<String> {
    let mut all = Vec::new();
    let (Some(least), Some(most)) = (scenario.rows.first(), scenario.rows.last()) else { return all };
    let of = |row: &super::plan::PlanRow, figure: Figure| row.figures[figure.word()];
    if 1 < scenario.rows.len() && least.cows < most.cows {
        all.push(say::capacity(
            scenario.boxes,
            asked.bounds.idle,
            (least.cows, most.cows),
            scenario.capacity,
            (of(least, Figure::Idle).mean, of(most, Figure::Idle).mean),
        ));
    } else {
        let idle = of(least, Figure::Idle);
        all.push(format!(
            "{} with {}: {} milkings a cow and day, {} % of box time idle.",
            capital(&say::cows(least.cows)),
            say::boxes(scenario.boxes),
            say::with_interval(of(least, Figure::Milkings), 2),
            say::with_interval(idle.times(100.0), 1),
        ));
    }
    let limits = [Limit::Idle, Limit::LongIntervals, Limit::Waiting, Limit::People];
    let mut first: Vec<(usize, Limit)> = limits
        .into_iter()
        .filter_map(|limit| {
            let row = scenario.rows.iter().find(|row| row.exceeded.contains(&limit))?;
            Some((row.cows, limit))
        })
        .collect();
    first.sort();
    all.extend(say::gives_way(&first));
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

/// The move from a parlour: the published effect of frequency, as far as it reaches.
fn from_parlour(plan: &Plan, parlour: f64, ground: &Ground) -> Vec<String> {
    let Some(scenario) = plan.scenarios.last() else { return Vec::new() };
    let Some(row) = middle(&scenario.rows) else { return Vec::new() };
    let milkings = row.figures[Figure::Milkings.word()];
    // Between two and three milkings a day the effect is taken to be straight; beyond three it is less.
    let above = |per_day: f64, three: f64| {
        three * (per_day - 2.0).clamp(-0.5, 1.0) + (per_day - 3.0).clamp(0.0, 1.0) * 1.4
    };
    let change = |three: f64, per_day: f64| above(per_day, three) - above(parlour, three);
    let (mid, low, high) = THREE_BEYOND_TWO;
    let ends = [
        change(low, milkings.low),
        change(high, milkings.high),
        change(high, milkings.low),
        change(low, milkings.high),
    ];
    let finite = |value: &f64| value.is_finite();
    let least = ends.iter().copied().filter(finite).fold(f64::INFINITY, f64::min);
    let most = ends.iter().copied().filter(finite).fold(f64::NEG_INFINITY, f64::max);
    let mean = cowpath_core::traffic::Mean { mean: change(mid, milkings.mean), low: least, high: most };
    let (milk, unit) = mass(mean, ground.units);
    let fetched = row.figures[Figure::Brought.word()];
    vec![
        format!(
            "From {} milkings a day in the parlour to {} in the boxes: {} {unit} of milk a cow and day, by what trials of milking frequency found; it says nothing of other feed or housing.",
            number::plain(parlour, 0),
            say::with_interval(milkings, 2),
            say::signed_interval(milk, 1),
        ),
        format!(
            "The first weeks: a cow takes about 7 days and a herd 30 to learn it; until then bring every cow that is not milked by herself at each round. Later {} of every hundred cows are fetched a day here; in published older herds 5 to 15 never come by themselves.",
            say::with_interval(fetched.times(100.0), 0),
        ),
    ]
}

fn middle<T>(all: &[T]) -> Option<&T> {
    all.get(all.len() / 2)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
