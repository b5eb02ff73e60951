//! The herd as far as it has been read: takes visits in order of time, says what each should have been.

use jiff::Timestamp;

use super::conductivity::conductivity;
use super::cow::{Cow, Settled};
use super::habits::{ByHour, interval, kicks};
use super::milk::{self, FIRST, Record};
use super::parameters::Parameters;
use super::quarters::quarters;
use super::split::{BoxState, Effect, fade};
use super::{Scored, secretion};
use crate::herd::{BoxKey, LifeKey, Stage};
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
    #[serde(skip)]
    last_log_likelihood: f64,
}

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
            last_log_likelihood: 0.0,
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
        let milk_kg = whole_milk_kg(visit);
        match visit.outcome {
            Some(Outcome::TurnedAway | Outcome::Fed) => return false,
            None if milk_kg.is_none() => return false,
            _ => {}
        }
        let at_ms = visit.ended_at.as_millisecond();
        let p = &self.parameters;
        let life = visit.life.0 as usize;
        if self.cows.len() <= life {
            self.cows.resize_with(life + 1, || None);
        }
        let cow = self.cows[life].get_or_insert_with(|| {
            self.cows_seen += 1;
            Box::new(Cow::new(p, stage, at_ms))
        });
        cow.meet(p, stage, at_ms);
        // Herd and box move on to now.
        let herd_days =
            if self.effect_ms == i64::MIN { 0.0 } else { (at_ms - self.effect_ms).max(0) as f64 / DAY_MS };
        self.effect_ms = self.effect_ms.max(at_ms);
        self.effect.fade(&p.herd, fade(herd_days, &p.herd));
        let at_box = usize::from(visit.at_box.0);
        if self.boxes.len() <= at_box {
            self.boxes.resize_with(at_box + 1, || None);
        }
        let own_box = self.boxes[at_box].get_or_insert_with(|| BoxState::new(p, at_ms));
        let was_shared = own_box.shared();
        let shared = own_box.step(p, at_ms, visit.life.0);
        self.shared_boxes += u32::from(shared && !was_shared);
        let herd_counts = HERD_FROM <= self.cows_seen;
        let box_counts = shared && 2 <= self.shared_boxes;
        const NONE: Effect = Effect { mean: 0.0, var: 0.0 };

        let interval_h = cow.last_ms.map(|last| (at_ms - last).max(0) as f64 / HOUR_MS);
        let held_d = (at_ms - cow.held_ms).max(0) as f64 / DAY_MS;
        let milked_out = matches!(visit.outcome, Some(Outcome::Milked) | None) && milk_kg.is_some();
        let failed = visit.outcome == Some(Outcome::Failed);
        let judged = FIRST <= cow.milkings;

        // A failed visit looks ahead without moving on: her udder is as full as it was.
        let kept = failed.then(|| (cow.robust.clone(), cow.plain.clone()));
        let days = interval_h.map_or(0.0, |hours| hours / 24.0);
        if 0.0 < days {
            let slope_fade = (-days / p.slope_days).exp();
            cow.robust.step(p, days, slope_fade);
            cow.plain.step(p, days, slope_fade);
        }
        let look = milk::outlook(
            p,
            &self.record,
            cow,
            stage,
            hour_of_day,
            interval_h,
            self.by_hour.usual_h(cow, hour_of_day),
            held_d,
            if herd_counts { self.effect } else { NONE },
            if box_counts { own_box.milk } else { NONE },
        );
        out.life = visit.life;
        out.at_box = visit.at_box;
        out.started_at = visit.started_at;
        out.ended_at = visit.ended_at;
        out.observed_kg = milk_kg;
        out.expected_kg = look.expected_kg;
        out.low95_kg = look.low95_kg;
        out.high95_kg = look.high95_kg;
        out.baseline_kg = look.baseline_kg;
        out.scored = milked_out && judged;
        out.departures.clear();
        if let Some((robust, plain)) = kept {
            (cow.robust, cow.plain) = (robust, plain);
            cow.taken_kg += milk_kg.unwrap_or(0.0);
            kicks(p, cow, &visit.quarters, judged, &mut out.departures);
            return true;
        }
        for line in cow.share.iter_mut() {
            line.step(&p.share, days);
        }
        for line in cow.ms.iter_mut() {
            line.step(&p.conductivity, days);
        }
        cow.ms_level.step(&p.conductivity_level, days);
        cow.interval.step(&p.interval, days);
        if let (true, Some(milk_kg)) = (milked_out, milk_kg) {
            let herd = herd_counts.then_some(&mut self.effect);
            let with_box = if box_counts { Some(&mut *own_box) } else { None };
            out.departures.extend(milk::learn(
                p,
                &mut self.record,
                cow,
                &look,
                milk_kg,
                herd,
                with_box,
                at_ms,
                judged,
                &mut self.last_log_likelihood,
            ));
            cow.carried_kg = 0.0;
            let cups = if shared { Some(&mut *own_box) } else { None };
            quarters(p, cow, &visit.quarters, interval_h, cups, at_ms, judged, &mut out.departures);
        } else if let Some(milk_kg) = milk_kg {
            // Incomplete: what is missing stays in the udder, as far as it ever comes.
            cow.carried_kg = p.carried_share * (look.expected_kg - milk_kg).max(0.0);
        }
        let cups = if shared { Some(&mut *own_box) } else { None };
        conductivity(p, cow, &visit.quarters, cups, at_ms, judged, &mut out.departures);
        kicks(p, cow, &visit.quarters, judged, &mut out.departures);
        out.departures.extend(interval(p, cow, &mut self.by_hour, interval_h, hour_of_day, at_ms, judged));
        cow.review(p, at_ms);
        cow.taken_kg = 0.0;
        cow.milkings = cow.milkings.saturating_add(1);
        cow.last_ms = Some(at_ms);
        self.note_course(visit.ended_at);
        true
    }

    /// As [`Herd::take_into`] with the milk alone, adding the log-likelihood of what was seen: what a fit runs on.
    pub(crate) fn take_milk(
        &mut self,
        visit: &Visit,
        stage: &Stage,
        hour_of_day: f64,
        out: &mut Scored,
        log_likelihood: &mut f64,
    ) {
        if self.take_into(visit, stage, hour_of_day, out) && out.scored {
            *log_likelihood += self.last_log_likelihood;
        }
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
        let mut herd = Herd { cows: Vec::new(), boxes: Vec::new(), cows_seen: 0, shared_boxes: 0, ..self };
        for (index, cow) in self.cows.into_iter().enumerate() {
            let (Some(cow), Some(LifeKey(key))) = (cow, life(LifeKey(index as u32))) else { continue };
            let key = key as usize;
            if herd.cows.len() <= key {
                herd.cows.resize_with(key + 1, || None);
            }
            herd.cows[key] = Some(cow);
            herd.cows_seen += 1;
        }
        for (index, own_box) in self.boxes.into_iter().enumerate() {
            let (Some(mut own_box), Some(BoxKey(key))) = (own_box, at_box(BoxKey(index as u16))) else {
                continue;
            };
            own_box.rekey(|user| life(LifeKey(user)).map(|key| key.0));
            let key = usize::from(key);
            if herd.boxes.len() <= key {
                herd.boxes.resize_with(key + 1, || None);
            }
            herd.shared_boxes += u32::from(own_box.shared());
            herd.boxes[key] = Some(own_box);
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

    /// Effects of a box's cups on milk (log) and on conductivity (mS/cm), by quarter.
    pub fn cup_effects(&self, at_box: BoxKey) -> Option<([f64; 4], [f64; 4])> {
        let own_box = self.boxes.get(usize::from(at_box.0))?.as_ref().filter(|own| own.shared())?;
        Some((own_box.cup_milk.map(|cup| cup.mean), own_box.cup_ms.map(|cup| cup.mean)))
    }

    /// Milkings seen since she calved; since she was first seen, where no calving is known.
    pub fn milkings_since_calving(&self, life: LifeKey) -> u32 {
        self.cow(life).map_or(0, |cow| cow.milkings)
    }

    /// End of her last milking in this lactation.
    pub fn last_milking(&self, life: LifeKey) -> Option<Timestamp> {
        Timestamp::from_millisecond(self.cow(life)?.last_ms?).ok()
    }
}

const DAY_MS: f64 = 86_400_000.0;
const HOUR_MS: f64 = 3_600_000.0;

/// Milk of the whole udder, kg: as measured, or the sum of four measured quarters.
fn whole_milk_kg(visit: &Visit) -> Option<f64> {
    visit.milk_kg.or_else(|| visit.quarters.iter().map(|quarter| quarter.milk_kg).sum::<Option<f64>>())
}
