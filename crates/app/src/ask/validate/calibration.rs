//! Does what is stated at 70 % hold seven times in ten?
//!
//! # Equation
//! Expected calibration error: Σ_b |Σ stated − Σ held| / N over tenths b of the stated probability, N all of them.
//! Its interval: 1.96 times the jackknife's error over herds, for rounds of one herd are not independent.

use std::collections::BTreeMap;

use cowpath_core::causes::Cause;

use super::{
    count::{Figure, hours_after},
    heard::{Heard, Said},
};

/// By tenth of stated probability: sum stated, number that held, number.
pub type Tenths = [(f64, f64, f64); 10];

/// A standstill is told for so long after it ended, as one that is over: it held if there was one, h.
const STOOD_TOLD_H: i64 = 24;

/// Whether what was stated of a subject held at the round. An unclear call holds with any illness, a heat call from the
/// rise of activity until the egg is shed, a standstill's for a day after it.
pub fn held(heard: &Heard, subject: &str, name: &str, said: &Said) -> bool {
    match subject {
        "cow" => heard.truth.cases.iter().any(|case| {
            let kind = if said.cause == "unclear" { case.is_illness() } else { case.kind == said.cause };
            kind && case.animal == name && case.holds(said.at)
        }),
        "box" => heard.truth.faults.iter().any(|fault| {
            let stood = fault.kind == Cause::IdleFault.word();
            let until = if stood { hours_after(fault.to, STOOD_TOLD_H) } else { fault.to };
            fault.kind == said.cause && fault.at_box == name && fault.from <= said.at && said.at <= until
        }),
        _ => heard.truth.happenings.iter().any(|own| {
            ["heat-stress", "bad-batch", "ration-change"].contains(&own.kind.as_str())
                && own.from <= said.at
                && said.at <= own.to
        }),
    }
}

/// The tenths of one herd, by subject and cause, over every one shown.
pub fn tenths(heard: &Heard) -> BTreeMap<(&'static str, &'static str), Tenths> {
    let mut all: BTreeMap<(&'static str, &'static str), Tenths> = BTreeMap::new();
    for ((subject, name), said) in &heard.said {
        for one in said.iter().filter(|one| one.shown.is_some()) {
            let tenths = all.entry((*subject, one.cause)).or_default();
            let tenth = &mut tenths[((one.probability * 10.0) as usize).min(9)];
            let holds = f64::from(u8::from(held(heard, subject, name, one)));
            *tenth = (tenth.0 + one.probability, tenth.1 + holds, tenth.2 + 1.0);
        }
    }
    all
}

/// The sum of tenths.
pub fn sum<'a>(all: impl IntoIterator<Item = &'a Tenths>) -> Tenths {
    let mut sum = Tenths::default();
    for tenths in all {
        for (sum, own) in sum.iter_mut().zip(tenths) {
            *sum = (sum.0 + own.0, sum.1 + own.1, sum.2 + own.2);
        }
    }
    sum
}

/// The expected calibration error; `None` of nothing.
pub fn error(tenths: &Tenths) -> Option<f64> {
    let all: f64 = tenths.iter().map(|tenth| tenth.2).sum();
    (0.0 < all).then(|| tenths.iter().map(|tenth| (tenth.0 - tenth.1).abs()).sum::<f64>() / all)
}

/// The same of herds together, with its interval.
pub fn figure(herds: &[Tenths]) -> Figure {
    let all = sum(herds);
    let value = error(&all);
    let told = herds.len() as f64;
    let without: Vec<f64> = (0..herds.len())
        .filter_map(|left_out| {
            let others = herds.iter().enumerate().filter(|(place, _)| *place != left_out);
            error(&sum(others.map(|(_, tenths)| tenths)))
        })
        .collect();
    let between = value.filter(|_| 2 <= herds.len() && without.len() == herds.len()).map(|value| {
        let mean = without.iter().sum::<f64>() / told;
        let squares: f64 = without.iter().map(|own| (own - mean).powi(2)).sum();
        let error = ((told - 1.0) / told * squares).sqrt();
        ((value - 1.96 * error).max(0.0), (value + 1.96 * error).min(1.0))
    });
    Figure::Number { value, between, n: all.iter().map(|tenth| tenth.2).sum::<f64>() as u32 }
}
