//! The herd's parameters, fitted to rows known at a turn of the week, on a thread of their own ahead of the roll.
//!
//! A fit takes longer than a week's rows take to roll, so it is begun at one turn and comes into use at the next: the week
//! between is rolled with the parameters before it. Only the first one, with nothing but published figures before it, is
//! waited for. A fit hangs on the rows before its turn and on the fit before it, not on the roll; so the second thread
//! counts the milkings of the weeks to come, and makes one fit after the other. The roll counts too, and its count holds:
//! where the two part, fits made ahead are thrown away. A fit is kept in the store under the time of its rows, and
//! forgotten like any memory when one of them changes.

use std::{
    sync::mpsc::{Receiver, Sender, channel},
    thread::Scope,
};

use cowpath_core::expect::{self, Parameters};
use jiff::{Timestamp, tz::TimeZone};

use super::{cast::Cast, farm::Barn, model, reading::Moved, sample};

/// Before this many milkings the prior parameters stand.
const FEWEST_MILKINGS: u64 = 400;

/// Which turn of the week comes next, and what was counted by then.
#[derive(Debug, Clone, Copy)]
pub struct Pace {
    /// The next turn.
    pub turn_ms: i64,
    /// Milkings that had ended by the turn before it.
    pub milkings: u64,
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

/// A fit, the turn its rows end at, and whether it was in the store already.
struct Made {
    turn: Timestamp,
    parameters: Parameters,
    kept: bool,
}

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
        let (hand_on, ahead) = channel();
        let mut start = start.clone();
        let (cast, zone, until) = (self.cast, self.zone, self.until);
        self.scope.spawn(move || {
            let chain = Chain { barn: &barn, cast, zone, until };
            if let Err(error) = chain.run(pace, begun, &mut start, &hand_on) {
                // Nobody listens where the roll has ended.
                let _ = hand_on.send(Err(error));
            }
        });
        self.ahead = Some(ahead);
    }

    /// The fit to the rows before a turn: kept, made ahead, or made now.
    pub fn fitted(&mut self, turn: Timestamp, start: &Parameters) -> anyhow::Result<Parameters> {
        let ahead = self.ahead.take();
        let made = match ahead.as_ref().map(Receiver::recv) {
            Some(Ok(Ok(made))) if made.turn == turn => {
                self.ahead = ahead;
                made
            }
            // Where rows came in meanwhile, this connection still holds the file as it was.
            Some(Ok(Err(error))) if !error.is::<Moved>() => return Err(error),
            _ => {
                self.late += 1;
                drop(ahead);
                made(self.barn, self.cast, self.zone, turn, start)?
            }
        };
        if !made.kept {
            self.made.push((turn, postcard::to_stdvec(&made.parameters)?));
        }
        Ok(made.parameters)
    }
}

/// The fits of a span of weeks, one after the other.
struct Chain<'a> {
    barn: &'a Barn,
    cast: &'a Cast,
    zone: &'a TimeZone,
    until: Timestamp,
}

impl Chain<'_> {
    fn run(
        &self,
        mut pace: Pace,
        begun: Option<Timestamp>,
        parameters: &mut Parameters,
        hand_on: &Sender<anyhow::Result<Made>>,
    ) -> anyhow::Result<()> {
        let _held = self.barn.store.hold()?;
        if self.barn.store.last_batch()? != self.cast.last_batch {
            return Err(Moved.into());
        }
        let mut fit = |turn: Timestamp| -> anyhow::Result<bool> {
            let made = made(self.barn, self.cast, self.zone, turn, parameters)?;
            parameters.clone_from(&made.parameters);
            Ok(hand_on.send(Ok(made)).is_ok())
        };
        if let Some(turn) = begun
            && !fit(turn)?
        {
            return Ok(());
        }
        loop {
            let in_use_ms = if pace.fitted { pace.turn_ms + model::WEEK_MS } else { pace.turn_ms };
            if self.until.as_millisecond() < in_use_ms {
                return Ok(());
            }
            let turn = Timestamp::from_millisecond(pace.turn_ms)?;
            let before = Timestamp::from_millisecond(pace.turn_ms - model::WEEK_MS)?;
            pace.milkings += self.barn.store.milkings_ended(before, turn)?;
            if pace.is_due() {
                if !fit(turn)? {
                    return Ok(());
                }
                (pace.fitted, pace.fitted_milkings) = (true, pace.milkings);
            }
            pace.turn_ms += model::WEEK_MS;
        }
    }
}

/// The fit to the rows before a turn, from the parameters in use then; the one in the store if it is there.
fn made(
    barn: &Barn,
    cast: &Cast,
    zone: &TimeZone,
    turn: Timestamp,
    start: &Parameters,
) -> anyhow::Result<Made> {
    let kept = barn.store.checkpoint_before(turn, &name(zone))?;
    let kept = kept.filter(|(at, _)| *at == turn).and_then(|(_, bytes)| postcard::from_bytes(&bytes).ok());
    if let Some(parameters) = kept {
        return Ok(Made { turn, parameters, kept: true });
    }
    let parameters = expect::fit(&sample::before(barn, cast, zone, turn)?, start).parameters;
    Ok(Made { turn, parameters, kept: false })
}

/// The name fits are kept under.
pub fn name(zone: &TimeZone) -> String {
    format!("{}, fit", model::model_name(zone))
}
