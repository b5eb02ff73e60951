//! Does a milk meter say the same whatever cow is milked?
//!
//! Two milkings in a row with the same figure happen: a box that writes tenths of a kilogram does so once in a hundred.
//! Ten in a row do not.

use super::{BoxFault, Boxes, SILENT_H, before, chain::Verdict, log::Row};
use crate::{causes::Cause, expect::Signal, herd::BoxKey, tables::Outcome};

/// So many milkings in a row with one figure are no chance; of cows milked out.
const FROZEN_FROM: usize = 8;
/// As sure as this program gets of anything.
const SURE: f64 = 0.99;

pub(crate) fn judge(boxes: &Boxes, rows: &[Row]) -> Vec<BoxFault> {
    boxes.courses.iter().filter_map(|(key, _)| one(boxes, rows, *key)).collect()
}

fn one(boxes: &Boxes, rows: &[Row], at_box: BoxKey) -> Option<BoxFault> {
    let milked = |row: &&Row| {
        row.at_box == at_box && matches!(row.outcome, Some(Outcome::Milked) | None) && row.milk_kg.is_some()
    };
    let mut own = rows.iter().rev().filter(milked);
    let last = own.next()?;
    if last.to_ms < before(boxes.at, SILENT_H).as_millisecond() {
        return None;
    }
    let mut run = vec![last];
    run.extend(own.take_while(|row| row.milk_kg == last.milk_kg));
    if run.len() < FROZEN_FROM {
        return None;
    }
    let first = run[run.len() - 1];
    let since = jiff::Timestamp::from_millisecond(first.from_ms).ok()?;
    let mut cows: Vec<_> = run.iter().map(|row| row.life).collect();
    cows.sort();
    cows.dedup();
    let verdict = Verdict {
        probability: SURE,
        level: last.milk_kg?,
        since,
        since_between: (since, since),
        episode: since,
        weight: run.len() as f64 * std::f64::consts::LN_10,
        course: Vec::new(),
    };
    let reason = (Signal::Milk, last.milk_kg?, last.milk_kg?);
    let counted = (run.len() as u32, cows.len() as u32);
    let mut fault = BoxFault::of((at_box, Cause::MilkMeter, None), verdict, reason, counted);
    fault.frozen = Some(run.len() as u32);
    Some(fault)
}
