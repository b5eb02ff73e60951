//! How much faster is our fit of the local level than the one most people use? Both in one run, on the same series.

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::fmt::Write as _;
use std::hint::black_box;
use std::process::Command;
use std::time::Instant;

use anyhow::{Context as _, anyhow, bail};
use cowpath_core::level;

const NILE: &str = include_str!("../../crates/core/tests/cases/series/nile.csv");
const THEIRS: &str = include_str!("nile_race.py");

/// Times both, prints and returns the comparison as Markdown; `PYTHON` names the interpreter, else `python3`.
pub fn run() -> anyhow::Result<String> {
    let series: Vec<Option<f64>> = NILE
        .lines()
        .filter(|line| line.starts_with(char::is_numeric))
        .map(|line| line.split(',').nth(1).and_then(|volume| volume.parse().ok()))
        .collect();
    let fit = level::fit(&series).ok_or_else(|| anyhow!("the series was not fitted"))?;
    let ours_ms = median_ms(11, 500, || {
        black_box(level::fit(black_box(&series)));
    });
    println!("ours: {ours_ms:.4} ms a fit, {:.0} fits/s", 1000.0 / ours_ms);
    let theirs = theirs(&series)?;
    let mut text = String::from("| | ms a fit, median | σ²ε | σ²η | log L |\n|---|---|---|---|---|\n");
    let _ = writeln!(
        text,
        "| `cowpath_core::level::fit` | {ours_ms:.4} | {:.4} | {:.4} | {:.6} |",
        fit.variances.irregular, fit.variances.level, fit.log_likelihood
    );
    let _ = writeln!(
        text,
        "| statsmodels {}, default `fit()` | {:.3} | {:.4} | {:.4} | {:.6} |",
        theirs.version, theirs.ms, theirs.irregular, theirs.level, theirs.log_likelihood
    );
    let _ = write!(
        text,
        "\nRatio {:.0} (asked: at least 100). Nile at Aswan, 100 years, exact diffuse start, one core, one run.\n",
        theirs.ms / ours_ms
    );
    print!("{text}");
    Ok(text)
}

/// Median over `rounds` of the mean time of `times` calls, ms.
fn median_ms(rounds: usize, times: u32, mut call: impl FnMut()) -> f64 {
    let mut taken: Vec<f64> = (0..rounds)
        .map(|_| {
            let begun = Instant::now();
            (0..times).for_each(|_| call());
            begun.elapsed().as_secs_f64() * 1000.0 / f64::from(times)
        })
        .collect();
    taken.sort_by(f64::total_cmp);
    taken[rounds / 2]
}

struct Theirs {
    version: String,
    ms: f64,
    irregular: f64,
    level: f64,
    log_likelihood: f64,
}

fn theirs(series: &[Option<f64>]) -> anyhow::Result<Theirs> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let volumes: Vec<String> = series.iter().flatten().map(f64::to_string).collect();
    let ran = Command::new(&python).args(["-c", THEIRS, &volumes.join(",")]).output().with_context(|| {
        format!("{python} could not be started; install Python 3 or name it: PYTHON=… cargo xtask nile-race")
    })?;
    let said = String::from_utf8_lossy(&ran.stdout);
    if !ran.status.success() {
        bail!(
            "{python} did not fit the series:\n{}\nIf statsmodels is missing: python3 -m venv venv && venv/bin/pip install statsmodels && PYTHON=venv/bin/python cargo xtask nile-race",
            String::from_utf8_lossy(&ran.stderr).trim_end()
        );
    }
    let words: Vec<&str> = said.split_whitespace().collect();
    let [version, ms, irregular, level, log_likelihood] = words[..] else {
        bail!("the Python side answered `{}`, five words were expected", said.trim());
    };
    Ok(Theirs {
        version: version.into(),
        ms: ms.parse()?,
        irregular: irregular.parse()?,
        level: level.parse()?,
        log_likelihood: log_likelihood.parse()?,
    })
}
