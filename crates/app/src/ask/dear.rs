//! What of box time is dear, in words: the day, the ten dearest habits of cows, and taking cups off sooner.

use std::collections::BTreeSet;

use cowpath_core::{
    herd::Quarter,
    minutes::{
        ledger::Stay,
        takeoff::{Ends, NEXT_TO_NOTHING_KG_MIN, TRIED},
    },
    say::number::{self, SPACE},
    tables::Visit,
    units::UnitSystem,
};

use super::{
    box_minutes::{CowMinutes, DayMinutes, Habit, Level, QuarterEnd, TakeOff},
    gains::big,
    minute_rows::{mass, whole_mass},
};

/// Milkings a cow must have before her way is told.
const FEWEST: u32 = 6;
/// Minutes a day below which nobody would do anything.
const WORTH_SAYING_MIN: f64 = 1.0;
/// Habits that are told.
const MOST: usize = 10;

/// `9.5 min`.
fn min(minutes: f64) -> String {
    format!("{}{SPACE}min", number::plain(minutes, 1))
}

/// Flow in the farm's unit.
pub(super) fn flow(kg_min: f64, units: UnitSystem) -> String {
    let value = match units {
        UnitSystem::Metric => kg_min,
        UnitSystem::Us => cowpath_core::units::Kilograms(kg_min).pounds(),
    };
    format!("{}{SPACE}{}/min", number::plain(value, 2), number::mass_unit(units))
}

/// A level of a trial, as exactly as it was set.
fn level(kg_min: f64, units: UnitSystem) -> String {
    let value = match units {
        UnitSystem::Metric => kg_min,
        UnitSystem::Us => cowpath_core::units::Kilograms(kg_min).pounds(),
    };
    let figure = number::plain(value, if units == UnitSystem::Us { 3 } else { 4 });
    let figure = figure.trim_end_matches('0').trim_end_matches('.');
    format!("{figure}{SPACE}{}/min", number::mass_unit(units))
}

/// A box's day in words.
pub(super) fn day(day: &DayMinutes, units: UnitSystem) -> String {
    let of: Vec<String> = day
        .seconds
        .named()
        .iter()
        .filter(|(_, seconds)| 30 <= *seconds)
        .map(|(name, seconds)| format!("{name} {}", number::count((seconds + 30) as usize / 60)))
        .collect();
    let mut words = format!("Of {} minutes: {}.", number::count((day.day_s / 60) as usize), of.join(", "));
    let used = day.day_s - day.seconds.idle;
    if let Some(kg) = day.milk_kg.filter(|_| 0 < used) {
        words.push_str(&format!(
            " {} at {}; {} a minute in use.",
            mass(kg, units),
            number::things(day.milkings as usize, "milking", "milkings"),
            flow(kg * 60.0 / used as f64, units).replace("/min", "")
        ));
    }
    words
}

/// Marks the days of which nothing is known: no box of the farm has a visit on them, and none stood still for most of them.
/// States alone tell of no idle time: their log may reach back further than that of visits.
pub(super) fn mark_unseen(days: &mut [DayMinutes]) {
    let told = |day: &&DayMinutes| {
        let of = &day.seconds;
        let closed = of.cleaning + of.service + of.fault + of.off;
        closed + of.idle < day.day_s || day.day_s < 2 * closed
    };
    let seen: BTreeSet<String> = days.iter().filter(told).map(|day| day.date.clone()).collect();
    for day in days.iter_mut().filter(|day| !seen.contains(&day.date)) {
        day.seen = false;
        day.words = "No visit in any box: nothing is known of this day.".into();
    }
}

/// The span in words; days of which nothing is known are no part of it.
pub(super) fn summary(days: &[DayMinutes], boxes: usize, units: UnitSystem) -> String {
    let days: Vec<&DayMinutes> = days.iter().filter(|day| day.seen).collect();
    if days.is_empty() {
        return "No box has a row in these days.".into();
    }
    let whole: i64 = days.iter().map(|day| day.day_s).sum();
    let share = |of: fn(&DayMinutes) -> i64| {
        number::percent(days.iter().map(|day| of(day)).sum::<i64>() as f64 / whole.max(1) as f64)
    };
    let milk: f64 = days.iter().filter_map(|day| day.milk_kg).sum();
    format!(
        "{} in {}: {} of their time was idle, {} milk flow, {} waiting for one last quarter, {} handling, {} turned away or \
         fed only, {} failed or incomplete, {} cleaning, service, fault or off. {} of milk a box and day.",
        big(&number::things(boxes, "box", "boxes")),
        number::things(days.len() / boxes.max(1), "day", "days"),
        share(|day| day.seconds.idle),
        share(|day| day.seconds.milk_flow),
        share(|day| day.seconds.last_quarter),
        share(|day| day.seconds.handling),
        share(|day| day.seconds.turned_away + day.seconds.fed_only),
        share(|day| day.seconds.failed + day.seconds.incomplete),
        share(|day| day.seconds.cleaning + day.seconds.service + day.seconds.fault + day.seconds.off),
        whole_mass(milk / days.len() as f64, units),
    )
}

/// The dearest ways of cows beside the herd's middle cow, at most ten, one a cow.
pub(super) fn habits(cows: &[CowMinutes], units: UnitSystem) -> Vec<Habit> {
    let known: Vec<&CowMinutes> = cows.iter().filter(|cow| FEWEST <= cow.milkings).collect();
    let handling = middle(known.iter().filter_map(|cow| cow.handling_min));
    let alone = middle(known.iter().filter_map(|cow| cow.last_quarter_min));
    let flows = middle(known.iter().filter_map(|cow| cow.flow_kg_min));
    let turned = middle(known.iter().map(|cow| cow.other_by_kind.0));
    let failed = middle(known.iter().map(|cow| cow.other_by_kind.1));
    let mut all: Vec<Habit> = known
        .iter()
        .filter_map(|cow| {
            let (stands, gives) = (cow.minutes_milking?, cow.milking_kg);
            let gave = gives.map_or(String::new(), |kg| format!(" for {}", mass(kg, units)));
            let head = format!("{} stands {}{gave}", cow.animal, min(stands));
            let a_day = (cow.minutes_day - cow.other_min_day).max(0.0) / stands.max(0.1);
            let mut own: Vec<(&'static str, f64, String)> = Vec::new();
            if let (Some(hers), Some(alone), Some(code)) = (cow.last_quarter_min, alone, cow.last_quarter) {
                let quarter = Quarter::from_code(code).map_or("last quarter", Quarter::words);
                let words = format!("{head}: her {quarter} needs {} alone", min(hers));
                own.push(("last-quarter", (hers - alone) * a_day, words));
            }
            if let (Some(hers), Some(herds), Some(kg)) = (cow.flow_kg_min, flows, gives) {
                let words = format!(
                    "{head}: she lets it down at {}, the herd’s middle cow at {}",
                    flow(hers, units),
                    flow(herds, units)
                );
                own.push(("slow", kg * (1.0 / hers.max(0.05) - 1.0 / herds.max(0.05)) * a_day, words));
            }
            if let (Some(hers), Some(herds)) = (cow.handling_min, handling) {
                let words =
                    format!("{head}: {} of it without flow, the herd’s middle cow {}", min(hers), min(herds));
                own.push(("handling", (hers - herds) * a_day, words));
            }
            if let Some(herds) = turned {
                let words = format!(
                    "{} is turned away or fed only {} times a day, which takes {}",
                    cow.animal,
                    number::plain(cow.times_day.0, 1),
                    min(cow.other_by_kind.0)
                );
                own.push(("turned-away", cow.other_by_kind.0 - herds, words));
            }
            if let Some(herds) = failed {
                let words = format!(
                    "{} is milked in part or not at all {} times a day, which takes {}",
                    cow.animal,
                    number::plain(cow.times_day.1, 1),
                    min(cow.other_by_kind.1)
                );
                own.push(("failed", cow.other_by_kind.1 - herds, words));
            }
            let (kind, minutes_day, words) =
                own.into_iter().max_by(|one, other| one.1.total_cmp(&other.1))?;
            let sentence =
                format!("{words}. That is {} a day more than the middle cow takes.", min(minutes_day));
            (WORTH_SAYING_MIN <= minutes_day).then(|| Habit {
                animal: cow.animal.clone(),
                kind,
                minutes_day,
                sentence,
            })
        })
        .collect();
    all.sort_by(|one, other| {
        other.minutes_day.total_cmp(&one.minutes_day).then_with(|| one.animal.cmp(&other.animal))
    });
    all.truncate(MOST);
    all
}

/// The middle of some figures; of an even number the lower of the two.
pub(super) fn middle(figures: impl Iterator<Item = f64>) -> Option<f64> {
    let mut all: Vec<f64> = figures.filter(|figure| figure.is_finite()).collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len().saturating_sub(1) / 2).copied()
}

/// What taking cups off sooner would do.
pub(super) fn take_off(begun: &[&(u32, Visit)], box_days: usize, units: UnitSystem) -> Option<TakeOff> {
    let whole: Vec<&Visit> =
        begun.iter().filter(|(cow, visit)| Stay::of(*cow, visit).milked()).map(|(_, visit)| visit).collect();
    let told: Vec<Ends> = whole.iter().map(|visit| Ends::of(&visit.quarters)).filter(Ends::known).collect();
    let off = || whole.iter().flat_map(|visit| visit.quarters).filter_map(|quarter| quarter.takeoff_kg_min);
    let now_kg_min = middle(off())?;
    if told.is_empty() {
        return None;
    }
    let number_of = told.len() as f64;
    let mean = |level: f64| {
        let (mut quarters_s, mut visit_s, mut left_kg) = (0.0, 0.0, 0.0);
        for ends in &told {
            let change = ends.at_level(level);
            quarters_s += change.quarter_s.iter().sum::<f64>();
            visit_s += change.visit_s;
            left_kg += change.left_kg.iter().sum::<f64>();
        }
        (quarters_s / number_of, visit_s / number_of, left_kg / number_of)
    };
    let levels: Vec<Level> = TRIED
        .iter()
        .map(|(level_kg_min, trial)| {
            let (quarters_s, visit_s, left_kg) = mean(*level_kg_min);
            let box_min_day = visit_s / 60.0 * whole.len() as f64 / box_days as f64;
            let words = [
                level(*level_kg_min, units),
                format!("{}{SPACE}s", number::plain(visit_s, 0)),
                mass(left_kg, units),
                min(box_min_day),
            ];
            Level { level_kg_min: *level_kg_min, trial, quarters_s, visit_s, left_kg, box_min_day, words }
        })
        .collect();
    let quarters = quarter_ends(&whole, &told, units);
    let over_milked_s = mean(NEXT_TO_NOTHING_KG_MIN).0;
    let words = format!(
        "Cups come off at {} in the middle. Only the last quarter shortens a visit: sooner off at the other three saves the \
         teats, not the box. Reckoned from yield, seconds, peak and flow at take-off of {} of {} milkings, the flow being \
         taken to stand at its peak and then to fade; no log holds its course.",
        flow(now_kg_min, units),
        number::count(told.len()),
        number::count(whole.len()),
    );
    Some(TakeOff {
        milkings: told.len(),
        of: whole.len(),
        now_kg_min,
        over_milked_s,
        quarters,
        levels,
        words,
    })
}

/// How each quarter ends: how often it is the last, how long it flows, and how long it gives little.
fn quarter_ends(whole: &[&Visit], told: &[Ends], units: UnitSystem) -> Vec<QuarterEnd> {
    let highest = TRIED.iter().map(|(level, _)| *level).fold(0.0, f64::max);
    let of = |quarter: Quarter| {
        let place = quarter as usize;
        let mut flows = Vec::new();
        let (mut last, mut timed) = (0_u32, 0_u32);
        for visit in whole {
            let flow_s = |own: usize| visit.quarters[own].flow_s.filter(|s| s.is_finite());
            let longest = (0..4).filter_map(flow_s).fold(f64::NEG_INFINITY, f64::max);
            timed += u32::from(longest.is_finite());
            if let Some(own) = flow_s(place) {
                flows.push(own);
                last += u32::from(longest <= own);
            }
        }
        let tails: Vec<_> = told.iter().filter_map(|ends| ends.tail(place)).collect();
        let under = |level: f64| {
            tails.iter().map(|tail| tail.under(level).0).sum::<f64>() / tails.len().max(1) as f64
        };
        let share = f64::from(last) / f64::from(timed.max(1));
        let flow_s = (!flows.is_empty()).then(|| flows.iter().sum::<f64>() / flows.len() as f64);
        let seconds = |s: f64| format!("{}{SPACE}s", number::plain(s, 0));
        QuarterEnd {
            quarter: quarter.code(),
            last: share,
            flow_s,
            over_milked_s: under(NEXT_TO_NOTHING_KG_MIN),
            under_s: TRIED.iter().map(|(level, _)| under(*level)).collect(),
            words: [
                quarter.words().to_owned(),
                number::percent(share),
                flow_s.map_or_else(|| "–".to_owned(), seconds),
                format!("{} under {}", seconds(under(highest)), flow(highest, units)),
            ],
        }
    };
    Quarter::ALL.into_iter().map(of).collect()
}
