//! What is told of a cow: her cases when they are over, her row of the herd list, her monthly recording?

use crate::{
    SimError,
    chance::Stream,
    clock::FarmClock,
    cow::Cow,
    cycle::Heat,
    farm::Out,
    pen::Pen,
    rows::{AnimalRow, CaseTruth, EventRow, HappeningTruth, RecordingRow, Row},
};

/// She moves to a pen.
pub fn move_to(cow: &Cow, at_s: i64, pen: String) -> EventRow {
    EventRow { animal: cow.animal, at_s, kind: "moved", detail: pen, by: "manager", ..EventRow::default() }
}

/// Hands out cases and heats that are over.
pub fn end_cases(cow: &mut Cow, at_s: i64, end_s: i64, out: &mut Out<'_>) -> Result<(), SimError> {
    let mut place = 0;
    while place < cow.cases.len() {
        if cow.cases[place].over_s() <= at_s {
            let case = cow.cases.remove(place);
            if let Some(quarter) = case.quarter {
                cow.lasting[quarter] *= 1.0 - case.lasting_loss;
            }
            out(Row::Case(case.truth(cow.animal, end_s)))?;
        } else {
            place += 1;
        }
    }
    let mut place = 0;
    while place < cow.heats.len() {
        if cow.heats[place].over_s() <= at_s {
            let heat = cow.heats.remove(place);
            out(Row::Case(heat_truth(&heat, cow.animal, end_s)))?;
        } else {
            place += 1;
        }
    }
    Ok(())
}

/// Hands out all that is still on.
pub fn end_all(cow: &mut Cow, end_s: i64, out: &mut Out<'_>) -> Result<(), SimError> {
    for case in cow.cases.drain(..) {
        out(Row::Case(case.truth(cow.animal, end_s)))?;
    }
    for heat in cow.heats.drain(..) {
        out(Row::Case(heat_truth(&heat, cow.animal, end_s)))?;
    }
    Ok(())
}

fn heat_truth(heat: &Heat, animal: u32, end_s: i64) -> CaseTruth {
    CaseTruth {
        case: heat.number,
        animal,
        kind: "heat",
        form: if heat.silent { "silent" } else { "shown" },
        quarter: None,
        began_s: heat.begins_s,
        first_sign_s: heat.begins_s,
        noticed_s: heat.seen_s.filter(|at_s| *at_s <= end_s),
        treated_s: None,
        ended_s: (heat.ends_s() <= end_s).then(|| heat.ends_s()),
        severity: heat.peak - 1.0,
        clinical: !heat.silent,
        conductivity_rise_ms_cm: 0.0,
        milk_loss: heat.milk_loss(),
    }
}

/// Her row of the herd list.
pub fn animal(cow: &Cow, pens: &[Pen]) -> AnimalRow {
    AnimalRow {
        animal: cow.animal,
        // Country code 999 is the one ISO 11784 keeps for tests: no real animal can bear it.
        official_id: 999_000_000_000_000 + u64::from(cow.animal) * 7919 % 1_000_000_000,
        born_day: cow.born_day,
        parity: cow.parity,
        calved_day: cow.calved_day,
        pen: if cow.dry {
            "dry".into()
        } else {
            pens.get(cow.pen).map_or(String::new(), |pen| pen.name.clone())
        },
        sire: format!("S{:02}", cow.sire),
        dam: String::new(),
    }
}

/// Official milk recording of yesterday's 24 hours.
pub fn record(cow: &Cow, day: i32, people: &mut Stream, out: &mut Out<'_>) -> Result<(), SimError> {
    let Some((solids, scc_k)) = cow.last_milk else { return Ok(()) };
    if cow.dry || cow.dim(day) < 5 {
        return Ok(());
    }
    let round = |figure: f64, scale: f64| (figure * scale).round() / scale;
    out(Row::Recording(RecordingRow {
        animal: cow.animal,
        on_day: day - 1,
        milk_kg: round(cow.secreted_kg * (1.0 + people.normal(0.0, 0.02)), 10.0).max(0.0),
        solids_pct: [
            round(solids[0] + people.normal(0.0, 0.1), 100.0),
            round(solids[1] + people.normal(0.0, 0.03), 100.0),
            round(solids[2] + people.normal(0.0, 0.02), 100.0),
        ],
        scc_k: (scc_k * people.log_normal(1.0, 0.12)).round().max(1.0),
    }))
}

/// Truth of what is always so with her: a quarter somewhat inflamed for good, a quarter gone dry.
pub fn lasting_marks(cow: &Cow, clock: &FarmClock, out: &mut Out<'_>) -> Result<(), SimError> {
    for quarter in 0..4 {
        let chronic_ms_cm = cow.habit.chronic_ms_cm[quarter];
        let (kind, size) = if cow.habit.shares[quarter] == 0.0 {
            ("quarter-dry", None)
        } else if 0.0 < chronic_ms_cm {
            ("chronic-quarter", Some(chronic_ms_cm))
        } else {
            continue;
        };
        out(Row::Happening(HappeningTruth {
            kind,
            animal: Some(cow.animal),
            quarter: Some(quarter),
            from_s: cow.calved_s.max(clock.told_s),
            to_s: clock.end_s,
            size,
            ..HappeningTruth::default()
        }))?;
    }
    Ok(())
}
