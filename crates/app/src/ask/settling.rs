//! Makes the answer how box minutes are best used: intervals by cow and group, the worth of a minute, what would change.

use cowpath_core::{
    expect::secretion::g,
    minutes::{
        intervals::{self, Best, Cow, best},
        terms::{Group, Terms},
    },
    say::{number, summary::Lacks, when},
    time::farm_day,
    units::UnitSystem,
};

use super::{
    farm::Barn,
    gains, interval_words,
    intervals::{AskedIntervals, CowInterval, GroupInterval, Intervals, Least, Minutes},
    meters::{self, Milk},
    minute_rows::mass,
    refused,
    settled::{self, Curve, Stand},
    view::View,
};
use crate::trouble::user;

/// 90 % of a normal law lie within so many standard deviations.
pub(super) const NINETY: f64 = 1.645;
/// Spread of ln κ between what trials gave (`sources.md` §2: 0.02 to 0.09 holds 95 %). A herd's own fit narrows it little.
pub(super) const KAPPA_SD: f64 = 0.384;

/// While there are no rows.
pub fn nothing(farm: String, terms: Terms) -> Intervals {
    Intervals {
        farm,
        at: String::new(),
        at_words: String::new(),
        summary: "No rows have been read yet: no cow is known to be in milk.".into(),
        minutes: Minutes::default(),
        worth_per_minute: None,
        worth_of_ten: None,
        worth_of_half_hour: None,
        least_profitable: None,
        infeasible: None,
        cows: Vec::new(),
        groups: Vec::new(),
        change: None,
        change_by_group: None,
        advice: None,
        left_out: Vec::new(),
        terms,
        kappa_per_h: 0.0,
        closed_form_gap: 0.0,
        cautions: Vec::new(),
        notes: Vec::new(),
    }
}

/// The answer as the farm stood in a view.
///
/// # Errors
/// Where the file cannot be read, or the minutes asked for cannot be.
pub fn of_view(barn: &Barn, view: &View, asked: &AskedIntervals) -> anyhow::Result<Intervals> {
    let _held = barn.store.hold()?;
    let settings = barn.store.settings()?;
    let terms = asked.terms.clone().unwrap_or(settings.terms);
    let units = if asked.metric { UnitSystem::Metric } else { view.ways.units };
    let stand = settled::stand(barn, view, &terms, &settings.limits)?;
    let mut minutes = minutes(&stand, &terms, asked.box_minutes)?;
    let cows: Vec<Cow> = stand.curves.iter().map(|curve| curve.cow).collect();
    minutes.least = intervals::least_minutes(&cows);
    let price = terms.price_kg();
    let (zone, at) = (&view.ways.zone, view.at);
    let newest = view.newest.unwrap_or(at);
    let mut answer = Intervals {
        at: when::rfc3339(at, zone),
        at_words: when::heading(at, newest, zone),
        kappa_per_h: view.rolled.herd.parameters().kappa_per_h,
        cautions: interval_words::CAUTIONS.map(str::to_owned).into(),
        summary: String::new(),
        ..nothing(view.ways.name.clone(), terms.clone())
    };
    answer.left_out = stand.left_out.clone();
    answer.notes.extend(refused::note(barn, Lacks::Intervals)?);
    let doubts = meters::in_doubt(barn, view)?;
    answer.notes.extend(meters::notes(&doubts, Milk::Freed, farm_day(at, zone)));
    answer.notes.extend(interval_words::notes(&stand, &minutes, &terms));
    if cows.is_empty() {
        answer.summary = "No cow is known to be in milk: there is nothing to share out.".into();
        answer.minutes = minutes;
        return Ok(answer);
    }
    let pooled = Pooled::of(&stand, &terms);
    let mut budget = minutes.for_milking;
    if let Err(error) = best(&cows, price, budget) {
        let words = gains::gives_way(&cows, &minutes);
        answer.summary = format!("The minutes do not suffice: {error}. {words}");
        // Settings are wanted all the same: for the minutes that milkings take now, out of the reserve.
        let has = budget + minutes.reserve;
        if !minutes.asked && minutes.least <= has {
            budget = minutes.used_now.clamp(minutes.least, has);
            answer.summary.push_str(&format!(
                " What follows is for {} minutes, as milkings take now or must.",
                number::count(budget.round() as usize)
            ));
        }
        answer.infeasible = Some(words);
    }
    match best(&cows, price, budget) {
        Ok(best) => {
            minutes.used_then = Some(best.minutes);
            answer.worth_per_minute = Some(best.worth);
            let ten = intervals::best(&cows, price, budget + 10.0);
            answer.worth_of_ten = ten.ok().map(|ten| ten.value - best.value);
            let shorter: Vec<Cow> =
                cows.iter().map(|cow| Cow { low_h: (cow.low_h - 0.5).max(1.0), ..*cow }).collect();
            let shorter = intervals::best(&shorter, price, budget);
            answer.worth_of_half_hour = shorter.ok().map(|shorter| shorter.value - best.value);
            answer.least_profitable = least(&stand, &best, price, budget, &terms);
            answer.closed_form_gap = gap(&cows, &best, price);
            answer.cows = stand
                .curves
                .iter()
                .zip(&best.cows)
                .map(|(curve, day)| shown(curve, day, price, best.worth, units))
                .collect();
            let hours: Vec<f64> = best.cows.iter().map(|day| day.interval_h).collect();
            answer.change = Some(gains::changes(&stand, &hours, &terms, units));
            let by_group = pooled.best(price, budget);
            answer.groups = groups(&stand, &pooled, by_group.as_ref(), &terms, units);
            if let Some(hours) = by_group.map(|best| pooled.hours(&stand.curves, &best)) {
                answer.change_by_group = Some(gains::changes(&stand, &hours, &terms, units));
            }
            interval_words::advise(&mut answer);
            let found = interval_words::summary(&answer, &minutes, &best, &terms, units);
            answer.summary = format!("{} {found}", answer.summary).trim().to_owned();
        }
        Err(_) => answer.groups = groups(&stand, &pooled, None, &terms, units),
    }
    answer.minutes = minutes;
    Ok(answer)
}

fn minutes(stand: &Stand<'_>, terms: &Terms, asked: Option<f64>) -> anyhow::Result<Minutes> {
    let load = &stand.load;
    let whole = 1440.0 * load.boxes as f64;
    let reserve = terms.idle * whole;
    let has = (whole - load.states - load.other_visits - reserve).max(0.0);
    if let Some(asked) = asked
        && !(asked.is_finite() && 0.0 < asked && asked <= 1440.0 * 1000.0)
    {
        return Err(user(
            format!("{asked} cannot be a number of box minutes a day"),
            "nothing was changed",
            "give the minutes of all boxes together that are there for milking, as in --box-minutes 1296",
        ));
    }
    let figure = |minutes: f64| number::count(minutes.max(0.0).round() as usize);
    let words = match asked {
        Some(asked) => format!(
            "{} box minutes a day for milking, as asked; the boxes have {} after all else.",
            figure(asked),
            figure(has)
        ),
        None => format!(
            "{} of {} minutes a day: less {} for cleaning, service, faults and off, {} for cows turned away, fed only or failed, and {} kept idle ({}). {}",
            figure(has),
            figure(whole),
            figure(load.states),
            figure(load.other_visits),
            figure(reserve),
            number::percent(terms.idle),
            interval_words::from_days(load.days),
        ),
    };
    let curves = stand.curves.iter();
    Ok(Minutes {
        days: load.days,
        now_by_cow: curves.map(|curve| curve.cow.day(curve.now_h).minutes).sum(),
        boxes: load.boxes,
        whole,
        states: load.states,
        other_visits: load.other_visits,
        reserve,
        for_milking: asked.unwrap_or(has),
        asked: asked.is_some(),
        used_now: load.milking,
        used_then: None,
        least: 0.0,
        words,
    })
}

/// Groups taken each as one cow: with one κ, sums of rates, of rates over flows and of handling are all that counts.
struct Pooled {
    groups: Vec<(Group, Cow)>,
}

impl Pooled {
    fn of(stand: &Stand<'_>, terms: &Terms) -> Pooled {
        let curves = &stand.curves;
        let groups = Group::ALL.into_iter().filter_map(|group| {
            let own = || curves.iter().filter(|curve| curve.group == group).map(|curve| curve.cow);
            let kappa_per_h = own().next()?.kappa_per_h;
            let rate: f64 = own().map(|cow| cow.rate_kg_h).sum();
            let paced: f64 = own().map(|cow| cow.rate_kg_h / cow.flow_kg_min).sum();
            let (low_h, high_h) = terms.limits(group);
            let low_h = (low_h + stand.wait_h.unwrap_or(0.0)).min(high_h);
            let handling_min = own().map(|cow| cow.handling_min).sum();
            Some((
                group,
                Cow { rate_kg_h: rate, kappa_per_h, handling_min, flow_kg_min: rate / paced, low_h, high_h },
            ))
        });
        Pooled { groups: groups.collect() }
    }

    fn best(&self, price: f64, minutes: f64) -> Option<Best> {
        let cows: Vec<Cow> = self.groups.iter().map(|(_, cow)| *cow).collect();
        best(&cows, price, minutes).ok()
    }

    fn of_group(&self, group: Group, best: &Best) -> Option<f64> {
        let place = self.groups.iter().position(|(own, _)| *own == group)?;
        best.cows.get(place).map(|day| day.interval_h)
    }

    fn hours(&self, curves: &[Curve<'_>], best: &Best) -> Vec<f64> {
        curves.iter().map(|curve| self.of_group(curve.group, best).unwrap_or(curve.now_h)).collect()
    }
}

fn groups(
    stand: &Stand<'_>,
    pooled: &Pooled,
    best: Option<&Best>,
    terms: &Terms,
    units: UnitSystem,
) -> Vec<GroupInterval> {
    let days = &terms.until_day;
    let spans = [
        format!("to day {}", days[0]),
        format!("day {} to {}", days[0] + 1.0, days[1]),
        format!("from day {}", days[1] + 1.0),
    ];
    let hours = |hours: Option<f64>| hours.map_or_else(|| "–".to_owned(), gains::hours);
    let of_group = |group: Group| {
        let own: Vec<&Curve<'_>> = stand.curves.iter().filter(|curve| curve.group == group).collect();
        let limits_h = terms.limits(group);
        let interval_h = best.and_then(|best| pooled.of_group(group, best));
        // Where the longest interval leaves no room for the wait, the shortest one gives way to it.
        let shortest_h = interval_h.map(|mean| (mean - stand.wait_h.unwrap_or(0.0)).max(0.0));
        let mean = |of: &dyn Fn(&Curve<'_>) -> f64| {
            (!own.is_empty()).then(|| own.iter().map(|curve| of(curve)).sum::<f64>() / own.len() as f64)
        };
        let expected_kg =
            shortest_h.and_then(|hours| mean(&|curve| curve.cow.rate_kg_h * g(hours, curve.cow.kappa_per_h)));
        let now_h = mean(&|curve| curve.now_h);
        let words = [
            hours(interval_h),
            hours(shortest_h),
            expected_kg.map_or_else(|| "–".to_owned(), |kg| mass(kg, units)),
            hours(now_h),
        ];
        GroupInterval {
            group: group.words(),
            days_words: spans[group.third.min(2)].clone(),
            cows: own.len(),
            interval_h,
            shortest_h,
            expected_kg,
            now_h,
            limits_h,
            words,
        }
    };
    Group::ALL.into_iter().map(of_group).collect()
}

fn least(stand: &Stand<'_>, best: &Best, price: f64, minutes: f64, terms: &Terms) -> Option<Least> {
    let cows: Vec<Cow> = stand.curves.iter().map(|curve| curve.cow).collect();
    let (place, change) = intervals::least_profitable(&cows, best, price, minutes)?;
    let animal = stand.curves[place].life.animal.clone();
    let money = gains::money(change.abs(), &terms.currency);
    let words = if change < 0.0 {
        format!(
            "{animal} leaves least. Without her, her minutes given to the others, the day would bring {money} less (milk less feed); what she costs else is not in it."
        )
    } else {
        format!(
            "{animal} leaves least. Without her, her minutes given to the others, the day would bring {money} more."
        )
    };
    Some(Least { animal, change, words })
}

/// The largest gap of the closed form among cows that no limit binds.
fn gap(cows: &[Cow], best: &Best, price: f64) -> f64 {
    let inside = cows
        .iter()
        .zip(&best.cows)
        .filter(|(cow, day)| cow.low_h < day.interval_h && day.interval_h < cow.high_h);
    inside.map(|(cow, day)| intervals::off_by(cow, day, price, best.worth).abs()).fold(0.0, f64::max)
}

fn shown(curve: &Curve<'_>, day: &intervals::Day, price: f64, worth: f64, units: UnitSystem) -> CowInterval {
    let cow = &curve.cow;
    let at = |cow: Cow| cow.interval_h(price, worth);
    // One thing at a time is taken a standard deviation up and down; what each moves adds up in squares.
    let half = |up: Cow, down: Cow| 0.5 * (at(up) - at(down)).abs();
    let kappa = |by: f64| curve.with_kappa(cow.kappa_per_h * by.exp());
    let rate = |by: f64| Cow { rate_kg_h: cow.rate_kg_h * by.exp(), ..*cow };
    let handling = |by: f64| Cow { handling_min: (cow.handling_min + by).max(0.1), ..*cow };
    let flow = |by: f64| Cow { flow_kg_min: cow.flow_kg_min * by.exp(), ..*cow };
    let sd = [
        half(kappa(KAPPA_SD), kappa(-KAPPA_SD)),
        half(rate(curve.rate_sd), rate(-curve.rate_sd)),
        half(handling(curve.handling_sd), handling(-curve.handling_sd)),
        half(flow(curve.flow_sd), flow(-curve.flow_sd)),
    ];
    let reach_h = NINETY * sd.iter().map(|sd| sd * sd).sum::<f64>().sqrt();
    let milk = |by: f64| kappa(by).day(day.interval_h).milk_kg;
    let kappa_kg = 0.5 * (milk(KAPPA_SD) - milk(-KAPPA_SD)).abs();
    let reach_kg = NINETY * kappa_kg.hypot(day.milk_kg * curve.rate_sd);
    let now = cow.day(curve.now_h);
    let limit = match day.interval_h {
        own if own <= cow.low_h => "shortest",
        own if cow.high_h <= own => "longest",
        _ => "inside",
    };
    let expected_kg = cow.rate_kg_h * g(day.interval_h, cow.kappa_per_h);
    CowInterval {
        animal: curve.life.animal.clone(),
        group: curve.group.words(),
        days_in_milk: curve.stage.days_in_milk,
        parity: curve.stage.parity,
        interval_h: day.interval_h,
        low90_h: (day.interval_h - reach_h).max(cow.low_h),
        high90_h: (day.interval_h + reach_h).min(cow.high_h),
        limit,
        limits_h: (cow.low_h, cow.high_h),
        milk_kg: day.milk_kg,
        low90_kg: (day.milk_kg - reach_kg).max(0.0),
        high90_kg: day.milk_kg + reach_kg,
        minutes: day.minutes,
        expected_kg,
        left_over: intervals::left_over(day, price, worth),
        now_h: curve.now_h,
        now_kg: now.milk_kg,
        now_minutes: now.minutes,
        rate_kg_h: cow.rate_kg_h,
        handling_min: cow.handling_min,
        flow_kg_min: cow.flow_kg_min,
        milkings: curve.milkings,
        assumed: curve.assumed.clone(),
        words: [
            gains::hours(day.interval_h),
            mass(expected_kg, units),
            gains::hours(curve.now_h),
            gains::signed_mass(day.milk_kg - now.milk_kg, units),
            number::plain(day.minutes, 1),
        ],
    }
}
