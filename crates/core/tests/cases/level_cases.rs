//! Cases of the local level: fits, and whole series beside the reference's columns.

use cowpath_core::level::{self, Estimate, Variances};

use super::reckon::Inputs;
use super::series::{Figures, series};

/// The code's figure for a case of the local level.
pub fn reckon(name: &str, inputs: &Inputs<'_>) -> Result<f64, String> {
    let table = series(inputs.text("series")?)?;
    let volumes = table.column("volume_1e8_m3")?;
    let fit = || level::fit(&volumes).ok_or_else(|| String::from("the series was not fitted"));
    let variances = if inputs.has("irregular") {
        Variances { irregular: inputs.number("irregular")?, level: inputs.number("level")? }
    } else {
        fit()?.variances
    };
    match name {
        "level_irregular_variance" => Ok(variances.irregular),
        "level_level_variance" => Ok(variances.level),
        "level_log_likelihood" => {
            level::log_likelihood(&volumes, variances).ok_or_else(|| "no reading in the series".into())
        }
        "level_log_likelihood_of_fit" => Ok(fit()?.log_likelihood),
        "level_in_year" => {
            let year = inputs.number("year")?;
            let at = table.column("year")?.iter().position(|own| *own == Some(year));
            let column = column(inputs.text("column")?, &volumes, variances)?;
            at.and_then(|at| column.get(at).copied().flatten()).ok_or_else(|| format!("no figure in {year}"))
        }
        "level_furthest_from_reference" => {
            let name = inputs.text("column")?;
            furthest(&column(name, &volumes, variances)?, &table.column(name)?)
        }
        _ => Err(format!("no function `{name}`; name it in cases/level_cases.rs")),
    }
}

/// One column of the reference, as our filter and smoother give it.
fn column(name: &str, volumes: &Figures, variances: Variances) -> Result<Figures, String> {
    let (quantity, part): (_, fn(Estimate) -> f64) = match name.strip_suffix("_var") {
        Some(quantity) => (quantity, |estimate| estimate.variance),
        None => (name, |estimate| estimate.mean),
    };
    let steps = level::filter(volumes, variances);
    match quantity {
        "predicted" => Ok(steps.iter().map(|step| step.predicted.map(part)).collect()),
        "innovation" => Ok(steps.iter().map(|step| step.innovation.map(part)).collect()),
        "filtered" => Ok(steps.iter().map(|step| step.filtered.map(part)).collect()),
        "smoothed" => Ok(level::smooth(volumes, variances).into_iter().map(|it| Some(part(it))).collect()),
        _ => Err(format!("no column `{name}` of the level")),
    }
}

/// Largest distance relative to the reference. A figure missing on one side only is infinitely far.
fn furthest(ours: &Figures, theirs: &Figures) -> Result<f64, String> {
    if ours.len() != theirs.len() || theirs.iter().flatten().count() == 0 {
        return Err(format!("{} figures beside {} of the reference", ours.len(), theirs.len()));
    }
    let far = ours.iter().zip(theirs).map(|pair| match pair {
        (None, None) => 0.0,
        (Some(ours), Some(theirs)) if ours == theirs => 0.0,
        (Some(ours), Some(theirs)) => (ours - theirs).abs() / theirs.abs(),
        _ => f64::INFINITY,
    });
    Ok(far.fold(0.0, f64::max))
}
