//! From the name of a case to the function it asks.

use std::collections::BTreeMap;

use cowpath_core::expect::{curve, secretion};
use cowpath_core::right;
use cowpath_core::time::day_seconds;
use cowpath_core::units::{Celsius, KG_PER_LITRE_OF_MILK, Kilograms};
use statrs::distribution::{Beta, ChiSquared, ContinuousCDF, Gamma, Normal, StudentsT};

use super::cause_cases;
use super::level_cases;
use super::minute_cases;
use super::pen_cases;
use super::series::series;

/// The code's figure for a case, or why there is none.
pub fn reckon(name: &str, inputs: &str) -> Result<f64, String> {
    let inputs = Inputs::read(inputs)?;
    match name.split_once('_').map_or(name, |(family, _)| family) {
        "level" => level_cases::reckon(name, &inputs),
        "minutes" => minute_cases::reckon(name, &inputs),
        "parlour" | "trend" => pen_cases::reckon(name, &inputs),
        "wood" | "wilmink" => curves(name, &inputs),
        "quantile" => quantiles(name, &inputs),
        "course" | "case" | "serve" => cause_cases::reckon(name, &inputs),
        _ => plain(name, &inputs),
    }
}

fn plain(name: &str, inputs: &Inputs) -> Result<f64, String> {
    let number = |key| inputs.number(key);
    match name {
        "udder_fill_h" => Ok(secretion::g(number("interval_h")?, number("kappa_per_h")?)),
        "rate_at_end" => Ok(secretion::rate_left(number("interval_h")?, number("kappa_per_h")?)),
        "kappa_from_frequencies" => {
            let (yield_2x_kg, milkings) = (number("yield_2x_kg")?, number("milkings_a_day")?);
            secretion::kappa_from_frequencies(yield_2x_kg, milkings, number("difference_kg")?)
                .ok_or_else(none)
        }
        "kappa_from_responses" => {
            let mut responses = Vec::new();
            for (milkings, key) in [(3.0, "three_kg"), (4.0, "four_kg"), (1.0, "one_kg")] {
                if inputs.has(key) {
                    responses.push((milkings, number(key)?));
                }
            }
            secretion::kappa_from_responses(number("yield_2x_kg")?, &responses).ok_or_else(none)
        }
        "kappa_from_ratio" => {
            let (from_h, to_h) = (number("from_h")?, number("to_h")?);
            secretion::kappa_from_ratio(from_h, to_h, number("yield_ratio")?).ok_or_else(none)
        }
        "frequency_response_kg" => {
            let to_h = 24.0 / number("milkings_a_day")?;
            let ratio = secretion::daily_yield_ratio(number("kappa_per_h")?, 12.0, to_h);
            Ok(number("yield_2x_kg")? * (ratio - 1.0))
        }
        "share_low" => Ok(right::share(number("part")? as u32, number("whole")? as u32).low),
        "share_high" => Ok(right::share(number("part")? as u32, number("whole")? as u32).high),
        "count_low" => Ok(right::count(number("events")? as u32).0),
        "count_high" => Ok(right::count(number("events")? as u32).1),
        "kilograms_from_pounds" => Ok(Kilograms::from_pounds(number("lb")?).0),
        "pounds" => Ok(Kilograms(number("kg")?).pounds()),
        "celsius_from_fahrenheit" => Ok(Celsius::from_fahrenheit(number("f")?).0),
        "fahrenheit" => Ok(Celsius(number("c")?).fahrenheit()),
        "kilograms_of_milk" => Ok(number("l")? * KG_PER_LITRE_OF_MILK),
        "day_seconds" => {
            let zone = jiff::tz::TimeZone::get(inputs.text("zone")?).map_err(|error| error.to_string())?;
            let day = inputs.text("day")?.parse().map_err(|error: jiff::Error| error.to_string())?;
            day_seconds(day, &zone).map(|seconds| seconds as f64).map_err(|error| error.to_string())
        }
        _ => Err(format!("no function `{name}`; name it in cases/reckon.rs")),
    }
}

fn curves(name: &str, inputs: &Inputs) -> Result<f64, String> {
    if !inputs.has("series") {
        let wood = curve::Wood { a: inputs.number("a")?, b: inputs.number("b")?, c: inputs.number("c")? };
        return match name {
            "wood_peak_day" => Ok(wood.peak_day()),
            "wood_peak" => Ok(wood.peak()),
            "wood_value" => Ok(wood.value(inputs.number("day")?)),
            _ => Err(format!("no function `{name}`; name it in cases/reckon.rs")),
        };
    }
    let series = series(inputs.text("series")?)?;
    let by_week = series.pairs("week", "yield_kg_day")?;
    let by_day: Vec<(f64, f64)> = by_week.iter().map(|&(week, y)| (7.0 * week, y)).collect();
    let squares = |of: &[(f64, f64)], value: &dyn Fn(f64) -> f64| -> f64 {
        of.iter().map(|&(at, y)| (y - value(at)).powi(2)).sum()
    };
    let wood = || curve::fit_wood(&by_week).map(|fit| fit.curve).ok_or_else(none);
    let logs = || curve::fit_wood_of_logs(&by_week).map(|fit| fit.curve).ok_or_else(none);
    let wilmink = || curve::fit_wilmink(&by_day).map(|fit| fit.curve).ok_or_else(none);
    match name {
        "wood_a" => Ok(wood()?.a),
        "wood_b" => Ok(wood()?.b),
        "wood_c" => Ok(wood()?.c),
        "wood_peak_day" => Ok(wood()?.peak_day()),
        "wood_peak" => Ok(wood()?.peak()),
        "wood_squares" => wood().map(|wood| squares(&by_week, &|week| wood.value(week))),
        "wood_log_ln_a" => Ok(logs()?.a.ln()),
        "wood_log_b" => Ok(logs()?.b),
        "wood_log_c" => Ok(logs()?.c),
        "wood_log_squares" => {
            let wood = logs()?;
            let in_logs: Vec<(f64, f64)> = by_week.iter().map(|&(week, y)| (week, y.ln())).collect();
            Ok(squares(&in_logs, &|week| wood.value(week).ln()))
        }
        "wilmink_a" => Ok(wilmink()?.a),
        "wilmink_b" => Ok(wilmink()?.b),
        "wilmink_c" => Ok(wilmink()?.c),
        "wilmink_squares" => wilmink().map(|curve| squares(&by_day, &|day| curve.value(day))),
        _ => Err(format!("no function `{name}`; name it in cases/reckon.rs")),
    }
}

fn quantiles(name: &str, inputs: &Inputs) -> Result<f64, String> {
    let p = inputs.number("p")?;
    let number = |key| inputs.number(key);
    let words = |error: &dyn std::fmt::Display| error.to_string();
    match name {
        "quantile_normal" => Ok(Normal::standard().inverse_cdf(p)),
        "quantile_student_t" => {
            Ok(StudentsT::new(0.0, 1.0, number("freedom")?).map_err(|e| words(&e))?.inverse_cdf(p))
        }
        "quantile_chi_squared" => {
            Ok(ChiSquared::new(number("freedom")?).map_err(|e| words(&e))?.inverse_cdf(p))
        }
        "quantile_beta" => Ok(Beta::new(number("a")?, number("b")?).map_err(|e| words(&e))?.inverse_cdf(p)),
        "quantile_gamma" => {
            Ok(Gamma::new(number("shape")?, number("rate")?).map_err(|e| words(&e))?.inverse_cdf(p))
        }
        _ => Err(format!("no function `{name}`; name it in cases/reckon.rs")),
    }
}

fn none() -> String {
    "the function found no answer".into()
}

/// The `key=value` words of a case.
pub struct Inputs<'a>(BTreeMap<&'a str, &'a str>);

impl<'a> Inputs<'a> {
    fn read(words: &'a str) -> Result<Inputs<'a>, String> {
        words
            .split_whitespace()
            .map(|word| word.split_once('=').ok_or_else(|| format!("input `{word}` is not key=value")))
            .collect::<Result<_, _>>()
            .map(Inputs)
    }
    /// Whether a word of this key is there.
    pub fn has(&self, key: &str) -> bool {
        self.0.contains_key(key)
    }
    /// The word of a key.
    pub fn text(&self, key: &str) -> Result<&'a str, String> {
        self.0.get(key).copied().ok_or_else(|| format!("input `{key}` is missing"))
    }
    /// The figure of a key.
    pub fn number(&self, key: &str) -> Result<f64, String> {
        let word = self.text(key)?;
        word.parse().map_err(|_| format!("input {key}=`{word}` is no figure"))
    }
}
