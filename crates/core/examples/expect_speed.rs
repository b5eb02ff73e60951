//! How long a milking takes: milk alone, all signals, and a fit.
//!
//! `cargo run --release -p cowpath-core --example expect_speed`
//! An invented herd of 370 cows on six boxes, three years, about 1.1 million milkings, made before the clock runs. Times are the processor's, so that a busy machine does not count.

use cowpath_core::expect::{Herd, Parameters, SampleMilking, Scored, fit};
use cowpath_core::herd::{BoxKey, LifeKey, Stage};
use cowpath_core::tables::{Outcome, QuarterVisit, Visit};
use jiff::{Timestamp, ToSpan};
use std::time::Instant;

/// A repeatable stream of chance: splitmix64.
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) as f64 / u64::MAX as f64
    }
    fn normal(&mut self) -> f64 {
        (0..4).map(|_| self.uniform() - 0.5).sum::<f64>() * 3.0_f64.sqrt()
    }
}

/// Seconds of processor time this process has used, where the system tells; else the wall clock.
fn processor_s(began: Instant) -> f64 {
    let told = std::fs::read_to_string("/proc/self/schedstat").ok();
    let ns = told.and_then(|text| text.split_whitespace().next().and_then(|ns| ns.parse::<f64>().ok()));
    ns.map_or_else(|| began.elapsed().as_secs_f64(), |ns| ns * 1e-9)
}

fn main() {
    let start = Instant::now();
    let days: f64 = std::env::args().nth(1).and_then(|days| days.parse().ok()).unwrap_or(1_095.0);
    for quarters in [false, true] {
        let rows = rows(370, 6, days, quarters);
        let mut herd = Herd::new(Parameters::prior());
        let mut scored = Scored::empty();
        let began = processor_s(start);
        let (mut judged, mut departures) = (0_u64, 0_usize);
        for row in &rows {
            if herd.take_into(&row.visit, &row.stage, row.hour_of_day, &mut scored) {
                judged += u64::from(scored.scored);
                departures += scored.departures.len();
            }
        }
        let spent = processor_s(start) - began;
        println!(
            "{}: {} milkings, {judged} judged, {departures} departures in {spent:.3} s: {:.3} µs a milking",
            if quarters { "all signals" } else { "milk and interval" },
            rows.len(),
            spent * 1e6 / rows.len() as f64
        );
        let sample: Vec<SampleMilking> =
            rows.iter().filter(|row| row.visit.life.0 < 16).take(4_000).copied().collect();
        let began = processor_s(start);
        let fitted = fit(&sample, &Parameters::prior());
        println!(
            "  fit to {} milkings: {:.0} ms; κ {:.4} (true 0.045)",
            fitted.milkings,
            (processor_s(start) - began) * 1e3,
            fitted.parameters.kappa_per_h
        );
    }
}

fn rows(cows: u32, boxes: u64, days: f64, measured: bool) -> Vec<SampleMilking> {
    let start = Timestamp::UNIX_EPOCH;
    let mut chance = Chance(1);
    let mut rows = Vec::new();
    for cow in 0..cows {
        let mut level = (1.8_f64).ln() + 0.2 * chance.normal();
        let mut hours = 9.0 * chance.uniform();
        let mut calved = -24.0 * 300.0 * chance.uniform();
        while hours < 24.0 * days {
            let interval = (8.6 + 1.8 * chance.normal()).clamp(4.0, 15.0);
            hours += interval;
            if 24.0 * 330.0 < hours - calved {
                calved = hours + 24.0 * 55.0;
                hours = calved + 6.0;
            }
            level += 0.008 * chance.normal() - 0.02 * (level - 0.5);
            let milk_kg =
                level.exp() * (1.0 - (-0.045 * interval).exp()) / 0.045 * (0.09 * chance.normal()).exp();
            let mut quarters = [QuarterVisit::default(); 4];
            if measured {
                for quarter in &mut quarters {
                    quarter.milk_kg = Some(0.25 * milk_kg * (0.08 * chance.normal()).exp());
                    quarter.ms_cm = Some(4.9 + 0.12 * chance.normal());
                    quarter.kicked = Some(chance.uniform() < 0.01);
                }
            }
            let at = |hours: f64| start + ((hours * 3_600_000.0) as i64).milliseconds();
            rows.push(SampleMilking {
                visit: Visit {
                    outcome: Some(Outcome::Milked),
                    milk_kg: Some(milk_kg),
                    quarters,
                    ..Visit::stay(
                        LifeKey(cow),
                        BoxKey((chance.uniform() * boxes as f64) as u16),
                        at(hours - 0.12),
                        at(hours),
                    )
                },
                stage: Stage {
                    parity: Some(2),
                    calved_at: Some(at(calved)),
                    days_in_milk: Some((hours - calved) / 24.0),
                    dry: false,
                },
                hour_of_day: hours % 24.0,
            });
        }
    }
    rows.sort_by_key(|row| (row.visit.ended_at, row.visit.life));
    rows
}
