//! Box minutes for pages: the ledger as asked, the best use kept at hand while nothing it rests on has changed, the terms.

use std::sync::Arc;

use cowpath_core::minutes::terms::Terms;

use super::{
    box_minutes::{AskedMinutes, BoxMinutes},
    intervals::{AskedIntervals, Intervals},
    live::{Live, Seen, locked},
    minute_rows, settling,
    ways::{self, Wanted},
};
use crate::{clock, trouble::user};

/// Answers kept at hand.
const KEPT: usize = 4;

/// A view, what else an answer rests on, and the answer.
pub(super) type Settled = (Arc<Seen>, String, Arc<Intervals>);

impl Live {
    /// Where the boxes' minutes went.
    pub fn box_minutes(&self, asked: &AskedMinutes) -> anyhow::Result<BoxMinutes> {
        self.ask(|barn| minute_rows::box_minutes(barn, asked, clock::now()))
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
            let known = locked(&self.settled)
                .iter()
                .find(|(own, then, _)| Arc::ptr_eq(own, &seen) && *then == rests_on)
                .map(|(.., answer)| Arc::clone(answer));
            if let Some(answer) = known {
                return Ok(answer);
            }
            let answer = Arc::new(settling::of_view(barn, view, asked)?);
            let mut all = locked(&self.settled);
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
