//! What goes wrong with the writing itself: clocks that are off, a receiver that hears no tag?

use crate::{
    Scenario,
    chance::Stream,
    clock::{DAY_S, FarmClock, HOUR_S},
    rows::{HappeningTruth, VisitRow},
};

/// The jumps of all boxes: the truth, and by how many seconds the box's clock is ahead.
pub fn clock_jumps(scenario: &Scenario, clock: &FarmClock) -> Vec<(HappeningTruth, i64)> {
    let mut jumps = Vec::new();
    for number in 1..=scenario.boxes {
        let mut chance = Stream::new(scenario.seed, "box clock", u64::from(number));
        let mut at_s = clock.told_s;
        loop {
            at_s += (chance.unit_exponential() * 70.0 * DAY_S as f64) as i64;
            if clock.end_s <= at_s {
                break;
            }
            // An hour for a summer time forgotten, or any stretch; ahead or behind.
            let size_s = if chance.chance(0.5) { 3600 } else { chance.between(240.0, 9000.0) as i64 };
            let ahead_s = if chance.chance(0.5) { size_s } else { -size_s };
            let to_s = at_s + (chance.between(0.1, 2.5) * DAY_S as f64) as i64;
            jumps.push((
                HappeningTruth {
                    kind: "clock-jump",
                    at_box: Some(number),
                    from_s: at_s,
                    to_s,
                    size: Some(ahead_s as f64),
                    ..HappeningTruth::default()
                },
                ahead_s,
            ));
            at_s = to_s;
        }
    }
    jumps
}

/// Spans in which the receiver of the tags was down: nobody's movement is told.
pub fn receiver_down(scenario: &Scenario, clock: &FarmClock) -> Vec<HappeningTruth> {
    let mut chance = Stream::new(scenario.seed, "receiver", 0);
    let mut spans = Vec::new();
    let mut from_s = clock.told_s;
    loop {
        from_s += (chance.unit_exponential() * 80.0 * DAY_S as f64) as i64;
        if clock.end_s <= from_s {
            return spans;
        }
        let to_s = from_s + (chance.between(2.0, 26.0) * HOUR_S as f64) as i64;
        spans.push(HappeningTruth { kind: "receiver-down", from_s, to_s, ..HappeningTruth::default() });
        from_s = to_s;
    }
}

/// Writes a visit's times as the box's clock showed them.
pub fn jump(jumps: &[(HappeningTruth, i64)], row: &mut VisitRow) {
    for (jump, ahead_s) in jumps {
        if jump.at_box == Some(row.at_box) && jump.from_s <= row.started_s && row.started_s < jump.to_s {
            row.started_s += ahead_s;
            row.ended_s += ahead_s;
            row.attached_s = row.attached_s.map(|at_s| at_s + ahead_s);
            return;
        }
    }
}
