//! Questions asked side by side, each on a connection and a thread of its own.
//!
//! There may be more of them than processors: the system shares these out, so that none is idle while another question is
//! half asked. No answer hangs on which thread was faster.

use std::{
    sync::{Mutex, PoisonError},
    thread::{self, Scope, ScopedJoinHandle},
};

use super::farm::Barn;

/// A question that is being asked.
pub struct Beside<'scope, T>(Option<ScopedJoinHandle<'scope, anyhow::Result<Option<T>>>>);

/// Asks a question beside others. It is not asked where rows have come in since the reading of logs `last_batch`, nor on a farm
/// that can be opened only once.
pub fn ask<'scope, T: Send + 'scope>(
    scope: &'scope Scope<'scope, '_>,
    barn: &Barn,
    last_batch: u64,
    question: impl FnOnce(&Barn) -> anyhow::Result<T> + Send + 'scope,
) -> Beside<'scope, T> {
    Beside(barn.reader().ok().map(|reader| {
        scope.spawn(move || {
            let _held = reader.store.hold()?;
            if reader.store.last_batch()? != last_batch {
                return Ok(None);
            }
            question(&reader).map(Some)
        })
    }))
}

impl<T> Beside<'_, T> {
    /// Its answer; where it was not asked, that of `here`, which asks where the file is held still.
    pub fn or(self, here: impl FnOnce() -> anyhow::Result<T>) -> anyhow::Result<T> {
        let answer = match self.0.map(ScopedJoinHandle::join) {
            Some(Ok(answer)) => answer?,
            Some(Err(panic)) => std::panic::resume_unwind(panic),
            None => None,
        };
        answer.map_or_else(here, Ok)
    }
}

/// Reckons each of some tasks on two threads that take turns, so that neither ends long before the other. The answers come in no
/// order.
pub fn in_turns<T: Send, U: Send>(tasks: Vec<T>, reckon: impl Fn(T) -> U + Sync) -> Vec<U> {
    let left = Mutex::new(tasks);
    // The lock is let go before a turn is taken.
    let next = || left.lock().unwrap_or_else(PoisonError::into_inner).pop();
    let turns = || std::iter::from_fn(next).map(&reckon).collect::<Vec<U>>();
    thread::scope(|scope| {
        let beside = scope.spawn(turns);
        let mut done = turns();
        match beside.join() {
            Ok(others) => done.extend(others),
            Err(panic) => std::panic::resume_unwind(panic),
        }
        done
    })
}
