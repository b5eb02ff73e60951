//! The log of a farm's boxes as the fit of the pens takes it: minutes of the farm's clock, cows and boxes by place.

use std::{collections::BTreeMap, ops::ControlFlow};

use cowpath_core::{
    herd::LifeKey,
    tables::Outcome,
    traffic::fit_log::{Came, Known, Log, Shut, Stay},
};
use jiff::{Timestamp, tz::TimeZone};

use super::{cast::Cast, farm::Barn};

/// Minutes of the farm's wall clock since the midnight that `origin_ms` is, of the clock's own count.
fn wall_min(at: Timestamp, zone: &TimeZone) -> f64 {
    let wall_ms = at.as_millisecond() + i64::from(zone.to_offset(at).seconds()) * 1000;
    wall_ms as f64 / 60_000.0
}

/// Reads a span: visits and closures of boxes. Minutes count from the midnight before its begin.
pub fn read(
    barn: &Barn,
    cast: &Cast,
    zone: &TimeZone,
    (from, to): (Timestamp, Timestamp),
) -> anyhow::Result<Log> {
    let origin = (wall_min(from, zone) / 1440.0).floor() * 1440.0;
    let minute = |at: Timestamp| wall_min(at, zone) - origin;
    let mut log = Log { span: (minute(from), minute(to)), ..Log::default() };
    let mut places: BTreeMap<LifeKey, u32> = BTreeMap::new();
    let mut boxes: BTreeMap<u16, u16> = BTreeMap::new();
    barn.store.box_visits(from..to, &mut |number, visit| {
        let Some(life) = cast.life(number, visit.started_at) else { return ControlFlow::Continue(()) };
        let next = places.len() as u32;
        let cow = *places.entry(life.key).or_insert_with(|| {
            let stage = life.stage(to);
            log.cows.push(Known { first: stage.parity.map(|parity| parity <= 1), days: stage.days_in_milk });
            next
        });
        let next = boxes.len() as u16;
        let at_box = *boxes.entry(visit.at_box.0).or_insert(next);
        let milk_kg = visit
            .milk_kg
            .or_else(|| visit.quarters.iter().map(|quarter| quarter.milk_kg).sum::<Option<f64>>());
        let came = match visit.outcome {
            Some(Outcome::Milked | Outcome::Incomplete) => Came::Milked,
            Some(Outcome::Failed) => Came::Failed,
            None if milk_kg.is_some_and(|kg| 0.0 < kg) => Came::Milked,
            _ => Came::NotDue,
        };
        log.tells_not_due |= came == Came::NotDue;
        let (began, ended) = (minute(visit.started_at), minute(visit.ended_at));
        log.stays.push(Stay { cow, at_box, from: began, to: ended.max(began), came, milk_kg });
        ControlFlow::Continue(())
    })?;
    log.boxes = boxes.len();
    log.stays.sort_by(|one, other| one.from.total_cmp(&other.from));
    log.tells_shut = barn.store.tells_box_states()?;
    for state in barn.store.box_states(from..to)? {
        let Some(at_box) = boxes.get(&state.at_box.0).copied() else { continue };
        let kind = match state.state.as_str() {
            "cleaning" => 0,
            "service" => 1,
            _ => 2,
        };
        log.shut.push(Shut { at_box, from: minute(state.from), to: minute(state.to), kind });
    }
    Ok(log)
}
