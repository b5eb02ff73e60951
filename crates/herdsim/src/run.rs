//! What of the simulated days is told?
//!
//! Nothing that is not over when the logs are read, and nothing from before they begin but the farm's own notes.

use crate::{
    Scenario, SimError,
    clock::FarmClock,
    farm::{Farm, Out, TICK_S},
    mishap,
    rows::Row,
};

/// Runs a scenario from its first midnight to its last morning.
pub fn run(scenario: &Scenario, take: &mut Out<'_>) -> Result<(), SimError> {
    if scenario.cows == 0 || scenario.boxes == 0 || scenario.days == 0 {
        return Err(SimError::Empty { cows: scenario.cows, boxes: scenario.boxes, days: scenario.days });
    }
    let clock = FarmClock::new(&scenario.zone, scenario.last_day, scenario.days)?;
    let (start_s, told_s, end_s) = (clock.start_s, clock.told_s, clock.end_s);
    let told_day = clock.day(told_s);
    let jumps = if scenario.clock_jumps { mishap::clock_jumps(scenario, &clock) } else { Vec::new() };
    let deaf = mishap::receiver_down(scenario, &clock);
    let mut emptied_once = false;
    // Nothing is told that is not over when the logs are read.
    // Before the logs begin only the farm's notes tell of it.
    let mut out = |mut row: Row| -> Result<(), SimError> {
        let told = match &mut row {
            Row::Visit(row) => {
                let told = told_s <= row.started_s && row.ended_s <= end_s;
                mishap::jump(&jumps, row);
                told
            }
            Row::Movement(row) => {
                let heard = !deaf.iter().any(|down| down.from_s <= row.from_s && row.from_s < down.to_s);
                told_s <= row.from_s && heard
            }
            Row::Event(row) => row.at_s <= end_s,
            Row::BoxState(row) => told_s <= row.from_s && row.to_s <= end_s,
            Row::Bunk(row) => told_s <= row.delivered_s && row.delivered_s <= end_s,
            Row::Push(row) => told_s <= row.at_s && row.at_s <= end_s,
            Row::Recording(row) => told_day < row.on_day,
            // The first lorry takes milk of days that are not told.
            Row::Pickup(row) => told_s <= row.collected_s && std::mem::replace(&mut emptied_once, true),
            Row::Case(row) => row.ended_s.is_none_or(|at_s| told_s < at_s) && row.first_sign_s <= end_s,
            Row::Day(row) => told_day <= row.day,
            Row::BoxFault(row) => told_s < row.to_s,
            Row::Happening(row) => told_s < row.to_s && row.from_s <= end_s,
            Row::Brought(row) => told_s <= row.at_s && row.at_s <= end_s,
            Row::Animal(_) | Row::Feed(_) => true,
        };
        if told { take(row) } else { Ok(()) }
    };
    for happening in jumps.iter().map(|(jump, _)| jump).chain(&deaf) {
        out(Row::Happening(*happening))?;
    }
    let mut farm = Farm::new(scenario, clock, &mut out)?;
    let mut at_s = start_s;
    while at_s < end_s {
        farm.tick(at_s, &mut out)?;
        at_s += TICK_S;
    }
    farm.close(&mut out)
}
