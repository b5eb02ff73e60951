//! The herd's parameters, fitted to rows known at a turn of the week, on a thread of their own beside the roll.
//!
//! A fit takes longer than a week's rows take to roll, so it is begun at one turn and comes into use at the next: the week
//! between is rolled with the parameters before it. Only the first one, with nothing but published figures before it, is
//! waited for. A fit is kept in the store under the time of its rows, and forgotten like any memory when one of them changes.

use std::thread::{Scope, ScopedJoinHandle};

use cowpath_core::expect::{self, Fitted, Parameters};
use jiff::{Timestamp, tz::TimeZone};

use super::{cast::Cast, farm::Barn, model, reading::Moved, sample};

/// What fits are made from, and those made.
pub struct Fits<'scope, 'env> {
    scope: &'scope Scope<'scope, 'env>,
    barn: &'env Barn,
    cast: &'env Cast,
    zone: &'env TimeZone,
    under_way: Option<(Timestamp, ScopedJoinHandle<'scope, anyhow::Result<Fitted>>)>,
    /// Fits to keep for the next time: the turn, and the parameters.
    pub made: Vec<(Timestamp, Vec<u8>)>,
}

impl<'scope, 'env> Fits<'scope, 'env> {
    /// None yet.
    pub fn new(
        scope: &'scope Scope<'scope, 'env>,
        barn: &'env Barn,
        cast: &'env Cast,
        zone: &'env TimeZone,
    ) -> Fits<'scope, 'env> {
        Fits { scope, barn, cast, zone, under_way: None, made: Vec::new() }
    }

    /// Begins a fit to the rows before a turn, from the parameters in use then.
    pub fn begin(&mut self, turn: Timestamp, start: &Parameters) -> anyhow::Result<()> {
        if self.kept(turn)?.is_some() {
            return Ok(());
        }
        // A farm that can be opened only once is read when the fit is wanted.
        let Ok(reader) = self.barn.reader() else { return Ok(()) };
        let (cast, zone, start) = (self.cast, self.zone, start.clone());
        let fit = self.scope.spawn(move || {
            let _held = reader.store.hold()?;
            if reader.store.last_batch()? != cast.last_batch {
                return Err(Moved.into());
            }
            Ok(expect::fit(&sample::before(&reader, cast, zone, turn)?, &start))
        });
        self.under_way = Some((turn, fit));
        Ok(())
    }

    /// The fit to the rows before a turn: kept, begun before, or made now.
    pub fn fitted(&mut self, turn: Timestamp, start: &Parameters) -> anyhow::Result<Parameters> {
        if let Some(kept) = self.kept(turn)? {
            return Ok(kept);
        }
        let begun = self.under_way.take().filter(|(own, _)| *own == turn).map(|(_, fit)| match fit.join() {
            Ok(fitted) => fitted,
            Err(panic) => std::panic::resume_unwind(panic),
        });
        let fitted = match begun {
            Some(Ok(fitted)) => fitted,
            // Where rows came in meanwhile, this connection still holds the file as it was.
            Some(Err(error)) if !error.is::<Moved>() => return Err(error),
            _ => expect::fit(&sample::before(self.barn, self.cast, self.zone, turn)?, start),
        };
        // One after the other: whoever wants the parameters alone reads no further.
        self.made.push((turn, postcard::to_stdvec(&(&fitted.parameters, &fitted.intervals))?));
        Ok(fitted.parameters)
    }

    fn kept(&self, turn: Timestamp) -> anyhow::Result<Option<Parameters>> {
        let kept = self.barn.store.checkpoint_before(turn, &name(self.zone))?;
        Ok(kept.filter(|(at, _)| *at == turn).and_then(|(_, bytes)| postcard::from_bytes(&bytes).ok()))
    }
}

/// The name fits are kept under.
pub fn name(zone: &TimeZone) -> String {
    format!("{}, fit", model::model_name(zone))
}

/// An interval as it is kept: name, value, lower and upper 95 % end, unit.
pub type KeptInterval = (String, f64, f64, f64, String);

/// The intervals of the newest fit kept by a time, and the turn to which rows were known. They are `None` where the fit
/// was kept before they were.
pub fn newest(
    barn: &Barn,
    zone: &TimeZone,
    at: Timestamp,
) -> anyhow::Result<Option<(Timestamp, Option<Vec<KeptInterval>>)>> {
    let Some((turn, bytes)) = barn.store.checkpoint_before(at, &name(zone))? else { return Ok(None) };
    let Ok((_, rest)) = postcard::take_from_bytes::<Parameters>(&bytes) else { return Ok(None) };
    Ok(Some((turn, postcard::from_bytes(rest).ok())))
}
