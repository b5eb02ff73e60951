//! What is the matter with this cow, since when, in which quarter, and how sure is that?

use jiff::{SignedDuration, Timestamp};

use super::{
    Cause, Finding, Reason, Subject, Urgency,
    calibrated::stated,
    gate::{OPEN_FROM, Rough, open},
    grid::{Onset, SPAN_H, onsets},
    likelihood::{READY, ReadyTemplate, log_sum},
    priors::Background,
    series::{Series, gather, of_lines},
    templates::of_quarter,
    weigh::{Cell, Evidence, Read, taken_off, weigh},
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

/// Onsets a cow-day from which a cause is weighed wherever anything is: one in 20 in ten days.
const OFTEN_FROM: f64 = 0.005;

/// Causes less likely than this are not worth naming: 1 in 200.
pub const NAMED_FROM: f64 = 0.005;

/// Weight of all illnesses of a cow, against 1 of one that is well, from which she is looked at beside what passes by itself:
/// that only lessens it, and by the stated costs nothing is shown that is less likely than some 1 in 20.
const TOLD_FROM: f64 = 0.02;

/// Weight of a heat, against 1 of a cow that is well, from which she is looked at beside what passes by itself: heats are so
/// common that every cow would be. Far below what is shown.
const HEAT_FROM: f64 = 0.015;

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
    let onsets = onsets(&milked_h, earliest_h);
    if onsets.is_empty() {
        return Vec::new();
    }
    let first = Weighed::of(course, settings, series, &onsets, open_from, None);
    let mut chances = first.chances.clone();
    // Two causes may hold at once: what the likeliest one leaves unexplained is weighed for the others.
    let likeliest =
        chances.iter().copied().filter(|(cause, _)| *cause != Cause::Well).max_by(|a, b| a.1.total_cmp(&b.1));
    // Milk alone does not say which illness of the whole cow it is: what explains it best stands for all of them.
    let whole = |cause: Cause| cause.is_illness() && cause != Cause::Udder;
    let likeliest = likeliest.map(|(cause, chance)| {
        let together = chances.iter().filter(|(other, _)| whole(*other)).map(|(_, chance)| chance).sum();
        (cause, if whole(cause) { together } else { chance })
    });
    let second = likeliest.filter(|(_, chance)| 0.5 <= *chance).and_then(|(cause, chance)| {
        let evidence = first.evidence_of(cause)?;
        let cell = evidence.cells.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?;
        let left = taken_off(evidence, cell, &first.read, &onsets);
        Some((chance, Weighed::of(course, settings, left, &onsets, open_from, Some(cause))))
    });
    let mut from_second = Vec::new();
    if let Some((chance, second)) = &second {
        for (cause, alone) in &mut chances {
            let beside =
                second.chances.iter().find(|(other, _)| other == cause).map_or(0.0, |(_, beside)| *beside);
            if *cause != Cause::Well && 0.0 < beside {
                if *alone < chance * beside {
                    from_second.push(*cause);
                }
                *alone = (*alone + chance * beside).min(1.0);
            }
        }
    }
    let mut findings: Vec<Finding> = chances
        .iter()
        .filter(|(cause, chance)| *cause != Cause::Well && NAMED_FROM <= *chance)
        .filter_map(|(cause, chance)| {
            let mut others: Vec<(Cause, f64)> =
                chances.iter().filter(|(other, _)| other != cause).copied().collect();
            others.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            let weighed = match &second {
                Some((_, second)) if from_second.contains(cause) => second,
                _ => &first,
            };
            finding(course, *cause, *chance, others, weighed, &onsets)
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

/// Every cause but one weighed on one set of readings.
struct Weighed {
    read: Vec<Read>,
    evidence: Vec<Evidence>,
    /// Chance of each cause if only one holds; `Well` first.
    chances: Vec<(Cause, f64)>,
}

impl Weighed {
    fn of(
        course: &CowCourse,
        settings: &Settings,
        series: Vec<Series>,
        onsets: &[Onset],
        open_from: f64,
        without: Option<Cause>,
    ) -> Weighed {
        let rate = |ready: &ReadyTemplate| {
            settings.rates.a_day(ready.template.cause, &course.her) * ready.template.weight
        };
        let rough: Vec<Rough> = series.iter().map(Rough::of).collect();
        let measured = |ready: &ReadyTemplate| {
            let moves = |one: &Series| ready.courses.iter().any(|course| course.course.signal == one.signal);
            series.iter().any(moves)
        };
        // What is weighed first, and what only beside it: what passes by itself, and what comes so often that it may be behind
        // anything.
        let mut first: Vec<Vec<Option<Quarter>>> = vec![Vec::new(); READY.len()];
        let mut beside: Vec<bool> = vec![false; READY.len()];
        for (place, ready) in READY.iter().enumerate() {
            let cause = ready.template.cause;
            if Some(cause) == without {
                continue;
            }
            if cause != Cause::Well {
                first[place] = open(ready, &rough, &settings.noise, rate(ready), open_from);
            }
            let often = OFTEN_FROM < rate(ready) && !ready.template.in_quarter;
            beside[place] = first[place].is_empty() && (cause == Cause::Well || often) && measured(ready);
        }
        let read: Vec<Read> = series.into_iter().map(Read::of).collect();
        let weighed = |place: usize, places: &[Option<Quarter>]| {
            let ready = &READY[place];
            (place, weigh(ready, places, &read, onsets, rate(ready), &settings.noise))
        };
        let opened = first.iter().enumerate().filter(|(_, places)| !places.is_empty());
        let mut evidence: Vec<(usize, Evidence)> =
            opened.map(|(place, places)| weighed(place, places)).collect();
        // What passes by itself only takes from the chances of what is weighed: where they are little without it, it is
        // not looked at.
        let sum = |heat: bool| {
            let own = evidence.iter().filter(|(_, one)| (one.ready.template.cause == Cause::Heat) == heat);
            log_sum(own.map(|(_, one)| one.total())).exp()
        };
        let told = TOLD_FROM <= sum(false) || HEAT_FROM <= sum(true);
        if told || open_from <= 0.0 || (without.is_some() && !evidence.is_empty()) {
            let others = beside.iter().enumerate().filter(|(_, beside)| **beside);
            evidence.extend(others.map(|(place, _)| weighed(place, &[None])));
            evidence.sort_by_key(|(place, _)| *place);
        } else if without.is_none() {
            evidence.clear();
        }
        let evidence: Vec<Evidence> = evidence.into_iter().map(|(_, one)| one).collect();
        let mut logs: Vec<(Cause, f64)> = vec![(Cause::Well, 0.0)];
        for one in &evidence {
            let total = one.total();
            let cause = one.ready.template.cause;
            logs[0].1 = log_sum([logs[0].1, one.passed].into_iter());
            match logs.iter_mut().find(|(known, _)| *known == cause) {
                Some((_, log)) => *log = log_sum([*log, total].into_iter()),
                None => logs.push((cause, total)),
            }
        }
        let all = log_sum(logs.iter().map(|(_, log)| *log));
        let chances = logs.into_iter().map(|(cause, log)| (cause, (log - all).exp())).collect();
        Weighed { read, evidence, chances }
    }

    fn evidence_of(&self, cause: Cause) -> Option<&Evidence> {
        self.evidence.iter().find(|one| one.ready.template.cause == cause)
    }
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
    let total = one.total();
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
