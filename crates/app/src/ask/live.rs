//! Answers for pages: the newest view is kept ready, and made anew when the farm's file has changed.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use cowpath_core::units::UnitSystem;
use jiff::{Timestamp, civil::Date};

use super::{
    cow::Cow,
    cowing::{self, Span},
    farm::{self, Barn, Ways},
    model,
    round::Round,
    rounding,
    view::{self, View},
};
use crate::clock;

/// Past times whose answer is kept at hand.
const PAST_VIEWS: usize = 4;

/// A view with its round.
pub struct Seen {
    /// `None` while the farm has no rows.
    pub view: Option<View>,
    /// Its round.
    pub round: Arc<Round>,
}

/// One farm, answering.
pub struct Live {
    /// The one connection that answers and keeps memories; each answer takes milliseconds.
    barn: Mutex<Barn>,
    newest: Mutex<Option<(u64, Arc<Seen>)>>,
    past: Mutex<Vec<(u64, Timestamp, Arc<Seen>)>>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What is guarded is only ever replaced whole, so a thread that failed left nothing half done.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Live {
    /// Answers for a farm.
    pub fn new(barn: Barn) -> anyhow::Result<Live> {
        Ok(Live { barn: Mutex::new(barn), newest: Mutex::new(None), past: Mutex::new(Vec::new()) })
    }

    /// Makes the newest view ready.
    pub fn warm(&self) {
        // What goes wrong here goes wrong again when a page asks, and is said there.
        let _ = self.seen(None);
    }

    /// The view and round at a time; without one, at the newest row.
    pub fn seen(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<Seen>> {
        let barn = locked(&self.barn);
        let mark = barn.store.change_mark()?;
        match at {
            None => {
                if let Some((made_at, seen)) = locked(&self.newest).as_ref()
                    && *made_at == mark
                {
                    return Ok(Arc::clone(seen));
                }
            }
            Some(at) => {
                if let Some((_, _, seen)) =
                    locked(&self.past).iter().find(|(made, when, _)| (*made, *when) == (mark, at))
                {
                    return Ok(Arc::clone(seen));
                }
            }
        }
        let seen = Arc::new(look(barn, at)?);
        // Keeping memories has changed the file too; that change is our own.
        let mark = locked(&self.barn).store.change_mark()?;
        match at {
            None => *locked(&self.newest) = Some((mark, Arc::clone(&seen))),
            Some(at) => {
                let mut past = locked(&self.past);
                past.retain(|(made, when, _)| *made == mark && *when != at);
                if PAST_VIEWS <= past.len() {
                    past.remove(0);
                }
                past.push((mark, at, Arc::clone(&seen)));
            }
        }
        Ok(seen)
    }

    /// One cow, in metric or the farm's units; `instance` tells which, where a number was used again.
    pub fn cow(
        &self,
        animal: &str,
        instance: Option<u32>,
        from: Option<Date>,
        to: Option<Date>,
        at: Option<Timestamp>,
        metric: bool,
    ) -> anyhow::Result<Option<Cow>> {
        let seen = self.seen(at)?;
        let Some(view) = &seen.view else { return Ok(None) };
        let units = if metric { UnitSystem::Metric } else { view.ways.units };
        cowing::cow(&locked(&self.barn), view, &seen.round, animal, instance, Span { from, to }, units)
    }

    /// The farm's settings.
    pub fn ways(&self) -> anyhow::Result<Ways> {
        locked(&self.barn).ways()
    }

    /// A time as a person types it, in the farm's zone.
    pub fn time(&self, words: &str) -> anyhow::Result<Timestamp> {
        farm::time(words, &self.ways()?.zone)
    }
}

fn look(mut barn: MutexGuard<'_, Barn>, at: Option<Timestamp>) -> anyhow::Result<Seen> {
    match view::at(&barn, at)? {
        Some(view) => {
            let round = Arc::new(rounding::of_view(&barn, &view)?);
            // A farm that may only be read is shown all the same.
            let _ = model::keep_memories(&mut barn, &view.ways.zone, &view.rolled);
            Ok(Seen { view: Some(view), round })
        }
        None => Ok(Seen { view: None, round: Arc::new(rounding::round(&barn, at, clock::now())?) }),
    }
}
