//! The middle value: what most say, whoever shouts.

/// Middle value of `values`, which are put in another order; the mean of the two where there are two; `None` of nothing.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    let half = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let odd = values.len() % 2 == 1;
    let (below, middle, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    let middle = *middle;
    if odd {
        return Some(middle);
    }
    let below = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(0.5 * (below + middle))
}

/// The same of values that come one by one; 0 of nothing.
pub(crate) fn median_of(values: impl Iterator<Item = f64>) -> f64 {
    median(&mut values.collect::<Vec<f64>>()).unwrap_or(0.0)
}

#[cfg(test)]
mod tests;
