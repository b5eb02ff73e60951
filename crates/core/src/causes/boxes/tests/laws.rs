//! What is called in time, what is not called, and what cannot be told.

use super::made::{ALL, CALM_D, Fitted, What, Wrong, made, rounds, shown};
use crate::{
    causes::Cause,
    herd::{BoxKey, Quarter},
};

const STILL: &dyn Fn(f64) -> f64 = &|_| 0.0;

fn daily(from_d: f64, days: f64) -> Vec<f64> {
    (0..(2.0 * days) as u32).map(|half| 24.0 * from_d + 12.0 * f64::from(half)).collect()
}

#[test]
fn print_what_is_found() {
    for boxes in [2] {
        let wrong = Wrong { at_box: boxes - 1, what: What::Meter, size: -0.08, grows_d: 0.0, lasts_d: 20.0 };
        let made = made(0, boxes, CALM_D + 1.1, wrong, ALL, STILL);
        let round = rounds(&made, &[24.0 * (CALM_D + 1.0)]);
        for fault in &round[0] {
            println!("{:?} {:?} {}", fault.finding, fault.level, fault.course.len());
            for seen in fault.course.iter().rev().take(12) {
                println!("{seen:?}");
            }
        }
    }
    for boxes in [2] {
        for seed in 0..3 {
            let made = made(900 + seed, boxes, 60.0, Wrong::none(), ALL, STILL);
            for (round, faults) in rounds(&made, &daily(CALM_D, 15.0)).iter().enumerate() {
                for fault in shown(faults) {
                    println!(
                        "false {boxes} boxes seed {seed} round {round}: {:?} {:?} {:.2} {:.2} {} {:?}",
                        fault.finding.cause,
                        fault.finding.subject,
                        fault.finding.probability,
                        fault.level,
                        fault.finding.since,
                        fault.finding.reasons[0].expected
                    );
                }
            }
        }
    }
}
