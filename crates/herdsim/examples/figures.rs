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
    println!("box faults: {}", herd.box_faults.len());
    for fault in &herd.box_faults {
        println!("  {fault:?}");
    }
    for event in herd.happenings.iter().filter(|event| event.animal.is_none()) {
        println!("  {event:?}");
    }
    Ok(())
}
