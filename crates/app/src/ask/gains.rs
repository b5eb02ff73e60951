//! What other intervals would change: milk, minutes, fetches and money, each with its interval, in words.

use cowpath_core::{
    minutes::{
        intervals::{self, Cow},
        terms::{LONGEST_H, Terms},
    },
    say::number::{self, SPACE},
    units::{Kilograms, UnitSystem},
};

use super::{
    interval_words::{self, ENOUGH_DAYS},
    intervals::{Changes, Figure, Minutes},
    settled::Stand,
    settling::{KAPPA_SD, NINETY},
};

/// Nobody is left unmilked longer, whatever gives way, h.
const UTMOST_H: f64 = 24.0;

/// A cow turned away so often a day would come sooner if she were let in.
const REACHED_DAY: f64 = 0.3;

/// `7.2 h`.
pub(super) fn hours(hours: f64) -> String {
    format!("{}{SPACE}h", number::plain(hours, 1))
}

/// A sentence begins with it.
pub(super) fn big(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Money, with cents where it is little.
pub(super) fn money(value: f64, currency: &str) -> String {
    let decimals = match value.abs() {
        // Dust of reckoning is nothing.
        dust if dust < 5e-4 => 0,
        little if little < 0.1 => 3,
        middle if middle < 100.0 => 2,
        _ => 0,
    };
    format!("{}{SPACE}{currency}", number::plain(value, decimals))
}

/// Milk in the farm's unit.
fn in_units(kg: f64, units: UnitSystem) -> f64 {
    match units {
        UnitSystem::Metric => kg,
        UnitSystem::Us => Kilograms(kg).pounds(),
    }
}

/// `+1.2 kg`.
pub(super) fn signed_mass(kg: f64, units: UnitSystem) -> String {
    format!("{}{SPACE}{}", number::signed(in_units(kg, units), 1), number::mass_unit(units))
}

fn figure(mean: f64, sd: f64) -> Figure {
    Figure { mean, low90: mean - NINETY * sd, high90: mean + NINETY * sd }
}

/// What changes a day when each cow's mean interval becomes `hours`.
///
/// What she gives now is known; how much more or less comes of another interval hangs on κ, which all cows share, and on
/// each cow's own rate. Fetches: her intervals of the last two weeks, all longer or shorter by the change of their mean.
pub(super) fn changes(stand: &Stand<'_>, hours: &[f64], terms: &Terms, units: UnitSystem) -> Changes {
    let total = |by: f64| {
        let (mut milk, mut minutes) = (0.0, 0.0);
        for (curve, hours) in stand.curves.iter().zip(hours) {
            let cow: Cow = curve.with_kappa(curve.cow.kappa_per_h * by.exp());
            let (now, then) = (cow.day(curve.now_h), cow.day(*hours));
            milk += then.milk_kg - now.milk_kg;
            minutes += then.minutes - now.minutes;
        }
        (milk, minutes)
    };
    let (mean, up, down) = (total(0.0), total(KAPPA_SD), total(-KAPPA_SD));
    let (mut var_kg, mut var_min, mut milkings) = (0.0, 0.0, 0.0);
    let mut by_setting_kg = 0.0;
    let (mut now_fetched, mut then_fetched) = (0.0, 0.0);
    for (curve, hours) in stand.curves.iter().zip(hours) {
        let (now, then) = (curve.cow.day(curve.now_h), curve.cow.day(*hours));
        var_kg += ((then.milk_kg - now.milk_kg) * curve.rate_sd).powi(2);
        if curve.now_h < *hours || REACHED_DAY <= curve.turned_day {
            by_setting_kg += then.milk_kg - now.milk_kg;
        }
        let more = 24.0 / hours - 24.0 / curve.now_h;
        milkings += more;
        let flow_min = (then.milk_kg - now.milk_kg) / curve.cow.flow_kg_min;
        var_min +=
            (more * curve.handling_sd).powi(2) + (flow_min * curve.flow_sd.hypot(curve.rate_sd)).powi(2);
        let shift = hours - curve.now_h;
        now_fetched += curve.hours.iter().filter(|own| curve.fetch_h < **own).count() as f64;
        then_fetched += curve.hours.iter().filter(|own| curve.fetch_h < **own + shift).count() as f64
            * curve.now_h
            / hours;
    }
    let days = stand.load.days.max(1.0);
    let milk_kg = figure(mean.0, (0.5 * (up.0 - down.0)).hypot(var_kg.sqrt()));
    let minutes = figure(mean.1, (0.5 * (up.1 - down.1)).hypot(var_min.sqrt()));
    // Counts of two weeks, each with the scatter of a count.
    let fetches =
        figure((then_fetched - now_fetched) / days, (then_fetched + now_fetched).max(1.0).sqrt() / days);
    let times = |figure: &Figure, by: f64| {
        let ends = [figure.low90 * by, figure.high90 * by];
        Figure { mean: figure.mean * by, low90: ends[0].min(ends[1]), high90: ends[0].max(ends[1]) }
    };
    let milk_money = times(&milk_kg, terms.price_kg());
    let labour_money = times(&fetches, -terms.fetch_min * terms.labour_min);
    let sd = |figure: &Figure| (figure.high90 - figure.low90) / (2.0 * NINETY);
    let money_both = figure(milk_money.mean + labour_money.mean, sd(&milk_money).hypot(sd(&labour_money)));
    let enough_days = ENOUGH_DAYS <= stand.load.days;
    let span = |figure: &Figure, word: &dyn Fn(f64) -> String| {
        if !enough_days {
            // What so few days leave unknown stands in no interval.
            return format!("about {}", word(figure.mean));
        }
        format!("{} ({} to {})", word(figure.mean), word(figure.low90), word(figure.high90))
    };
    let plain = |value: f64| number::signed(value, 1);
    let kg = |kg: f64| number::signed(in_units(kg, units), 1);
    let paid = |value: f64| number::signed(value, 2);
    let (unit, currency) = (number::mass_unit(units), &terms.currency);
    let words = vec![
        (format!("Milk, {unit}"), span(&milk_kg, &kg)),
        (format!("Of it by the setting alone, {unit}"), kg(by_setting_kg)),
        ("Box minutes in milkings".to_owned(), span(&minutes, &plain)),
        ("Milkings".to_owned(), plain(milkings)),
        ("Cows past their limit, to be fetched".to_owned(), span(&fetches, &plain)),
        (format!("Milk less feed, {currency}"), span(&milk_money, &paid)),
        (format!("Work of fetching spared, {currency}"), span(&labour_money, &paid)),
        (format!("Both in money, {currency}"), span(&money_both, &paid)),
    ];
    let verdict = if enough_days {
        format!(
            "{}{SPACE}{currency} a day, with 90{SPACE}% certainty {} to {}{}",
            paid(money_both.mean),
            paid(money_both.low90),
            paid(money_both.high90),
            if 0.0 < money_both.low90 {
                "."
            } else if money_both.high90 < 0.0 {
                ": better leave what stands in the boxes."
            } else {
                ": no sure gain over what stands in the boxes."
            }
        )
    } else {
        format!(
            "about {}{SPACE}{currency} a day, but not sure: only {} of box logs lie behind it.",
            paid(money_both.mean),
            interval_words::days(stand.load.days)
        )
    };
    Changes {
        milk_kg,
        by_setting_kg,
        minutes,
        milkings,
        fetches,
        milk_money,
        labour_money,
        money: money_both,
        enough_days,
        words,
        verdict,
    }
}

/// Which limit gives way first, in words.
pub(super) fn gives_way(cows: &[Cow], minutes: &Minutes) -> String {
    let (least, has) = (minutes.least, minutes.for_milking);
    if !minutes.asked && least <= has + minutes.reserve {
        let share = (has + minutes.reserve - least) / minutes.whole.max(1.0);
        return format!(
            "The idle reserve gives way first: with {} kept idle they fit, every cow at her longest interval.",
            number::percent(share)
        );
    }
    let at = |hours: f64| {
        intervals::least_minutes(
            &cows.iter().map(|cow| Cow { high_h: cow.high_h.max(hours), ..*cow }).collect::<Vec<_>>(),
        )
    };
    let room = if minutes.asked { has } else { has + minutes.reserve };
    let first = if minutes.asked { "The" } else { "Even without any idle reserve the" };
    if at(UTMOST_H) <= room {
        let (mut low, mut high) = (LONGEST_H.min(UTMOST_H), UTMOST_H);
        for _ in 0..50 {
            let middle = f64::midpoint(low, high);
            if at(middle) <= room { high = middle } else { low = middle }
        }
        return format!(
            "{first} longest interval gives way: at {} h for all they would fit. That is no setting to live with: there are \
             more cows than the boxes hold.",
            number::plain(high, 1)
        );
    }
    // Those that need most minutes are the fewest to go.
    let mut needs: Vec<f64> = cows.iter().map(|cow| cow.day(cow.high_h).minutes).collect();
    needs.sort_by(|one, other| other.total_cmp(one));
    let (mut over, mut go) = (least - room, 0);
    for need in needs {
        if over <= 0.0 {
            break;
        }
        (over, go) = (over - need, go + 1);
    }
    format!(
        "{first} longest interval does not help: the number of cows gives way. At least {} would have to be milked elsewhere.",
        number::things(go, "cow", "cows")
    )
}
