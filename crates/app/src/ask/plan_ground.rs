//! What a plan of a farm starts from: its own cows, boxes and habits of coming, where its logs tell of them.

use super::{farm::Barn, planning::Ground};

/// The farm as it is.
pub fn of(barn: &Barn) -> anyhow::Result<Ground> {
    let ways = barn.ways()?;
    let mut ground = Ground::stated();
    (ground.farm, ground.units) = (ways.name, ways.units);
    Ok(ground)
}
