//! The herd as far as it has been read: takes visits in order of time, says what each should have been.

use jiff::Timestamp;

use super::conductivity::conductivity;
use super::cow::{Cow, Settled};
use super::habits::{ByHour, interval, kicks};
use super::milk::{self, FIRST, Record};
use super::parameters::Parameters;
use super::quarters::quarters;
use super::split::{BoxState, Effect, days_on, fade};
use super::{BoxBin, Scored, secretion};
use crate::herd::{BoxKey, LifeKey, Stage};
use crate::signals::{columns::OF_CUPS, stuck, stuck::Run};
use crate::tables::{Outcome, Visit};

/// The herd's effect on milk at a time.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct HerdPoint {
    /// When.
    pub at: Timestamp,
    /// Effect on everybody's milk, log (−0.06 is about 6 % less).
    pub log_effect: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// Hours between two points of the herd's course.
const COURSE_STEP_H: f64 = 2.0;
/// Points kept: forty days.
const COURSE_POINTS: usize = 480;
/// Cows a herd must have before what they share is told from what is each one's own.
const HERD_FROM: u32 = 6;

/// What a milking showed, and what was made of it, for a whole herd. Grows with cows and boxes, not with milkings.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Herd {
    parameters: Parameters,
    cows: Vec<Option<Box<Cow>>>,
    boxes: Vec<Option<BoxState>>,
    effect: Effect,
    effect_ms: i64,
    course: Vec<HerdPoint>,
    record: Record,
    by_hour: ByHour,
    cows_seen: u32,
    shared_boxes: u32,
    /// By box: its cups' meters and probes, that a stuck one is not read.
    cups: Vec<Option<Cups>>,
}

/// Runs of a box's cups: milk, then conductivity.
type Cups = Box<[Run; OF_CUPS.len()]>;

impl Herd {
    /// A herd nothing was read of yet.
    pub fn new(parameters: Parameters) -> Herd {
        Herd {
            effect: Effect::rest(&parameters.herd),
            parameters,
            cows: Vec::new(),
            boxes: Vec::new(),
            effect_ms: i64::MIN,
            course: Vec::new(),
            record: Record::new(),
            by_hour: ByHour::new(),
            cows_seen: 0,
            shared_boxes: 0,
            cups: Vec::new(),
        }
    }

    /// What the herd's expectations rest on.
    pub fn parameters(&self) -> &Parameters {
        &self.parameters
    }

    /// Goes on with other parameters. What a cow gives is kept; what is said of it in terms of curve, rhythm and κ moves.
    pub fn set_parameters(&mut self, parameters: Parameters) {
        let old = std::mem::replace(&mut self.parameters, parameters);
        let new = &self.parameters;
        const USUAL_H: f64 = 9.0;
        let filled =
            secretion::g(USUAL_H, old.kappa_per_h).ln() - secretion::g(USUAL_H, new.kappa_per_h).ln();
        for cow in self.cows.iter_mut().flatten() {
            let days =
                cow.calved_ms.zip(cow.last_ms).map(|(calved, last)| (last - calved) as f64 / 86_400_000.0);
            let difference = old.log_curve(cow.parity, days) - new.log_curve(cow.parity, days) + filled;
            let rhythm = [old.rhythm[0] - new.rhythm[0], old.rhythm[1] - new.rhythm[1]];
            cow.rebase(difference, rhythm);
        }
    }

    /// Takes the next visit in order of `ended_at` and says what it should have been, from what was taken before only.
    ///
    /// `stage` is what was known of the cow at that time, `hour_of_day` the farm's wall clock at its end, 0 to 24.
    /// `None` when the visit says nothing of these signals (turned away, feed only, nothing measured).
    pub fn take(&mut self, visit: &Visit, stage: &Stage, hour_of_day: f64) -> Option<Scored> {
        let mut scored = Scored::empty();
        self.take_into(visit, stage, hour_of_day, &mut scored).then_some(scored)
    }

    /// As [`Herd::take`], into a `Scored` used again, so that nothing is allocated. False when the visit says nothing.
    pub fn take_into(&mut self, visit: &Visit, stage: &Stage, hour_of_day: f64, out: &mut Scored) -> bool {
        out.life = visit.life;
        out.at_box = visit.at_box;
        out.started_at = visit.started_at;
        out.ended_at = visit.ended_at;
        out.scored = false;
        out.departures.clear();
        let runs = at(&mut self.cups, usize::from(visit.at_box.0)).get_or_insert_default();
        let stuck = stuck::step(&mut **runs, &OF_CUPS, visit, &mut |_, _| {});
        if stuck == 0 {
            return self.go(visit, stage, hour_of_day, Purpose::Judge(out));
        }
        // What the whole udder gave is still the sum of the quarters, as the log has it.
        let mut own = Visit { milk_kg: whole_milk_kg(visit), ..*visit };
        stuck::take_out(stuck, &OF_CUPS, &mut own);
        self.go(&own, stage, hour_of_day, Purpose::Judge(out))
    }

    /// Takes the milk of a visit alone and adds the log-likelihood of what was seen (less the constant of its density):
    /// what a fit runs on. Whether anything was added.
    pub(crate) fn take_milk(
        &mut self,
        visit: &Visit,
        stage: &Stage,
        hour_of_day: f64,
        log_likelihood: &mut f64,
    ) -> bool {
        let before = *log_likelihood;
        self.go(visit, stage, hour_of_day, Purpose::Fit(log_likelihood));
        before != *log_likelihood
    }

    fn go(&mut self, visit: &Visit, stage: &Stage, hour_of_day: f64, mut purpose: Purpose<'_>) -> bool {
        let milk_kg = whole_milk_kg(visit);
        match visit.outcome {
            Some(Outcome::TurnedAway | Outcome::Fed) => return false,
            None if milk_kg.is_none() => return false,
            _ => {}
        }
        let milked_out = matches!(visit.outcome, Some(Outcome::Milked) | None) && milk_kg.is_some();
        let at_ms = visit.ended_at.as_millisecond();
        let p = &self.parameters;
        let cow = at(&mut self.cows, visit.life.0 as usize).get_or_insert_with(|| {
            self.cows_seen += 1;
            Box::new(Cow::new(p, stage, at_ms))
        });
        cow.meet(p, stage, at_ms);
        let interval_h = cow.last_ms.map(|last| (at_ms - last).max(0) as f64 / HOUR_MS);
        let judged = FIRST <= cow.milkings;
        let now = Moment {
            p,
            at_ms,
            hour_of_day,
            days_in_milk: stage.days_in_milk,
            parity: stage.parity,
            interval_h,
            judged,
        };

        // Herd and box move on to now; neither counts before enough cows were seen to tell it from a cow.
        if let Some(days) = days_on(&mut self.effect_ms, at_ms) {
            self.effect.fade(&p.herd, fade(days, &p.herd));
        }
        let own_box =
            at(&mut self.boxes, usize::from(visit.at_box.0)).get_or_insert_with(|| BoxState::new(p, at_ms));
        let was_shared = own_box.shared();
        let shared = own_box.step(p, at_ms, visit.life.0);
        self.shared_boxes += u32::from(shared && !was_shared);
        let herd_counts = HERD_FROM <= self.cows_seen;
        let box_counts = shared && 2 <= self.shared_boxes;
        let effects = [
            if herd_counts { self.effect } else { Effect::NONE },
            if box_counts { own_box.milk } else { Effect::NONE },
        ];

        if visit.outcome == Some(Outcome::Failed) {
            // Her udder is as full as it was: what is expected is said, and she does not move on.
            if let Purpose::Judge(out) = purpose {
                let mut tried = cow.clone();
                tried.step(&now, true);
                milk::outlook(&now, &self.record, &tried, &self.by_hour, effects, true).tell(milk_kg, out);
                kicks(&now, cow, &visit.quarters, &mut out.departures);
            }
            cow.taken_kg += milk_kg.unwrap_or(0.0);
            return true;
        }
        let whole = matches!(purpose, Purpose::Judge(_));
        cow.step(&now, whole);
        let look = milk::outlook(&now, &self.record, cow, &self.by_hour, effects, whole);
        let row_missing = look.row_is_missing(milk_kg.filter(|_| milked_out));
        if let Purpose::Judge(out) = &mut purpose {
            look.tell(milk_kg, out);
            out.scored = milked_out && judged;
        }
        match milk_kg {
            Some(milk_kg) if milked_out => {
                let herd = herd_counts.then_some(&mut self.effect);
                let with_box = if box_counts { Some(&mut *own_box) } else { None };
                let of_herd = effects[0].mean;
                let told =
                    milk::learn(&now, &mut self.record, cow, &look, milk_kg, (herd, with_box), &mut purpose);
                if let Some((departure, var)) = told {
                    own_box.bins.note_milk(at_ms, departure, of_herd, var);
                }
            }
            Some(milk_kg) => cow.carried_kg = p.carried_share * (look.expected_kg - milk_kg).max(0.0),
            None => {}
        }
        if let Purpose::Judge(out) = purpose {
            let out = &mut out.departures;
            let mut cups = if shared { Some(own_box) } else { None };
            if milked_out {
                quarters(&now, cow, &visit.quarters, cups.as_deref_mut(), out);
            }
            conductivity(&now, cow, &visit.quarters, cups, out);
            kicks(&now, cow, &visit.quarters, out);
            if !row_missing {
                out.extend(interval(&now, cow, &mut self.by_hour));
            }
            cow.review(p, at_ms);
        } else if !row_missing {
            interval(&now, cow, &mut self.by_hour);
        }
        // The milking is over: the next one counts from here.
        if milked_out {
            cow.carried_kg = 0.0;
        }
        cow.taken_kg = 0.0;
        cow.milkings = cow.milkings.saturating_add(1);
        cow.last_ms = Some(at_ms);
        self.note_course(visit.ended_at);
        true
    }

    fn note_course(&mut self, at: Timestamp) {
        let due =
            self.course.last().is_none_or(|last| COURSE_STEP_H <= crate::time::hours_between(last.at, at));
        if due {
            if COURSE_POINTS + 64 <= self.course.len() {
                self.course.drain(..64);
            }
            self.course.push(HerdPoint { at, log_effect: self.effect.mean, sd: self.effect.var.sqrt() });
        }
    }

    /// The same herd under other keys; who or what has none any more is forgotten.
    pub fn rekey(
        self,
        life: &dyn Fn(LifeKey) -> Option<LifeKey>,
        at_box: &dyn Fn(BoxKey) -> Option<BoxKey>,
    ) -> Herd {
        let mut herd = Herd {
            cows: Vec::new(),
            boxes: Vec::new(),
            cups: Vec::new(),
            cows_seen: 0,
            shared_boxes: 0,
            ..self
        };
        for (index, runs) in self.cups.into_iter().enumerate() {
            if let Some(BoxKey(key)) = at_box(BoxKey(index as u16)) {
                *at(&mut herd.cups, usize::from(key)) = runs;
            }
        }
        for (index, cow) in self.cows.into_iter().enumerate() {
            let (Some(cow), Some(LifeKey(key))) = (cow, life(LifeKey(index as u32))) else { continue };
            *at(&mut herd.cows, key as usize) = Some(cow);
            herd.cows_seen += 1;
        }
        for (index, own_box) in self.boxes.into_iter().enumerate() {
            let (Some(mut own_box), Some(BoxKey(key))) = (own_box, at_box(BoxKey(index as u16))) else {
                continue;
            };
            own_box.rekey(|user| life(LifeKey(user)).map(|key| key.0));
            herd.shared_boxes += u32::from(own_box.shared());
            *at(&mut herd.boxes, usize::from(key)) = Some(own_box);
        }
        herd
    }

    fn cow(&self, life: LifeKey) -> Option<&Cow> {
        self.cows.get(life.0 as usize)?.as_deref()
    }

    /// Since when her baseline is held, while there is evidence of a change; the same as long as that lasts.
    pub fn unsettled_since(&self, life: LifeKey) -> Option<Timestamp> {
        Timestamp::from_millisecond(self.cow(life)?.episode?.since_ms).ok()
    }

    /// Since when something has been the matter with her, on and off: the same from the first to the last round of a call.
    pub fn trouble_since(&self, life: LifeKey) -> Option<Timestamp> {
        Timestamp::from_millisecond(self.cow(life)?.trouble?.since_ms).ok()
    }

    /// New levels of milk accepted as her own in this lactation, oldest first, the last few.
    pub fn settled(&self, life: LifeKey) -> Vec<Settled> {
        self.cow(life).map(|cow| cow.settled.clone()).unwrap_or_default()
    }

    /// The herd's effect on milk every two hours or so, for about forty days.
    pub fn herd_course(&self) -> &[HerdPoint] {
        &self.course
    }

    /// A box's effect on milk now (log), and its standard deviation; `None` while it cannot be told from herd or cow.
    pub fn box_effect(&self, at_box: BoxKey) -> Option<(f64, f64)> {
        let own_box = self.boxes.get(usize::from(at_box.0))?.as_ref()?;
        (own_box.shared() && 2 <= self.shared_boxes).then(|| (own_box.milk.mean, own_box.milk.var.sqrt()))
    }

    /// What a box read against its cows' own levels, six hours by six hours, for about forty days, oldest first.
    pub fn box_course(&self, at_box: BoxKey) -> Vec<BoxBin> {
        let own_box = self.boxes.get(usize::from(at_box.0)).and_then(Option::as_ref);
        own_box.map(|own| own.bins.bins().copied().collect()).unwrap_or_default()
    }

    /// Effects of a box's cups on milk (log) and on conductivity (mS/cm), by quarter.
    pub fn cup_effects(&self, at_box: BoxKey) -> Option<([f64; 4], [f64; 4])> {
        let own_box = self.boxes.get(usize::from(at_box.0))?.as_ref().filter(|own| own.shared())?;
        Some((own_box.cup_milk.map(|cup| cup.mean), own_box.cup_ms.map(|cup| cup.mean)))
    }

    /// Milkings seen since she calved; since she was first seen, where no calving is known.
    pub fn milkings_since_calving(&self, life: LifeKey) -> u32 {
        self.cow(life).map_or(0, |cow| cow.milkings)
    }

    /// Milk gathering in her udder: rate of an empty udder by curve, level and herd, kg/h, and what an incomplete milking
    /// left behind, kg. `None` before her first milking.
    pub fn filling(&self, life: LifeKey, stage: &Stage) -> Option<(f64, f64)> {
        let cow = self.cow(life).filter(|cow| 0 < cow.milkings)?;
        let curve = self.parameters.log_curve(stage.parity, stage.days_in_milk);
        let herd = if HERD_FROM <= self.cows_seen { self.effect.mean } else { 0.0 };
        Some(((curve + cow.robust.settled().level + herd).exp(), cow.carried_kg))
    }

    /// How well that rate is known: standard deviation of its logarithm, level and herd together.
    pub fn filling_sd(&self, life: LifeKey) -> Option<f64> {
        let cow = self.cow(life).filter(|cow| 0 < cow.milkings)?;
        let herd = if HERD_FROM <= self.cows_seen { self.effect.var } else { 0.0 };
        Some((cow.robust.settled().var + herd).sqrt())
    }

    /// End of her last milking in this lactation.
    pub fn last_milking(&self, life: LifeKey) -> Option<Timestamp> {
        Timestamp::from_millisecond(self.cow(life)?.last_ms?).ok()
    }
}

const HOUR_MS: f64 = 3_600_000.0;

/// One milking before its readings are looked at.
pub(crate) struct Moment<'a> {
    pub(crate) p: &'a Parameters,
    pub(crate) at_ms: i64,
    pub(crate) hour_of_day: f64,
    pub(crate) days_in_milk: Option<f64>,
    pub(crate) parity: Option<u8>,
    /// Hours since her last milking, if one is known.
    pub(crate) interval_h: Option<f64>,
    /// At least her third milking.
    pub(crate) judged: bool,
}

/// What a visit is taken for.
pub(crate) enum Purpose<'a> {
    /// To say what it should have been, in every signal.
    Judge(&'a mut Scored),
    /// To add up how likely its milk was.
    Fit(&'a mut f64),
}

/// The place of a key, made if it is new.
fn at<T>(places: &mut Vec<Option<T>>, key: usize) -> &mut Option<T> {
    if places.len() <= key {
        places.resize_with(key + 1, || None);
    }
    &mut places[key]
}

/// Milk of the whole udder, kg: as measured, or the sum of four measured quarters.
fn whole_milk_kg(visit: &Visit) -> Option<f64> {
    visit.milk_kg.or_else(|| visit.quarters.iter().map(|quarter| quarter.milk_kg).sum::<Option<f64>>())
}
