//! The plain forecast that the milk model must beat on box logs: her mean rate of the last seven days times the interval.

use std::collections::{BTreeMap, VecDeque};

use jiff::Timestamp;

/// Seven days, h.
const SPAN_H: f64 = 168.0;
/// Milkings a mean must rest on.
const FEWEST: usize = 6;

/// Absolute errors of both forecasts over the same milkings.
#[derive(Default)]
pub struct Beside {
    /// Milkings compared.
    pub rows: usize,
    /// Sum of the model's absolute errors, kg.
    pub model_kg: f64,
    /// Sum of the plain forecast's, kg.
    pub plain_kg: f64,
    /// Milkings inside the model's 95 % interval.
    pub covered: usize,
}

/// One cow's last seven days: when a milking began, its milk, the hours before it.
#[derive(Default)]
struct Week {
    milkings: VecDeque<(Timestamp, f64, f64)>,
    last: Option<Timestamp>,
}

/// Reads what `cowpath expected --format csv` prints and compares the scored milkings from `from` on.
pub fn compare(printed: &[u8], from: Timestamp, beside: &mut Beside) -> anyhow::Result<()> {
    let mut weeks: BTreeMap<String, Week> = BTreeMap::new();
    for row in csv::Reader::from_reader(printed).records() {
        let row = row?;
        let at: Timestamp = row[1].parse()?;
        let week = weeks.entry(row[0].to_owned()).or_default();
        let hours = |from: Timestamp, to: Timestamp| (to.as_second() - from.as_second()) as f64 / 3600.0;
        let interval_h =
            week.last.map(|last| hours(last, at)).filter(|interval_h| (1.0..=48.0).contains(interval_h));
        week.last = Some(at);
        while week.milkings.front().is_some_and(|first| SPAN_H < hours(first.0, at)) {
            week.milkings.pop_front();
        }
        let (Ok(observed_kg), Some(interval_h)) = (row[2].parse::<f64>(), interval_h) else { continue };
        if from <= at && &row[7] == "true" && FEWEST <= week.milkings.len() {
            let (milk_kg, hours) =
                week.milkings.iter().fold((0.0, 0.0), |sum, own| (sum.0 + own.1, sum.1 + own.2));
            let expected_kg: f64 = row[3].parse()?;
            let (low95_kg, high95_kg): (f64, f64) = (row[4].parse()?, row[5].parse()?);
            beside.rows += 1;
            beside.model_kg += (observed_kg - expected_kg).abs();
            beside.plain_kg += (observed_kg - milk_kg / hours * interval_h).abs();
            beside.covered += usize::from(low95_kg <= observed_kg && observed_kg <= high95_kg);
        }
        week.milkings.push_back((at, observed_kg, interval_h));
    }
    Ok(())
}
