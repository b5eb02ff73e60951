//! Rounds of people, who bring cows that are past their limits.

use super::{Run, State};

impl Run<'_> {
    /// People bring cows that are past their limits, the longest overdue first.
    pub(super) fn round_of_people(&mut self, at: f64) {
        let fetching = &self.pen.fetching;
        self.room.overdue.clear();
        for (number, (cow, now)) in self.room.cows.iter().zip(&self.room.now).enumerate() {
            let over = (at - now.last) / 60.0 - cow.longest_h;
            if now.state == State::Away && 0.0 < over {
                self.room.overdue.push((over, number as u32));
            }
        }
        self.room.overdue.sort_unstable_by(|one, other| other.0.total_cmp(&one.0).then(one.1.cmp(&other.1)));
        let most = (fetching.round_min / fetching.cow_min).max(0.0) as usize;
        let mut walked = 0.0;
        for place in 0..self.room.overdue.len().min(most) {
            let cow = self.room.overdue[place].1 as usize;
            walked += fetching.cow_min;
            // One that comes by herself before she is reached is left alone.
            if at + walked < self.room.next.time(cow) {
                self.room.now[cow].state = State::Brought;
                self.room.next.set(cow, at + walked);
                self.room.counted.people_min += fetching.cow_min;
            } else {
                walked -= fetching.cow_min;
            }
        }
        self.next_round(at);
    }

    pub(super) fn next_round(&mut self, at: f64) {
        let fetching = &self.pen.fetching;
        let (from, to) = fetching.working_h;
        let day = (at / 1440.0).floor() * 1440.0;
        let next = fetching
            .rounds_h
            .iter()
            .filter(|hour| from <= **hour && **hour <= to)
            .map(|hour| day + 60.0 * hour)
            .map(|then| if at < then { then } else { then + 1440.0 })
            .fold(f64::INFINITY, f64::min);
        let place = self.room.cows.len() + self.pen.boxes;
        self.room.next.set(place, next);
    }
}
