//! Cows that have not been in a box for longer than their habit, as calls of the round.

use cowpath_core::causes::{self, Finding, HerdGaps};

use super::{farm::Barn, view::View};

/// Where more than one cow in so many is away at once, it is the boxes or the log, and no cow is blamed.
const MANY: usize = 20;

/// A finding of each cow that is away; none where many are.
pub fn findings(barn: &Barn, view: &View, settings: &causes::Settings) -> anyhow::Result<Vec<Finding>> {
    let Some(known) = barn.store.last_row_by(view.at)? else { return Ok(Vec::new()) };
    // A log of boxes that ends early tells of nobody's absence: the last row must be a box's.
    let last_visit = view.others.seen.values().filter_map(|ends| ends.last()).max().copied();
    let known = last_visit.map_or(known, |last| last.min(known));
    let tells_dry = view.cast.lives.iter().any(|life| life.dried_off.iter().any(|dried| *dried <= view.at));
    let herd = HerdGaps::of(view.others.seen.values().map(Vec::as_slice), tells_dry);
    let mut in_milk = 0;
    let mut away = Vec::new();
    for life in view.cast.lives.iter().filter(|life| life.present(view.at)) {
        let stage = life.stage(view.at);
        let Some(seen) = view.others.seen.get(&life.key).filter(|_| !stage.dry) else { continue };
        in_milk += 1;
        away.extend(causes::judge_absent(
            life.key,
            stage.days_in_milk,
            &herd,
            seen,
            known,
            view.at,
            settings,
        ));
    }
    Ok(if in_milk < MANY * away.len() { Vec::new() } else { away })
}
