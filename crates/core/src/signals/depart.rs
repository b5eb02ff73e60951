//! What was expected of each reading of the last ten days?

use jiff::Timestamp;

use super::{
    Ground, JUDGED_H, Reading,
    ground::{middle, part},
    stage_class,
    stuck::Stuck,
    ways::{self, PLACES},
};
use crate::{
    herd::{BoxKey, LifeKey, Stage},
    time::WallClock,
};

/// Days a standing rests on from which a cow speaks for the herd.
const SPEAKS_FROM_D: u16 = 7;
/// No bin and no visit is longer, h.
const LONGEST_H: f64 = 24.0;
/// Readings of one signal of one cow that room is made for at once: some a day of boxes, and bins of two hours.
const USUAL_READINGS: [usize; 2] = [40, 120];

/// The readings of the last ten days.
pub struct Window<'g> {
    span: Span<'g>,
    clock: WallClock,
    /// ln of the herd's hours of day, by place.
    log_hours: Vec<[f64; 24]>,
    /// By place, in the order they came: no signal's readings bear on another's.
    readings: [Vec<Expected>; PLACES],
}

/// What the readings of a window are taken by.
#[derive(Clone, Copy)]
pub(super) struct Span<'g> {
    /// What was learned of the cows before.
    pub ground: &'g Ground,
    /// When they are judged.
    pub at: Timestamp,
    /// No reading of the judged days begins earlier, ms since the epoch.
    since_ms: i64,
}

/// A reading beside what was expected of it so far. A large herd has two million: no more is kept than is asked.
pub(super) struct Expected {
    pub life: LifeKey,
    /// Its begin after the window's, and its length.
    after_ms: u32,
    lasts_ms: u32,
    /// By which box, where the signal is one of boxes.
    pub at_box: BoxKey,
    pub speaks: bool,
    pub value: f64,
    pub weight: f64,
    /// On the scale of the reading.
    pub expected: f64,
}

/// All readings of one place. What they say hangs on no other place's, and may be reckoned beside them.
pub struct Taken<'g> {
    pub(super) span: Span<'g>,
    pub(super) place: usize,
    pub(super) readings: Vec<Expected>,
}

impl<'g> Window<'g> {
    /// None yet, judged at a time.
    pub fn new(ground: &'g Ground, at: Timestamp, clock: WallClock) -> Window<'g> {
        let since_ms = at.as_millisecond() - ((JUDGED_H + LONGEST_H) * 3_600_000.0) as i64;
        let log_hours = ground.hours.iter().map(|hours| hours.map(|hour| f64::from(hour).ln())).collect();
        let span = Span { ground, at, since_ms };
        Window { span, clock, log_hours, readings: [const { Vec::new() }; PLACES] }
    }

    /// Takes a reading; one that had not ended by the time, or ended before the judged days, is left out.
    pub fn take(&mut self, reading: &Reading, stage: &Stage) {
        let Span { ground, at, since_ms } = self.span;
        let at_ms = at.as_millisecond();
        if at_ms < reading.to_ms || reading.to_ms as f64 <= at_ms as f64 - JUDGED_H * 3_600_000.0 {
            return;
        }
        let (Ok(after_ms), Ok(lasts_ms)) =
            (u32::try_from(reading.from_ms - since_ms), u32::try_from(reading.to_ms - reading.from_ms))
        else {
            return;
        };
        let place = usize::from(reading.place);
        if ground.between[place].is_none() {
            return;
        }
        let (way, _) = ways::at(place);
        let own = self.span.own(reading.life, place);
        let class = stage_class(stage);
        let mut expected = own.map_or(f64::from(ground.stages[place][class]), |own| {
            f64::from(own.mean) + f64::from(ground.moves[place][class])
        });
        let speaks = own.is_some_and(|own| SPEAKS_FROM_D <= own.days);
        if way.by_hour {
            let hours = (reading.to_ms - reading.from_ms) as f64 / 3_600_000.0;
            if hours < 12.0 {
                let hers = own.map(|own| own.hours);
                let hour = self.clock.hour_of_day(middle(reading));
                expected += self.log_hours[place][(hour as usize).min(23)]
                    + hers.map_or(0.0, |hers| f64::from(hers[part(hour)]));
            }
        }
        if way.scale.multiplies() {
            expected = expected.exp();
        }
        let &Reading { life, at_box, value, weight, .. } = reading;
        let at_box = at_box.unwrap_or(BoxKey(u16::MAX));
        let readings = &mut self.readings[place];
        if readings.capacity() == 0 {
            readings.reserve(ground.own.len() * USUAL_READINGS[usize::from(way.by_hour)]);
        }
        readings.push(Expected { life, after_ms, lasts_ms, at_box, speaks, value, weight, expected });
    }

    /// Leaves out what stuck sensors sent.
    pub fn without(&mut self, stuck: &[Stuck]) {
        let span = self.span;
        for place in 0..PLACES {
            let here: Vec<&Stuck> = stuck.iter().filter(|own| own.place() == Some(place)).collect();
            if !here.is_empty() {
                let mut readings = std::mem::take(&mut self.readings[place]);
                readings.retain(|one| {
                    let reading = span.reading(place, one);
                    !here.iter().any(|own| own.holds(&reading))
                });
                self.readings[place] = readings;
            }
        }
    }

    /// All of them, place by place.
    pub fn taken(self) -> Vec<Taken<'g>> {
        let Window { span, readings, .. } = self;
        let read = readings.into_iter().enumerate().filter(|(_, readings)| !readings.is_empty());
        read.map(|(place, readings)| Taken { span, place, readings }).collect()
    }
}

impl<'g> Span<'g> {
    pub fn begins_ms(&self, one: &Expected) -> i64 {
        self.since_ms + i64::from(one.after_ms)
    }

    /// The reading that was taken into a place.
    pub fn reading(&self, place: usize, one: &Expected) -> Reading {
        let (way, _) = ways::at(place);
        let from_ms = self.begins_ms(one);
        Reading {
            life: one.life,
            place: place as u8,
            at_box: way.by_box.then_some(one.at_box),
            from_ms,
            to_ms: from_ms + i64::from(one.lasts_ms),
            value: one.value,
            weight: one.weight,
        }
    }

    /// What was learned of a cow's readings of a place.
    pub fn own(&self, life: LifeKey, place: usize) -> Option<&'g super::Own> {
        self.ground.own.get(life.0 as usize)?[place].as_ref()
    }
}

// How many places there are is fixed: a `u8` holds them.
const _: () = assert!(PLACES < 256);
