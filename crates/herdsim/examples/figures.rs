//! Prints a simulated herd's figures beside published ones: `figures [cows boxes days seed]`.

use cowpath_herdsim::{Scenario, figures, simulate};

fn main() -> Result<(), cowpath_herdsim::SimError> {
    let given: Vec<u64> = std::env::args().skip(1).filter_map(|word| word.parse().ok()).collect();
    let at = |place: usize, or: u64| given.get(place).copied().unwrap_or(or);
    let scenario =
        Scenario::demo(at(0, 120) as u32, at(1, 2) as u32, at(2, 120) as u32, at(3, Scenario::DEMO_SEED));
    let begun = std::time::Instant::now();
    let herd = simulate(&scenario)?;
    println!(
        "{} cows, {} boxes, {} days, seed {}: {} visits, {} movement rows in {:.2} s",
        scenario.cows,
        scenario.boxes,
        scenario.days,
        scenario.seed,
        herd.visits.len(),
        herd.movement.len(),
        begun.elapsed().as_secs_f64()
    );
    for figure in figures(&herd, &scenario) {
        let shown = figure.herd.map_or("none".to_owned(), |herd| format!("{herd:.3}"));
        println!(
            "{:34} {:>9} {:6} published {:>7.3}  band {} to {}  {}{}",
            figure.name,
            shown,
            figure.unit,
            figure.published,
            figure.band.0,
            figure.band.1,
            figure.source,
            if figure.within() { "" } else { "  OUTSIDE" }
        );
    }
    let (error_kg, milk_kg) = plain_error(&herd);
    println!("seven-day mean rate times interval: MAE {error_kg:.3} kg of {milk_kg:.2} kg a milking");
    let end_s = herd.visits.last().map_or(0, |visit| visit.ended_s);
    for kind in ["udder", "metabolic", "gut", "feet", "fever", "heat"] {
        let of = |test: &dyn Fn(&cowpath_herdsim::rows::CaseTruth) -> bool| {
            herd.cases.iter().filter(|case| case.kind == kind && test(case)).count()
        };
        println!(
            "{kind:10} {:4} cases, {:4} to be seen, {:4} noticed; begun in the last 3 days and to be seen: {}",
            of(&|_| true),
            of(&|case| case.clinical),
            of(&|case| case.noticed_s.is_some()),
            of(&|case| case.clinical && end_s - 3 * 86_400 < case.first_sign_s)
        );
    }
    for case in herd.cases.iter().filter(|case| {
        case.kind == "udder"
            && case.clinical
            && case.ended_s.is_none()
            && end_s - 4 * 86_400 < case.first_sign_s
    }) {
        println!("still on: {case:?}");
    }
    println!(
        "udder cases to be seen with next to no rise of conductivity (under 0.2 mS/cm): {}",
        herd.cases
            .iter()
            .filter(|case| case.kind == "udder" && case.clinical && case.conductivity_rise_ms_cm < 0.2)
            .count()
    );
    for kind in ["udder", "metabolic", "gut", "feet", "fever"] {
        let mut late_h: Vec<f64> = herd
            .cases
            .iter()
            .filter(|case| case.kind == kind)
            .filter_map(|case| Some((case.noticed_s? - case.first_sign_s) as f64 / 3600.0))
            .collect();
        late_h.sort_by(f64::total_cmp);
        if let Some(middle) = late_h.get(late_h.len() / 2) {
            println!("{kind}: noticed {middle:.0} h after the first sign (median)");
        }
    }
    println!("box faults: {}", herd.box_faults.len());
    for fault in &herd.box_faults {
        println!("  {fault:?}");
    }
    for event in herd.happenings.iter().filter(|event| event.animal.is_none()) {
        println!("  {event:?}");
    }
    Ok(())
}

/// Mean absolute error of the plainest forecast, her mean rate of the last seven days times the interval, over milk.
fn plain_error(herd: &cowpath_herdsim::Herd) -> (f64, f64) {
    use std::collections::{BTreeMap, VecDeque};
    /// Milkings of the last days: when, hours, kg.
    type Past = VecDeque<(i64, f64, f64)>;
    let mut own: BTreeMap<u32, (i64, Past)> = BTreeMap::new();
    let (mut error, mut milk, mut count) = (0.0, 0.0, 0.0);
    for visit in &herd.visits {
        let Some(kg) = visit.milk_kg else { continue };
        let (last_s, past) = own.entry(visit.animal).or_insert((visit.started_s, VecDeque::new()));
        let h = (visit.started_s - *last_s) as f64 / 3600.0;
        *last_s = visit.started_s;
        while past.front().is_some_and(|(at_s, ..)| *at_s < visit.started_s - 7 * 86_400) {
            past.pop_front();
        }
        let hours: f64 = past.iter().map(|(_, h, _)| h).sum();
        if visit.outcome.word() == "milked" && 100.0 < hours && h < 24.0 {
            error += (kg - past.iter().map(|(.., kg)| kg).sum::<f64>() / hours * h).abs();
            milk += kg;
            count += 1.0;
        }
        if 0.0 < h && h < 40.0 {
            past.push_back((visit.started_s, h, kg));
        }
    }
    (error / count, milk / count)
}
