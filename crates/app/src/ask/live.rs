//! Answers for pages: the newest view is kept ready, and made anew when logs have been read.
//!
//! Every question takes a connection of its own, so that a slow one keeps no quick one waiting. One connection writes:
//! it keeps the model's memories.

use std::{
    hash::{DefaultHasher, Hash, Hasher},
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError, TryLockError},
};

use cowpath_core::units::UnitSystem;
use jiff::{Timestamp, civil::Date};

use super::{
    answered::{self, Told},
    box_day, box_judging,
    boxes::{AskedBoxes, Boxes},
    contradictions,
    cow::Cow,
    cowing::{self, Span},
    farm::{self, Barn, Ways},
    fitted::{self, Fit},
    found::{self, Given},
    ground::{Ground, Judging, Mark},
    history::History,
    inbox::Watched,
    reading::Moved,
    record::{self, Record},
    round::{Answer, Round},
    rounding,
    silence::{self, Silent},
    stuck,
    tellings::Tellings,
    view::{self, View},
};
use crate::clock;

/// Past times whose answer is kept at hand.
const PAST_VIEWS: usize = 4;
/// Connections kept open for the next question.
const IDLE_READERS: usize = 8;
/// How often a question is asked again when logs come in while it is answered.
const TRIES: usize = 3;

/// A view with its round.
pub struct Seen {
    /// `None` while the farm has no rows.
    pub view: Option<View>,
    /// Its round.
    pub round: Arc<Round>,
}

/// A view, the mark of the answers joined to its round, and that round.
type Joined = (Arc<Seen>, (i64, i64), Arc<Round>);

/// One farm, answering.
pub struct Live {
    /// The one connection that writes memories.
    pub(super) keeper: Mutex<Barn>,
    /// The one that writes rows and settings, once there is anything to write.
    pub(super) writer: Mutex<Option<Barn>>,
    /// What counts as now, where it was named.
    pub(super) fixed_now: Option<Timestamp>,
    /// How the inbox stands, where one is watched.
    pub(super) inbox: Mutex<Option<Watched>>,
    silent: Mutex<Option<(Ground, Vec<Silent>)>>,
    /// Something new was read.
    pub(super) nudged: (Mutex<bool>, Condvar),
    idle: Mutex<Vec<Barn>>,
    newest: Mutex<Option<(Ground, Arc<Seen>)>>,
    /// Held by whoever makes the newest view, so that it is made once.
    making: Mutex<()>,
    past: Mutex<Vec<(Ground, Timestamp, Arc<Seen>)>>,
    /// Rounds with what was found, by the round and the mark of the answers.
    told: Mutex<Vec<Joined>>,
    /// What was learned, by what it rests on.
    pub(super) learned: Mutex<Option<(Mark, Judging)>>,
    /// Lists of whom to bring in.
    pub(super) brings: Mutex<Vec<super::bring_live::Kept>>,
    /// Ledgers and best uses of box minutes.
    pub(super) minutes: super::minute_live::Kept,
    /// What plans start from, by what it rests on.
    pub(super) pens: Mutex<Option<super::plan_live::Kept>>,
    /// Milkings of all cows, for long spans of the Cow page.
    pub(super) history: Mutex<Option<Arc<History>>>,
    tellings: Tellings,
}

/// Signals that stopped coming, and what was fitted.
pub type Standing = (Vec<Silent>, Option<Fit>, Vec<String>);

pub(super) fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What is guarded is only ever replaced whole, so a thread that failed left nothing half done.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Live {
    /// Answers for a farm.
    pub fn new(barn: Barn) -> anyhow::Result<Live> {
        Ok(Live {
            keeper: Mutex::new(barn),
            writer: Mutex::default(),
            fixed_now: None,
            inbox: Mutex::default(),
            silent: Mutex::default(),
            nudged: Default::default(),
            idle: Mutex::default(),
            newest: Mutex::default(),
            making: Mutex::default(),
            past: Mutex::default(),
            told: Mutex::default(),
            learned: Mutex::default(),
            brings: Mutex::default(),
            minutes: Default::default(),
            pens: Mutex::default(),
            history: Mutex::default(),
            tellings: Tellings::default(),
        })
    }

    /// Takes a time for now, where one was named.
    pub fn with_now(self, now: Option<Timestamp>) -> Live {
        Live { fixed_now: now, ..self }
    }

    /// Signals that had stopped coming by the newest row, and what was fitted by then.
    pub(super) fn standing(&self) -> anyhow::Result<Standing> {
        self.ask(|barn| {
            let ground = self.ground(barn)?;
            let seen = self.newest(barn)?;
            let Some(view) = &seen.view else { return Ok(Standing::default()) };
            // A fit is kept a little after its view is ready: it is looked for each time.
            let fit = fitted::newest(barn, &view.ways.zone, view.at)?;
            let ready =
                locked(&self.silent).as_ref().filter(|(own, _)| *own == ground).map(|(_, own)| own.clone());
            let silent = match ready {
                Some(silent) => silent,
                None => {
                    let mut silent = silence::stopped(barn, &view.cast, &view.ways.zone, view.at)?;
                    silent.extend(stuck::told(view));
                    silent.extend(box_judging::clock_told(barn, view)?);
                    silent
                }
            };
            *locked(&self.silent) = Some((ground, silent.clone()));
            let contradictions = contradictions::all(barn, view)?;
            Ok((silent, fit, contradictions.into_iter().map(|(_, sentence)| sentence).collect()))
        })
    }

    /// The view and round at a time; without one, at the newest row.
    pub fn seen(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<Seen>> {
        self.ask(|barn| self.looked(barn, at))
    }

    /// The round at a time with what was found; without a time, the newest.
    pub fn round(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<Round>> {
        self.ask(|barn| {
            let seen = self.looked(barn, at)?;
            self.told(barn, &seen, at)
        })
    }

    pub(super) fn looked(&self, barn: &Barn, at: Option<Timestamp>) -> anyhow::Result<Arc<Seen>> {
        match at {
            None => self.newest(barn),
            Some(at) => self.at(barn, at),
        }
    }

    /// Joined anew only when somebody has answered.
    fn told(&self, barn: &Barn, seen: &Arc<Seen>, asked: Option<Timestamp>) -> anyhow::Result<Arc<Round>> {
        let Some(view) = &seen.view else { return Ok(Arc::clone(&seen.round)) };
        let mark = barn.store.found_mark()?;
        let known =
            locked(&self.told).iter().find(|(own, then, _)| Arc::ptr_eq(own, seen) && *then == mark).cloned();
        if let Some((_, _, round)) = known {
            return Ok(round);
        }
        let told = Told::read(&barn.store, view.at, asked)?;
        let (at, zone) = (view.at, &view.ways.zone);
        let round = answered::joined((*seen.round).clone(), &told, at, zone);
        let round = Arc::new(answered::with_past(round, &barn.store, &told, at, zone)?);
        let mut all = locked(&self.told);
        all.retain(|(own, ..)| !Arc::ptr_eq(own, seen));
        if PAST_VIEWS < all.len() {
            all.remove(0);
        }
        all.push((Arc::clone(seen), mark, Arc::clone(&round)));
        Ok(round)
    }

    /// Takes an answer to a call.
    pub fn give(&self, given: &Given) -> anyhow::Result<Answer> {
        let newest = self.seen(None)?;
        found::give(&mut locked(&self.keeper), &newest.round, given, clock::now())
    }

    /// Takes an answer back.
    pub fn take_back(&self, id: i64, by: Option<&str>) -> anyhow::Result<()> {
        found::take_back(&mut locked(&self.keeper), id, clock::now(), by)
    }

    /// How often the calls were right.
    pub fn record(&self) -> anyhow::Result<Record> {
        self.ask(|barn| record::record(&barn.store, Timestamp::MAX, clock::now(), &barn.ways()?.zone))
    }

    fn newest(&self, barn: &Barn) -> anyhow::Result<Arc<Seen>> {
        let ready = |ground: &Ground| {
            locked(&self.newest).as_ref().filter(|(own, _)| own == ground).map(|(_, seen)| Arc::clone(seen))
        };
        if let Some(seen) = ready(&self.ground(barn)?) {
            return Ok(seen);
        }
        let making = locked(&self.making);
        let ground = self.ground(barn)?;
        if let Some(seen) = ready(&ground) {
            return Ok(seen);
        }
        let seen = Arc::new(look(barn, None)?);
        *locked(&self.newest) = Some((ground, Arc::clone(&seen)));
        drop(making);
        self.keep(&seen);
        Ok(seen)
    }

    fn at(&self, barn: &Barn, at: Timestamp) -> anyhow::Result<Arc<Seen>> {
        let ground = self.ground(barn)?;
        if let Some((_, _, seen)) =
            locked(&self.past).iter().find(|(own, when, _)| *own == ground && *when == at)
        {
            return Ok(Arc::clone(seen));
        }
        let seen = Arc::new(look(barn, Some(at))?);
        let mut past = locked(&self.past);
        past.retain(|(own, when, _)| *own == ground && *when != at);
        if PAST_VIEWS <= past.len() {
            past.remove(0);
        }
        past.push((ground, at, Arc::clone(&seen)));
        Ok(seen)
    }

    /// Keeps memories for the next time, if nobody else is writing them.
    fn keep(&self, seen: &Seen) {
        let Some(view) = &seen.view else { return };
        let mut keeper = match self.keeper.try_lock() {
            Ok(keeper) => keeper,
            Err(TryLockError::Poisoned(poisoned)) => poisoned.into_inner(),
            Err(TryLockError::WouldBlock) => return,
        };
        // A farm that is being written is shown all the same.
        let _ = view.keep(&mut keeper);
        let _ = found::keep_shown(&mut keeper.store, view.at, true, &seen.round);
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
        self.ask(|barn| {
            let seen = self.looked(barn, at)?;
            let round = self.told(barn, &seen, at)?;
            let Some(view) = &seen.view else { return Ok(None) };
            let history = locked(&self.history).clone();
            let units = if metric { UnitSystem::Metric } else { view.ways.units };
            let cow = cowing::cow(
                barn,
                view,
                history.as_deref(),
                &round,
                animal,
                instance,
                Span { from, to },
                units,
            )?;
            let Some(mut cow) = cow else { return Ok(None) };
            let told = Told::read(&barn.store, view.at, at)?;
            let ids: Vec<String> = cow.calls.iter().map(|call| call.id.clone()).collect();
            cow.past = answered::past(&barn.store, &told, &cow.animal, &ids, view.at, &view.ways.zone)?;
            Ok(Some(cow))
        })
    }

    /// The boxes on a day.
    pub fn boxes(&self, asked: &AskedBoxes) -> anyhow::Result<Boxes> {
        self.ask(|barn| box_day::boxes(barn, &self.tellings, asked, clock::now()))
    }

    /// A mark of all that the newest round rests on: rows, settings, answers.
    pub fn round_rests_on(&self) -> anyhow::Result<u64> {
        self.ask(|barn| {
            let mut hasher = DefaultHasher::new();
            let store = &barn.store;
            let marks = (store.last_batch()?, store.settings()?, store.found_mark()?, store.learned_mark()?);
            format!("{marks:?}").hash(&mut hasher);
            Ok(hasher.finish())
        })
    }

    /// The farm's settings.
    pub fn ways(&self) -> anyhow::Result<Ways> {
        self.ask(Barn::ways)
    }

    /// A time as a person types it, in the farm's zone.
    pub fn time(&self, words: &str) -> anyhow::Result<Timestamp> {
        farm::time(words, &self.ways()?.zone)
    }

    /// Asks on a connection that nobody else is using; once more where logs came in meanwhile.
    pub(super) fn ask<T>(&self, question: impl Fn(&Barn) -> anyhow::Result<T>) -> anyhow::Result<T> {
        let idle = locked(&self.idle).pop();
        let barn = match idle {
            Some(barn) => barn,
            None => locked(&self.keeper).reader()?,
        };
        let mut answer = question(&barn);
        for _ in 1..TRIES {
            if !answer.as_ref().is_err_and(|error| error.is::<Moved>()) {
                break;
            }
            answer = question(&barn);
        }
        let mut idle = locked(&self.idle);
        if idle.len() < IDLE_READERS {
            idle.push(barn);
        }
        answer
    }
}

fn look(barn: &Barn, at: Option<Timestamp>) -> anyhow::Result<Seen> {
    match view::at(barn, at)? {
        Some(view) => {
            let round = Arc::new(rounding::of_view(barn, &view)?);
            Ok(Seen { view: Some(view), round })
        }
        None => Ok(Seen { view: None, round: Arc::new(rounding::round(barn, at, clock::now())?) }),
    }
}
