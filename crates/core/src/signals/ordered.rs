//! Sums by a key whose keys come almost in order, as steps of time do.

/// Entries in order of their keys.
///
/// Readings come by time, so that the next one mostly falls where the last one fell: that is looked at first.
#[derive(Debug, Clone, Default)]
pub(super) struct Ordered<K, T> {
    all: Vec<(K, T)>,
    last: usize,
}

impl<K: Ord + Copy, T: Default> Ordered<K, T> {
    /// The entry of a key; made where there is none.
    pub fn of(&mut self, key: K) -> &mut T {
        if self.all.get(self.last).is_none_or(|(known, _)| *known != key) {
            self.last = match self.all.binary_search_by_key(&key, |(known, _)| *known) {
                Ok(place) => place,
                Err(place) => {
                    self.all.insert(place, (key, T::default()));
                    place
                }
            };
        }
        &mut self.all[self.last].1
    }
}

impl<K, T> IntoIterator for Ordered<K, T> {
    type Item = (K, T);
    type IntoIter = std::vec::IntoIter<(K, T)>;

    fn into_iter(self) -> Self::IntoIter {
        self.all.into_iter()
    }
}
