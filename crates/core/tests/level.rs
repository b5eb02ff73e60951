//! Laws of the local level: it agrees with the dense solution of the same equations, and missing is not zero.

#![allow(clippy::unwrap_used, reason = "helpers of tests")]

use cowpath_core::level::{Estimate, Variances, filter, fit, log_likelihood, smooth};
use proptest::prelude::*;

/// Level at each time from all readings, by solving the normal equations of readings and steps as one dense system:
/// precision Λ = diag(seen)/σ²ε + D'D/σ²η, Λμ = y/σ²ε, variances on the diagonal of its inverse.
fn dense(series: &[Option<f64>], variances: Variances) -> Vec<Estimate> {
    let n = series.len();
    // Λ beside y/σ²ε and the identity, reduced together by Gauss–Jordan with pivots.
    let mut rows = vec![vec![0.0; 2 * n + 1]; n];
    for (at, reading) in series.iter().enumerate() {
        rows[at][n + 1 + at] = 1.0;
        if let Some(reading) = reading {
            rows[at][at] += 1.0 / variances.irregular;
            rows[at][n] = reading / variances.irregular;
        }
        if at + 1 < n {
            for (row, column, sign) in
                [(at, at, 1.0), (at + 1, at + 1, 1.0), (at, at + 1, -1.0), (at + 1, at, -1.0)]
            {
                rows[row][column] += sign / variances.level;
            }
        }
    }
    for step in 0..n {
        let pivot = (step..n).max_by(|&a, &b| rows[a][step].abs().total_cmp(&rows[b][step].abs())).unwrap();
        rows.swap(step, pivot);
        let own = rows[step].clone();
        for (at, row) in rows.iter_mut().enumerate() {
            let share = if at == step { 1.0 - 1.0 / own[step] } else { row[step] / own[step] };
            for (cell, own) in row.iter_mut().zip(&own) {
                *cell -= share * own;
            }
        }
    }
    (0..n).map(|at| Estimate { mean: rows[at][n], variance: rows[at][n + 1 + at] }).collect()
}

fn near(ours: f64, theirs: f64, scale: f64) -> bool {
    (ours - theirs).abs() <= 1e-8 * scale
}

fn series(most: usize) -> impl Strategy<Value = Vec<Option<f64>>> {
    prop::collection::vec(prop::option::weighted(0.7, -50.0..50.0), 3..most)
        .prop_filter("three readings", |series| 3 <= series.iter().flatten().count())
}

proptest! {
    #[test]
    fn smoothing_is_the_dense_solution(series in series(14), irregular in 0.1..20.0, level in 0.1..20.0) {
        let variances = Variances { irregular, level };
        let (ours, theirs) = (smooth(&series, variances), dense(&series, variances));
        prop_assert_eq!(ours.len(), theirs.len());
        for (ours, theirs) in ours.iter().zip(&theirs) {
            prop_assert!(near(ours.mean, theirs.mean, 50.0), "{ours:?} {theirs:?}");
            prop_assert!(near(ours.variance, theirs.variance, theirs.variance), "{ours:?} {theirs:?}");
        }
        // At the last time both know the same.
        let last = filter(&series, variances).last().and_then(|step| step.filtered).unwrap();
        prop_assert!(near(last.mean, theirs[series.len() - 1].mean, 50.0));
    }

    #[test]
    fn later_readings_change_nothing_earlier(series in series(20), cut in 1_usize..20) {
        let variances = Variances { irregular: 2.0, level: 0.5 };
        let cut = cut.min(series.len());
        prop_assert_eq!(&filter(&series, variances)[..cut], &filter(&series[..cut], variances)[..]);
    }

    #[test]
    fn no_variances_are_likelier_than_the_fit(series in series(40), share in 0.0..1.0, scale in 0.1..300.0) {
        if let Some(fit) = fit(&series) {
            let other = Variances { irregular: scale * (1.0 - share), level: scale * share };
            let rival = log_likelihood(&series, other).unwrap();
            prop_assert!(rival <= fit.log_likelihood + 1e-9 * fit.log_likelihood.abs(), "{other:?} {rival} {fit:?}");
            let own = log_likelihood(&series, fit.variances).unwrap();
            prop_assert!(near(own, fit.log_likelihood, own.abs().max(1.0)), "{own} {fit:?}");
        }
    }

    #[test]
    fn the_unit_does_not_matter(series in series(30)) {
        let pounds: Vec<_> = series.iter().map(|reading| reading.map(|reading| reading * 1000.0)).collect();
        if let (Some(one), Some(other)) = (fit(&series), fit(&pounds)) {
            // Of few readings the top of the likelihood is flat: there the variances are settled to the root of what its
            // height is settled to, so it is the height that must be the same.
            let own_units = Variances { irregular: other.variances.irregular / 1e6, level: other.variances.level / 1e6 };
            let height = log_likelihood(&series, own_units).unwrap();
            prop_assert!(near(height, one.log_likelihood, height.abs().max(1.0)), "{one:?} {other:?}");
            let scale = one.variances.irregular + one.variances.level;
            prop_assert!((one.variances.level - own_units.level).abs() <= 1e-3 * scale, "{one:?} {other:?}");
        }
    }
}

#[test]
fn a_missing_reading_is_not_zero() {
    let variances = Variances { irregular: 1.0, level: 1.0 };
    let steps = filter(&[Some(10.0), None, Some(10.0)], variances);
    assert_eq!(steps[1].filtered, steps[1].predicted);
    assert_eq!(steps[1].innovation, None);
    assert_eq!(steps[2].predicted, Some(Estimate { mean: 10.0, variance: 3.0 }));
    assert_eq!(steps[0].predicted, None, "nothing is known before the first reading");
}

#[test]
fn nothing_is_said_where_nothing_can_be() {
    let variances = Variances { irregular: 1.0, level: 1.0 };
    assert!(smooth(&[None, None], variances).is_empty());
    assert_eq!(log_likelihood(&[None], variances), None);
    assert_eq!(fit(&[]), None);
    assert_eq!(fit(&[Some(1.0), Some(2.0)]), None, "two readings cannot tell two variances");
    assert_eq!(fit(&[Some(4.0); 10]), None, "readings all the same");
    assert_eq!(fit(&[Some(1.0), Some(f64::NAN), Some(2.0)]), None);
}

#[test]
fn the_ends_are_found() {
    // To and fro about one level: it does not move. Ever upward: no noise of its own.
    let still: Vec<_> = (0..40).map(|at| Some(f64::from(at % 2))).collect();
    assert_eq!(fit(&still).unwrap().variances.level, 0.0);
    let mut sum = 0.0;
    let walk: Vec<_> = (0..40)
        .map(|at| {
            sum += f64::from(at % 4) + 1.0;
            Some(sum)
        })
        .collect();
    assert_eq!(fit(&walk).unwrap().variances.irregular, 0.0);
}
