//! One finding as a call of the round: its name, its sentence, what may be in the tank, its picture.

use cowpath_core::{
    causes::{Cause, Finding, Subject, Urgency, boxes::BoxFault},
    say,
    tables::{Destination, Outcome, Visit},
};
use jiff::SignedDuration;

use super::{
    background, box_evidence, box_judging, evidence,
    farm::Barn,
    places::place,
    round::{Other, RoundCall, RoundReason},
    view::View,
};

/// One finding as a call, with its sentence and its picture.
pub(super) fn call(
    barn: &Barn,
    view: &View,
    finding: &Finding,
    boxes: &[BoxFault],
) -> anyhow::Result<RoundCall> {
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
    let breeding = life.map(|life| background::breeding(view, life)).unwrap_or_default();
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
            in_calf: breeding.in_calf,
            inseminated_at: breeding.inseminated_at,
            noted_at: breeding.noted_now(view.at),
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
