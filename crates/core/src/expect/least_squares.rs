//! Small solvers the curve fits stand on: linear least squares by Householder reflections, and a root by bisection.
//!
//! Reflections instead of normal equations, which square the condition number (a lactation's constant, day and early
//! exponential are far from at right angles). Source: Golub & Van Loan, Matrix Computations, §5.2–5.3.

/// β that minimises Σ (target − row · β)².
///
/// `None` with fewer rows than unknowns, with a column that the others already span, or with a figure that is not finite.
pub(crate) fn least_squares<const N: usize>(rows: &[[f64; N]], targets: &[f64]) -> Option<[f64; N]> {
    if rows.len() < N || rows.len() != targets.len() {
        return None;
    }
    let mut rows = rows.to_vec();
    let mut targets = targets.to_vec();
    let sizes: [f64; N] = std::array::from_fn(|column| norm(rows.iter().map(|row| row[column])));
    for step in 0..N {
        let length = norm(rows[step..].iter().map(|row| row[step]));
        // Also true of NaN, which no comparison would catch the other way round.
        if !(sizes[step] * 1e-13 < length && length.is_finite()) {
            return None;
        }
        let diagonal = -length.copysign(rows[step][step]);
        let mut reflector: Vec<f64> = rows[step..].iter().map(|row| row[step]).collect();
        reflector[0] -= diagonal;
        let scale = 2.0 / reflector.iter().map(|x| x * x).sum::<f64>();
        for column in step..N {
            let along: f64 = reflector.iter().zip(&rows[step..]).map(|(v, row)| v * row[column]).sum();
            for (v, row) in reflector.iter().zip(&mut rows[step..]) {
                row[column] -= scale * along * v;
            }
        }
        let along: f64 = reflector.iter().zip(&targets[step..]).map(|(v, target)| v * target).sum();
        for (v, target) in reflector.iter().zip(&mut targets[step..]) {
            *target -= scale * along * v;
        }
    }
    let mut solution = [0.0; N];
    for step in (0..N).rev() {
        let known: f64 = (step + 1..N).map(|column| rows[step][column] * solution[column]).sum();
        solution[step] = (targets[step] - known) / rows[step][step];
    }
    solution.iter().all(|x| x.is_finite()).then_some(solution)
}

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

/// Euclidean length.
pub(crate) fn norm(values: impl Iterator<Item = f64>) -> f64 {
    values.map(|x| x * x).sum::<f64>().sqrt()
}
