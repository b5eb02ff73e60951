//! Who is next? Each cow and each box has one time at which something happens to it; the earliest is at hand.
//!
//! A winner tree over fixed places: each node holds the earlier of its two, time and place together, so that changing one
//! time is one comparison a level with what lies beside. No place is ever moved, and nothing is allocated. Of equal times
//! the place on the left, with the smaller number, is first.

/// A time, minutes, as its bits, and the place it is of. Bits of times from 0 on are in the order of the times, and a whole
/// number can be chosen without a branch, which would be guessed wrongly half the time.
type Leaf = (u64, u32);

/// Times of fixed places, minutes; `INFINITY` is never.
#[derive(Debug, Clone, Default)]
pub struct Next {
    /// The root at 1, the leaves from `leaves` on; padded to a power of two.
    nodes: Vec<Leaf>,
    leaves: usize,
}

impl Next {
    /// Sets up `places` places, all at never; keeps what was allocated.
    pub fn reset(&mut self, places: usize) {
        self.leaves = places.next_power_of_two().max(2);
        self.nodes.clear();
        self.nodes.resize(2 * self.leaves, (f64::INFINITY.to_bits(), 0));
        for place in 0..self.leaves {
            self.nodes[self.leaves + place].1 = place as u32;
        }
        for node in (1..self.leaves).rev() {
            self.nodes[node] = self.nodes[2 * node];
        }
    }

    /// When something happens at a place.
    #[inline]
    pub fn time(&self, place: usize) -> f64 {
        f64::from_bits(self.nodes[self.leaves + place].0)
    }

    /// Changes when something happens at a place; `time` is 0 and above.
    #[inline]
    pub fn set(&mut self, place: usize, time: f64) {
        let nodes = self.nodes.as_mut_slice();
        let mut node = self.leaves + place;
        let mut winner = (time.to_bits(), place as u32);
        nodes[node] = winner;
        while 1 < node {
            let beside = nodes[node ^ 1];
            // The left one wins a tie, whichever of the two is ours.
            let loses = beside.0 < winner.0 + (node as u64 & 1);
            winner.0 = if loses { beside.0 } else { winner.0 };
            winner.1 = if loses { beside.1 } else { winner.1 };
            node >>= 1;
            nodes[node] = winner;
        }
    }

    /// The earliest place and its time.
    #[inline]
    pub fn first(&self) -> (usize, f64) {
        let (time, place) = self.nodes[1];
        (place as usize, f64::from_bits(time))
    }
}
