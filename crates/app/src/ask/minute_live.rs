//! Box minutes for pages: the ledger as asked, the best use kept at hand while nothing it rests on has changed, the terms.

use std::sync::{Arc, Mutex};

use cowpath_core::minutes::terms::Terms;

use super::{
    box_minutes::{AskedMinutes, BoxMinutes},
    intervals::{AskedIntervals, Intervals},
    live::{Live, Seen, locked},
    meters, minute_rows, settling,
    ways::{self, Wanted},
};
use crate::{clock, trouble::user};

/// Answers of a kind kept at hand.
const KEPT: usize = 6;

/// A view, what else an answer rests on, and the answer.
type Settled = (Arc<Seen>, String, Arc<Intervals>);

/// What was reckoned, by all it rests on, the newest last.
#[derive(Default)]
pub(super) struct Kept {
    ledgers: Mutex<Vec<(String, Arc<BoxMinutes>)>>,
    settled: Mutex<Vec<Settled>>,
}

impl Live {
    /// Where the boxes' minutes went.
    pub fn box_minutes(&self, asked: &AskedMinutes) -> anyhow::Result<Arc<BoxMinutes>> {
        self.ask(|barn| {
            let settings = barn.store.settings()?;
            let rests_on =
                format!("{asked:?} {} {} {:?}", barn.store.last_batch()?, settings.zone, settings.units);
            let known = || {
                let all = locked(&self.minutes.ledgers);
                all.iter().find(|(own, _)| *own == rests_on).map(|(_, told)| Arc::clone(told))
            };
            if let Some(told) = known() {
                return Ok(told);
            }
            let mut told = minute_rows::box_minutes(barn, asked, clock::now())?;
            if let Some(view) = &self.looked(barn, None)?.view {
                told.doubt(&meters::in_doubt(barn, view)?)?;
            }
            let told = Arc::new(told);
            let mut all = locked(&self.minutes.ledgers);
            if KEPT <= all.len() {
                all.remove(0);
            }
            all.push((rests_on, Arc::clone(&told)));
            Ok(told)
        })
    }

    /// Makes what the pages of box minutes show without being asked for more ready.
    pub(super) fn warm_minutes(&self) {
        // What goes wrong here goes wrong again when a page asks, and is said there.
        let _ = self.intervals(&AskedIntervals::default());
        let _ = self.box_minutes(&AskedMinutes::default());
    }

    /// How box minutes are best used, as the newest row knows it.
    pub fn intervals(&self, asked: &AskedIntervals) -> anyhow::Result<Arc<Intervals>> {
        self.ask(|barn| {
            let seen = self.looked(barn, None)?;
            let settings = barn.store.settings()?;
            let Some(view) = &seen.view else {
                let terms = asked.terms.clone().unwrap_or(settings.terms);
                return Ok(Arc::new(settling::nothing(settings.name, terms)));
            };
            let rests_on = format!("{asked:?} {:?} {:?}", settings.terms, settings.limits);
            let known = || {
                let all = locked(&self.minutes.settled);
                let found = all.iter().find(|(own, then, _)| Arc::ptr_eq(own, &seen) && *then == rests_on);
                found.map(|(.., answer)| Arc::clone(answer))
            };
            if let Some(answer) = known() {
                return Ok(answer);
            }
            let answer = Arc::new(settling::of_view(barn, view, asked)?);
            let mut all = locked(&self.minutes.settled);
            // Of a view that is no longer the newest nothing is asked again.
            all.retain(|(own, ..)| Arc::ptr_eq(own, &seen));
            if KEPT <= all.len() {
                all.remove(0);
            }
            all.push((Arc::clone(&seen), rests_on, Arc::clone(&answer)));
            Ok(answer)
        })
    }

    /// The farm's terms with others where words name them; nothing is kept.
    ///
    /// # Errors
    /// Where the words cannot be terms.
    pub fn try_terms(&self, words: &str) -> anyhow::Result<Terms> {
        let kept = self.ask(|barn| Ok(barn.store.settings()?.terms))?;
        kept.with(words).map_err(|why| {
            user(why, "the terms are as they were", "mend that figure: hours are written like 5/7/9")
        })
    }

    /// Keeps terms.
    pub fn keep_terms(&self, words: &str) -> anyhow::Result<()> {
        let wanted = Wanted { terms: Some(words.to_owned()), ..Wanted::default() };
        self.write(false, |barn| ways::change(barn, &wanted).map(|_| ()))
    }
}
