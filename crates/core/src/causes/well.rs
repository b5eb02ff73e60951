//! How do a signal's readings look when she is well, for each error her baseline may have?

use super::{digits::ln_each, likelihood::log_sum, series::Series, templates::of_quarter};

/// Nodes and weights of 3-point Gauss–Hermite quadrature for a standard normal, for an error well below a reading's spread.
const FEW_NODES: [(f64, f64); 3] =
    [(-1.732_050_807_568_877_2, 1.0 / 6.0), (0.0, 2.0 / 3.0), (1.732_050_807_568_877_2, 1.0 / 6.0)];

/// Squared spreads beyond which a reading is odd, and how far off it is tells no more: a milking that nobody wrote down, a
/// sample of another cow. The noise is estimated on what lies within (`noise::ILL_FROM`). A quarter beside its three sisters
/// has fewer ways to be odd. Stated defaults.
const ODD: f64 = 36.0;
const ODD_QUARTER: f64 = 400.0;

/// Standard deviations from one node of a wide error to the next: 3 in 10,000 is left out or counted twice.
const WIDE_STEP: f64 = 1.5;

/// Degrees of freedom of a wide error: a baseline that was held is now and then farther off than its stated error says (a
/// scale that was moved, a level that was learnt from few days). Stated default.
const ERROR_TAIL: f64 = 4.0;
/// ln of the density of Student's t at 0 with so many: Γ(5/2)/(Γ(2)·√(4π)) = 3/8.
const ERROR_DENSITY: f64 = -0.980_829_253_011_726_2;
/// No error is larger, in its standard deviations.
const MOST_ERROR: f64 = 10.0;

/// Most nodes of a wide error.
const MOST_NODES: f64 = 40.0;

/// No factor is greater than this: far from the end of f64, and farther from anything that is ever told apart.
const MOST: f64 = 1e300;

/// One signal's readings when she is well: what every course of it is held against.
pub(crate) struct Well {
    /// Errors of the baseline in its standard deviations; one of zero where it has none.
    pub errors: Vec<f64>,
    /// Standardised departures before any error is taken off.
    pub own: Vec<f64>,
    /// What an error of one standard deviation takes off the standardised departure.
    pub pull: Vec<f64>,
    /// By place of the first reading that a course moves, then by error: weight of the error × likelihood of the readings
    /// before it, over the likelihood of all readings.
    pub before: Vec<f64>,
    /// By place of the first reading that it moves no longer and that does not remember one it moved, up to one beyond the
    /// last, then by error: likelihood of the readings from there on.
    pub after: Vec<f64>,
    /// Correlation with the reading before; the first one remembers nothing.
    pub memory: Vec<f32>,
    /// 1/√(1 − φ²), of the first reading 1.
    pub per_root: Vec<f32>,
    /// ν, degrees of freedom.
    pub tail: f64,
    /// Squared spreads beyond which a reading tells no more.
    pub odd: f32,
}

impl Well {
    /// Of one signal.
    pub fn of(series: &Series) -> Well {
        let per_root: Vec<f64> =
            series.memory.iter().map(|memory| 1.0 / (1.0 - memory * memory).sqrt()).collect();
        let own: Vec<f64> = series.gap.iter().zip(&series.per_spread).map(|(gap, per)| gap * per).collect();
        let pull: Vec<f64> =
            series.error.iter().zip(&series.per_spread).map(|(error, per)| error * per).collect();
        let errors = if series.error.iter().all(|error| *error <= 0.0) {
            vec![(0.0, 0.0)]
        } else if series.wide {
            wide_errors(series, &own, &pull)
        } else {
            FEW_NODES.iter().map(|(node, weight)| (*node, weight.ln())).collect()
        };
        let half = (series.tail + 1.0) / 2.0;
        let odd = if of_quarter(series.signal) { ODD_QUARTER } else { ODD };
        let sums: Vec<Vec<f64>> = errors
            .iter()
            .map(|(error, _)| {
                let mut factors = Vec::with_capacity(own.len() + 1);
                let mut last = None::<f64>;
                for k in 0..own.len() {
                    let departure = own[k] - error * pull[k];
                    let innovation = match last {
                        Some(last) => (departure - series.memory[k] * last.clamp(-3.0, 3.0)) * per_root[k],
                        None => departure,
                    };
                    factors.push(1.0 + (innovation * innovation).min(odd) / series.tail);
                    last = Some(departure);
                }
                ln_each(&mut factors);
                // Of all readings before each, and of all.
                let mut sum = 0.0;
                for factor in &mut factors {
                    sum += std::mem::replace(factor, sum);
                }
                factors.push(sum);
                factors
            })
            .collect();
        let whole =
            log_sum(errors.iter().zip(&sums).map(|((_, weight), sums)| weight - half * sums[own.len()]));
        let factor = |first: usize| {
            let of_error = move |((_, weight), sums): (&(f64, f64), &Vec<f64>)| {
                (weight - half * sums[first] - whole).exp().min(MOST)
            };
            errors.iter().zip(&sums).map(of_error)
        };
        let before = (0..own.len()).flat_map(factor).collect();
        let all = own.len();
        let rest = |from: usize| sums.iter().map(move |sums| (half * (sums[from] - sums[all])).exp());
        let after = (0..=all).flat_map(rest).collect();
        let narrow = |values: &[f64], first: f32| {
            let mut narrow: Vec<f32> = values.iter().map(|value| *value as f32).collect();
            narrow.iter_mut().take(1).for_each(|value| *value = first);
            narrow
        };
        let (memory, per_root) = (narrow(&series.memory, 0.0), narrow(&per_root, 1.0));
        let errors = errors.into_iter().map(|(error, _)| error).collect();
        Well { errors, own, pull, before, after, memory, per_root, tail: series.tail, odd: odd as f32 }
    }
}

/// Evenly spaced errors with ln of (Student-t density × step), where an error may be many spreads of a reading.
///
/// They reach from no error to the one that explains the readings of a well cow best (five rounds of reweighting by
/// Student-t weights), three of its standard deviations beyond both: a course that is nearer the truth leaves less for the
/// error to explain. One of more than she fell by would need an error beyond, and comes out less likely than it is
/// (`tests/likelihood`). At a step of h standard deviations the trapezoid rule errs by 2·exp(−2π²/h²) of a normal integrand.
fn wide_errors(series: &Series, own: &[f64], pull: &[f64]) -> Vec<(f64, f64)> {
    let (mut best, mut precision) = (0.0, 1.0);
    for _ in 0..5 {
        let (mut sum, mut total) = (0.0, 1.0);
        for ((own, pull), memory) in own.iter().zip(pull).zip(&series.memory) {
            let departure = own - best * pull;
            let weight =
                (series.tail + 1.0) / (series.tail + departure * departure) * (1.0 - memory) / (1.0 + memory);
            sum += weight * own * pull;
            total += weight * pull * pull;
        }
        (best, precision) = (sum / total, total);
    }
    let sd = 1.0 / precision.sqrt();
    let (low, high) =
        ((best.min(0.0) - 3.0 * sd).max(-MOST_ERROR), (best.max(0.0) + 3.0 * sd).min(MOST_ERROR));
    let count = ((high - low) / (WIDE_STEP * sd)).ceil().clamp(4.0, MOST_NODES);
    let step = (high - low) / count;
    (0..=count as usize)
        .map(|index| {
            let error = low + step * index as f64;
            (
                error,
                step.ln() + ERROR_DENSITY
                    - (ERROR_TAIL + 1.0) / 2.0 * (1.0 + error * error / ERROR_TAIL).ln(),
            )
        })
        .collect()
}
