//! Makes the round: judges every cow that can be judged, and the herd; cuts by worth; puts it into sentences.

use std::sync::atomic::{AtomicUsize, Ordering};

use cowpath_core::{
    causes::{self, Cause, CowCourse, Finding, Subject, Urgency, boxes::BoxFault},
    herd::{Life, LifeKey, Stage},
    say::{self, summary::NotJudged::TooNew},
    tables::{Destination, Outcome, Visit},
};
use jiff::{SignedDuration, Timestamp};

use super::{
    away, background, box_evidence, box_judging, evidence,
    farm::Barn,
    places::{place, places},
    round::{NotJudged, Other, Quiet, Round, RoundCall, RoundReason},
    silence,
    standing::{self, Standing},
    view::View,
};

/// The round of a farm at a time; an empty one, with what to do, while the farm has no rows.
pub fn round(barn: &Barn, at: Option<Timestamp>, now: Timestamp) -> anyhow::Result<Round> {
    match super::view::at(barn, at)? {
        Some(view) => of_view(barn, &view),
        None => empty(barn, at.unwrap_or(now)),
    }
}

fn empty(barn: &Barn, at: Timestamp) -> anyhow::Result<Round> {
    let ways = barn.ways()?;
    Ok(Round {
        farm: ways.name.clone(),
        at: say::when::rfc3339(at, &ways.zone),
        at_words: say::when::heading(at, at, &ways.zone),
        last_row_words: String::new(),
        model: super::model::MODEL.into(),
        summary: "No rows have been read yet.".into(),
        calls: Vec::new(),
        places: Vec::new(),
        looked_at: Vec::new(),
        open: Vec::new(),
        counts: say::summary::Counts::default(),
        quiet: Quiet { cows: 0, not_judged: Vec::new() },
        learned: Default::default(),
        notes: vec!["Read the logs of your boxes first: cowpath import FILE...".into()],
    })
}

/// What a round says before it is put into words.
pub struct Judged<'a> {
    /// Cows judged, and where they stand.
    pub cows: Vec<(&'a Life, Stage)>,
    /// Cows that could not be judged, with why.
    pub not_judged: Vec<NotJudged>,
    /// Those of them that are too new.
    too_new: usize,
    /// Cows without a row for weeks, and no event that says why.
    gone: usize,
    /// Every finding worth naming, shown or not.
    pub findings: Vec<Finding>,
    /// What is shown, in the round's order.
    pub shown: Vec<Finding>,
    /// Faults of boxes, with what shows them.
    boxes: box_judging::Judged,
}

/// Judges all that can be judged of what was known at a time.
pub fn judged<'v>(barn: &Barn, view: &'v View) -> anyhow::Result<Judged<'v>> {
    judged_by(barn, view, &view.judging.settings)
}

/// The same with other settings.
fn judged_by<'v>(barn: &Barn, view: &'v View, stated: &causes::Settings) -> anyhow::Result<Judged<'v>> {
    let mut judged = Vec::new();
    let mut not_judged = Vec::new();
    let (mut gone, mut too_new) = (0_usize, 0_usize);
    let away = away::findings(barn, view, stated)?;
    let is_away = |life: &Life| away.iter().any(|one| one.subject == Subject::Cow(life.key));
    for life in view.cast.lives.iter().filter(|life| life.present(view.at)) {
        let stage = life.stage(view.at);
        match standing::standing(view, life, &stage) {
            Standing::Absent => {}
            // Her absence is a call of its own.
            Standing::Not(_) if is_away(life) => {}
            Standing::Gone => gone += 1,
            Standing::Not(why) => {
                too_new += usize::from(why == TooNew);
                let why = say::summary::not_judged(why, view.at, &view.ways.zone);
                not_judged.push(NotJudged { animal: life.animal.clone(), why });
            }
            Standing::Judged => judged.push((life, stage)),
        }
    }
    let settings = settings(view, &judged, stated);
    let (mut findings, boxes) =
        cow_findings(view, &judged, &settings, || box_judging::judge(barn, view, &settings));
    let boxes = boxes?;
    // Of a cow that is away nothing else is known: what she was is told on her page.
    findings.retain(|finding| {
        !away.iter().any(|one| one.subject == finding.subject && one.cause == finding.cause)
    });
    findings.extend(away);
    findings.extend(causes::judge_herd(view.rolled.herd.herd_course(), view.at, &settings));
    // One call on the herd's intake, by the line that says most.
    let intake = view
        .others
        .heard
        .herd
        .iter()
        .filter_map(|line| causes::judge_intake(line.signal, &line.points, view.at, &settings));
    findings.extend(intake.max_by(|a, b| a.probability.total_cmp(&b.probability)));
    boxes.join(view, &settings, &mut findings);
    let mut shown = causes::cut(findings.clone(), &settings);
    // Stable: of one urgency the most worth stays first. Where one must go now is walked to before all else.
    shown.sort_by_key(|finding| finding.urgency);
    Ok(Judged { cows: judged, not_judged, too_new, gone, findings, shown, boxes })
}

/// The round of what was known at a time.
pub fn of_view(barn: &Barn, view: &View) -> anyhow::Result<Round> {
    of_view_by(barn, view, &view.judging.settings)
}

/// The same with other settings, as of costs that are only tried.
pub fn of_view_by(barn: &Barn, view: &View, stated: &causes::Settings) -> anyhow::Result<Round> {
    let Judged { cows: judged, not_judged, too_new, gone, shown, boxes, .. } = judged_by(barn, view, stated)?;
    let calls = shown
        .iter()
        .map(|finding| call(barn, view, finding, &boxes.faults))
        .collect::<anyhow::Result<Vec<_>>>()?;
    let called: std::collections::BTreeSet<LifeKey> = shown
        .iter()
        .filter_map(|finding| if let Subject::Cow(life) = finding.subject { Some(life) } else { None })
        .collect();
    let zone = &view.ways.zone;
    let known = barn.store.last_row_by(view.at)?;
    let last = barn.store.last_row_at()?;
    let newest = last.unwrap_or(view.at);
    let not_judged = if last.is_none() { standing::listed(view) } else { not_judged };
    let quiet =
        Quiet { cows: judged.iter().filter(|(life, _)| !called.contains(&life.key)).count(), not_judged };
    let counts = say::summary::Counts {
        calls: calls.len(),
        quiet: quiet.cows,
        too_new,
        not_judged: quiet.not_judged.len() - too_new,
        ..say::summary::Counts::default()
    };
    Ok(Round {
        farm: view.ways.name.clone(),
        at: say::when::rfc3339(view.at, zone),
        at_words: say::when::heading(view.at, newest, zone),
        last_row_words: known.map_or(String::new(), |last| say::when::instant(last, view.at, zone)),
        model: model_words(view),
        summary: match (known, last) {
            (Some(_), _) => say::summary::round(counts),
            (None, Some(_)) => say::summary::before_any_row().into(),
            (None, None) => say::summary::herd_list_only(counts.not_judged),
        },
        places: places(&calls, &view.ways.pens),
        looked_at: Vec::new(),
        open: Vec::new(),
        counts,
        calls,
        quiet,
        learned: stated.rates.learned.iter().map(|(cause, factor)| (cause.word(), *factor)).collect(),
        notes: [silence::rows_end(view.at, zone, known, newest), notes(barn, view, gone)?, boxes.notes]
            .concat(),
    })
}

/// Cows that are judged at a time: the threads take turns, so that none ends long before the other.
const COWS_A_TURN: usize = 8;

/// Every cow's findings in order of the cows, on two threads; this one does something else first.
fn cow_findings<T>(
    view: &View,
    judged: &[(&Life, Stage)],
    settings: &causes::Settings,
    first: impl FnOnce() -> T,
) -> (Vec<Finding>, T) {
    let turns: Vec<&[(&Life, Stage)]> = judged.chunks(COWS_A_TURN).collect();
    let next = AtomicUsize::new(0);
    let take_turns = || {
        let mut done: Vec<(usize, Vec<Finding>)> = Vec::new();
        loop {
            let turn = next.fetch_add(1, Ordering::Relaxed);
            let Some(cows) = turns.get(turn) else { return done };
            done.push((turn, judge(view, cows, settings)));
        }
    };
    let (mut done, first) = std::thread::scope(|scope| {
        let beside = scope.spawn(take_turns);
        let first = first();
        let mut done = take_turns();
        match beside.join() {
            Ok(others) => done.extend(others),
            Err(panic) => std::panic::resume_unwind(panic),
        }
        (done, first)
    });
    done.sort_by_key(|(turn, _)| *turn);
    (done.into_iter().flat_map(|(_, findings)| findings).collect(), first)
}

fn judge(view: &View, cows: &[(&Life, Stage)], settings: &causes::Settings) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (life, stage) in cows {
        let Some(milkings) = view.milkings.get(&life.key) else { continue };
        let hers = view.others.heard.cows.get(&life.key);
        let course = CowCourse {
            life: life.key,
            at: view.at,
            her: background::of(view, life, *stage),
            milkings,
            lines: hers.map_or(&[], |hers| &hers.lines),
            unsettled_since: view.rolled.herd.unsettled_since(life.key),
            trouble_since: view.rolled.herd.trouble_since(life.key),
            began: hers.map(|hers| hers.began).unwrap_or_default(),
        };
        findings.extend(causes::judge_cow(&course, settings));
    }
    findings
}

/// The settings of the farm, with the wandering of this herd's own signals: read off the cows whose baseline is not held, for
/// the others are what is to be judged.
fn settings(view: &View, judged: &[(&Life, Stage)], stated: &causes::Settings) -> causes::Settings {
    let settled = judged
        .iter()
        .filter(|(life, _)| view.rolled.herd.unsettled_since(life.key).is_none())
        .filter_map(|(life, _)| view.milkings.get(&life.key).map(Vec::as_slice));
    let lines = judged
        .iter()
        .filter_map(|(life, _)| view.others.heard.cows.get(&life.key).map(|hers| hers.lines.as_slice()));
    causes::Settings { noise: causes::noise::estimate(settled, lines, &stated.noise), ..stated.clone() }
}

/// Which reckoning, with parameters fitted when.
pub fn model_words(view: &View) -> String {
    let fitted =
        view.rolled.fitted_at.map(|at| format!("fitted {}", say::when::rfc3339(at, &view.ways.zone)));
    let fitted = fitted.unwrap_or_else(|| "parameters not yet fitted".into());
    format!("{}; {fitted}{}", super::model::MODEL, view.judging.words)
}

fn notes(barn: &Barn, view: &View, gone: usize) -> anyhow::Result<Vec<String>> {
    let mut notes = Vec::new();
    if view.rolled.fitted_at.is_none() {
        notes.push("The herd's own habits are not fitted yet: that takes the first week or two of rows. Until then the calls rest on published figures.".into());
    }
    if 0 < gone {
        notes.push(say::summary::gone(gone));
    }
    notes.extend(super::stuck::note(view));
    notes.extend(super::contradictions::notes(barn, view)?);
    notes.extend(super::unsaid::notes(barn, view.at)?);
    notes.extend(super::unsaid::named_later(barn)?);
    notes.extend(super::refused::note(barn, say::summary::Lacks::Round)?);
    Ok(notes)
}

/// One finding as a call, with its sentence and its picture.
fn call(barn: &Barn, view: &View, finding: &Finding, boxes: &[BoxFault]) -> anyhow::Result<RoundCall> {
    let zone = &view.ways.zone;
    let life = if let Subject::Cow(key) = finding.subject { view.cast.of(key) } else { None };
    let box_name = if let Subject::Box(key) = finding.subject {
        view.cast.boxes.get(usize::from(key.0)).map(String::as_str)
    } else {
        None
    };
    let (mut may_be_in_tank, mut held_by_log, mut destination_logged) = (Vec::new(), Vec::new(), false);
    if let Some(life) = life
        && finding.cause == Cause::Udder
    {
        // From the earliest likely onset, not the likeliest: of milk that may be bad the careful end counts.
        let earliest = finding.since_between.0.min(finding.since);
        let from = earliest.saturating_sub(SignedDuration::from_hours(6))?;
        for visit in barn.store.visits_of(&life.animal, from..view.at)? {
            if visit.ended_at < earliest || view.at < visit.ended_at || !gave_milk(&visit) {
                continue;
            }
            destination_logged |= visit.destination.is_some();
            match visit.destination {
                Some(Destination::Held) => held_by_log.push(visit.started_at),
                Some(Destination::Tank) | None => may_be_in_tank.push(visit.started_at),
            }
        }
    }
    let mut said = say::call::call(
        finding,
        &say::call::Facts {
            animal: life.map(|life| life.animal.as_str()),
            box_name,
            at: view.at,
            zone,
            units: view.ways.units,
            days_in_milk: life.and_then(|life| life.stage(view.at).days_in_milk),
            may_be_in_tank: &may_be_in_tank,
            held_by_log: &held_by_log,
            destination_logged,
            diagnosed_at: life.and_then(|life| evidence::diagnosed_at(view, life, finding)),
            in_calf: life.is_some_and(|life| background::breeding(view, life).in_calf),
            inseminated_at: life.and_then(|life| background::breeding(view, life).inseminated_at),
        },
    );
    box_judging::tell(&mut said, boxes, finding, view, zone);
    let subject = match finding.subject {
        Subject::Cow(_) => "cow",
        Subject::Box(_) => "box",
        Subject::Herd => "herd",
    };
    let name = life.map(|life| life.animal.as_str()).or(box_name).unwrap_or("herd");
    Ok(RoundCall {
        id: identity(name, finding),
        subject,
        animal: life.map(|life| life.animal.clone()),
        box_name: box_name.map(str::to_owned),
        quarter: finding.quarter.map(|quarter| quarter.code()),
        cause: finding.cause.word(),
        probability: rounded(finding.probability),
        others: finding
            .others
            .iter()
            .map(|(cause, probability)| Other { cause: cause.word(), probability: rounded(*probability) })
            .collect(),
        urgency: match finding.urgency {
            Urgency::Now => "now",
            Urgency::Today => "today",
            Urgency::Watch => "watch",
        },
        since: say::when::rfc3339(finding.since, zone),
        sentence: said.sentence,
        says: said.says,
        action: said.action,
        why: said.why,
        others_words: [said.others, said.decide]
            .iter()
            .filter(|words| !words.is_empty())
            .cloned()
            .collect::<Vec<_>>()
            .join(" "),
        cautions: said.cautions,
        reasons: finding
            .reasons
            .iter()
            .zip(said.reasons)
            .map(|(reason, said)| RoundReason {
                signal: say::reason::signal_word(reason.signal),
                quarter: reason.quarter.map(|quarter| quarter.code()),
                observed: rounded(reason.observed),
                expected: rounded(reason.expected),
                unit: say::number::metric_unit(reason.signal),
                weight: rounded(reason.weight),
                name_words: said.name,
                value_words: said.value,
            })
            .collect(),
        worth: rounded(finding.worth),
        place: place(view, life, box_name),
        found: None,
        asked: String::new(),
        past: Vec::new(),
        lanes: match life {
            Some(life) => Some(evidence::of_call(barn, view, life, finding)?),
            None => match box_judging::of(boxes, finding) {
                Some(fault) => box_evidence::of_box(view, fault, box_name),
                None => evidence::of_herd(view, finding),
            },
        },
    })
}

/// What a call is known by from its first to its last round; `name` is the cow's, the box's or `herd`.
pub fn identity(name: &str, finding: &Finding) -> String {
    format!("{name}~{}~{}", finding.cause.word(), finding.episode.strftime("%Y%m%dT%H%MZ"))
}

/// Whether milk of this visit may have gone to the tank: milk that was not measured is not milk that was not there.
fn gave_milk(visit: &Visit) -> bool {
    let measured =
        visit.milk_kg.into_iter().chain(visit.quarters.iter().filter_map(|quarter| quarter.milk_kg));
    let most = measured.fold(None, |most: Option<f64>, kg| Some(most.map_or(kg, |most| most.max(kg))));
    match (most, visit.outcome) {
        (Some(most_kg), _) => 0.0 < most_kg,
        (None, outcome) => matches!(outcome, Some(Outcome::Milked | Outcome::Incomplete | Outcome::Failed)),
    }
}

/// Four decimals are more than any of these figures is sure of, and the same on every machine.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
