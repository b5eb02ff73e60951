//! Who reckons the plans that pages ask for: one plan at a time, the others in a line that says so.
//!
//! A plan takes every processor but one, so that pages and readings go on. Whoever closes its page lets its plan go,
//! whether it waits or runs; all are let go first when the server is told to stop.

use std::{
    collections::VecDeque,
    sync::{
        Arc, Condvar, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::Duration,
};

use crate::clock::Stopwatch;

/// Plans that may run or wait at once; others are told to come again.
pub const MOST_PLANS: usize = 32;
/// How often a plan that waits looks whether it is still wanted.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// The line of plans.
#[derive(Clone, Default)]
pub struct Desk(Arc<Inner>);

#[derive(Default)]
struct Inner {
    line: Mutex<Line>,
    moved: Condvar,
    stopping: AtomicBool,
}

#[derive(Default)]
struct Line {
    next: u64,
    /// Tickets, the first of them at work.
    tickets: VecDeque<(u64, Arc<AtomicBool>)>,
}

/// A place in the line; given back when it goes.
pub struct Place {
    desk: Desk,
    ticket: u64,
    /// Set where the plan is no longer wanted.
    pub cancelled: Arc<AtomicBool>,
}

impl Drop for Place {
    fn drop(&mut self) {
        self.desk.line().tickets.retain(|(ticket, _)| *ticket != self.ticket);
        self.desk.0.moved.notify_all();
    }
}

impl Desk {
    fn line(&self) -> MutexGuard<'_, Line> {
        // A list of numbers; a thread that failed left it whole.
        self.0.line.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Lets every plan go, for good.
    pub fn stop(&self) {
        self.0.stopping.store(true, Ordering::Relaxed);
        self.line().tickets.iter().for_each(|(_, cancelled)| cancelled.store(true, Ordering::Relaxed));
        self.0.moved.notify_all();
    }

    fn is_stopping(&self) -> bool {
        self.0.stopping.load(Ordering::Relaxed)
    }

    /// Plans at work and waiting.
    #[cfg(test)]
    pub fn plans(&self) -> usize {
        self.line().tickets.len()
    }

    /// A place at the end of the line; `None` where it is full.
    pub fn queue(&self) -> Option<Place> {
        let mut line = self.line();
        if MOST_PLANS <= line.tickets.len() || self.is_stopping() {
            return None;
        }
        line.next += 1;
        let ticket = line.next;
        let cancelled = Arc::new(AtomicBool::new(false));
        line.tickets.push_back((ticket, Arc::clone(&cancelled)));
        Some(Place { desk: self.clone(), ticket, cancelled })
    }
}

impl Place {
    /// Waits for its turn; `told` hears how many are ahead, whenever that changes. `false` where it is no longer wanted, or
    /// `most` has passed.
    pub fn wait(&self, most: Option<Duration>, told: &mut dyn FnMut(usize)) -> bool {
        let waited = Stopwatch::start();
        let mut known = None;
        let mut line = self.desk.line();
        loop {
            if self.cancelled.load(Ordering::Relaxed)
                || self.desk.is_stopping()
                || most.is_some_and(|most| most < waited.elapsed())
            {
                return false;
            }
            let Some(ahead) = line.tickets.iter().position(|(ticket, _)| *ticket == self.ticket) else {
                return false;
            };
            if ahead == 0 {
                return true;
            }
            if known != Some(ahead) {
                known = Some(ahead);
                drop(line);
                told(ahead);
                line = self.desk.line();
                continue;
            }
            line = self.desk.0.moved.wait_timeout(line, LOOK_EVERY).unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

/// Threads of a plan: all processors but one.
pub fn threads() -> usize {
    thread::available_parallelism().map_or(1, usize::from).saturating_sub(1).max(1)
}
