//! What a visit takes on a farm, from its log: handling one for the herd, flow each cow's own.

use super::{
    fit_log::{Came, Log, Stay},
    pen::Service,
};

/// Passes between handling and flows.
const PASSES: usize = 60;
/// Milkings' worth of the herd's flow that a cow's own is drawn by.
const DRAWN_BY: f64 = 5.0;

/// What was fitted of visits.
pub struct Fitted {
    /// One for the herd.
    pub service: Service,
    /// Each cow's flow, kg/min.
    pub flows: Vec<f64>,
}

/// Fits it.
pub fn service(log: &Log, by_cow: &[Vec<Stay>]) -> Fitted {
    let usual = Service::default();
    let milkings = |stays: &[Stay]| -> Vec<(f64, f64)> {
        let milked = stays.iter().filter(|stay| stay.came == Came::Milked);
        milked.filter_map(|stay| Some((stay.milk_kg.filter(|kg| 0.2 < *kg)?, stay.to - stay.from))).collect()
    };
    let own: Vec<Vec<(f64, f64)>> = by_cow.iter().map(|stays| milkings(stays)).collect();
    let all = || own.iter().flatten();
    let count = all().count().max(1) as f64;
    let mut handling = usual.handling_min;
    let mut slope = 0.3;
    let mut slopes = vec![slope; own.len()];
    for _ in 0..PASSES {
        let sums = |of: &[(f64, f64)], handling: f64| {
            of.iter().fold((0.0, 0.0), |(up, down), (kg, min)| (up + (min - handling) * kg, down + kg * kg))
        };
        let herd = own
            .iter()
            .map(|of| sums(of, handling))
            .fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
        slope = (herd.0 / herd.1.max(1e-9)).clamp(0.05, 3.0);
        let mean_square = herd.1 / count;
        for (value, of) in slopes.iter_mut().zip(&own) {
            let (up, down) = sums(of, handling);
            let drawn = DRAWN_BY * mean_square;
            *value = ((up + drawn * slope) / (down + drawn)).clamp(0.05, 5.0);
        }
        let rest: f64 = own
            .iter()
            .zip(&slopes)
            .flat_map(|(of, slope)| of.iter().map(move |(kg, min)| min - slope * kg))
            .sum();
        handling = (rest / count).clamp(0.3, 15.0);
    }
    let (mut squares, mut flow_min) = (0.0, 0.0);
    for (of, slope) in own.iter().zip(&slopes) {
        for (kg, min) in of {
            squares += (min - handling - slope * kg).powi(2);
            flow_min += slope * kg;
        }
    }
    let sd = (squares / count).sqrt();
    let lasts = |came: Came| -> Vec<f64> {
        log.stays.iter().filter(|stay| stay.came == came).map(|stay| stay.to - stay.from).collect()
    };
    let mean =
        |of: &[f64], usual: f64| if of.len() < 10 { usual } else { of.iter().sum::<f64>() / of.len() as f64 };
    let (failed, not_due) = (lasts(Came::Failed), lasts(Came::NotDue));
    let attempts = failed.len() + lasts(Came::Milked).len();
    Fitted {
        service: Service {
            handling_min: handling,
            handling_cv: 0.0,
            flow_cv: (sd / (flow_min / count).max(0.1)).min(1.5),
            milk_cv: usual.milk_cv,
            turned_away_min: mean(&not_due, usual.turned_away_min),
            failed_share: failed.len() as f64 / attempts.max(1) as f64,
            failed_min: mean(&failed, usual.failed_min),
            failed_cv: usual.failed_cv,
            // Known once her shortest interval is.
            again_share: 0.0,
            between_min: between(log),
            law: None,
        },
        flows: slopes.iter().map(|slope| (1.0 / slope).clamp(0.2, 12.0)).collect(),
    }
}

/// From one cow's leaving to the next one's entering where she followed at once: the 5th percentile of all gaps.
fn between(log: &Log) -> f64 {
    let mut last = vec![f64::NAN; log.boxes];
    let mut gaps = Vec::new();
    for stay in &log.stays {
        if let Some(left) = last.get_mut(usize::from(stay.at_box)) {
            let gap = stay.from - *left;
            if (0.0..30.0).contains(&gap) {
                gaps.push(gap);
            }
            *left = stay.to;
        }
    }
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 20).copied().unwrap_or(0.0).min(3.0)
}
