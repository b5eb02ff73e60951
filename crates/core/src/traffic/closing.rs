//! When does a box close, and for how long: cleaning by the clock, service by the calendar, breakdowns by chance.

use super::{pen::Closures, streams::Stream};

/// What closes a box, as counted: cleaning, service, breakdown.
const CLEANING: usize = 0;
const SERVICE: usize = 1;
const FAULT: usize = 2;

/// One box's closures.
#[derive(Debug, Clone)]
pub struct Closing {
    /// It is closed now.
    pub closed: bool,
    /// It closes when the cow in it has left.
    pub waits_for_her: bool,
    /// Until then the next cow is on her way in.
    pub between: Option<f64>,
    /// Minutes within the days that count, of closures that began before them.
    pub before: [f64; 3],
    /// Next of each kind, min.
    next: [f64; 3],
    number: usize,
    chance: Stream,
}

impl Closing {
    /// Those of a box.
    pub fn of(closures: &Closures, number: usize, (seed, replicate): (u64, u32)) -> Closing {
        let mut chance = Stream::named(seed, "box faults", replicate, number as u32);
        let every = |days: f64| 1440.0 * days;
        // Services of the boxes are spread over the time between two.
        let service = if closures.service_every_d.is_finite() {
            (every(closures.service_every_d) * chance.unit() / 60.0).floor() * 60.0
        } else {
            f64::INFINITY
        };
        let fault = if closures.fault_every_d.is_finite() {
            every(closures.fault_every_d) * chance.wait()
        } else {
            f64::INFINITY
        };
        let mut closing = Closing {
            closed: false,
            waits_for_her: false,
            between: None,
            before: [0.0; 3],
            next: [f64::INFINITY, service, fault],
            number,
            chance,
        };
        closing.next[CLEANING] = closing.cleaning_after(closures, -1.0);
        closing
    }

    /// The next cleaning after a time: box after box, so that not all are closed at once.
    fn cleaning_after(&self, closures: &Closures, at: f64) -> f64 {
        let turn = self.number as f64 * closures.cleaned_apart_min;
        let day = (at / 1440.0).floor() * 1440.0;
        (0..3)
            .flat_map(|ahead| closures.cleaned_h.iter().map(move |hour| (ahead, hour)))
            .map(|(ahead, hour)| day + 1440.0 * f64::from(ahead - 1) + (60.0 * hour + turn) % 1440.0)
            .filter(|then| at < *then)
            .fold(f64::INFINITY, f64::min)
    }

    /// What is next: it closes, opens, or lets the next cow in.
    pub fn at(&self) -> f64 {
        self.between.unwrap_or_else(|| self.next.iter().copied().fold(f64::INFINITY, f64::min))
    }

    /// It closes now: why, and until when.
    pub fn close(&mut self, closures: &Closures, at: f64) -> (usize, f64) {
        self.closed = true;
        let kind = if self.next[FAULT] <= at {
            FAULT
        } else if self.next[SERVICE] <= at {
            SERVICE
        } else {
            CLEANING
        };
        let minutes = match kind {
            FAULT => closures.fault_min * self.chance.wait(),
            SERVICE => closures.service_min,
            _ => closures.cleaning_min,
        };
        let until = at + minutes;
        match kind {
            FAULT => self.next[FAULT] = until + 1440.0 * closures.fault_every_d * self.chance.wait(),
            SERVICE => self.next[SERVICE] = until + 1440.0 * closures.service_every_d,
            _ => {}
        }
        // A cleaning that fell into another closure is done with it.
        if self.next[CLEANING] <= until {
            self.next[CLEANING] = self.cleaning_after(closures, until);
        }
        (kind, until)
    }
}
