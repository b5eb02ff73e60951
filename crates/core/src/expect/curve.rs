//! What does a lactation look like?
//!
//! # Equation
//! Wood:     y = a·d^b·exp(−c·d),   d ln y/dd = b/d − c,   peak at d = b/c
//! Wilmink:  y = a + b·exp(−0.05·d) + c·d
//!   d  days in milk    y  kg a day, or kg/h where the level of a cow is meant
//! Fits are least squares: Wilmink and Wood's logarithms by normal equations, Wood itself by damped Gauss–Newton steps.
//! Least squares of the logarithms is another estimand: small yields dominate it.
//! # Source
//! Forms: Wood 1967, Wilmink 1987 (`sources.md` §3, from memory).
//! # Proof
//! `wood_fit.csv` to 1e-4 relative, fit of a published series of milk fat.

/// Wood's curve: `a` in the unit of the yield, `b` without unit, `c` in 1/d.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Wood {
    /// Height.
    pub a: f64,
    /// Rise.
    pub b: f64,
    /// Fall, 1/d (positive falls).
    pub c: f64,
}

impl Wood {
    /// Yield on day `days`; 0 on day 0 when it rises.
    pub fn value(&self, days: f64) -> f64 {
        self.a * days.powf(self.b) * (-self.c * days).exp()
    }
    /// Change a day, yield/d.
    pub fn slope(&self, days: f64) -> f64 {
        self.value(days) * (self.b / days - self.c)
    }
    /// Logarithm of the yield. The day counts as at least one: Wood's curve starts from nothing, a cow does not.
    pub fn log_value(&self, days: f64) -> f64 {
        let days = days.max(1.0);
        self.a.ln() + self.b * days.ln() - self.c * days
    }
    /// Day of the peak, b/c.
    pub fn peak_day(&self) -> f64 {
        self.b / self.c
    }
    /// Yield at the peak, a·(b/c)^b·exp(−b).
    pub fn peak(&self) -> f64 {
        self.a * self.peak_day().powf(self.b) * (-self.b).exp()
    }
}

/// Wilmink's curve: `a`, `b` in the unit of the yield, `c` a day.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Wilmink {
    /// Height.
    pub a: f64,
    /// Rise after calving (negative rises).
    pub b: f64,
    /// Change a day.
    pub c: f64,
}

/// Wilmink's rate of the rise, 1/d.
pub const WILMINK_RISE_PER_D: f64 = 0.05;

impl Wilmink {
    /// Yield on day `days`.
    pub fn value(&self, days: f64) -> f64 {
        self.a + self.b * (-WILMINK_RISE_PER_D * days).exp() + self.c * days
    }
    /// Change a day, yield/d.
    pub fn slope(&self, days: f64) -> f64 {
        self.c - WILMINK_RISE_PER_D * self.b * (-WILMINK_RISE_PER_D * days).exp()
    }
}

/// A fit and its sum of squared residuals (of the logarithms for [`fit_wood_of_logs`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit<C> {
    /// The curve.
    pub curve: C,
    /// Sum of squared residuals.
    pub rss: f64,
}

/// Least squares of Wilmink's curve over (day, yield). `None` for fewer than three different days.
pub fn fit_wilmink(points: &[(f64, f64)]) -> Option<Fit<Wilmink>> {
    let rows = points.iter().map(|&(day, y)| ([1.0, (-WILMINK_RISE_PER_D * day).exp(), day], y, 1.0));
    let [a, b, c] = least_squares(rows, [[0.0; 3]; 3], [0.0; 3])?;
    let curve = Wilmink { a, b, c };
    let rss = points.iter().map(|&(day, y)| (y - curve.value(day)).powi(2)).sum();
    Some(Fit { curve, rss })
}

/// Least squares of ln y = ln a + b·ln d − c·d over (day, yield), days and yields above 0; others are left out.
pub fn fit_wood_of_logs(points: &[(f64, f64)]) -> Option<Fit<Wood>> {
    let usable = || points.iter().filter(|&&(day, y)| day > 0.0 && y > 0.0);
    let rows = usable().map(|&(day, y)| ([1.0, day.ln(), -day], y.ln(), 1.0));
    let [log_a, b, c] = least_squares(rows, [[0.0; 3]; 3], [0.0; 3])?;
    let rss = usable().map(|&(day, y)| (y.ln() - log_a - b * day.ln() + c * day).powi(2)).sum();
    Some(Fit { curve: Wood { a: log_a.exp(), b, c }, rss })
}

/// Least squares of Wood's curve itself over (day, yield), from the fit of the logarithms by Levenberg's damped steps
/// until a step changes nothing to 1e-12. `None` where that start does not exist.
pub fn fit_wood(points: &[(f64, f64)]) -> Option<Fit<Wood>> {
    let Fit { mut curve, .. } = fit_wood_of_logs(points)?;
    let rss_of = |curve: &Wood| points.iter().map(|&(day, y)| (y - curve.value(day)).powi(2)).sum::<f64>();
    let mut rss = rss_of(&curve);
    let mut damping = 1e-3;
    for _ in 0..500 {
        // In (ln a, b, c) the derivatives are y, y·ln d, −y·d; the damping scales with their own size.
        let rows = points.iter().filter(|point| point.0 > 0.0).map(|&(day, y)| {
            let value = curve.value(day);
            ([value, value * day.ln(), -value * day], y - value, 1.0)
        });
        let mut ridge = [[0.0; 3]; 3];
        for (row, _, _) in rows.clone() {
            for k in 0..3 {
                ridge[k][k] += damping * row[k] * row[k];
            }
        }
        let Some([step_a, step_b, step_c]) = least_squares(rows, ridge, [0.0; 3]) else { break };
        let tried = Wood { a: curve.a * step_a.exp(), b: curve.b + step_b, c: curve.c + step_c };
        let tried_rss = rss_of(&tried);
        // At the bottom the misfit is flat to rounding while the slopes still point down: a hair of rise is no rise.
        if tried_rss <= rss * (1.0 + 1e-13) {
            let change = step_a.abs() + step_b.abs() + step_c.abs();
            (curve, rss) = (tried, tried_rss);
            damping = (damping * 0.2).max(1e-12);
            if change < 1e-12 {
                break;
            }
        } else {
            damping *= 5.0;
            if damping > 1e12 {
                break;
            }
        }
    }
    Some(Fit { curve, rss })
}

/// Weighted least squares with a ridge: solves (Σ w·x·xᵀ + ridge)·β = Σ w·x·y + pull, three unknowns.
///
/// `ridge` and `pull` are a prior's precision and precision times mean; zero for none. `None` where singular.
pub(crate) fn least_squares(
    rows: impl Iterator<Item = ([f64; 3], f64, f64)>,
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
    solve3(normal, right)
}

/// Solves three equations by elimination with row exchanges, after scaling by the diagonal. `None` where singular.
fn solve3(mut matrix: [[f64; 3]; 3], mut right: [f64; 3]) -> Option<[f64; 3]> {
    let scale = [0, 1, 2].map(|k: usize| matrix[k][k].abs().sqrt());
    if scale.iter().any(|&s| s == 0.0 || !s.is_finite()) {
        return None;
    }
    for i in 0..3 {
        right[i] /= scale[i];
        for j in 0..3 {
            matrix[i][j] /= scale[i] * scale[j];
        }
    }
    for column in 0..3 {
        let pivot =
            (column..3).max_by(|&i, &j| matrix[i][column].abs().total_cmp(&matrix[j][column].abs()))?;
        if matrix[pivot][column].abs() < 1e-13 {
            return None;
        }
        matrix.swap(column, pivot);
        right.swap(column, pivot);
        for row in column + 1..3 {
            let factor = matrix[row][column] / matrix[column][column];
            let above = matrix[column];
            for (own, above) in matrix[row].iter_mut().zip(above).skip(column) {
                *own -= factor * above;
            }
            right[row] -= factor * right[column];
        }
    }
    let mut answer = [0.0; 3];
    for row in (0..3).rev() {
        let known: f64 = (row + 1..3).map(|k| matrix[row][k] * answer[k]).sum();
        answer[row] = (right[row] - known) / matrix[row][row];
    }
    for k in 0..3 {
        answer[k] /= scale[k];
    }
    answer.iter().all(|value| value.is_finite()).then_some(answer)
}
