//! Cases of trends over days, and of the move from a parlour.

use cowpath_core::{
    minutes::trend::trend,
    traffic::{Mean, parlour},
};

use super::{reckon::Inputs, series::series};

/// The code's figure for a case of these families.
pub fn reckon(name: &str, inputs: &Inputs) -> Result<f64, String> {
    let number = |key| inputs.number(key);
    let end = |mean: f64, low: f64, high: f64| match name.rsplit('_').next() {
        Some("low") => Ok(low),
        Some("high") => Ok(high),
        Some("mean" | "change") => Ok(mean),
        _ => Err(format!("no function `{name}`; name it in cases/pen_cases.rs")),
    };
    if name.starts_with("parlour") {
        let milkings = number("milkings")?;
        let change =
            parlour::change_kg(number("parlour")?, Mean { mean: milkings, low: milkings, high: milkings });
        return end(change.mean, change.low, change.high);
    }
    let series = series(inputs.text("series")?)?;
    let (years, flows) = (series.column("year")?, series.column("volume_1e8_m3")?);
    let days: Vec<(f64, f64)> = years
        .into_iter()
        .zip(flows)
        .take(number("rows")? as usize)
        .map(|(year, flow)| (year.unwrap_or(f64::NAN), flow.unwrap_or(f64::NAN)))
        .collect();
    let told = trend(&days, number("certainty")?).ok_or("no trend of these rows")?;
    end(told.change, told.low, told.high)
}
