//! What a view that is kept ready rests on: when any of it has changed, the view is made anew.

use std::collections::BTreeMap;

use cowpath_core::minutes::terms::Terms;
use cowpath_store::Settings;
use jiff::Timestamp;

use super::{
    farm::{self, Barn},
    learned::{self, Lessons},
    live::{Live, locked},
};

/// What a view rests on: the logs read, and the farm's settings.
#[derive(PartialEq)]
pub(super) struct Ground {
    last_batch: u64,
    settings: Settings,
    /// Costs in force, and what was learned.
    judging: Judging,
}

/// Answers taken back, costs kept and cases told, and the factor learned of each cause for the newest round. An answer that
/// is given counts from the next day on: it alone makes nothing anew.
pub(super) type Judging = (i64, [i64; 5], BTreeMap<&'static str, String>);

/// Answers, told cases and takings back, and rows: whatever what was learned for the newest round rests on.
pub(super) type Mark = ((i64, i64), [i64; 5], u64);

impl Live {
    /// What views rest on now. What was learned is reckoned again only when anybody has told anything.
    pub(super) fn ground(&self, barn: &Barn) -> anyhow::Result<Ground> {
        let store = &barn.store;
        // No view hangs on the terms of box minutes.
        let settings = Settings { terms: Terms::default(), ..store.settings()? };
        let last_batch = store.last_batch()?;
        let mark = (store.found_mark()?, store.learned_mark()?, last_batch);
        let known =
            locked(&self.learned).as_ref().filter(|(own, _)| *own == mark).map(|(_, own)| own.clone());
        let judging = match known {
            Some(judging) => judging,
            None => {
                let stated = learned::own_costs(store)?.over(cowpath_core::causes::Settings::default());
                let zone = farm::zone(&settings.zone)?;
                let until =
                    learned::counts_until(store.last_row_at()?.unwrap_or(Timestamp::UNIX_EPOCH), &zone)?;
                let (learned, _) = Lessons::read(store, until)?.learn(&stated, &zone);
                let factors = learned.iter().map(|(cause, own)| (cause.word(), format!("{:.1}", own.factor)));
                let judging = (mark.0.1, mark.1, factors.collect());
                let judging: Judging = judging;
                *locked(&self.learned) = Some((mark, judging.clone()));
                judging
            }
        };
        Ok(Ground { last_batch, settings, judging })
    }
}
