//! What would happen at the boxes, in sentences.

use super::number::{SPACE, count, mass_unit, plain, signed};
use crate::{
    minutes::terms::Terms,
    traffic::{Change, Limit, Mean, Traffic},
    units::{KG_PER_LB, UnitSystem},
};

/// A figure with its interval: `2.81 (2.79 to 2.83)`.
pub fn with_interval(mean: Mean, decimals: usize) -> String {
    let write = |value| grouped(value, decimals, false);
    format!("{}{}", write(mean.mean), ends(mean, write))
}

/// The same of a difference: `+0.21 (+0.19 to +0.23)`.
pub fn signed_interval(mean: Mean, decimals: usize) -> String {
    let write = |value| grouped(value, decimals, true);
    format!("{}{}", write(mean.mean), ends(mean, write))
}

/// ` (2.79 to 2.83)`; an interval that is no wider than what is written is not written.
fn ends(mean: Mean, write: impl Fn(f64) -> String) -> String {
    let [low, high] = [mean.low, mean.high].map(write);
    if mean.low.is_finite() && low != high { format!(" ({low} to {high})") } else { String::new() }
}

/// A figure with thousands parted where it has no decimals.
pub fn grouped(value: f64, decimals: usize, sign: bool) -> String {
    let text = if sign { signed(value, decimals) } else { plain(value, decimals) };
    let digits = text.trim_start_matches(['+', '−']);
    match digits.parse::<usize>() {
        Ok(whole) if 999 < whole => text.replace(digits, &count(whole)),
        _ => text,
    }
}

/// `1 box`, `2 boxes`.
pub fn boxes(count: usize) -> String {
    if count == 1 { format!("1{SPACE}box") } else { format!("{count}{SPACE}boxes") }
}

/// `1 cow`, `118 cows`.
pub fn cows(count: usize) -> String {
    if count == 1 {
        format!("1{SPACE}cow")
    } else {
        format!("{}{SPACE}cows", grouped(count as f64, 0, false))
    }
}

/// An hour of the clock: `06:00`.
pub fn clock(hour: f64) -> String {
    let minutes = (hour * 60.0).round() as u32;
    format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60)
}

fn clocks(hours: &[f64]) -> String {
    let all: Vec<String> = hours.iter().map(|hour| clock(*hour)).collect();
    list(&all, "and")
}

/// `a, b and c`.
pub fn list(all: &[String], last: &str) -> String {
    match all {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., end] => format!("{} {last} {end}", most.join(", ")),
    }
}

/// How many cows fit: `2 boxes hold 113 cows (112 to 113) while 10 % of box time stays idle`, without a stop.
pub fn capacity(
    at: usize,
    idle: f64,
    sizes: (usize, usize),
    mean: Option<Mean>,
    idles: (f64, f64),
) -> String {
    let reserve = format!("{}{SPACE}%", plain(100.0 * idle, 0));
    let these = boxes(at);
    match mean {
        Some(mean) => {
            let span = if mean.low.is_finite() && whole(mean.low) != whole(mean.high) {
                format!(" ({} to {})", count(whole(mean.low)), count(whole(mean.high)))
            } else {
                String::new()
            };
            let holds = if at == 1 { "holds" } else { "hold" };
            format!("{these} {holds} {}{span} while {reserve} of box time stays idle", cows(whole(mean.mean)))
        }
        None if idle <= idles.1 => {
            format!(
                "{these}: with {} more than {reserve} of box time is still idle; try more cows",
                cows(sizes.1)
            )
        }
        None if idles.0 < idle => {
            format!(
                "{these}: with {} already less than {reserve} of box time is idle; try fewer cows",
                cows(sizes.0)
            )
        }
        None => format!("{these}: how many cows leave {reserve} of box time idle is not sure yet"),
    }
}

/// How far the first replicate is.
pub fn begun(cells: usize, of: usize) -> String {
    format!("Reckoning: the first figures of {cells} of {of} herd sizes are in.")
}

/// Whole cows of a figure: part of a cow is none.
pub fn whole(cows: f64) -> usize {
    cows.floor().max(0.0) as usize
}

/// How many more or fewer that is: `5 more than the 108 now (+4 to +5)`, `as many`; `ends` are whole cows.
pub fn more(by: i64, ends: Option<(i64, i64)>, than: &str) -> String {
    let figure = |value: i64| signed(value as f64, 0);
    let span = ends
        .filter(|(low, high)| low < high)
        .map_or_else(String::new, |(low, high)| format!(" ({} to {})", figure(low), figure(high)));
    match by {
        0 => format!("as many{span}"),
        less if less < 0 => format!("{} fewer than {than}{span}", -less),
        more => format!("{more} more than {than}{span}"),
    }
}

/// Where another limit gives way before the idle reserve does.
pub fn other_limit(at: usize, idle: f64, most: usize, first: (usize, Limit)) -> String {
    format!(
        "{}: with {} more than {}{SPACE}% of box time is still idle, but from {} on another limit gives way: {}",
        boxes(at),
        cows(most),
        plain(100.0 * idle, 0),
        cows(first.0),
        limit(first.1)
    )
}

/// What other numbers of cows bring: `113 cows instead of 108: +182 kg of milk and +60 USD a day`.
pub fn brings(from: usize, to: usize, milk: Mean, unit: &str, money: Mean, currency: &str) -> String {
    format!(
        "{} instead of {}: {}; what the cows cost else is not counted.",
        cows(to),
        grouped(from as f64, 0, false),
        milk_and_money(milk, unit, money, currency)
    )
}

/// `+71 kg (+64 to +78) of milk and −36 USD (−39 to −34) a day`; what may be chance is said.
pub fn milk_and_money(milk: Mean, unit: &str, money: Mean, currency: &str) -> String {
    let one = |mean: Mean, unit: &str| {
        let span = ends(mean, |value| grouped(value, 0, true));
        format!("{}{SPACE}{unit}{span}", grouped(mean.mean, 0, true))
    };
    let chance = |mean: Mean| mean.low.is_finite() && mean.holds(0.0) && mean.low < mean.high;
    let may = match (chance(milk), chance(money)) {
        (true, true) => " (both may be chance)",
        (true, false) => " (the milk may be chance)",
        (false, true) => " (the money may be chance)",
        (false, false) => "",
    };
    format!("{} of milk and {} a day{may}", one(milk, unit), one(money, currency))
}

/// What it is that gives way.
pub fn limit(limit: Limit) -> &'static str {
    match limit {
        Limit::Idle => "the idle reserve",
        Limit::LongIntervals => "intervals: too many are 14 hours and longer",
        Limit::Waiting => "waiting: cows stand too long before the boxes",
        Limit::People => "people: bringing cows takes too long",
    }
}

/// Which limit gives way first as cows are added; `first` are the sizes from which each is exceeded, in rising order.
pub fn gives_way(first: &[(usize, Limit)]) -> Option<String> {
    let (size, one) = first.first()?;
    let later: Vec<String> =
        first[1..].iter().map(|(size, one)| format!("{} ({})", limit(*one), cows(*size))).collect();
    let then = if later.is_empty() { String::new() } else { format!(" Next {}.", list(&later, "and")) };
    Some(format!("First to give way, at {}: {}.{then}", cows(*size), limit(*one)))
}

/// That no box can hold it.
pub fn too_much(size: usize, at: usize, idle: Mean, milkings: Mean, waiting: Mean) -> String {
    format!(
        "{} cannot hold {}: {}{SPACE}% of box time is idle, a cow stands {} minutes a day before the boxes and is milked {} times.",
        boxes(at),
        cows(size),
        plain(100.0 * idle.mean, 1),
        plain(waiting.mean, 0),
        plain(milkings.mean, 1)
    )
}

/// What a change is, in words: `3 boxes; people fetch at 06:00, 14:00 and 22:00`.
pub fn change(change: &Change) -> String {
    let mut parts = Vec::new();
    let hours = |what: &str, hours: &[f64]| match hours {
        [] => format!("{what} never"),
        hours => format!("{what} at {}", clocks(hours)),
    };
    if let Some(count) = change.cows {
        parts.push(cows(count));
    }
    if let Some(count) = change.boxes {
        parts.push(boxes(count));
    }
    if let Some(traffic) = change.traffic {
        let word = if traffic == Traffic::Free { "free" } else { "guided" };
        parts.push(format!("{word} traffic"));
    }
    if let Some(fresh) = change.fresh_pen {
        parts.push(format!(
            "cows up to day {} in a pen with {} of their own",
            plain(fresh.until_day, 0),
            boxes(fresh.boxes)
        ));
    }
    let figures = [
        (change.milk_kg, "kg of milk a cow and day"),
        (change.visit_min, "minutes a visit"),
        (change.kg, "kg let a cow in before her hours"),
        (change.longest_h, "hours before a cow is fetched"),
        (change.patience_min, "minutes of patience"),
        (change.fails, "% of milkings fail"),
    ];
    for (figure, what) in figures {
        if let Some(figure) = figure {
            parts.push(format!("{}{SPACE}{what}", plain(figure, if figure.fract() == 0.0 { 0 } else { 1 })));
        }
    }
    if let Some([early, mid, late]) = change.shortest_h {
        parts.push(format!(
            "shortest intervals {early}, {mid} and {late} hours in early, mid and late lactation"
        ));
    }
    if let Some(by_h) = change.shortest_by_h {
        let word = if by_h < 0.0 { "shorter" } else { "longer" };
        parts.push(format!("shortest intervals {} h {word}", plain(by_h.abs(), 1)));
    }
    let lists = [
        (&change.fetch_h, "people fetch"),
        (&change.feed_h, "fresh feed"),
        (&change.pushes_h, "feed pushed"),
        (&change.cleaned_h, "boxes cleaned"),
    ];
    for (own, what) in lists {
        if let Some(own) = own {
            parts.push(hours(what, own));
        }
    }
    if parts.is_empty() { "as it is".into() } else { parts.join("; ") }
}

/// What differs between two scenarios of the same cows, on the same chance.
pub struct Differs {
    /// The other scenario in words.
    pub instead: String,
    /// Milkings a cow and day.
    pub milkings: Mean,
    /// Milk of the herd a day, in the farm's unit.
    pub milk: Mean,
    /// That unit.
    pub unit: &'static str,
    /// Minutes waited a cow and day.
    pub waiting_min: Mean,
    /// Idle share.
    pub idle: Mean,
    /// Minutes of people a day.
    pub people_min: Mean,
    /// Money a day.
    pub money: Mean,
    /// Its currency.
    pub currency: String,
}

/// What an interval in brackets holds and what it does not.
pub fn brackets(basis: &str) -> String {
    format!(
        "In brackets: 95{SPACE}% interval, of the chance of the simulated days only; how well {basis} tell is not in it."
    )
}

/// What money is reckoned with: `Money: 0.45 USD a kg of milk less 0.12 of feed, …`.
pub fn terms(terms: &Terms, units: UnitSystem) -> String {
    let by_mass = if units == UnitSystem::Us { KG_PER_LB } else { 1.0 };
    let price = |money: f64| ((money * 1e3).round() / 1e3).to_string();
    format!(
        "Money: {}{SPACE}{} a {} of milk less {} of feed, {} a minute of work, {} a box and day.",
        price(terms.milk_kg * by_mass),
        terms.currency,
        mass_unit(units),
        price(terms.feed_kg * by_mass),
        price(terms.labour_min),
        price(terms.box_day),
    )
}

/// In one sentence: milk and money always with their intervals; of the rest, figures whose interval holds zero are said
/// not to differ surely.
pub fn differs(size: usize, differs: &Differs) -> String {
    let mut sure = Vec::new();
    let mut unsure = Vec::new();
    let parts = [
        (differs.milkings, 2, "milkings a cow-day", 1.0),
        (differs.waiting_min, 0, "minutes waited a cow-day", 1.0),
        (differs.idle, 1, "points of idle box time", 100.0),
        (differs.people_min, 0, "minutes of people a day", 1.0),
    ];
    for (mean, decimals, what, factor) in parts {
        let mean = mean.times(factor);
        if mean.low == 0.0 && mean.high == 0.0 {
            continue;
        }
        if mean.holds(0.0) || mean.mean.abs() < 0.5 * 10_f64.powi(-decimals) {
            unsure.push(what.to_owned());
        } else {
            sure.push(format!("{}{SPACE}{what}", signed_interval(mean, decimals as usize)));
        }
    }
    let both = milk_and_money(differs.milk, differs.unit, differs.money, &differs.currency);
    let rest = if sure.is_empty() { String::new() } else { format!("; {}", list(&sure, "and")) };
    let tail = if unsure.is_empty() {
        String::new()
    } else {
        format!(" No sure difference in {}.", list(&unsure, "or"))
    };
    format!("{}, instead {}: {both}{rest}.{tail}", cows(size), differs.instead)
}

/// That prices are none of the farm's own.
pub fn stated_prices(own: &Terms) -> Option<&'static str> {
    own.stated_prices().then_some("These prices stand in for the farm’s own and have no source.")
}
