//! The herd's parameters, fitted to rows known at a turn of the week, on threads of their own ahead of the roll.
//!
//! A fit takes longer than a week's rows take to roll, so it is begun at one turn and comes into use at the next: the week
//! between is rolled with the parameters before it. Only the first one, with nothing but published figures before it, is
//! waited for. A fit hangs on the rows before its turn and on the fit before it, not on the roll; so one thread counts the
//! milkings of the weeks to come and reads the samples, and another makes one fit after the other. The roll counts too,
//! and its count holds: where the two part, fits made ahead are thrown away. A fit is kept in the store under the time of
//! its rows, and forgotten like any memory when one of them changes.

use std::{
    sync::mpsc::{Receiver, SyncSender, channel, sync_channel},
    thread::Scope,
};

use cowpath_core::expect::{self, Interval, Parameters, SampleMilking};
use jiff::{Timestamp, tz::TimeZone};

use super::{cast::Cast, farm::Barn, memories, model, reading::Moved, sample};

/// Before this many milkings the prior parameters stand.
const FEWEST_MILKINGS: u64 = 400;

/// Which turn of the week comes next, and what was counted by then.
#[derive(Debug, Clone, Copy)]
pub struct Pace {
    /// The next turn.
    pub turn_ms: i64,
    /// Milkings that had ended by the turn before it, or later as far as they are counted.
    pub milkings: u64,
    /// Until when they are, ms.
    pub counted_ms: i64,
    /// Milkings by the turn of the last fit.
    pub fitted_milkings: u64,
    /// Whether one was made.
    pub fitted: bool,
}

impl Pace {
    /// Whether a fit is due at a turn: half as many milkings again have come in since the last one.
    pub fn is_due(&self) -> bool {
        FEWEST_MILKINGS <= self.milkings && self.fitted_milkings + self.fitted_milkings / 2 < self.milkings
    }
}

/// Where the next fit is further off than so many weeks at the last week's pace, counting ahead costs more than the wait it
/// saves: then that fit is begun when the roll comes to it.
const FAR_WEEKS: u64 = 16;
/// Samples on their way to the thread that fits, each about four megabytes.
const SAMPLES: usize = 1;

/// What the parameters of a turn come of.
enum Ground {
    /// The fit that is in the store.
    Kept(Box<Parameters>),
    /// Milkings to fit to.
    Sample(Vec<SampleMilking>),
}

/// A turn, whether it is the last that is looked ahead to, and what its fit comes of.
type Due = (Timestamp, bool, Ground);

impl Ground {
    /// Read from the rows before a turn.
    fn read(barn: &Barn, cast: &Cast, zone: &TimeZone, turn: Timestamp) -> anyhow::Result<Ground> {
        let kept = barn.store.checkpoint_before(turn, &name(zone))?.filter(|(at, _)| *at == turn);
        match kept.and_then(|(_, bytes)| postcard::from_bytes(&bytes).ok()) {
            Some(parameters) => Ok(Ground::Kept(Box::new(parameters))),
            None => Ok(Ground::Sample(sample::before(barn, cast, zone, turn)?)),
        }
    }

    /// The fit, from the parameters in use at its turn; and how sure it is, where it is new to the store.
    fn fit(self, start: &Parameters) -> Fit {
        match self {
            Ground::Kept(parameters) => (*parameters, None),
            Ground::Sample(sample) => {
                let fitted = expect::fit_by_twos(&sample, start, &side_by_side);
                (fitted.parameters, Some(fitted.intervals))
            }
        }
    }
}

/// A fit; its intervals where it is new to the store.
type Fit = (Parameters, Option<Vec<Interval>>);

/// A turn, whether it is the last, and the fit to the rows before it.
type Made = (Timestamp, bool, Fit);

/// What fits are made from, and those made.
pub struct Fits<'scope, 'env> {
    scope: &'scope Scope<'scope, 'env>,
    barn: &'env Barn,
    cast: &'env Cast,
    zone: &'env TimeZone,
    /// The time rolled to: no fit is made that would come into use after it.
    until: Timestamp,
    ahead: Option<Receiver<anyhow::Result<Made>>>,
    /// Fits to keep for the next time: the turn, and the parameters.
    pub made: Vec<(Timestamp, Vec<u8>)>,
    /// Fits the roll had to make itself, one that the other thread did not foresee among them.
    pub late: usize,
}

impl<'scope, 'env> Fits<'scope, 'env> {
    /// None yet.
    pub fn new(
        scope: &'scope Scope<'scope, 'env>,
        barn: &'env Barn,
        cast: &'env Cast,
        zone: &'env TimeZone,
        until: Timestamp,
    ) -> Fits<'scope, 'env> {
        Fits { scope, barn, cast, zone, until, ahead: None, made: Vec::new(), late: 0 }
    }

    /// Makes fits ahead of the roll from a turn on, the first of them at `begun` if one is under way there; `start` are the
    /// parameters in use. Nothing where that is done already.
    pub fn run_ahead(&mut self, pace: Pace, begun: Option<Timestamp>, start: &Parameters) {
        if self.ahead.is_some() {
            return;
        }
        // A farm that can be opened only once is read when a fit is wanted.
        let Ok(barn) = self.barn.reader() else { return };
        let (to_fit, grounds) = sync_channel(SAMPLES);
        let (hand_on, ahead) = channel();
        let (cast, zone, until) = (self.cast, self.zone, self.until);
        self.scope.spawn(move || {
            if let Err(error) = (Weeks { barn: &barn, cast, zone, until }).read(pace, begun, &to_fit) {
                // Nobody listens where the roll has ended.
                let _ = to_fit.send(Err(error));
            }
        });
        let mut start = start.clone();
        self.scope.spawn(move || {
            for ground in grounds {
                let made = ground.map(|(turn, last, ground): Due| (turn, last, ground.fit(&start)));
                if let Ok((_, _, (parameters, _))) = &made {
                    start.clone_from(parameters);
                }
                // Where the roll has ended, reading ahead ends with this too.
                if hand_on.send(made).is_err() {
                    return;
                }
            }
        });
        self.ahead = Some(ahead);
    }

    /// The fit to the rows before a turn: kept, made ahead, or made now.
    pub fn fitted(&mut self, turn: Timestamp, start: &Parameters) -> anyhow::Result<Parameters> {
        let ahead = self.ahead.take();
        let (parameters, new) = match ahead.as_ref().map(Receiver::recv) {
            Some(Ok(Ok((of, last, made)))) if of == turn => {
                self.ahead = ahead.filter(|_| !last);
                made
            }
            // Where rows came in meanwhile, this connection still holds the file as it was.
            Some(Ok(Err(error))) if !error.is::<Moved>() => return Err(error),
            _ => {
                drop(ahead);
                self.late += 1;
                Ground::read(self.barn, self.cast, self.zone, turn)?.fit(start)
            }
        };
        if let Some(intervals) = new {
            // One after the other: whoever wants the parameters alone reads no further.
            self.made.push((turn, postcard::to_stdvec(&(&parameters, &intervals))?));
        }
        Ok(parameters)
    }
}

/// The weeks before the roll, read through for the turns at which fits are due.
struct Weeks<'a> {
    barn: &'a Barn,
    cast: &'a Cast,
    zone: &'a TimeZone,
    until: Timestamp,
}

impl Weeks<'_> {
    fn read(
        &self,
        mut pace: Pace,
        begun: Option<Timestamp>,
        to_fit: &SyncSender<anyhow::Result<Due>>,
    ) -> anyhow::Result<()> {
        let _held = self.barn.store.hold()?;
        if self.barn.store.last_batch()? != self.cast.last_batch {
            return Err(Moved.into());
        }
        let ended = |from_ms: i64, turn_ms: i64| -> anyhow::Result<u64> {
            let (from, turn) = (Timestamp::from_millisecond(from_ms)?, Timestamp::from_millisecond(turn_ms)?);
            Ok(self.barn.store.milkings_ended(from, turn)?)
        };
        let week_ended = |turn_ms: i64| ended(turn_ms - model::WEEK_MS, turn_ms);
        // Whether anything more is to be looked ahead to.
        let fit = |turn: Timestamp, fitted_milkings: u64, week: u64| -> anyhow::Result<bool> {
            let last = FAR_WEEKS * week < fitted_milkings / 2;
            let ground = Ground::read(self.barn, self.cast, self.zone, turn)?;
            Ok(to_fit.send(Ok((turn, last, ground))).is_ok() && !last)
        };
        if let Some(turn) = begun
            && !fit(turn, pace.fitted_milkings, week_ended(turn.as_millisecond())?)?
        {
            return Ok(());
        }
        loop {
            let in_use_ms = if pace.fitted { pace.turn_ms + model::WEEK_MS } else { pace.turn_ms };
            if self.until.as_millisecond() < in_use_ms {
                return Ok(());
            }
            let week = week_ended(pace.turn_ms)?;
            let counted = pace.turn_ms - model::WEEK_MS < pace.counted_ms;
            pace.milkings += if counted { ended(pace.counted_ms, pace.turn_ms)? } else { week };
            if pace.is_due() {
                if !fit(Timestamp::from_millisecond(pace.turn_ms)?, pace.milkings, week)? {
                    return Ok(());
                }
                (pace.fitted, pace.fitted_milkings) = (true, pace.milkings);
            }
            pace.turn_ms += model::WEEK_MS;
        }
    }
}

/// Two runs of a fit on two threads: the roll waits for a herd's first fits, and a processor is idle then.
fn side_by_side(one: &(dyn Fn() -> f64 + Sync), other: &(dyn Fn() -> f64 + Sync)) -> (f64, f64) {
    std::thread::scope(|scope| {
        let one = scope.spawn(one);
        let other = other();
        match one.join() {
            Ok(one) => (one, other),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// The name fits are kept under.
pub fn name(zone: &TimeZone) -> String {
    format!("{}, fit", memories::name(zone))
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
