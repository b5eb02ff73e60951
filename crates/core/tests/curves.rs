//! Laws of secretion and of the lactation curves: what is put in comes out, and no answer where there is none.

use cowpath_core::expect::curve::{Wilmink, Wood, fit_wilmink, fit_wood, fit_wood_of_logs};
use cowpath_core::expect::secretion::{daily_yield_ratio, g, kappa_from_ratio, kappa_from_responses};
use proptest::prelude::*;

proptest! {
    #[test]
    fn a_woods_curve_comes_out_as_it_went_in(a in 5.0..40.0, b in 0.02..0.6, c in 0.0005..0.01) {
        let put_in = Wood { a, b, c };
        let yields: Vec<_> = (1..60).map(|step| 5.0 * f64::from(step)).map(|day| (day, put_in.value(day))).collect();
        for found in [fit_wood(&yields).unwrap().curve, fit_wood_of_logs(&yields).unwrap().curve] {
            for day in [3.0, 60.0, 305.0] {
                prop_assert!((found.value(day) / put_in.value(day) - 1.0).abs() < 1e-9, "{put_in:?} {found:?}");
            }
        }
    }

    #[test]
    fn no_curve_near_it_fits_better(
        noise in prop::collection::vec(-4.0..4.0, 40),
        da in -0.05..0.05, db in -0.05..0.05, dc in -0.0005..0.0005,
    ) {
        let true_one = Wood { a: 18.0, b: 0.2, c: 0.003 };
        let yields: Vec<_> = noise
            .iter()
            .enumerate()
            .map(|(at, noise): (usize, &f64)| (7.0 * (at as f64 + 0.5), (true_one.value(7.0 * (at as f64 + 0.5)) + *noise).max(0.0)))
            .collect();
        let misfit = |wood: &Wood| -> f64 { yields.iter().map(|&(day, y)| (y - wood.value(day)).powi(2)).sum() };
        let found = fit_wood(&yields).unwrap().curve;
        let near = Wood { a: found.a * (1.0 + da), b: found.b + db, c: found.c + dc };
        prop_assert!(misfit(&found) <= misfit(&near) * (1.0 + 1e-12), "{found:?} {near:?}");
    }

    #[test]
    fn a_wilminks_curve_comes_out_as_it_went_in(a in 10.0..50.0, b in -20.0..-1.0, c in -0.1..-0.01) {
        let put_in = Wilmink { a, b, c };
        let yields: Vec<_> = (1..60).map(|step| 5.0 * f64::from(step)).map(|day| (day, put_in.value(day))).collect();
        let found = fit_wilmink(&yields).unwrap().curve;
        prop_assert!((found.a - a).abs() + (found.b - b).abs() + (found.c - c).abs() < 1e-8, "{found:?}");
        prop_assert!((found.slope(100.0) - (found.value(100.001) - found.value(99.999)) / 0.002).abs() < 1e-6);
    }

    #[test]
    fn kappa_comes_out_as_it_went_in(kappa in 0.002..0.29, from in 4.0..24.0, to in 4.0..24.0) {
        prop_assume!(0.5 < f64::abs(from - to));
        let found = kappa_from_ratio(from, to, daily_yield_ratio(kappa, from, to)).unwrap();
        prop_assert!((found / kappa - 1.0).abs() < 1e-8, "{found}");
        let responses = [3.0, 4.0, 1.0].map(|n| (n, 38.0 * (daily_yield_ratio(kappa, 12.0, 24.0 / n) - 1.0)));
        if (0.0031..0.299).contains(&kappa) {
            let found = kappa_from_responses(38.0, &responses).unwrap();
            prop_assert!((found / kappa - 1.0).abs() < 1e-8, "{found}");
        }
    }

    #[test]
    fn milk_of_an_interval_is_the_sum_of_its_parts(kappa in 0.0..0.3, first in 0.0..20.0, second in 0.0..20.0) {
        let whole = g(first + second, kappa);
        let parts = g(first, kappa) + (-kappa * first).exp() * g(second, kappa);
        prop_assert!((whole - parts).abs() <= 1e-12 * whole.max(1.0));
    }
}

#[test]
fn no_answer_where_there_is_none() {
    assert_eq!(fit_wood(&[(1.0, 10.0), (2.0, 12.0)]), None, "two days cannot tell three figures");
    assert_eq!(fit_wood(&[(1.0, 10.0), (1.0, 12.0), (1.0, 11.0), (1.0, 10.0)]), None, "one day");
    assert_eq!(fit_wood(&[(0.0, 10.0), (1.0, 12.0), (2.0, 11.0)]), None, "no day before the first");
    assert_eq!(fit_wood(&[(1.0, f64::NAN), (2.0, 12.0), (3.0, 11.0)]), None);
    assert_eq!(fit_wood(&[(1.0, 0.0), (2.0, 0.0), (3.0, 0.0)]), None, "no milk");
    assert_eq!(fit_wilmink(&[(1.0, 10.0), (2.0, 12.0)]), None);
    assert_eq!(kappa_from_ratio(12.0, 8.0, 0.9), None, "shorter intervals never give less");
    assert_eq!(kappa_from_ratio(12.0, 8.0, 1.6), None, "nor more than the intervals' ratio");
    assert_eq!(kappa_from_ratio(12.0, 12.0, 1.0), None);
    assert_eq!(kappa_from_responses(38.0, &[]), None);
}
