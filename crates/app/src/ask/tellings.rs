//! Which outcomes the boxes told of on a day, at hand once a page has asked for it: rare outcomes send each page days back,
//! and the days of one page are those of the next.

use std::{
    collections::BTreeMap,
    ops::Range,
    sync::{Mutex, PoisonError},
};

use cowpath_store::Told;
use jiff::Timestamp;

use super::farm::Barn;

/// What was told of by the ends of its span.
type BySpan = BTreeMap<(Timestamp, Timestamp), Vec<Told>>;

/// What each span told of, as the rows stood after the last reading of logs: that reading's mark, and the spans.
#[derive(Default)]
pub struct Tellings(Mutex<(u64, BySpan)>);

/// Spans kept: some years of days.
const MOST: usize = 2000;

impl Tellings {
    /// What a span told of.
    pub fn of(&self, barn: &Barn, span: Range<Timestamp>) -> anyhow::Result<Vec<Told>> {
        // Looked at first: should rows come in now, what is kept below is thrown away by whoever asks next.
        let last_batch = barn.store.last_batch()?;
        let key = (span.start, span.end);
        {
            let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            if kept.0 != last_batch || MOST < kept.1.len() {
                *kept = (last_batch, BTreeMap::new());
            }
            if let Some(told) = kept.1.get(&key) {
                return Ok(told.clone());
            }
        }
        let told = barn.store.outcomes_told(span)?;
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.0 == last_batch {
            kept.1.insert(key, told.clone());
        }
        Ok(told)
    }
}
