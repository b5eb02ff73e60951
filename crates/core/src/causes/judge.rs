//! What is the matter with this cow, since when, in which quarter, and how sure is that?

use jiff::{SignedDuration, Timestamp};

use super::{
    Cause, Finding, Reason, Subject, Urgency,
    calibrated::stated,
    gate::OPEN_FROM,
    grid::{Onset, SPAN_H, onsets, read_at},
    layers::{Weighed, chances, layers, telling},
    priors::Background,
    series::{gather, of_lines},
    templates::of_quarter,
    weigh::{Cell, Evidence},
    worth::Settings,
};
use crate::{
    expect::{Scored, Signal},
    herd::{LifeKey, Quarter},
    signals::{Began, Line},
    time::hours_between,
};

/// What is known of a cow when she is judged.
#[derive(Debug, Clone, Copy)]
pub struct CowCourse<'a> {
    /// Whose.
    pub life: LifeKey,
    /// When she is judged; nothing later is read.
    pub at: Timestamp,
    /// Parity, days in milk, and what else bears on what befalls her.
    pub her: Background,
    /// Her milkings of the last 10 days, oldest first; older and later ones are left out.
    pub milkings: &'a [Scored],
    /// Her other signals over the same days.
    pub lines: &'a [Line],
    /// Since when her baseline is held, if it is.
    pub unsettled_since: Option<Timestamp>,
    /// Since when something has been the matter with her, on and off, if it is: names her calls.
    pub trouble_since: Option<Timestamp>,
    /// Since when her other signals speak, of illness and of heat.
    pub began: Began,
}

/// Causes less likely than this are not worth naming: 1 in 200.
pub const NAMED_FROM: f64 = 0.005;

/// Every cause worth naming, likeliest first; none where nothing was measured. What is shown of them: [`super::cut`].
pub fn judge_cow(course: &CowCourse, settings: &Settings) -> Vec<Finding> {
    judge_from(course, settings, OPEN_FROM)
}

/// The same with the gate at `open_from`; 0 weighs everything.
pub(crate) fn judge_from(course: &CowCourse, settings: &Settings, open_from: f64) -> Vec<Finding> {
    let mut series = gather(
        course.milkings,
        course.at,
        course.unsettled_since,
        course.her.stage.days_in_milk,
        &settings.noise,
    );
    series.extend(of_lines(course.lines, course.at, &settings.noise));
    if series.is_empty() {
        return Vec::new();
    }
    let milked_h: Vec<f64> = course
        .milkings
        .iter()
        .filter(|milking| milking.ended_at <= course.at)
        .map(|milking| hours_between(course.at, milking.started_at))
        .filter(|hours| -SPAN_H <= *hours)
        .collect();
    let earliest_h = course.her.stage.days_in_milk.map_or(-SPAN_H, |days| -24.0 * days);
    let others_h = series.iter().flat_map(|series| series.hours.iter().copied());
    let onsets = onsets(&read_at(&milked_h, others_h), earliest_h);
    if onsets.is_empty() {
        return Vec::new();
    }
    let layers = layers(course, settings, series, &onsets, open_from);
    let chances = chances(&layers);
    let mut findings: Vec<Finding> = chances
        .iter()
        .filter(|(cause, chance)| *cause != Cause::Well && NAMED_FROM <= *chance)
        .filter_map(|(cause, chance)| {
            let mut others: Vec<(Cause, f64)> =
                chances.iter().filter(|(other, _)| other != cause).copied().collect();
            others.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            finding(course, *cause, *chance, others, telling(&layers, *cause)?, &onsets)
        })
        .collect();
    findings.sort_by(|a, b| b.probability.total_cmp(&a.probability).then(a.cause.cmp(&b.cause)));
    let rises = findings.iter().any(|finding| {
        let up = |reason: &Reason| reason.signal == Signal::Activity && 0.0 < reason.weight;
        finding.cause == Cause::Heat && finding.reasons.iter().any(up)
    });
    for finding in &mut findings {
        finding.probability = stated(finding.cause, finding.probability, rises);
        // What is left when every cause is stated as sure as it is, is left for "well".
        let mut left = 1.0 - finding.probability;
        for (cause, chance) in finding.others.iter_mut().filter(|(cause, _)| *cause != Cause::Well) {
            *chance = stated(*cause, *chance, rises);
            left -= *chance;
        }
        if let Some((_, well)) = finding.others.iter_mut().find(|(cause, _)| *cause == Cause::Well) {
            *well = left.max(0.0);
        }
        finding.others.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        settings.value(finding, course.at);
    }
    findings
}

/// Puts together what the cells of one cause say.
fn finding(
    course: &CowCourse,
    cause: Cause,
    probability: f64,
    others: Vec<(Cause, f64)>,
    weighed: &Weighed,
    onsets: &[Onset],
) -> Option<Finding> {
    let one = weighed.evidence_of(cause)?;
    let total = one.total;
    let quarter = if one.ready.template.in_quarter { likeliest(one, total) } else { None };
    // Where no quarter stands out, the call is of the udder, and all its quarters speak.
    let here = |cell: &Cell| quarter.is_none() || cell.quarter == quarter;
    let mut by_onset = vec![0.0; onsets.len()];
    let (mut severity, mut weight_of_quarter) = (0.0, 0.0);
    let courses = one.ready.courses.len();
    let mut weights = vec![0.0; courses];
    for (index, cell) in one.cells.iter().enumerate().filter(|(_, cell)| here(cell)) {
        let share = (cell.weight - total).exp();
        by_onset[cell.onset] += share;
        severity += share * one.ready.template.severities[cell.severity].0;
        weight_of_quarter += share;
        for (weight, part) in weights.iter_mut().zip(&one.parts[index * courses..(index + 1) * courses]) {
            *weight += share * part;
        }
    }
    if weight_of_quarter <= 0.0 {
        return None;
    }
    let (since_h, early_h, late_h) = onset_interval(&by_onset, onsets)?;
    let instant =
        |hours: f64| course.at.saturating_add(SignedDuration::from_secs((hours * 3600.0) as i64)).ok();
    let mut reasons: Vec<Reason> = one
        .ready
        .courses
        .iter()
        .zip(&weights)
        .filter(|(ready, _)| quarter.is_some() || !of_quarter(ready.course.signal))
        .filter_map(|(ready, weight)| {
            let place = one.ready.template.reads(ready.course.signal, quarter);
            let mut all = weighed.read.iter().map(|read| &read.series);
            let read = all.find(|series| series.signal == ready.course.signal && series.quarter == place)?;
            let (observed, expected) = read.telling(since_h, ready.course.size < 0.0)?;
            Some(Reason {
                signal: read.signal,
                quarter: read.quarter,
                observed,
                expected,
                weight: weight / weight_of_quarter,
            })
        })
        .collect();
    reasons.sort_by(|a, b| b.weight.abs().total_cmp(&a.weight.abs()).then(a.signal.cmp(&b.signal)));
    let since = instant(since_h)?;
    Some(Finding {
        subject: Subject::Cow(course.life),
        cause,
        quarter,
        probability,
        others,
        urgency: Urgency::Watch,
        since,
        since_between: (instant(early_h)?, instant(late_h)?),
        episode: named_by(course, cause).unwrap_or(since),
        worth: 0.0,
        severity: severity / weight_of_quarter,
        reasons,
    })
}

/// What names the call: the first row that spoke, of her milk, else of her other signals.
fn named_by(course: &CowCourse, cause: Cause) -> Option<Timestamp> {
    match cause {
        Cause::Heat => course.began.heat,
        _ => course.trouble_since.or(course.began.ill),
    }
}

/// Share of the weight from which a quarter is named: where nothing is measured by quarters, each has a quarter of it.
const NAMED_QUARTER: f64 = 0.4;

/// The quarter with most of the weight, if it stands out.
fn likeliest(evidence: &Evidence, total: f64) -> Option<Quarter> {
    let mut by_quarter = [0.0; 4];
    for cell in &evidence.cells {
        if let Some(quarter) = cell.quarter {
            by_quarter[quarter as usize] += (cell.weight - total).exp();
        }
    }
    let top = |quarter: &Quarter| by_quarter[*quarter as usize];
    Quarter::ALL
        .into_iter()
        .max_by(|a, b| top(a).total_cmp(&top(b)))
        .filter(|quarter| NAMED_QUARTER * by_quarter.iter().sum::<f64>() <= top(quarter))
}

/// Likeliest onset by weight an hour, and the ends of the interval that leaves 5 % on either side, hours from `at`.
pub(crate) fn onset_interval(by_onset: &[f64], onsets: &[Onset]) -> Option<(f64, f64, f64)> {
    let total: f64 = by_onset.iter().sum();
    let top = (0..onsets.len()).max_by(|a, b| {
        (by_onset[*a] / onsets[*a].width_days).total_cmp(&(by_onset[*b] / onsets[*b].width_days))
    })?;
    let edge = |wanted: f64| {
        let mut sum = 0.0;
        for (weight, onset) in by_onset.iter().zip(onsets) {
            if wanted <= sum + weight && 0.0 < *weight {
                let into = (wanted - sum) / weight - 0.5;
                return Some(onset.hours + into * onset.width_days * 24.0);
            }
            sum += weight;
        }
        onsets.last().map(|last| last.hours)
    };
    let since = onsets[top].hours;
    Some((since, edge(0.05 * total)?.min(since), edge(0.95 * total)?.max(since)))
}
