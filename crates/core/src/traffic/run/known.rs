//! What queues with a known answer need: visits at a constant rate, and service times by a law.

use super::{Law, Run, Stream};

impl Run<'_> {
    /// A visit of those that come at a constant rate: by the cow that is away longest.
    pub(super) fn one_of_many(&mut self, at: f64) {
        if let Some(per_min) = self.pen.coming.together_per_min {
            let place = self.room.cows.len() + self.pen.boxes + 1;
            let next = at + self.arrivals.wait() / per_min;
            self.room.next.set(place, next);
        }
        match self.room.ring.pop_front() {
            Some(cow) => self.comes(cow as usize, at),
            None => self.room.counted.short += 1,
        }
    }
}

/// Minutes of a service by a law.
pub(super) fn minutes_by(law: Law, stream: &mut Stream) -> f64 {
    match law {
        Law::Fixed(minutes) => minutes,
        Law::Erlang(mean, parts) => {
            (0..parts).map(|_| stream.wait()).sum::<f64>() * mean / f64::from(parts.max(1))
        }
        Law::Either(one, other, chance) => {
            let mean = if stream.unit() < chance { one } else { other };
            mean * stream.wait()
        }
    }
}
