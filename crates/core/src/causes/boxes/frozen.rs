//! Does a milk meter or a cup's probe say the same whatever cow is milked?
//!
//! Two milkings in a row with the same figure happen: a box that writes tenths of a kilogram does so once in a hundred.
//! Ten in a row do not. When a probe is stuck, which writes coarser figures: [`crate::signals::Run`].

use super::{BoxFault, Boxes, SILENT_H, before, chain::Verdict, log::Row};
use crate::{
    causes::Cause,
    expect::Signal,
    herd::BoxKey,
    signals::{Column, Stuck, Whose},
};

/// So many milkings in a row with one figure are no chance; of cows milked out.
const FROZEN_FROM: usize = 8;
/// As sure as this program gets of anything.
const SURE: f64 = 0.99;

pub(crate) fn judge(boxes: &Boxes, rows: &[&Row]) -> Vec<BoxFault> {
    let meters = boxes.courses.iter().filter_map(|(key, _)| meter(boxes, rows, *key));
    meters.chain(boxes.stuck.iter().filter_map(|stuck| probe(boxes, rows, stuck))).collect()
}

/// A probe that was stuck at the box's last milking.
fn probe(boxes: &Boxes, rows: &[&Row], stuck: &Stuck) -> Option<BoxFault> {
    let (Whose::Box(at_box), Column::Conductivity(quarter)) = (stuck.whose, stuck.column) else {
        return None;
    };
    let to_ms = stuck.to.as_millisecond();
    let since = rows.iter().rev().filter(|row| row.at_box == at_box).take_while(|row| to_ms < row.to_ms);
    let silent = to_ms < before(boxes.at, SILENT_H).as_millisecond();
    // Some milkings without a reading of this probe may follow; another figure would have ended the stretch.
    if silent || FROZEN_FROM <= since.filter(|row| row.milked()).count() {
        return None;
    }
    let (readings, cows) = boxes.log.counted(at_box, stuck.from, stuck.to, Row::tried);
    let value = stuck.value?;
    let verdict = sure(value, stuck.from, readings);
    let reason = (Signal::Conductivity, value, value);
    let place = (at_box, Cause::ConductivityProbe, Some(quarter));
    let mut fault = BoxFault::of(place, verdict, reason, (readings, cows));
    fault.frozen = Some(readings);
    Some(fault)
}

/// No drift explains it, so it is as sure as may be said.
fn sure(level: f64, since: jiff::Timestamp, readings: u32) -> Verdict {
    Verdict {
        probability: SURE,
        level,
        since,
        since_between: (since, since),
        episode: since,
        weight: f64::from(readings) * std::f64::consts::LN_10,
        course: Vec::new(),
    }
}

fn meter(boxes: &Boxes, rows: &[&Row], at_box: BoxKey) -> Option<BoxFault> {
    let milked = |row: &&&Row| row.at_box == at_box && row.milked();
    let mut own = rows.iter().rev().filter(milked);
    let last = own.next()?;
    if last.to_ms < before(boxes.at, SILENT_H).as_millisecond() {
        return None;
    }
    let mut run = vec![last];
    run.extend(own.take_while(|row| row.milk_kg() == last.milk_kg()));
    if run.len() < FROZEN_FROM {
        return None;
    }
    let first = run[run.len() - 1];
    let since = jiff::Timestamp::from_millisecond(first.from_ms).ok()?;
    let mut cows: Vec<_> = run.iter().map(|row| row.life).collect();
    cows.sort();
    cows.dedup();
    let verdict = sure(last.milk_kg()?, since, run.len() as u32);
    let reason = (Signal::Milk, last.milk_kg()?, last.milk_kg()?);
    let counted = (run.len() as u32, cows.len() as u32);
    let mut fault = BoxFault::of((at_box, Cause::MilkMeter, None), verdict, reason, counted);
    fault.frozen = Some(run.len() as u32);
    Some(fault)
}
