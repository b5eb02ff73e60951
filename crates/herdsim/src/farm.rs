//! The run: how do cows, boxes, people and weather go through the days together?
//!
//! Ticks of two hours reckon signals and rates; within a tick, steps of ten minutes let cows come by their own hazard;
//! the pens then serve them to the second. Rows are handed out as they arise.

use crate::{
    Scenario, SimError,
    chance::Stream,
    clock::{DAY_S, FarmClock},
    cow::Cow,
    life::{Fate, begin_day, calve, close_day, herd_factor},
    movement,
    pen::{Coming, Pen},
    people,
    rows::{BroughtTruth, EventRow, HappeningTruth, Row},
    season::Season,
    stall::Stall,
    stock,
    tank::Tank,
    told::{animal, end_all, end_cases, lasting_marks, move_to, record},
    visit::Around,
};

/// A tick, s.
pub const TICK_S: i64 = 7200;
const STEP_S: i64 = 600;

/// Takes rows.
pub type Out<'a> = dyn FnMut(Row) -> Result<(), SimError> + 'a;

/// The farm as it is now.
pub struct Farm<'a> {
    scenario: &'a Scenario,
    clock: FarmClock,
    season: Season,
    cows: Vec<Cow>,
    stalls: Vec<Stall>,
    pens: Vec<Pen>,
    tank: Tank,
    today: i32,
    cases: u32,
    next_animal: u32,
    heifers: Stream,
    arrivals: Vec<(i32, usize)>,
    people: Stream,
    bunk: Stream,
    recording_on: i32,
    own_events: Vec<EventRow>,
    own_rows: Vec<Row>,
    coming: Vec<Vec<Coming>>,
}

impl<'a> Farm<'a> {
    /// The farm at the first midnight.
    pub fn new(scenario: &'a Scenario, clock: FarmClock, out: &mut Out<'_>) -> Result<Farm<'a>, SimError> {
        let seed = scenario.seed;
        let first_day = clock.day(clock.start_s);
        let days = (clock.day(clock.end_s) - first_day + 2) as usize;
        let (season, herd_truth) = Season::draw(seed, first_day, days);
        let stalls: Vec<Stall> =
            (1..=scenario.boxes).map(|number| Stall::draw(seed, number, &clock)).collect();
        let pen_count = scenario.boxes.div_ceil(3) as usize;
        let pens: Vec<Pen> = (0..pen_count)
            .map(|pen| {
                let own = (0..stalls.len()).filter(|stall| stall * pen_count / stalls.len() == pen).collect();
                Pen::new(format!("{}", pen + 1), own)
            })
            .collect();
        for (mut truth, from, to) in herd_truth {
            truth.from_s = clock.at(from, 7.0);
            truth.to_s = clock.at(to, 7.0);
            out(Row::Happening(truth))?;
        }
        for stall in &stalls {
            for fault in &stall.faults {
                out(Row::BoxFault(*fault))?;
            }
        }
        for feed in crate::bunk::FEEDS {
            out(Row::Feed(feed))?;
        }
        let (cows, notes) = stock::herd(seed, &clock, scenario.cows, pen_count);
        for note in notes {
            out(Row::Event(note))?;
        }
        for cow in &cows {
            lasting_marks(cow, &clock, out)?;
        }
        let next_animal = cows.last().map_or(100, |cow| cow.animal) + 1;
        let mut people = Stream::new(seed, "people", 0);
        let recording_on = first_day + people.between(3.0, 28.0) as i32;
        Ok(Farm {
            scenario,
            tank: Tank::new(seed, &clock),
            today: first_day - 1,
            season,
            cows,
            stalls,
            coming: vec![Vec::new(); pens.len()],
            pens,
            cases: 0,
            next_animal,
            heifers: Stream::new(seed, "heifers", 0),
            arrivals: Vec::new(),
            people,
            bunk: Stream::new(seed, "bunk", 0),
            recording_on,
            own_events: Vec::new(),
            own_rows: Vec::new(),
            clock,
        })
    }

    /// Runs one tick.
    pub fn tick(&mut self, from_s: i64, out: &mut Out<'_>) -> Result<(), SimError> {
        let until_s = (from_s + TICK_S).min(self.clock.end_s);
        let day_now = self.clock.day(from_s);
        if day_now != self.today {
            self.new_day(day_now, from_s, out)?;
        }
        let season = self.season.day(self.today);
        let hour = self.clock.hour(from_s);
        let in_tick = |wanted: f64| hour <= wanted && wanted < hour + 2.0;
        let walk = in_tick(5.75) || in_tick(16.25);
        let fetch = [(6.0, 1.0), (11.2, 1.25), (16.5, 1.0), (21.3, 1.25)]
            .into_iter()
            .find(|(hour, _)| in_tick(*hour) && self.scenario.fetched);
        for place in 0..self.cows.len() {
            let cow = &mut self.cows[place];
            if cow.gone {
                continue;
            }
            let herd = herd_factor(cow, &season);
            cow.reckon(from_s + 3600, hour + 1.0, herd);
            if walk {
                people::walk(cow, from_s + 4500, &mut self.own_events);
            }
            people::act(cow, until_s, self.today, season.heat_load, &mut self.own_events);
            end_cases(cow, from_s, self.clock.end_s, out)?;
            if let Some((at_hour, patience)) = fetch {
                let at_s = from_s + ((at_hour - hour) * 3600.0) as i64;
                let since_h = (at_s - cow.last_milking_s) as f64 / 3600.0;
                let limit_h = if cow.dim(self.today) < 150 { 11.5 } else { 13.0 } * patience;
                let first = cow.milkings == 0 && 3.0 < since_h;
                if !cow.dry && !cow.waiting && (limit_h < since_h || first) && self.people.chance(0.88) {
                    let at_s = at_s + self.people.between(0.0, 2400.0) as i64;
                    self.coming[cow.pen].push(Coming { cow: place, at_s, brought: true });
                    out(Row::Brought(BroughtTruth { animal: cow.animal, at_s }))?;
                    cow.waiting = true;
                }
            }
        }
        self.come_and_go(from_s, until_s, out)?;
        if from_s + TICK_S <= self.clock.end_s && self.scenario.sensors.movement {
            for cow in self.cows.iter_mut().filter(|cow| !cow.gone) {
                if let Some(row) = movement::bin(cow, from_s, hour, &season) {
                    out(Row::Movement(row))?;
                }
            }
        }
        self.tank.collect(until_s, &self.clock, season.air_c, out)?;
        for event in self.own_events.drain(..) {
            out(Row::Event(event))?;
        }
        Ok(())
    }

    /// Two hours of the pens.
    fn come_and_go(&mut self, from_s: i64, until_s: i64, out: &mut Out<'_>) -> Result<(), SimError> {
        let season = self.season.day(self.today);
        let mut at_s = from_s;
        while at_s < until_s {
            let next_s = (at_s + STEP_S).min(until_s);
            let hour = self.clock.hour(at_s);
            let hours = (next_s - at_s) as f64 / 3600.0;
            for (place, cow) in self.cows.iter_mut().enumerate() {
                if cow.gone || cow.dry || at_s < cow.calved_s {
                    continue;
                }
                cow.credit_kg =
                    (cow.credit_kg + cow.allowance_kg * hours / 24.0).min(0.3 + 0.55 * cow.allowance_kg);
                if cow.waiting {
                    continue;
                }
                let hazard = hazard_h(cow, at_s, hour) * hours;
                if hazard < cow.hazard_left {
                    cow.hazard_left -= hazard;
                    continue;
                }
                let part = cow.hazard_left / hazard;
                let come_s = at_s + (part * (next_s - at_s) as f64) as i64;
                cow.hazard_left = 1e9;
                self.coming[cow.pen].push(Coming {
                    cow: place,
                    at_s: come_s.max(cow.last_visit_s),
                    brought: false,
                });
            }
            for (pen, coming) in self.pens.iter_mut().zip(&mut self.coming) {
                coming.sort_by_key(|coming| (coming.at_s, coming.cow));
                let now = coming.partition_point(|coming| coming.at_s < next_s);
                let around = Around { sensors: &self.scenario.sensors, day: &season, today: self.today };
                let tank = &mut self.tank;
                let mut decoys = Vec::new();
                pen.run(
                    &mut self.cows,
                    &mut self.stalls,
                    &coming[..now],
                    next_s,
                    &around,
                    &mut |cow, row| {
                        if row.destination == Some(cowpath_core::tables::Destination::Tank) {
                            tank.pour(row);
                        }
                        if row.meter_lost {
                            decoys.push(HappeningTruth {
                                kind: "meter-lost",
                                animal: Some(cow.animal),
                                at_box: Some(row.at_box),
                                from_s: row.started_s,
                                to_s: row.ended_s,
                                ..HappeningTruth::default()
                            });
                        }
                        if 2.5 < cow.left_behind_kg && cow.missed {
                            decoys.push(HappeningTruth {
                                kind: "incomplete-carried",
                                animal: Some(cow.animal),
                                from_s: row.started_s,
                                to_s: row.ended_s,
                                size: Some(cow.left_behind_kg),
                                ..HappeningTruth::default()
                            });
                            cow.left_behind_kg = 0.0;
                        }
                    },
                    out,
                )?;
                coming.drain(..now);
                for decoy in decoys {
                    out(Row::Happening(decoy))?;
                }
            }
            at_s = next_s;
        }
        Ok(())
    }

    fn new_day(&mut self, day: i32, midnight_s: i64, out: &mut Out<'_>) -> Result<(), SimError> {
        let yesterday = self.season.day(self.today);
        let season = self.season.day(day);
        let vet_day = day.rem_euclid(7) == 5;
        for place in 0..self.cows.len() {
            let cow = &mut self.cows[place];
            if cow.gone {
                continue;
            }
            if day == self.recording_on {
                record(cow, day, &mut self.people, out)?;
            }
            if let Some(row) = close_day(cow, self.today, &yesterday) {
                out(row)?;
            }
            if vet_day {
                people::check(
                    cow,
                    self.clock.at(day, 10.0 + 0.01 * (place % 100) as f64),
                    day,
                    &mut self.own_events,
                );
            }
            let rows = &mut self.own_rows;
            let fate = begin_day(cow, day, midnight_s, &self.clock, &season, &mut self.cases, rows);
            match fate {
                Fate::Stays => {}
                Fate::Calved => {
                    let name = self.pens[cow.pen].name.clone();
                    rows.push(Row::Event(move_to(cow, cow.calved_s + 9000, name)));
                }
                Fate::Gone => {
                    cow.gone = true;
                    end_all(cow, self.clock.end_s, out)?;
                    out(Row::Animal(animal(cow, &self.pens)))?;
                    self.arrivals.push((day + 1 + self.heifers.below(12) as i32, cow.pen));
                }
            }
            self.move_pens(place, day, midnight_s);
            for row in self.own_rows.drain(..) {
                out(row)?;
            }
        }
        if day == self.recording_on {
            self.recording_on += 29 + self.people.below(5) as i32;
        }
        self.today = day;
        self.arrive(day, midnight_s, out)?;
        crate::bunk::day(&mut self.bunk, day, &self.clock, &self.pens, &self.cows, &season, out)
    }

    /// Now and then a cow changes pens: a decoy, for she is unsettled and nothing is wrong.
    /// With one pen she goes to the straw for some days, by the same boxes, and back.
    fn move_pens(&mut self, place: usize, day: i32, midnight_s: i64) {
        let cow = &mut self.cows[place];
        let can = !cow.dry && !cow.gone && !cow.waiting;
        let back = cow.back_on.is_some_and(|on| on <= day);
        if !can || !(back || cow.back_on.is_none() && cow.streams.life.chance(0.6 / 365.0)) {
            return;
        }
        let name = if back || 1 < self.pens.len() {
            if !back {
                cow.pen = (cow.pen + 1 + cow.streams.life.below(self.pens.len() - 1)) % self.pens.len();
            }
            cow.back_on = None;
            self.pens[cow.pen].name.clone()
        } else {
            cow.back_on = Some(day + 3 + cow.streams.life.below(9) as i32);
            "straw".to_owned()
        };
        cow.unsettled_until_s = midnight_s + 3 * DAY_S;
        let at_s = midnight_s + cow.streams.life.between(8.0, 15.0) as i64 * 3600;
        self.own_rows.push(Row::Event(move_to(cow, at_s, name)));
        self.own_rows.push(Row::Happening(HappeningTruth {
            kind: "moved-pen",
            animal: Some(cow.animal),
            from_s: midnight_s,
            to_s: cow.unsettled_until_s,
            ..HappeningTruth::default()
        }));
    }

    /// Heifers calve in where cows have left.
    fn arrive(&mut self, day: i32, midnight_s: i64, out: &mut Out<'_>) -> Result<(), SimError> {
        let (due, later): (Vec<_>, Vec<_>) = self.arrivals.drain(..).partition(|(on, _)| *on <= day);
        self.arrivals = later;
        for (_, pen) in due {
            let calved_s = midnight_s + self.heifers.below(80_000) as i64;
            if self.clock.end_s < calved_s {
                continue;
            }
            let mut cow = stock::cow(self.scenario.seed, self.next_animal, 1, calved_s, day, pen);
            self.next_animal += 1;
            calve(&mut cow, calved_s, day, &mut self.own_rows);
            self.own_rows.push(Row::Event(move_to(&cow, calved_s + 9000, self.pens[pen].name.clone())));
            cow.potential_kg = cow.curve.potential_kg_day(0.5, 0.0);
            lasting_marks(&cow, &self.clock, out)?;
            self.cows.push(cow);
            for row in self.own_rows.drain(..) {
                out(row)?;
            }
        }
        Ok(())
    }

    /// Hands out what is still on at the end.
    pub fn close(mut self, out: &mut Out<'_>) -> Result<(), SimError> {
        for cow in self.cows.iter_mut().filter(|cow| !cow.gone) {
            end_all(cow, self.clock.end_s, out)?;
            out(Row::Animal(animal(cow, &self.pens)))?;
        }
        Ok(())
    }
}

/// Hazard of coming to the boxes, an hour.
fn hazard_h(cow: &Cow, at_s: i64, hour: f64) -> f64 {
    let since_h = (at_s - cow.last_visit_s) as f64 / 3600.0;
    if since_h <= 0.0 {
        return 0.0;
    }
    let [size, peak_h, size_two, peak_two_h] = cow.habit.hours;
    let turn = std::f64::consts::TAU / 24.0;
    // Low cows come when the high ones sleep.
    let night = 0.25 * (0.5 - cow.habit.rank) * (turn * (hour - 2.0)).cos();
    let day = 1.0
        + size * (turn * (hour - peak_h)).cos()
        + size_two * (2.0 * turn * (hour - peak_two_h)).cos()
        + night;
    let rested = 1.0 - (-(since_h / 1.9).powi(2)).exp();
    let credit = 0.8 + 0.2 * cow.credit_kg.min(2.5);
    let unsettled = if at_s < cow.unsettled_until_s { 0.7 } else { 1.0 };
    // A heifer must learn the box in her first week.
    let learning = if cow.parity == 1 && cow.milkings < 18 { 0.45 } else { 1.0 };
    0.46 * cow.habit.eager
        * day.max(0.08)
        * rested
        * (0.16 + 1.7 * cow.fill())
        * credit
        * unsettled
        * learning
        * cow.signs.coming.max(0.04)
}
