//! How many cows the farm milks now: the same count as on the Round, Bring in and the intervals.

use std::collections::BTreeMap;

use cowpath_core::{herd::LifeKey, tables::Outcome};
use jiff::Timestamp;

use super::{cast::Cast, farm::Barn, planning::Ground, settled};

/// Milkings of the last two weeks from which a cow counts, as for her interval.
const FEWEST_MILKINGS: u32 = 3;

/// Cows that are there at a time, not dry, and were milked at least three times in the last two weeks of this lactation.
pub fn in_milk(barn: &Barn, cast: &Cast, at: Timestamp) -> anyhow::Result<usize> {
    let mut milkings: BTreeMap<LifeKey, u32> = BTreeMap::new();
    for stay in barn.store.stays(at.saturating_sub(settled::SPAN)?..at)? {
        let milked = match stay.outcome {
            Some(outcome) => matches!(outcome, Outcome::Milked | Outcome::Incomplete),
            None => stay.milk_kg.is_some_and(|kg| 0.0 < kg),
        };
        let Some(life) = cast.life(stay.number, stay.started_at).filter(|_| milked && stay.ended_at <= at)
        else {
            continue;
        };
        if life.stage(at).calved_at.is_none_or(|calved| calved <= stay.started_at) {
            *milkings.entry(life.key).or_default() += 1;
        }
    }
    let counts = cast.lives.iter().filter(|life| {
        let own = milkings.get(&life.key).copied().unwrap_or(0);
        FEWEST_MILKINGS <= own && life.present(at) && !life.stage(at).dry
    });
    Ok(counts.count())
}

/// Counts the cows of a fitted farm, and says how many of them could be fitted.
pub fn settle(barn: &Barn, cast: &Cast, ground: &mut Ground, at: Timestamp) -> anyhow::Result<()> {
    let cows = in_milk(barn, cast, at)?;
    if !ground.fitted || cows == 0 {
        return Ok(());
    }
    let fitted = ground.setup.cows;
    if fitted < cows {
        ground.notes.push(format!(
            "Of the {cows} cows in milk now {fitted} have milkings enough to be fitted; the others are taken to be like them."
        ));
    }
    ground.cows_now = Some(cows);
    Ok(())
}
