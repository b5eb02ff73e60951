//! What explains her readings, and what explains what that leaves?
//!
//! # Equation
//! P(c) = Σ_k reach_k · P_k(c)        reach_0 = 1,  reach_{k+1} = reach_k · P_k(h_k)
//!   k    a layer: her readings, without what the layers before it hold
//!   P_k  chance of each cause if only one holds (`weigh`)
//!   h_k  what holds there: what is likelier than not, a cause or a signal that strays by itself
//!
//! Two causes may hold at once, and a signal that strays by itself says nothing of the others: a box whose scale was moved must
//! not hide a heat. So what the likeliest explains is taken off, and the rest is weighed once more. Of a signal that strays
//! nothing is left: what its drawn course leaves of it is no sign of anything either.

use super::{
    Cause,
    gate::{Rough, open},
    grid::Onset,
    judge::CowCourse,
    likelihood::{READY, ReadyTemplate, log_sum},
    priors::Rates,
    series::Series,
    templates::Template,
    weigh::{Evidence, Read, taken_off, weigh},
    worth::Settings,
};
use crate::{expect::Signal, herd::Quarter};

/// Onsets a cow-day from which a cause is weighed wherever anything is: one in 20 in ten days.
const OFTEN_FROM: f64 = 0.005;

/// Weight of all illnesses of a cow, and of a heat, against 1 of one that is well, from which she is looked at beside what passes
/// by itself: that only lessens it, mostly to a half and less, and by the stated costs nothing is shown that is less likely than
/// some 1 in 20, no heat than 1 in 25.
const TOLD_FROM: f64 = 0.05;

/// From this chance on something holds: likelier than not.
const HOLDS_FROM: f64 = 0.5;

/// Layers at most: two signals may stray, as where one sensor measures both, and a cause hold beside another.
const MOST_LAYERS: usize = 4;

/// Causes weighed on what those before leave.
pub(crate) struct Layer {
    /// Chance that all holds which was taken off.
    reach: f64,
    weighed: Weighed,
}

/// Every layer of a cow's readings, the first with nothing taken off.
pub(crate) fn layers(
    course: &CowCourse,
    settings: &Settings,
    series: Vec<Series>,
    onsets: &[Onset],
    open_from: f64,
) -> Vec<Layer> {
    let mut taken: Option<Cause> = None;
    let mut layers =
        vec![Layer { reach: 1.0, weighed: Weighed::of(course, settings, series, onsets, open_from, taken) }];
    while layers.len() < MOST_LAYERS {
        let Some(Layer { reach, weighed }) = layers.last() else { break };
        let Some((evidence, chance)) = weighed.holds() else { break };
        let template = evidence.ready.template;
        let reach = reach * chance;
        let left = match template.cause {
            Cause::Well => weighed.without(template),
            // A second cause is looked for once.
            _ if taken.is_some() => break,
            cause => {
                let most = evidence.cells.iter().max_by(|a, b| a.weight.total_cmp(&b.weight));
                let Some(cell) = most else { break };
                taken = Some(cause);
                taken_off(evidence, cell, &weighed.read, onsets)
            }
        };
        let weighed = Weighed::of(course, settings, left, onsets, open_from, taken);
        layers.push(Layer { reach, weighed });
    }
    layers
}

/// Chance of each cause over all layers; `Well` first, as the first layer has it.
pub(crate) fn chances(layers: &[Layer]) -> Vec<(Cause, f64)> {
    let mut chances: Vec<(Cause, f64)> = Vec::new();
    for (depth, layer) in layers.iter().enumerate() {
        for (cause, own) in &layer.weighed.chances {
            match chances.iter_mut().find(|(known, _)| known == cause) {
                Some(_) if *cause == Cause::Well && 0 < depth => {}
                Some((_, chance)) => *chance = (*chance + layer.reach * own).min(1.0),
                None => chances.push((*cause, layer.reach * own)),
            }
        }
    }
    chances
}

/// Where most of a cause's chance comes from.
pub(crate) fn telling(layers: &[Layer], cause: Cause) -> Option<&Weighed> {
    let chance = |layer: &Layer| layer.reach * layer.weighed.chance(cause);
    let known = layers.iter().filter(|layer| layer.weighed.evidence_of(cause).is_some());
    // Of equals the first.
    let most = known.rev().max_by(|a, b| chance(a).total_cmp(&chance(b)))?;
    Some(&most.weighed)
}

/// Causes weighed on one set of readings.
pub(crate) struct Weighed {
    /// The readings.
    pub read: Vec<Read>,
    evidence: Vec<Evidence>,
    /// Chance of each cause if only one holds; `Well` first.
    chances: Vec<(Cause, f64)>,
    /// ln of the weight of all of them, against 1 of a cow with nothing.
    all: f64,
}

impl Weighed {
    /// Every cause but one that is `taken` off already.
    fn of(
        course: &CowCourse,
        settings: &Settings,
        series: Vec<Series>,
        onsets: &[Onset],
        open_from: f64,
        taken: Option<Cause>,
    ) -> Weighed {
        let rate = |ready: &ReadyTemplate| {
            settings.rates.a_day(ready.template.cause, &course.her) * ready.template.weight
        };
        // Onsets that are expected in a cell.
        let begun = |place: usize| {
            let (cause, a_day) = (READY[place].template.cause, rate(&READY[place]));
            move |cell: &Onset| {
                let (middle, half) = (-cell.hours / 24.0, cell.width_days / 2.0);
                Rates::in_span(cause, &course.her, (middle + half, middle - half), a_day)
            }
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
            if Some(cause) == taken {
                continue;
            }
            if cause != Cause::Well {
                first[place] = open(ready, &rough, &settings.noise, begun(place), open_from);
            }
            let often = OFTEN_FROM < rate(ready) && !ready.template.in_quarter;
            beside[place] = first[place].is_empty() && (cause == Cause::Well || often) && measured(ready);
        }
        let read: Vec<Read> = series.into_iter().map(Read::of).collect();
        let weighed = |place: usize, places: &[Option<Quarter>]| {
            weigh(place, places, &read, onsets, begun(place), &settings.noise)
        };
        let opened = first.iter().enumerate().filter(|(_, places)| !places.is_empty());
        let mut evidence: Vec<Evidence> = opened.map(|(place, places)| weighed(place, places)).collect();
        // What passes by itself only takes from the chances of what is weighed: where they are little without it, it is
        // not looked at.
        let sum = |heat: bool| {
            let own = evidence.iter().filter(|one| (one.ready.template.cause == Cause::Heat) == heat);
            log_sum(own.map(|one| one.total)).exp()
        };
        let told = TOLD_FROM <= sum(false) || TOLD_FROM <= sum(true);
        if told || open_from <= 0.0 || (taken.is_some() && !evidence.is_empty()) {
            let others = beside.iter().enumerate().filter(|(_, beside)| **beside).map(|(place, _)| place);
            evidence.extend(others.map(|place| weighed(place, &READY[place].template.places())));
            evidence.sort_by_key(|one| one.place);
        } else {
            evidence.clear();
        }
        let mut logs: Vec<(Cause, f64)> = vec![(Cause::Well, 0.0)];
        for one in &evidence {
            let total = one.total;
            let cause = one.ready.template.cause;
            logs[0].1 = log_sum([logs[0].1, one.passed].into_iter());
            match logs.iter_mut().find(|(known, _)| *known == cause) {
                Some((_, log)) => *log = log_sum([*log, total].into_iter()),
                None => logs.push((cause, total)),
            }
        }
        let all = log_sum(logs.iter().map(|(_, log)| *log));
        let chances = logs.into_iter().map(|(cause, log)| (cause, (log - all).exp())).collect();
        Weighed { read, evidence, chances, all }
    }

    /// The readings without the signals that stray.
    fn without(&self, stray: &Template) -> Vec<Series> {
        let strays = |signal: Signal| stray.courses.iter().any(|course| course.signal == signal);
        self.read.iter().map(|read| &read.series).filter(|series| !strays(series.signal)).cloned().collect()
    }

    /// What one cause makes of the readings.
    pub fn evidence_of(&self, cause: Cause) -> Option<&Evidence> {
        self.evidence.iter().find(|one| one.ready.template.cause == cause)
    }

    fn chance(&self, cause: Cause) -> f64 {
        self.chances.iter().find(|(own, _)| *own == cause).map_or(0.0, |(_, chance)| *chance)
    }

    /// What is likelier than not, and its chance: a cause, or a signal that strays by itself.
    fn holds(&self) -> Option<(&Evidence, f64)> {
        // Milk alone does not say which illness of the whole cow it is: what explains it best stands for all of them.
        let whole = |cause: Cause| cause.is_illness() && cause != Cause::Udder;
        let causes = self.chances.iter().filter(|(cause, _)| *cause != Cause::Well);
        let (cause, chance) = causes.clone().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let together = causes.filter(|(other, _)| whole(*other)).map(|(_, chance)| chance).sum();
        let chance = if whole(cause) { together } else { chance };
        if HOLDS_FROM <= chance {
            return Some((self.evidence_of(cause)?, chance));
        }
        let strays = self.evidence.iter().filter(|one| one.ready.template.stray);
        let (stray, total) = strays.map(|one| (one, one.total)).max_by(|(_, a), (_, b)| a.total_cmp(b))?;
        let chance = (total - self.all).exp();
        (HOLDS_FROM <= chance).then_some((stray, chance))
    }
}
