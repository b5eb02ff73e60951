//! Who is next? Each cow and each box has one time at which something happens to it; the earliest is at hand.
//!
//! A winner tree over fixed places: changing one time costs one comparison a level, no place is ever moved, and nothing
//! is allocated. Of equal times the place with the smaller number is first.

/// Times of fixed places, minutes; `INFINITY` is never.
#[derive(Debug, Clone, Default)]
pub struct Next {
    /// Times of the places, padded to a power of two.
    times: Vec<f64>,
    /// Winner of each pair, the root at 1.
    winners: Vec<u32>,
    leaves: usize,
}

impl Next {
    /// Sets up `places` places, all at never; keeps what was allocated.
    pub fn reset(&mut self, places: usize) {
        self.leaves = places.next_power_of_two().max(2);
        self.times.clear();
        self.times.resize(self.leaves, f64::INFINITY);
        self.winners.clear();
        self.winners.resize(self.leaves, 0);
        for node in (1..self.leaves).rev() {
            let leaf = |child: usize| (child - self.leaves) as u32;
            let child = 2 * node;
            self.winners[node] = if self.leaves <= child { leaf(child) } else { self.winners[child] };
        }
    }

    /// When something happens at a place.
    #[inline]
    pub fn time(&self, place: usize) -> f64 {
        self.times[place]
    }

    /// Changes when something happens at a place.
    #[inline]
    pub fn set(&mut self, place: usize, time: f64) {
        self.times[place] = time;
        // The lowest level compares times of leaves, the others winners.
        let pair = place & !1;
        let mut winner = if self.times[pair + 1] < self.times[pair] { pair + 1 } else { pair };
        let mut node = (self.leaves + place) >> 1;
        self.winners[node] = winner as u32;
        while 1 < node {
            let (own, beside) = (winner, self.winners[node ^ 1] as usize);
            let (left, right) = if node & 1 == 0 { (own, beside) } else { (beside, own) };
            winner = if self.times[right] < self.times[left] { right } else { left };
            node >>= 1;
            self.winners[node] = winner as u32;
        }
    }

    /// The earliest place and its time.
    #[inline]
    pub fn first(&self) -> (usize, f64) {
        let place = self.winners[1] as usize;
        (place, self.times[place])
    }
}
