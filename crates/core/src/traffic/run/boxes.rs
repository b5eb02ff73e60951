//! A box opens, closes, and lets in whoever is first.

use super::Run;

impl Run<'_> {
    /// A box can be entered: by whoever is first in the queue.
    #[inline]
    pub(super) fn opens(&mut self, at_box: usize, at: f64) {
        self.free |= 1 << at_box;
        let mut best: Option<(usize, f64)> = None;
        for (place, (key, _)) in self.room.queue.iter().enumerate() {
            if best.is_none_or(|(_, least)| *key < least) {
                best = Some((place, *key));
            }
        }
        if let Some((place, _)) = best {
            let (_, cow) = self.room.queue.swap_remove(place);
            self.enters(cow as usize, at_box, at);
        }
    }

    pub(super) fn closes(&mut self, at_box: usize, at: f64) {
        self.free &= !(1 << at_box);
        let closing = &mut self.room.closing[at_box];
        let (kind, until) = closing.close(&self.pen.closures, at);
        let counted = (until.min(self.end) - at.max(self.counts_from)).max(0.0);
        // Before the days that count everything is thrown away; a closure that reaches into them is not.
        if at < self.counts_from {
            closing.before[kind] += counted;
        } else {
            self.room.counted.closed_min[kind] += counted;
        }
        let place = self.room.cows.len() + at_box;
        self.room.next.set(place, until);
    }

    /// The time of a box has come: to close, to open, or to let the next one in.
    pub(super) fn box_turns(&mut self, at_box: usize, at: f64) {
        let place = self.room.cows.len() + at_box;
        let closing = &mut self.room.closing[at_box];
        if closing.between.take().is_some() {
            // A closure that fell due meanwhile is due now.
            let due = closing.at().max(at);
            self.room.next.set(place, due);
            return self.opens(at_box, at);
        }
        if closing.closed {
            closing.closed = false;
            let due = closing.at().max(at);
            self.room.next.set(place, due);
            return self.opens(at_box, at);
        }
        if self.free & (1 << at_box) != 0 {
            return self.closes(at_box, at);
        }
        // She is milked to the end.
        closing.waits_for_her = true;
        self.room.next.set(place, f64::INFINITY);
    }
}
