//! Cases of box minutes: the best intervals of a made-up herd.

use cowpath_core::minutes::intervals::{self, Cow};

use super::{reckon::Inputs, series::series};

/// The code's figure for a case of this family.
pub fn reckon(name: &str, inputs: &Inputs) -> Result<f64, String> {
    const PRICE: f64 = 0.45;
    let herd = herd(inputs.text("herd")?)?;
    match name {
        "minutes_least" => return Ok(intervals::least_minutes(&herd)),
        "minutes_most" => return Ok(intervals::at_worth(&herd, PRICE, 0.0).minutes),
        _ => {}
    }
    let best = intervals::best(&herd, PRICE, inputs.number("minutes")?).map_err(|error| error.to_string())?;
    let cow = || -> Result<intervals::Day, String> {
        let place = inputs.number("cow")? as usize;
        best.cows.get(place - 1).copied().ok_or_else(|| format!("no cow {place} in the herd"))
    };
    match name {
        "minutes_worth" => Ok(best.worth),
        "minutes_value" => Ok(best.value),
        "minutes_used" => Ok(best.minutes),
        "minutes_interval" => Ok(cow()?.interval_h),
        "minutes_milk" => Ok(cow()?.milk_kg),
        "minutes_box" => Ok(cow()?.minutes),
        _ => Err(format!("no function `{name}`; name it in cases/minute_cases.rs")),
    }
}

fn herd(name: &str) -> Result<Vec<Cow>, String> {
    let series = series(&format!("{name}_cows"))?;
    let columns = ["a_kg_per_h", "handling_min", "flow_kg_per_min", "lo_h", "hi_h"];
    let mut all = Vec::new();
    for column in columns {
        all.push(series.column(column)?.into_iter().map(Option::unwrap_or_default).collect::<Vec<f64>>());
    }
    let cow = |place: usize| Cow {
        rate_kg_h: all[0][place],
        kappa_per_h: 0.038,
        handling_min: all[1][place],
        flow_kg_min: all[2][place],
        low_h: all[3][place],
        high_h: all[4][place],
    };
    Ok((0..all[0].len()).map(cow).collect())
}
