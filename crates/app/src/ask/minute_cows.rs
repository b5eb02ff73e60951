//! Adds box minutes up by cow: what she stands for, what she gives, and which quarter she waits for.

use std::collections::BTreeMap;

use cowpath_core::{
    herd::Quarter,
    minutes::ledger::{Spent, Stay, Use},
    tables::{Outcome, Visit},
};
use jiff::Timestamp;

use super::{box_minutes::CowMinutes, minute_rows::milk_kg};

/// What is added up of one cow.
#[derive(Default)]
struct Sum {
    milkings: u32,
    minutes: f64,
    /// With seconds of flow: milkings, handling, last quarter, flow minutes, milk of those measured.
    split: (u32, f64, f64, f64, f64),
    milk: (u32, f64),
    milking_milk: (u32, f64),
    last: [u32; 4],
    turned: u32,
    failed: u32,
    first: Option<Timestamp>,
}

/// Each cow of a span, the most minutes first. `spent` are her parts of the ledger, `ends` where the rows end.
pub(super) fn cows(
    begun: &[&(u32, Visit)],
    spent: &BTreeMap<u32, Spent>,
    numbers: &[String],
    from: Timestamp,
    ends: Timestamp,
) -> Vec<CowMinutes> {
    let mut sums: BTreeMap<u32, Sum> = BTreeMap::new();
    for (cow, visit) in begun {
        let sum = sums.entry(*cow).or_default();
        let stay = Stay::of(*cow, visit);
        let minutes = (stay.to - stay.from) as f64 / 60_000.0;
        sum.first = Some(sum.first.map_or(visit.started_at, |first| first.min(visit.started_at)));
        sum.turned += u32::from(matches!(visit.outcome, Some(Outcome::TurnedAway | Outcome::Fed)));
        sum.failed += u32::from(matches!(visit.outcome, Some(Outcome::Failed | Outcome::Incomplete)));
        let milk = milk_kg(visit);
        if let Some(kg) = milk {
            sum.milk = (sum.milk.0 + 1, sum.milk.1 + kg);
        }
        if !stay.milked() {
            continue;
        }
        sum.milkings += 1;
        sum.minutes += minutes;
        if let Some(kg) = milk {
            sum.milking_milk = (sum.milking_milk.0 + 1, sum.milking_milk.1 + kg);
        }
        if let (Some((longest_s, second_s)), Some(kg)) = (stay.longest_s(), milk) {
            let flow_min = (longest_s / 60.0).min(minutes);
            let own = &mut sum.split;
            *own = (
                own.0 + 1,
                own.1 + minutes - flow_min,
                own.2 + (longest_s - second_s) / 60.0,
                own.3 + flow_min,
                own.4 + kg,
            );
            if let Some(place) = stay.flow_s.iter().position(|s| *s == Some(longest_s)) {
                sum.last[place] += 1;
            }
        }
    }
    let whole_d = (ends.as_millisecond() - from.as_millisecond()) as f64 / 86_400_000.0;
    let mut cows: Vec<CowMinutes> = sums
        .into_iter()
        .filter_map(|(cow, sum)| {
            let spent = spent.get(&cow).copied().unwrap_or_default();
            // Who came into the span with her first row of it a day late was there from then on.
            let since_d = sum
                .first
                .map_or(0.0, |first| (first.as_millisecond() - from.as_millisecond()) as f64 / 86_400_000.0);
            let days = (whole_d - if 1.0 < since_d { since_d } else { 0.0 }).max(1.0);
            let minutes =
                |of: &[Use]| of.iter().map(|of| spent.of(*of)).sum::<i64>() as f64 / 60_000.0 / days;
            let each = |of: f64, number: u32| (0 < number).then(|| of / f64::from(number));
            let most = sum.last.iter().enumerate().max_by_key(|(place, times)| (**times, 4 - place));
            let last = most.filter(|(_, times)| 0 < **times).map(|(place, _)| Quarter::ALL[place].code());
            let minutes_day = spent.total() as f64 / 60_000.0 / days;
            let turned = minutes(&[Use::TurnedAway, Use::FedOnly]);
            let failed = minutes(&[Use::Failed, Use::Incomplete]);
            let milk_kg_day = (0 < sum.milk.0).then(|| sum.milk.1 / days);
            Some(CowMinutes {
                animal: numbers.get(cow as usize)?.clone(),
                milkings: sum.milkings,
                minutes_day,
                minutes_milking: each(sum.minutes, sum.milkings),
                handling_min: each(sum.split.1, sum.split.0),
                last_quarter_min: each(sum.split.2, sum.split.0),
                last_quarter: last,
                other_min_day: turned + failed,
                milk_kg_day,
                kg_min: milk_kg_day.filter(|_| 0.0 < minutes_day).map(|kg| kg / minutes_day),
                flow_kg_min: (0.0 < sum.split.3).then(|| sum.split.4 / sum.split.3),
                milking_kg: each(sum.milking_milk.1, sum.milking_milk.0),
                times_day: (f64::from(sum.turned) / days, f64::from(sum.failed) / days),
                other_by_kind: (turned, failed),
            })
        })
        .collect();
    cows.sort_by(|one, other| {
        other.minutes_day.total_cmp(&one.minutes_day).then_with(|| one.animal.cmp(&other.animal))
    });
    cows
}
