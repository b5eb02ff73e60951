//! What does a fit of the pens foretell of days it did not see, and how near could any fit come?

use std::fmt::Write as _;
use std::path::Path;

use anyhow::Context as _;
use serde_json::Value;
use statrs::distribution::{ContinuousCDF, Normal};

use crate::program::{asked, program};

const WHAT: [&str; 4] =
    ["mean interval, h", "interval, 10th percentile, h", "interval, 90th percentile, h", "idle share"];
/// The same figures of a plan.
const NAMES: [&str; 4] = ["interval-h", "interval-10-h", "interval-90-h", "idle"];
/// Asked of each figure and hour, per cent; and with another number of cows.
const WITHIN: [f64; 2] = [5.0, 10.0];

/// What of the hours of a day is summed up over seeds.
#[derive(Default)]
struct Sums {
    hours: f64,
    near: f64,
    exact: f64,
    /// Squared misses, and the squared standard errors of the days foretold.
    squares: f64,
    by_chance: f64,
}

/// Herds fitted to half their days, held beside the other half; and beside a herd of another size.
pub fn run(seeds: &[u64]) -> anyhow::Result<String> {
    let program = program()?;
    let folder = std::env::temp_dir().join(format!("cowpath-foretell-{}", std::process::id()));
    let mut text = String::from(
        "Simulated herds of two boxes, 100 days; days 45 to 72 are fitted and days 73 to 100 foretold, with the number of cows that were then in milk. Simulated less observed, per cent of the observed. Idle share, milk known: had it also been known how much milk they would give.\n\n\
         | seed | cows fitted, foretold | mean interval | 10th | 90th | idle share | idle share, milk known | within 5 % |\n|---|---|---|---|---|---|---|---|\n",
    );
    let mut hours = String::from(
        "\nVisits by hour of the same days, per cent of the observed; mean and greatest of 24 hours. The fitted half itself: its own visits by hour taken for the other half's. By chance: what an exact fit would miss, since the hours that were foretold are counts themselves; from the spread between their days, as if days were independent.\n\n\
         | seed | missed, mean | greatest | fitted half itself, mean | by chance, mean | within 5 % | of the fitted half itself | of an exact fit, expected |\n|---|---|---|---|---|---|---|---|\n",
    );
    let mut other = String::from(
        "\nThe same fits with another number of cows, beside a herd of that size and seed (within 10 % asked).\n\n| seed | cows fitted, foretold | mean interval | 10th | 90th | idle share | within 10 % |\n|---|---|---|---|---|---|---|\n",
    );
    let mut sums = Sums::default();
    for seed in seeds {
        let farm = |cows: u32| folder.join(format!("{seed}-{cows}"));
        make(&program, &farm(110), *seed, 110)?;
        let told = foretold(&program, &farm(110))?;
        let mut offs = Vec::new();
        for what in WHAT {
            let one = figure(&told, what).with_context(|| what.to_owned())?;
            offs.push(off(number(&one["simulated"]), number(&one["observed"])));
        }
        let idle = figure(&told, "idle share").map_or(f64::NAN, |one| number(&one["observed"]));
        let known = off(number(&told["idle_with_milk_known"]), idle);
        let _ = writeln!(
            text,
            "| {seed} | {:.1}, {:.1} | {} | {known:+.1} | {} of 4 |",
            number(&told["cows"][0]),
            number(&told["cows"][1]),
            shown(&offs),
            count(&offs, WITHIN[0]),
        );
        by_hour(&told, *seed, &mut hours, &mut sums)?;
        for cows in [90_u32, 125] {
            make(&program, &farm(cows), *seed, cows)?;
            let seen = foretold(&program, &farm(cows))?;
            let milked = number(&seen["cows"][1]).round();
            let words = [
                "plan",
                "--cows",
                &milked.to_string(),
                "--replicates",
                "10",
                "--days",
                "28",
                "--format",
                "json",
            ];
            let plan: Value = serde_json::from_slice(&asked(&program, &farm(110), &words)?)?;
            let simulated = &plan["scenarios"][0]["rows"][0]["figures"];
            let one = |(what, name): (&str, &str)| {
                let observed = figure(&seen, what).map_or(f64::NAN, |one| number(&one["observed"]));
                off(number(&simulated[name]["mean"]), observed)
            };
            let offs: Vec<f64> = WHAT.into_iter().zip(NAMES).map(one).collect();
            let _ = writeln!(
                other,
                "| {seed} | {:.0}, {milked} | {} | {} of 4 |",
                number(&told["cows"][1]),
                shown(&offs),
                count(&offs, WITHIN[1]),
            );
        }
    }
    let _ = writeln!(
        hours,
        "\nOver all seeds {:.1} of 24 hours lie within 5 %; {:.1} would be expected of an exact fit. Of the mean square of what was missed, chance in the counts foretold makes {:.0} %; the rest is chance in the counts fitted, change of the herd between the halves, and the model.",
        24.0 * sums.near / sums.hours,
        24.0 * sums.exact / sums.hours,
        100.0 * sums.by_chance / sums.squares,
    );
    // What was made is not kept.
    let _ = std::fs::remove_dir_all(&folder);
    let text = text + &hours + &other;
    print!("{text}");
    Ok(text)
}

fn make(program: &Path, farm: &Path, seed: u64, cows: u32) -> anyhow::Result<()> {
    let (cows, seed) = (cows.to_string(), seed.to_string());
    let words = ["demo", "--cows", &cows, "--boxes", "2", "--days", "100", "--seed", &seed, "--no-serve"];
    asked(program, farm, &words).map(drop)
}

fn foretold(program: &Path, farm: &Path) -> anyhow::Result<Value> {
    let words = ["plan", "--foretell", "28", "--format", "json"];
    Ok(serde_json::from_slice(&asked(program, farm, &words)?)?)
}

fn figure<'v>(told: &'v Value, what: &str) -> Option<&'v Value> {
    told["beside"].as_array()?.iter().find(|one| one["what"] == what)
}

/// Not told is not a number, and within no bound.
fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::NAN)
}

fn off(simulated: f64, observed: f64) -> f64 {
    100.0 * (simulated / observed - 1.0)
}

fn count(offs: &[f64], within: f64) -> usize {
    offs.iter().filter(|off| off.abs() <= within).count()
}

fn shown(offs: &[f64]) -> String {
    offs.iter().map(|off| format!("{off:+.1}")).collect::<Vec<_>>().join(" | ")
}

/// A row of the hours of the day.
fn by_hour(told: &Value, seed: u64, text: &mut String, sums: &mut Sums) -> anyhow::Result<()> {
    let list = |what: &str| -> anyhow::Result<&Vec<Value>> {
        told[what].as_array().filter(|all| all.len() == 24).with_context(|| what.to_owned())
    };
    let (pairs, before, errors) = (list("by_hour")?, list("by_hour_before")?, list("by_hour_error")?);
    let missed: Vec<f64> = pairs.iter().map(|pair| off(number(&pair[1]), number(&pair[0]))).collect();
    let itself: Vec<f64> =
        before.iter().zip(pairs).map(|(own, pair)| off(number(own), number(&pair[0]))).collect();
    let errors: Vec<f64> = errors.iter().map(|error| 100.0 * number(error)).collect();
    let normal = Normal::standard();
    let exact: f64 = errors.iter().map(|error| 2.0 * normal.cdf(WITHIN[0] / error) - 1.0).sum();
    // The mean distance of a normal from its mean.
    let chance = (2.0 / std::f64::consts::PI).sqrt() * errors.iter().sum::<f64>() / 24.0;
    let mean = |offs: &[f64]| offs.iter().map(|off| off.abs()).sum::<f64>() / 24.0;
    let most = missed.iter().map(|off| off.abs()).fold(0.0, f64::max);
    let _ = writeln!(
        text,
        "| {seed} | {:.1} | {most:.1} | {:.1} | {chance:.1} | {} | {} | {exact:.1} |",
        mean(&missed),
        mean(&itself),
        count(&missed, WITHIN[0]),
        count(&itself, WITHIN[0]),
    );
    sums.hours += 24.0;
    sums.near += count(&missed, WITHIN[0]) as f64;
    sums.exact += exact;
    sums.squares += missed.iter().map(|off| off * off).sum::<f64>();
    sums.by_chance += errors.iter().map(|error| error * error).sum::<f64>();
    Ok(())
}
