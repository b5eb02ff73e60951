//! What is made ready before a page asks: the newest view whenever logs have been read, then what takes longer.

use std::{
    sync::{Arc, PoisonError},
    thread,
    time::Duration,
};

use super::{
    history::History,
    live::{Live, locked},
};
use crate::clock;

/// How often it is looked whether logs have been read; those this program reads itself are seen at once.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// A history is made anew only after so many times what the last one took: logs that come in every few seconds must
/// not keep a processor busy.
const REST_TIMES: u32 = 10;

impl Live {
    /// Makes the newest view ready, and again whenever logs have been read, as long as anybody else holds the farm.
    pub fn keep_ready(live: &Arc<Live>) {
        let live = Arc::downgrade(live);
        thread::spawn(move || {
            let mut since = clock::Stopwatch::start();
            let mut rest = Duration::ZERO;
            while let Some(live) = live.upgrade() {
                // What goes wrong here goes wrong again when a page asks, and is said there.
                let _ = live.seen(None);
                if rest <= since.elapsed() {
                    rest = live.warm() * REST_TIMES;
                    since = clock::Stopwatch::start();
                }
                live.rest();
            }
        });
    }

    /// Tells the thread that keeps views ready that there is something new.
    pub(super) fn nudge(&self) {
        *locked(&self.nudged.0) = true;
        self.nudged.1.notify_all();
    }

    /// Waits for the next look, or for a nudge.
    fn rest(&self) {
        let nudged = locked(&self.nudged.0);
        // A thread that failed while it nudged left nothing half done.
        let (mut nudged, _) = self
            .nudged
            .1
            .wait_timeout_while(nudged, LOOK_EVERY, |nudged| !*nudged)
            .unwrap_or_else(PoisonError::into_inner);
        *nudged = false;
    }

    /// Makes the newest view, its history, the pens, and what stands on Records ready, if they are not; how long that took.
    pub fn warm(&self) -> Duration {
        let stopwatch = clock::Stopwatch::start();
        let Ok(seen) = self.seen(None) else { return Duration::ZERO };
        if let Some(view) = &seen.view
            && locked(&self.history).as_ref().is_none_or(|own| own.last_batch != view.cast.last_batch)
        {
            let history = self.ask(|barn| History::read(barn, view));
            *locked(&self.history) = history.ok().map(Arc::new);
            let _ = (self.standing(), self.warm_minutes(), self.plan_ground());
            return stopwatch.elapsed();
        }
        Duration::ZERO
    }
}
