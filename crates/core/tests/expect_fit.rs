//! The fit of a herd's parameters, on herds whose truth is known.

#![allow(clippy::unwrap_used)]

mod herds;

use cowpath_core::expect::{Fitted, Herd, Parameters, SampleMilking, fit};
use cowpath_core::herd::{BoxKey, LifeKey};
use herds::*;

fn sample(rows: &[Row]) -> Vec<SampleMilking> {
    let milking = |row: &Row| SampleMilking { visit: row.visit, stage: row.stage, hour_of_day: row.hour };
    rows.iter().map(milking).collect()
}

fn interval<'a>(fitted: &'a Fitted, name: &str) -> &'a cowpath_core::expect::Interval {
    fitted.intervals.iter().find(|own| own.0 == name).unwrap()
}

/// The herd's true κ is 0.045, its milkings scatter by 0.07 (log) and a quarter by 0.06 more.
#[test]
fn kappa_and_noise_are_found() {
    let rows = rows(Story { cows: 30, days: 45.0, ..STEADY }, 21);
    let start = Parameters { kappa_per_h: 0.07, ..Parameters::prior() };
    let fitted = fit(&sample(&rows), &start);
    assert_eq!(fitted.milkings, rows.len());
    assert!(0.0 < fitted.log_posterior_gain);
    let p = &fitted.parameters;
    assert!((p.kappa_per_h - 0.045).abs() < 0.008, "κ {}", p.kappa_per_h);
    let &(_, value, low, high, unit) = interval(&fitted, "κ");
    assert_eq!((value, unit), (p.kappa_per_h, "1/h"));
    assert!(low < value && value < high && high - low < 0.02, "κ from {low} to {high}");
    // Of the milking: 0.07 and a quarter's 0.06 by four; told as the scale of a heavy-tailed law and an error beside it.
    let scatter = (p.noise_sd.powi(2) + p.error_sd.powi(2)).sqrt();
    assert!((0.055..0.095).contains(&scatter), "scatter {scatter}");
    assert!((0.045..0.085).contains(&p.share.noise_sd), "share {}", p.share.noise_sd);
    assert!((0.08..0.13).contains(&p.conductivity.noise_sd), "conductivity {}", p.conductivity.noise_sd);
}

#[test]
fn the_same_sample_gives_the_same_parameters() {
    let rows = sample(&rows(Story { cows: 12, days: 20.0, ..STEADY }, 22));
    assert_eq!(fit(&rows, &Parameters::prior()), fit(&rows, &Parameters::prior()));
}

#[test]
fn too_little_changes_nothing() {
    let rows = sample(&rows(Story { cows: 3, days: 5.0, ..STEADY }, 23));
    let fitted = fit(&rows, &Parameters::prior());
    assert_eq!(fitted.parameters, Parameters::prior());
    assert!(fitted.intervals.is_empty());
    assert_eq!(fit(&[], &Parameters::prior()).milkings, 0);
}

#[test]
fn fitted_parameters_forecast_better_and_cows_keep_their_level() {
    let rows = rows(Story { cows: 30, days: 45.0, ..STEADY }, 24);
    let half = rows.len() / 2;
    let fitted = fit(&sample(&rows[..half]), &Parameters::prior()).parameters;
    let error = |herd: &mut Herd, rows: &[Row]| {
        mean(
            rows.iter()
                .filter_map(|row| herd.take(&row.visit, &row.stage, row.hour))
                .map(|own| (own.observed_kg.unwrap() - own.expected_kg).abs()),
        )
    };
    let mut prior = Herd::new(Parameters::prior());
    error(&mut prior, &rows[..half]);
    let mut changed = prior.clone();
    changed.set_parameters(fitted.clone());
    assert_eq!(changed.parameters(), &fitted);
    let next = &rows[half];
    let (before, after) = (
        prior.clone().take(&next.visit, &next.stage, next.hour).unwrap().expected_kg,
        changed.clone().take(&next.visit, &next.stage, next.hour).unwrap().expected_kg,
    );
    assert!((after / before).ln().abs() < 0.06, "the refit moved her forecast from {before} to {after} kg");
    let (plain, own) = (error(&mut prior, &rows[half..]), error(&mut changed, &rows[half..]));
    assert!(own < plain * 1.005, "error {own} kg after the fit, {plain} before");
}

#[test]
fn a_box_of_one_cow_and_an_only_box_have_no_effect() {
    let mut rows = rows(STEADY, 25);
    for row in &mut rows {
        row.visit.at_box = BoxKey(row.visit.life.0 as u16);
    }
    assert!((0..40).all(|key| run(&rows).0.box_effect(BoxKey(key)).is_none()));
    for row in &mut rows {
        row.visit.at_box = BoxKey(0);
    }
    let (herd, _) = run(&rows);
    assert_eq!(herd.box_effect(BoxKey(0)), None);
    assert!(herd.cup_effects(BoxKey(0)).is_some());
}

#[test]
fn a_calving_begins_milk_anew() {
    let mut rows = rows(Story { cows: 10, days: 30.0, ..STEADY }, 26);
    let calved = at(24.0 * 20.0);
    let cow = LifeKey(6);
    rows.retain(|row| {
        row.visit.life != cow || row.visit.ended_at < at(24.0 * 10.0) || calved < row.visit.ended_at
    });
    for row in rows.iter_mut().filter(|row| row.visit.life == cow && calved < row.visit.ended_at) {
        row.stage.parity = Some(3);
        row.stage.calved_at = Some(calved);
        row.stage.days_in_milk = Some(cowpath_core::time::hours_between(calved, row.visit.ended_at) / 24.0);
        row.visit.milk_kg = row.visit.milk_kg.map(|kg| 1.3 * kg);
    }
    let mut herd = Herd::new(Parameters::prior());
    let mut counts = Vec::new();
    for row in &rows {
        let scored = herd.take(&row.visit, &row.stage, row.hour).unwrap();
        if row.visit.life == cow && calved < row.visit.ended_at {
            counts.push((herd.milkings_since_calving(cow), scored.scored));
        }
    }
    assert_eq!(counts[..4], [(1, false), (2, false), (3, true), (4, true)]);
    assert_eq!(herd.unsettled_since(cow), None, "a new lactation is not an episode of the old one");
    assert_eq!(
        herd.last_milking(cow),
        rows.iter().rfind(|row| row.visit.life == cow).map(|row| row.visit.ended_at)
    );
}
