//! When does she come? The hottest of all: half-hour by half-hour of the clock until her hazard is used up.

use super::{HALF_MIN, Run};
use crate::traffic::pen::{HALVES, SINCE};

/// Half-hours looked ahead for a coming; a cow that does not come in two weeks does not come.
const LOOK_HALVES: u32 = 14 * HALVES as u32;
/// Bits of a half-hour's fine part.
const FINE: u32 = 20;

impl Run<'_> {
    #[inline]
    pub(super) fn coming_after(&mut self, cow: usize, at: f64) -> f64 {
        let (own, now) = (&self.room.cows[cow], &mut self.room.now[cow]);
        let mut need = now.coming.wait() / own.frailty;
        let first = (at * (1.0 / HALF_MIN)) as u32;
        let mut half = first as usize % HALVES;
        let to = f64::from(first + 1) * HALF_MIN;
        let (since, hours) = (self.room.since.as_slice(), self.room.hours.as_slice());
        let hazard = |place: u64, half: usize| since[((place >> FINE) as usize).min(SINCE - 1)] * hours[half];
        // Half-hours of the herd's hazard since her last milking, in whole numbers of a fine part: cheap to step.
        let fine = |half_hours: f64| (half_hours * (1_u64 << FINE) as f64) as i64 as u64;
        // What is left of this half-hour, then whole ones: at the middle of each.
        let mut place = fine((0.5 * (at + to) - now.last) * (own.pace / HALF_MIN));
        let part = hazard(place, half);
        let gain = part * (to - at) * (1.0 / HALF_MIN);
        if need <= gain {
            return at + HALF_MIN * need / part;
        }
        need -= gain;
        place = fine((to + 0.5 * HALF_MIN - now.last) * (own.pace / HALF_MIN));
        let step = fine(own.pace);
        for ahead in 0..LOOK_HALVES {
            half += 1;
            if half == HALVES {
                half = 0;
            }
            let gain = hazard(place, half);
            if need <= gain {
                return to + HALF_MIN * (f64::from(ahead) + need / gain);
            }
            need -= gain;
            place += step;
        }
        f64::INFINITY
    }
}
