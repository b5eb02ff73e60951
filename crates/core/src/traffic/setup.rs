//! A farm's boxes as a person thinks of them: so many cows, so many boxes, when they are fed and fetched; and what of it
//! would be another in a second scenario.

use std::sync::Arc;

use super::{
    check::{Fault, check},
    herd::{Cow, Drawn, Stock, shortest_h},
    pen::{Closures, Coming, Feeding, Fetching, Pen, Queue, Service, Traffic, hours_of, usual_clock},
};

/// Cows that are known, or a herd about stated means.
#[derive(Debug, Clone, PartialEq)]
pub enum Cows {
    /// About stated means.
    Drawn(Drawn),
    /// A farm's own.
    Own(Arc<Vec<Cow>>),
}

/// A pen of its own for cows that have just calved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreshPen {
    /// Up to this day in milk.
    pub until_day: f64,
    /// Its boxes, of the farm's.
    pub boxes: usize,
}

/// All that a scenario hangs on.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// How many cows.
    pub cows: usize,
    /// How many boxes.
    pub boxes: usize,
    /// Which cows.
    pub herd: Cows,
    /// Free or guided.
    pub traffic: Traffic,
    /// Hazard of coming by half-hours since the last milking, 1/h.
    pub since_per_h: Vec<f64>,
    /// What the clock does without feed, by half-hours.
    pub clock: Vec<f64>,
    /// The feeding under which both were found.
    pub fed_as: Feeding,
    /// The feeding of this scenario.
    pub feeding: Feeding,
    /// How they wait.
    pub queue: Queue,
    /// What a visit takes.
    pub service: Service,
    /// What closes a box.
    pub closures: Closures,
    /// Who brings them.
    pub fetching: Fetching,
    /// Hours by which the shortest intervals are others.
    pub shortest_by_h: f64,
    /// A pen for fresh cows.
    pub fresh_pen: Option<FreshPen>,
}

/// Pens that are simulated together and counted as one.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Its pens.
    pub pens: Vec<Pen>,
}

/// Hours by which shortest intervals may be longer without being held against each cow’s longest.
const SMALL_CHANGE_H: f64 = 3.0;

impl Setup {
    /// Of a farm of which nothing is known.
    pub fn usual(cows: usize, boxes: usize) -> Setup {
        let traffic = Traffic::Free;
        let pen = Pen::usual(cows, boxes, traffic, Drawn::default());
        Setup {
            cows,
            boxes,
            herd: Cows::Drawn(Drawn::default()),
            traffic,
            since_per_h: pen.coming.since_per_h,
            clock: usual_clock(),
            fed_as: Feeding::default(),
            feeding: Feeding::default(),
            queue: pen.queue,
            service: pen.service,
            closures: pen.closures,
            fetching: pen.fetching,
            shortest_by_h: 0.0,
            fresh_pen: None,
        }
    }

    /// The pens of it.
    ///
    /// # Errors
    /// Where one of them cannot be.
    pub fn scenario(&self) -> Result<Scenario, Fault> {
        let mut pens = Vec::new();
        match self.fresh_pen {
            None => pens.push(self.pen("Pen", self.stock(self.cows, None), self.boxes)),
            Some(fresh) => {
                if self.boxes <= fresh.boxes {
                    return Err(Fault::Range {
                        what: "boxes of the pen for fresh cows",
                        value: fresh.boxes as f64,
                        range: "fewer than the farm’s, so that the others have one",
                    });
                }
                let span = self.days();
                let share = ((fresh.until_day - span.0) / (span.1 - span.0)).clamp(0.0, 1.0);
                let count = match &self.herd {
                    Cows::Drawn(_) => (share * self.cows as f64).round() as usize,
                    Cows::Own(own) => {
                        let young = own.iter().filter(|cow| cow.days <= fresh.until_day).count();
                        (young as f64 / own.len().max(1) as f64 * self.cows as f64).round() as usize
                    }
                };
                let part = |young| {
                    self.stock(
                        if young { count } else { self.cows.saturating_sub(count) },
                        Some((fresh.until_day, young)),
                    )
                };
                pens.push(self.pen("Fresh cows", part(true), fresh.boxes));
                pens.push(self.pen("Pen", part(false), self.boxes - fresh.boxes));
            }
        }
        pens.iter().try_for_each(check)?;
        Ok(Scenario { pens })
    }

    fn days(&self) -> (f64, f64) {
        match &self.herd {
            Cows::Drawn(about) => about.days,
            Cows::Own(own) => own
                .iter()
                .fold((f64::INFINITY, 0.0), |(low, high), cow| (low.min(cow.days), high.max(cow.days))),
        }
    }

    /// `count` cows; of those up to a day, or beyond it, where asked.
    fn stock(&self, count: usize, part: Option<(f64, bool)>) -> Stock {
        match &self.herd {
            Cows::Drawn(about) => {
                let mut about = about.clone();
                about.shortest_by_h = self.shortest_by_h;
                if let Some((until, young)) = part {
                    about.days = if young { (about.days.0, until) } else { (until, about.days.1) };
                }
                Stock::Drawn { count, about }
            }
            Cows::Own(own) => {
                let within = |cow: &&Cow| part.is_none_or(|(until, young)| (cow.days <= until) == young);
                let mut of: Vec<Cow> = own.iter().filter(within).copied().collect();
                // One late cow among many does not make the question void; a change of many hours contradicts.
                let small = 0.0 < self.shortest_by_h && self.shortest_by_h <= SMALL_CHANGE_H;
                for cow in &mut of {
                    let by_h = (cow.minimum_h + self.shortest_by_h).max(0.0);
                    cow.minimum_h = if small { by_h.min(0.95 * cow.longest_h) } else { by_h };
                }
                Stock::Own { count, of: Arc::new(of) }
            }
        }
    }

    fn pen(&self, name: &str, stock: Stock, boxes: usize) -> Pen {
        Pen {
            name: name.to_owned(),
            stock,
            boxes,
            traffic: self.traffic,
            coming: Coming {
                since_per_h: self.since_per_h.clone(),
                hour: hours_of(&self.clock, &self.feeding, &self.fed_as),
                together_per_min: None,
            },
            queue: self.queue,
            service: self.service.clone(),
            closures: self.closures.clone(),
            fetching: self.fetching.clone(),
        }
    }

    /// The same about another number of cows.
    pub fn of_cows(&self, cows: usize) -> Setup {
        Setup { cows, ..self.clone() }
    }

    /// Milk that a cow gives in a milking at 2.8 a day, kg, and the minutes a visit then takes.
    pub fn visit_min(&self) -> f64 {
        let (mut minutes, mut of) = (0.0, 0.0);
        let mut cows = Vec::new();
        self.stock(100, None).fill(&mut cows, 0, 0);
        for cow in &cows {
            let hours = 24.0 / 2.8;
            let milk_kg = cow.rate_kg_h * crate::expect::secretion::g(hours, cow.kappa_per_h);
            minutes += self.service.handling_min + milk_kg / cow.flow_kg_min;
            of += 1.0;
        }
        minutes / f64::max(of, 1.0)
    }

    /// Sets the shortest intervals of early, mid and late lactation, for drawn cows and a farm's own.
    pub fn set_shortest(&mut self, hours: [f64; 3]) {
        match &mut self.herd {
            Cows::Drawn(about) => about.minimum_h = hours,
            Cows::Own(own) => {
                let usual = Drawn::default();
                let cows = own.iter().map(|cow| {
                    let stage = usual.until_day.iter().filter(|last| **last < cow.days).count();
                    Cow { minimum_h: hours[stage], ..*cow }
                });
                *own = Arc::new(cows.collect());
            }
        }
    }

    /// Sets the milk that lets a cow in before her hours are over.
    pub fn set_kg(&mut self, kg: f64) {
        match &mut self.herd {
            Cows::Drawn(about) => about.minimum_kg = kg,
            Cows::Own(own) => {
                let cows = own.iter().map(|cow| Cow {
                    minimum_h: shortest_h(cow.minimum_h, kg, cow.rate_kg_h, cow.kappa_per_h),
                    ..*cow
                });
                *own = Arc::new(cows.collect());
            }
        }
    }

    /// Sets the hours after which cows are brought.
    pub fn set_longest(&mut self, hours: f64) {
        match &mut self.herd {
            Cows::Drawn(about) => about.longest_h = hours,
            Cows::Own(own) => {
                *own = Arc::new(own.iter().map(|cow| Cow { longest_h: hours, ..*cow }).collect());
            }
        }
    }
}
