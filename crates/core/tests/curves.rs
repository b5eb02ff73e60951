//! Curves and secretion against reference fits and tables (`published.md` §2 and §3; derived with another program).

// Reference figures stand as they were printed, with more digits than a double holds.
#![allow(clippy::excessive_precision)]

use cowpath_core::expect::curve::{fit_wilmink, fit_wood, fit_wood_of_logs};
use cowpath_core::expect::secretion::{daily_ratio, g, kappa_of, rate_left};

/// Daily fat yield of one cow by week, kg: Henderson & McCulloch, Cornell BU-049-MA, 1990 (published data).
const FAT_KG: [f64; 35] = [
    0.31, 0.39, 0.5, 0.58, 0.59, 0.64, 0.68, 0.66, 0.67, 0.7, 0.72, 0.68, 0.65, 0.64, 0.57, 0.48, 0.46, 0.45,
    0.31, 0.33, 0.36, 0.3, 0.26, 0.34, 0.29, 0.31, 0.29, 0.2, 0.15, 0.18, 0.11, 0.07, 0.06, 0.01, 0.01,
];

fn close(name: &str, own: f64, reference: f64, relative: f64) {
    assert!((own / reference - 1.0).abs() < relative, "{name}: {own} is not {reference}");
}

fn weeks() -> Vec<(f64, f64)> {
    FAT_KG.iter().enumerate().map(|(k, &kg)| (k as f64 + 1.0, kg)).collect()
}

/// Reference: least squares of scipy to 1e-15, `a t^b exp(-c t)`.
#[test]
fn wood_by_least_squares() {
    let fit = fit_wood(&weeks()).unwrap();
    close("a", fit.curve.a, 0.243_564_939_184_024_08, 1e-4);
    close("b", fit.curve.b, 1.005_505_673_094_636_8, 1e-4);
    close("c", fit.curve.c, 0.128_617_555_331_683_68, 1e-4);
    close("rss", fit.rss, 0.092_022_177_621_833_48, 1e-6);
    close("peak week", fit.curve.peak_day(), 7.817_794_938_658_271, 1e-4);
    close("peak", fit.curve.peak(), 0.704_580_325_322_422_7, 1e-4);
}

#[test]
fn wood_of_logarithms() {
    let fit = fit_wood_of_logs(&weeks()).unwrap();
    close("ln a", fit.curve.a.ln(), -1.555_607_980_001_487, 1e-9);
    close("b", fit.curve.b, 1.393_713_456_123_914_6, 1e-9);
    close("c", fit.curve.c, 0.185_714_845_654_665_26, 1e-9);
    close("rss", fit.rss, 8.254_853_256_727_616, 1e-9);
}

#[test]
fn wilmink_by_least_squares() {
    let days: Vec<(f64, f64)> = weeks().into_iter().map(|(week, kg)| (7.0 * week, kg)).collect();
    let fit = fit_wilmink(&days).unwrap();
    close("a", fit.curve.a, 0.950_208_102_760_480_5, 1e-8);
    close("b", fit.curve.b, -0.957_094_658_329_821_1, 1e-8);
    close("c", fit.curve.c, -0.003_860_187_586_114_347_8, 1e-8);
    close("rss", fit.rss, 0.081_745_016_598_527_5, 1e-8);
}

#[test]
fn slopes_are_those_of_the_curves() {
    let wood = fit_wood(&weeks()).unwrap().curve;
    let wilmink = fit_wilmink(&weeks()).unwrap().curve;
    for week in [2.0, 9.0, 30.0] {
        let step = 1e-6;
        close(
            "wood",
            wood.slope(week),
            (wood.value(week + step) - wood.value(week - step)) / (2.0 * step),
            1e-5,
        );
        close(
            "wilmink",
            wilmink.slope(week),
            (wilmink.value(week + step) - wilmink.value(week - step)) / (2.0 * step),
            1e-5,
        );
        close("log", wood.log_value(week).exp(), wood.value(week), 1e-12);
    }
}

/// Rows of the reference table, 40 digits rounded to 17: κ, h, g(h), rate left.
#[test]
fn secretion_by_interval() {
    for (kappa, hours, own_g, left) in [
        (0.02, 4.0, 3.844_182_680_668_211, 0.923_116_346_386_635_78),
        (0.03, 24.0, 17.108_258_134_667_612, 0.486_752_255_959_971_65),
        (0.038, 6.0, 5.365_151_056_961_744_2, 0.796_124_259_835_453_72),
        (0.038, 8.0, 6.898_398_251_300_232_3, 0.737_860_866_450_591_17),
        (0.038, 12.0, 9.636_477_971_090_815, 0.633_813_837_098_549_03),
        (0.038, 24.0, 15.744_211_050_063_525, 0.401_719_980_097_586_05),
        (0.055, 16.0, 10.640_310_696_698_521, 0.414_782_911_681_581_41),
    ] {
        close("g", g(hours, kappa), own_g, 1e-14);
        close("left", rate_left(hours, kappa), left, 1e-14);
    }
    close("no slowing", g(9.0, 0.0), 9.0, 1e-15);
    close("hardly any", g(9.0, 1e-9), 9.0, 1e-7);
    assert_eq!(g(-3.0, 0.04), 0.0);
}

/// κ from +3.5, +4.9 and −6.2 kg beside the yield at two milkings (Erdman & Varner 1995), reference table in 40 digits.
#[test]
fn kappa_from_yields() {
    for (yield_kg, three, four, one) in [
        (20.0, 0.095_644_315_643_062_66, 0.083_362_176_608_297_21, 0.080_632_002_188_475_467),
        (30.0, 0.061_420_846_980_606_991, 0.054_936_497_178_440_546, 0.044_441_539_968_170_773),
        (38.0, 0.047_855_484_008_326_353, 0.043_223_090_591_825_678, 0.032_916_150_686_739_082),
        (50.0, 0.035_982_384_377_232_829, 0.032_771_850_334_475_381, 0.023_751_579_586_024_769),
    ] {
        for (milkings, more_kg, reference) in [(3.0, 3.5, three), (4.0, 4.9, four), (1.0, -6.2, one)] {
            close("κ", kappa_of(milkings, 1.0 + more_kg / yield_kg).unwrap(), reference, 1e-11);
        }
    }
    close("two", daily_ratio(2.0, 0.05), 1.0, 1e-15);
    assert_eq!(kappa_of(3.0, 1.9), None);
}
