//! Which figures of a herd can be laid beside published ones?
//!
//! The bands are loose on purpose: a field figure is one herd's or one region's mean. Each stands with its source and
//! tag as `sources.md` gives them; P and M figures never decide a check, they are printed.

use std::collections::BTreeMap;

use cowpath_core::tables::Outcome;

use crate::{Scenario, rows::Herd};

/// One figure of a simulated herd beside a published one.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What is counted.
    pub name: &'static str,
    /// In which unit.
    pub unit: &'static str,
    /// What the herd shows; `None` where there was nothing to count.
    pub herd: Option<f64>,
    /// What is published.
    pub published: f64,
    /// Loose band, both ends allowed.
    pub band: (f64, f64),
    /// Where, with § and tag of `sources.md`.
    pub source: &'static str,
}

impl Figure {
    /// Whether the herd's figure lies in the band; a figure that was not to be had does not.
    pub fn within(&self) -> bool {
        self.herd.is_some_and(|herd| self.band.0 <= herd && herd <= self.band.1)
    }
}

fn mean(figures: &[f64]) -> Option<f64> {
    (!figures.is_empty()).then(|| figures.iter().sum::<f64>() / figures.len() as f64)
}

fn share(of: usize, all: usize) -> Option<f64> {
    (0 < all).then(|| of as f64 / all as f64)
}

/// The figures of a herd.
pub fn figures(herd: &Herd, scenario: &Scenario) -> Vec<Figure> {
    let cow_days = herd.days.len();
    let box_days = f64::from(scenario.days * scenario.boxes);
    let count = |outcome: Outcome| herd.visits.iter().filter(|visit| visit.outcome == outcome).count();
    let (milked, incomplete) = (count(Outcome::Milked), count(Outcome::Incomplete));
    let (failed, turned_away) = (count(Outcome::Failed), count(Outcome::TurnedAway));
    let milkings = milked + incomplete;
    let milk_kg: f64 = herd.visits.iter().filter_map(|visit| visit.milk_kg).sum();

    let mut last: BTreeMap<u32, i64> = BTreeMap::new();
    let (mut intervals_h, mut visit_min, mut flows, mut occupied_s) =
        (Vec::new(), Vec::new(), Vec::new(), 0.0);
    for visit in &herd.visits {
        occupied_s += (visit.ended_s - visit.started_s) as f64;
        if !matches!(visit.outcome, Outcome::Milked | Outcome::Incomplete) {
            continue;
        }
        if let Some(before_s) = last.insert(visit.animal, visit.started_s) {
            let interval_h = (visit.started_s - before_s) as f64 / 3600.0;
            // A dry period is not an interval.
            if interval_h < 72.0 {
                intervals_h.push(interval_h);
            }
        }
        visit_min.push((visit.ended_s - visit.started_s) as f64 / 60.0);
        if let (Some(attached_s), Some(kg)) = (visit.attached_s, visit.milk_kg) {
            let cup_on_min = (visit.ended_s - attached_s) as f64 / 60.0 - 0.5;
            flows.push(kg / cup_on_min.max(0.5));
        }
    }
    let mean_h = mean(&intervals_h);
    let sd_h = mean_h.and_then(|mean_h| {
        mean(&intervals_h.iter().map(|h| (h - mean_h).powi(2)).collect::<Vec<_>>()).map(f64::sqrt)
    });
    let below =
        |h: f64| share(intervals_h.iter().filter(|interval| **interval < h).count(), intervals_h.len());

    // Conductivity of quarters: inflamed at their worst, and of cows with no udder case within ten days.
    let mut spans: BTreeMap<u32, Vec<(i64, i64, usize, bool)>> = BTreeMap::new();
    for case in herd.cases.iter().filter(|case| case.kind == "udder") {
        let until_s = case.ended_s.unwrap_or(i64::MAX);
        spans.entry(case.animal).or_default().push((
            case.began_s,
            until_s,
            case.quarter.unwrap_or(0),
            case.clinical,
        ));
    }
    let mut healthy = Vec::new();
    let mut peaks: BTreeMap<(u32, i64), f64> = BTreeMap::new();
    for visit in &herd.visits {
        let own = spans.get(&visit.animal);
        let near = own.is_some_and(|own| {
            own.iter().any(|(from_s, to_s, ..)| {
                from_s - 10 * 86_400 < visit.started_s && visit.started_s < to_s.saturating_add(10 * 86_400)
            })
        });
        if !near {
            healthy.extend(visit.cups.iter().filter_map(|cup| cup.ms_cm));
        }
        for (from_s, to_s, quarter, clinical) in own.into_iter().flatten() {
            if *clinical
                && *from_s < visit.started_s
                && visit.started_s < *to_s
                && let Some(ms_cm) = visit.cups[*quarter].ms_cm
            {
                let peak = peaks.entry((visit.animal, *from_s)).or_insert(ms_cm);
                *peak = peak.max(ms_cm);
            }
        }
    }
    let peaks: Vec<f64> = peaks.into_values().collect();
    let rumination: f64 = herd.movement.iter().map(|bin| bin.rumination_min).sum();
    let eating: f64 = herd.movement.iter().map(|bin| bin.eating_min).sum();
    let lying: f64 = herd.movement.iter().map(|bin| bin.lying_min).sum();
    let tag_days = herd.movement.len() as f64 / 12.0;
    let by_day = |sum: f64| (0.0 < tag_days).then(|| sum / tag_days);
    let of_cow_days = |number: f64| (0 < cow_days).then(|| number / cow_days as f64);
    let udder = herd.cases.iter().filter(|case| case.kind == "udder" && case.clinical).count();

    let figure =
        |name, unit, herd, published, band, source| Figure { name, unit, herd, published, band, source };
    vec![
        figure("milkings a cow-day", "", of_cow_days(milkings as f64), 2.8, (2.4, 3.2), "§1 Peiter 2019, V"),
        figure(
            "turned away a cow-day",
            "",
            of_cow_days(turned_away as f64),
            1.15,
            (0.3, 3.0),
            "§1 Peiter 2019; §11, V",
        ),
        figure(
            "milk a cow-day",
            "kg",
            of_cow_days(milk_kg),
            37.3,
            (29.0, 42.0),
            "§1 Peiter 2019 37.3 and 33.2, V",
        ),
        figure(
            "failed a box-day",
            "",
            Some(failed as f64 / box_days),
            5.4,
            (1.0, 9.0),
            "§1 Peiter 2019 (median), V",
        ),
        figure("interval, mean", "h", mean_h, 9.2, (7.8, 10.2), "§2 Hogeveen 2001, V"),
        figure("interval, sd", "h", sd_h, 3.3, (2.0, 4.3), "§2 Hogeveen 2001, V"),
        figure("intervals under 6 h", "share", below(6.0), 0.097, (0.03, 0.22), "§1 Hogeveen 2001, V"),
        figure(
            "intervals over 12 h",
            "share",
            below(12.0).map(|under| 1.0 - under),
            0.176,
            (0.05, 0.25),
            "§1 Hogeveen 2001, V",
        ),
        figure(
            "milking visit",
            "min",
            mean(&visit_min),
            7.35,
            (5.5, 9.0),
            "§1 guided herd 7.3-7.4, V; 6-8 P",
        ),
        figure(
            "udder flow, cup-on",
            "kg/min",
            mean(&flows),
            2.5,
            (1.8, 3.3),
            "§1 Hogeveen 2001 2.5; Peiter 3.07 L/min, V",
        ),
        figure(
            "box occupied",
            "share",
            Some(occupied_s / (box_days * 86_400.0)),
            0.77,
            (0.4, 0.92),
            "§1 Tse 2018, M",
        ),
        figure(
            "incomplete of milkings",
            "share",
            share(incomplete, milkings),
            0.089,
            (0.01, 0.15),
            "§1 Davis 2005, V",
        ),
        figure(
            "conductivity, healthy quarters",
            "mS/cm",
            mean(&healthy),
            4.87,
            (4.6, 5.2),
            "§4.2 Norberg 2004, M",
        ),
        figure(
            "conductivity, clinical at worst",
            "mS/cm",
            mean(&peaks),
            6.44,
            (5.6, 7.4),
            "§4.2 Norberg 2004, M",
        ),
        figure("rumination a day", "min", by_day(rumination), 470.0, (400.0, 540.0), "§4.2 429 to 516, V"),
        figure("eating a day", "min", by_day(eating), 230.0, (190.0, 330.0), "§4.2 Johnston 2018, V"),
        figure("lying a day", "min", by_day(lying), 684.0, (600.0, 780.0), "§11 11-13 h, V'"),
        figure(
            "clinical udder cases a cow-year",
            "",
            of_cow_days(udder as f64 * 365.0),
            0.4,
            (0.1, 0.9),
            "stated choice, P",
        ),
    ]
}
