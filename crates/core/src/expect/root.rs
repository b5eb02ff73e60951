//! Where does a continuous function pass zero?

/// Where a function that is negative at `low` becomes positive before `high`, to the last bit; `None` if it does not.
pub(crate) fn bisect(of: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> Option<f64> {
    if !(of(low) < 0.0 && 0.0 < of(high)) {
        return None;
    }
    loop {
        let middle = f64::midpoint(low, high);
        if middle <= low || high <= middle {
            return Some(middle);
        }
        if of(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
}
