//! Visits read on a thread of their own, so that reading and reckoning take two processors.
//!
//! The thread opens its own connection and holds the file still. Where rows have come in since the questions before this
//! one were asked, herd numbers may have moved: it says so, and nothing is handed on.

use std::{
    ops::{ControlFlow, Range},
    sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel},
    thread,
};

use cowpath_core::tables::Visit;
use cowpath_store::Farm;
use jiff::{SignedDuration, Timestamp};

use super::{cast::Cast, farm::Barn};

/// Shorter spans are read where they are asked for: a second connection would cost more than it saves.
pub const WORTH_A_THREAD: SignedDuration = SignedDuration::from_hours(14 * 24);
/// Visits in one bundle.
const BUNDLE: usize = 256;
/// Bundles on their way; with those in hand, about two megabytes.
const BUNDLES: usize = 8;

/// Rows came in while a question was being answered; asked again it is answered.
#[derive(Debug, thiserror::Error)]
#[error("rows were read into the farm while this was being answered; ask again")]
pub struct Moved;

type Bundle = Vec<(u32, Visit)>;

/// Hands on all standing visits that began in a span, in order of start, with the columns of the milk model.
///
/// # Errors
/// [`Moved`] where rows have come in since `cast` was read.
pub fn milkings(
    barn: &Barn,
    cast: &Cast,
    span: Range<Timestamp>,
    each: &mut dyn FnMut(u32, &Visit) -> ControlFlow<()>,
) -> anyhow::Result<()> {
    if span.end.duration_since(span.start) < WORTH_A_THREAD {
        return here(&barn.store, cast, span, each);
    }
    // A farm that can be opened only once is read where it is open.
    let Ok(reader) = barn.store.reader() else { return here(&barn.store, cast, span, each) };
    thread::scope(|scope| {
        let (to_model, bundles) = sync_channel::<Bundle>(BUNDLES);
        let (give_back, emptied) = channel::<Bundle>();
        let reading = scope.spawn(move || read(&reader, cast, span, &to_model, &emptied));
        let ended = hand_on(bundles, &give_back, each);
        match reading.join() {
            // Who is told to stop drops the bundles, and the reader stops too.
            Ok(read) => {
                if ended.is_break() {
                    Ok(())
                } else {
                    read
                }
            }
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

fn hand_on(
    bundles: Receiver<Bundle>,
    give_back: &Sender<Bundle>,
    each: &mut dyn FnMut(u32, &Visit) -> ControlFlow<()>,
) -> ControlFlow<()> {
    for mut bundle in bundles {
        for (number, visit) in &bundle {
            each(*number, visit)?;
        }
        bundle.clear();
        // The reader may have ended; then nobody needs it.
        let _ = give_back.send(bundle);
    }
    ControlFlow::Continue(())
}

fn read(
    reader: &Farm,
    cast: &Cast,
    span: Range<Timestamp>,
    to_model: &SyncSender<Bundle>,
    emptied: &Receiver<Bundle>,
) -> anyhow::Result<()> {
    let mut bundle: Bundle = Vec::with_capacity(BUNDLE);
    here(reader, cast, span, &mut |number, visit| {
        bundle.push((number, *visit));
        if bundle.len() < BUNDLE {
            return ControlFlow::Continue(());
        }
        let fresh = emptied.try_recv().unwrap_or_else(|_| Vec::with_capacity(BUNDLE));
        match to_model.send(std::mem::replace(&mut bundle, fresh)) {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    })?;
    // Nobody listens any more where the model stopped.
    let _ = to_model.send(bundle);
    Ok(())
}

/// Reads on this connection, the file held still between the look at what came last and the last row.
fn here(
    store: &Farm,
    cast: &Cast,
    span: Range<Timestamp>,
    each: &mut dyn FnMut(u32, &Visit) -> ControlFlow<()>,
) -> anyhow::Result<()> {
    let same = store.at_one_state(|store| {
        if store.last_batch()? != cast.last_batch {
            return Ok(false);
        }
        store.milkings(span, &mut |number, visit| each(number, visit))?;
        Ok(true)
    })?;
    if same { Ok(()) } else { Err(Moved.into()) }
}
