//! Expected milk beside the plain forecast it must beat: her mean rate of the last seven days times the interval.

use std::collections::{BTreeMap, VecDeque};

use cowpath_core::{herd::LifeKey, time::hours_between};
use jiff::Timestamp;

use crate::ask::view::View;

/// Seven days, h.
const SPAN_H: f64 = 168.0;
/// Milkings a mean must rest on.
const FEWEST: usize = 6;

/// Absolute errors of both forecasts over the same milkings.
#[derive(Debug, Default)]
pub struct Forecast {
    /// Milkings compared.
    pub rows: u32,
    /// Sum of the model's absolute errors, kg.
    pub model_kg: f64,
    /// Sum of the plain forecast's, kg.
    pub plain_kg: f64,
    /// Milkings inside the model's 95 % interval.
    pub covered: u32,
    weeks: BTreeMap<LifeKey, Week>,
}

/// One cow's last seven days: when a milking began, its milk, the hours before it.
#[derive(Debug, Default)]
struct Week {
    milkings: VecDeque<(Timestamp, f64, f64)>,
    last: Option<Timestamp>,
}

impl Forecast {
    /// Takes the milkings of a round's view that ended since the round before; of the first round they only fill the week.
    pub fn take(&mut self, view: &View, before: Option<Timestamp>) {
        for (life, milkings) in &view.milkings {
            let week = self.weeks.entry(*life).or_default();
            for scored in milkings.iter().filter(|own| before.is_none_or(|before| before < own.ended_at)) {
                let at = scored.started_at;
                let interval_h = week
                    .last
                    .map(|last| hours_between(last, at))
                    .filter(|hours| (1.0..=48.0).contains(hours));
                week.last = Some(at);
                while week.milkings.front().is_some_and(|first| SPAN_H < hours_between(first.0, at)) {
                    week.milkings.pop_front();
                }
                let (Some(observed_kg), Some(interval_h)) = (scored.observed_kg, interval_h) else {
                    continue;
                };
                if before.is_some() && scored.scored && FEWEST <= week.milkings.len() {
                    let (milk_kg, hours) =
                        week.milkings.iter().fold((0.0, 0.0), |sum, own| (sum.0 + own.1, sum.1 + own.2));
                    self.rows += 1;
                    self.model_kg += (observed_kg - scored.expected_kg).abs();
                    self.plain_kg += (observed_kg - milk_kg / hours * interval_h).abs();
                    self.covered +=
                        u32::from(scored.low95_kg <= observed_kg && observed_kg <= scored.high95_kg);
                }
                week.milkings.push_back((at, observed_kg, interval_h));
            }
        }
    }
}
