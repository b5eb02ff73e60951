//! Courses, costs and rates of the causes beside what is published of them.

use cowpath_core::causes::{Cause, Settings, templates::TEMPLATES};
use cowpath_core::say::{cow_call, reason::signal_from_word};

use super::reckon::Inputs;

/// The code's figure for a case of a cause.
pub fn reckon(name: &str, inputs: &Inputs) -> Result<f64, String> {
    let cause = || Cause::from_word(inputs.text("cause")?).ok_or_else(|| "no such cause".to_owned());
    match name {
        "course_mean" => course_mean(cause()?, inputs),
        "case_cost" => Settings::default()
            .cost(cause()?)
            .map(|cost| cost.case)
            .ok_or_else(|| "no cost is stated".to_owned()),
        "serve_from_h" => Ok(cow_call::SERVE_FROM_H as f64),
        "serve_until_h" => Ok(cow_call::SERVE_UNTIL_H as f64),
        _ => Err(format!("no function `{name}`; name it in cases/cause_cases.rs")),
    }
}

/// Mean of a course over days since onset, over severities, and over how strongly the signal takes part where it does: what a
/// trial reports of the cows in which it saw something.
fn course_mean(cause: Cause, inputs: &Inputs) -> Result<f64, String> {
    let signal = signal_from_word(inputs.text("signal")?).ok_or("no such signal")?;
    let template = TEMPLATES.iter().find(|template| template.cause == cause).ok_or("no template")?;
    let course = template.courses.iter().find(|course| course.signal == signal).ok_or("no course")?;
    let (from, to) = (inputs.number("from_d")?, inputs.number("to_d")?);
    let steps = 1000;
    let shape =
        (0..steps).map(|k| course.at(from + (to - from) * (k as f64 + 0.5) / f64::from(steps))).sum::<f64>();
    let severity: f64 = template.severities.iter().map(|(severity, weight)| severity * weight).sum();
    let takes_part: f64 =
        course.share.iter().filter(|(share, _)| 0.0 < *share).map(|(_, weight)| weight).sum();
    let share: f64 = course.share.iter().map(|(share, weight)| share * weight).sum();
    Ok(course.size * shape / f64::from(steps) * severity * share / takes_part)
}
