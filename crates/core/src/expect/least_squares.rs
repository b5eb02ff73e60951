//! Small solvers the curve fits stand on: three unknowns by least squares with a prior, and a root by bisection.
//!
//! Normal equations square the condition number, so callers that need the last digits solve a second time for what the
//! first solution misses ([`refined`]). Source: Golub & Van Loan, Matrix Computations, §3.5 and §5.3.

/// One row: slopes of the three unknowns, what they should add up to, weight.
pub(crate) type Row = ([f64; 3], f64, f64);

/// Weighted least squares with a ridge: solves (Σ w·x·xᵀ + ridge)·β = Σ w·x·y + pull.
///
/// `ridge` and `pull` are a prior's precision and precision times mean; zero for none. `None` where the rows and the
/// prior leave an unknown open, or a figure is not finite.
pub(crate) fn least_squares(
    rows: impl Iterator<Item = Row>,
    ridge: [[f64; 3]; 3],
    pull: [f64; 3],
) -> Option<[f64; 3]> {
    let (mut normal, mut right) = (ridge, pull);
    for (x, y, weight) in rows {
        for i in 0..3 {
            right[i] += weight * x[i] * y;
            for j in 0..3 {
                normal[i][j] += weight * x[i] * x[j];
            }
        }
    }
    solve(normal, right)
}

/// Least squares without a prior, solved again for what the first solution misses, which brings back the digits that
/// the normal equations lost.
pub(crate) fn refined(rows: impl Iterator<Item = Row> + Clone) -> Option<[f64; 3]> {
    let mut solution = [0.0; 3];
    for _ in 0..3 {
        let left = rows.clone().map(|(x, y, weight)| {
            let fitted: f64 = x.iter().zip(&solution).map(|(slope, unknown)| slope * unknown).sum();
            (x, y - fitted, weight)
        });
        let more = least_squares(left, [[0.0; 3]; 3], [0.0; 3])?;
        solution = std::array::from_fn(|unknown| solution[unknown] + more[unknown]);
    }
    Some(solution)
}

/// Three equations by elimination with row exchanges, scaled by the diagonal first. `None` where singular.
fn solve(mut matrix: [[f64; 3]; 3], mut right: [f64; 3]) -> Option<[f64; 3]> {
    let scale: [f64; 3] = std::array::from_fn(|own| matrix[own][own].abs().sqrt());
    if !scale.iter().all(|scale| 0.0 < *scale && scale.is_finite()) {
        return None;
    }
    for row in 0..3 {
        right[row] /= scale[row];
        for column in 0..3 {
            matrix[row][column] /= scale[row] * scale[column];
        }
    }
    for column in 0..3 {
        let pivot =
            (column..3).max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))?;
        // Scaled, the diagonal is 1: less than this of it left is rounding of columns that span each other.
        if matrix[pivot][column].abs() < 1e-13 {
            return None;
        }
        matrix.swap(column, pivot);
        right.swap(column, pivot);
        for row in column + 1..3 {
            let factor = matrix[row][column] / matrix[column][column];
            let above = matrix[column];
            for (cell, above) in matrix[row].iter_mut().zip(above).skip(column) {
                *cell -= factor * above;
            }
            right[row] -= factor * right[column];
        }
    }
    let mut solution = [0.0; 3];
    for row in (0..3).rev() {
        let known: f64 = (row + 1..3).map(|column| matrix[row][column] * solution[column]).sum();
        solution[row] = (right[row] - known) / matrix[row][row];
    }
    let solution: [f64; 3] = std::array::from_fn(|unknown| solution[unknown] / scale[unknown]);
    solution.iter().all(|unknown| unknown.is_finite()).then_some(solution)
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
