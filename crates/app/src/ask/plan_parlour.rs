//! The move from a parlour in sentences: milk, money, and the first weeks.

use cowpath_core::{
    say::{number, plan as say},
    traffic::{Figure, Mean, parlour},
};

use super::{
    plan::{Parlour, Plan, PlanRow},
    planning::{Ground, mass},
};

/// How cows are milked in a parlour, as a person writes it: `2` or `3` a day, or the hours of the group, `5/17`.
///
/// # Errors
/// Says what was not understood.
pub fn read(words: &str) -> Result<Option<Parlour>, String> {
    let words = words.trim();
    if words.is_empty() || words == "0" {
        return Ok(None);
    }
    let wrong = || {
        format!("`{words}`: a parlour milks 1 to 4 times a day, written 2 or 3, or by its hours as in 5/17")
    };
    let figures: Option<Vec<f64>> = words
        .split('/')
        .map(|one| one.trim().replace(',', ".").parse::<f64>().ok().filter(|one| (0.0..=24.0).contains(one)))
        .collect();
    let hours = match figures.ok_or_else(wrong)?.as_slice() {
        [per_day] if (1.0..=4.0).contains(per_day) => {
            return Ok(Some(Parlour { per_day: *per_day, hours: Vec::new() }));
        }
        [_] => return Err(wrong()),
        hours => hours.to_vec(),
    };
    if 4 < hours.len() {
        return Err(wrong());
    }
    Ok(Some(Parlour { per_day: hours.len() as f64, hours }))
}

/// Milk and money of the move, then the first weeks, of the last scenario with the cows that are told.
pub fn sentences(plan: &Plan, from: &Parlour, ground: &Ground) -> Vec<String> {
    let Some(scenario) = plan.scenarios.last() else { return Vec::new() };
    let Some(row) = scenario.rows.get(plan.told_place()) else { return Vec::new() };
    let boxes = scenario.boxes.max(1);
    let milkings = row.figures[Figure::Milkings.word()];
    let per_cow = parlour::change_kg(from.per_day, milkings);
    let (milk, unit) = mass(per_cow, ground.units);
    let (herd, _) = mass(per_cow.times(row.cows as f64), ground.units);
    let money = per_cow.times(row.cows as f64 * plan.terms.price_kg());
    let mut all = vec![format!(
        "From {} milkings a day in the parlour to {} in the boxes: {}{}{unit} of milk a cow and day, by what trials of \
         milking frequency found. For {} that is {}, milk less feed. It says nothing of other feed or housing.",
        number::plain(from.per_day, 0),
        say::with_interval(milkings, 2),
        say::signed_interval(milk, 1),
        number::SPACE,
        say::cows(row.cows),
        say::milk_and_money(herd, unit, money, &plan.terms.currency),
    )];
    all.push(work(plan, row, boxes, money));
    if let Some(fits) = scenario.capacity {
        all.push(format!("That is {} cows a box.", say::with_interval(fits.times(1.0 / boxes as f64), 0)));
    }
    all.push(first_weeks(plan, row, from));
    all
}

/// What the boxes cost, and how much work must be spared to pay for them.
fn work(plan: &Plan, row: &PlanRow, boxes: usize, money: Mean) -> String {
    let (terms, space) = (&plan.terms, number::SPACE);
    let currency = &terms.currency;
    let people = row.figures[Figure::People.word()].mean;
    let cost = boxes as f64 * terms.box_day + people * terms.labour_min;
    let fetching = if 0.5 <= people {
        format!(" with {} minutes of fetching", say::grouped(people, 0, false))
    } else {
        String::new()
    };
    let head = format!(
        "{} cost{} {}{space}{currency} a day{fetching}",
        say::boxes(boxes),
        if boxes == 1 { "s" } else { "" },
        say::grouped(cost, 0, false)
    );
    let left = money.plus(-cost);
    if 0.0 <= left.low || terms.labour_min <= 0.0 {
        return format!("{head}: {}{space}{currency} a day is left.", say::with_interval(left, 0));
    }
    let spared = left.times(-1.0 / terms.labour_min);
    let spared = Mean { mean: spared.mean.max(0.0), low: spared.low.max(0.0), high: spared.high.max(0.0) };
    format!(
        "{head}. With that milk they pay where {} minutes of milking work a day are spared, at {}{space}{currency} a minute.",
        say::with_interval(spared, 0),
        terms.labour_min
    )
}

/// What people do until cows come by themselves.
fn first_weeks(plan: &Plan, row: &PlanRow, from: &Parlour) -> String {
    let at_most = row.cows as f64 * from.per_day;
    let hours = at_most * plan.terms.fetch_min / 60.0;
    let known = if from.hours.is_empty() {
        String::new()
    } else {
        let hours: Vec<String> = from.hours.iter().map(|hour| say::clock(*hour)).collect();
        format!(" Begin with rounds at the hours they know, {}.", say::list(&hours, "and"))
    };
    let fetched = row.figures[Figure::Brought.word()];
    let later = if !plan.fetching_known && fetched.mean <= 0.0 {
        "How many are fetched later is not known; in published settled herds 5 to 15 of a hundred cows never come by themselves: \
         plan hours for them."
            .to_owned()
    } else if fetched.mean <= 0.0 {
        "In these pens nobody fetches later; in published settled herds 5 to 15 of a hundred cows never come by \
         themselves: plan hours for them."
            .to_owned()
    } else {
        format!(
            "Later {} of every hundred cows are fetched a day here; in published settled herds 5 to 15 never come by themselves.",
            say::with_interval(fetched.times(100.0), 0)
        )
    };
    format!(
        "The first weeks: a cow takes about 7 days and a herd 30 to learn it.{known} Until then bring every cow that does \
         not come: at first at most {} a day, which is {} hours of work at {} minutes a cow, and less where they are \
         brought together. {later}",
        say::grouped(at_most, 0, false),
        number::plain(hours, 0),
        number::plain(plan.terms.fetch_min, 0),
    )
}
