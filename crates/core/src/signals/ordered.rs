//! Sums by a key whose keys come almost in order, as steps of time do; and readings by cow.

use crate::herd::LifeKey;

/// Entries in order of their keys.
///
/// Readings come by time, so that the next one mostly falls where the last one fell, or one further: that is looked at first.
#[derive(Debug, Clone, Default)]
pub(super) struct Ordered<K, T> {
    all: Vec<(K, T)>,
    last: usize,
}

impl<K: Ord + Copy, T: Default> Ordered<K, T> {
    /// The entry of a key; made where there is none.
    pub fn of(&mut self, key: K) -> &mut T {
        let near = [self.last, self.last + 1];
        let found =
            near.into_iter().find(|place| self.all.get(*place).is_some_and(|(known, _)| *known == key));
        self.last = found.unwrap_or_else(|| {
            self.all.binary_search_by_key(&key, |(known, _)| *known).unwrap_or_else(|place| {
                self.all.insert(place, (key, T::default()));
                place
            })
        });
        &mut self.all[self.last].1
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.all.len()
    }
}

impl<K, T> Ordered<K, T> {
    /// Hands out all entries; what is left is empty, and has room for as many.
    pub fn drain(&mut self) -> std::vec::Drain<'_, (K, T)> {
        self.last = 0;
        self.all.drain(..)
    }
}

impl<K, T> IntoIterator for Ordered<K, T> {
    type Item = (K, T);
    type IntoIter = std::vec::IntoIter<(K, T)>;

    fn into_iter(self) -> Self::IntoIter {
        self.all.into_iter()
    }
}

/// Places of readings, cows in order and each one's as they came; and by cow where hers end.
pub(super) fn by_life(lives: impl Iterator<Item = LifeKey> + Clone) -> (Vec<u32>, Vec<usize>) {
    let lives = lives.map(|life| life.0 as usize);
    // Cows are few and numbered: they are counted, not sorted.
    let mut ends = vec![0; lives.clone().max().map_or(0, |last| last + 1)];
    lives.clone().for_each(|life| ends[life] += 1);
    let mut sum = 0;
    for end in &mut ends {
        sum += std::mem::replace(end, sum);
    }
    let mut order = vec![0; sum];
    for (place, life) in (0..).zip(lives) {
        // Each begins where the one before ends, and has ended when all hers are placed.
        order[ends[life]] = place;
        ends[life] += 1;
    }
    (order, ends)
}
