//! Masses over the levels of a grid: where most of them lie, and how they move.

/// Likeliest place, and those that leave 5 % on either side.
pub(super) fn interval(weights: &[f64]) -> Option<(usize, usize, usize)> {
    let total: f64 = weights.iter().sum();
    let top = (0..weights.len()).max_by(|a, b| weights[*a].total_cmp(&weights[*b]))?;
    let edge = |share: f64| {
        let mut sum = 0.0;
        weights.iter().position(|weight| {
            sum += weight;
            share * total <= sum
        })
    };
    Some((top, edge(0.05)?.min(top), edge(0.95)?.max(top)))
}

/// Each level's mass times what the look says of it.
pub(super) fn weigh(modes: &mut [Vec<f64>], likelihood: &[f64]) {
    for mode in modes {
        mode.iter_mut().zip(likelihood).for_each(|(mass, likelihood)| *mass *= likelihood);
    }
}

/// Adds each level's mass to the levels it moves to: one down, its own, one up; at either end it stays.
pub(super) fn spread([down, stays, up]: [f64; 3], mass: &[f64], to: &mut [f64]) {
    let last = mass.len() - 1;
    to[0] = to[0] + down * mass[0] + stays * mass[0] + down * mass[1];
    for (near, to) in mass.windows(3).zip(&mut to[1..last]) {
        *to = *to + up * near[0] + stays * near[1] + down * near[2];
    }
    to[last] = to[last] + up * mass[last - 1] + stays * mass[last] + up * mass[last];
}

/// Adds to each level what the levels that it moves to hold.
pub(super) fn gather([down, stays, up]: [f64; 3], held: &[f64], by: &mut [f64]) {
    let last = held.len() - 1;
    by[0] = by[0] + down * held[0] + stays * held[0] + up * held[1];
    for (near, by) in held.windows(3).zip(&mut by[1..last]) {
        *by = *by + down * near[0] + stays * near[1] + up * near[2];
    }
    by[last] = by[last] + down * held[last - 1] + stays * held[last] + up * held[last];
}
