//! Who notices what, and what do people do about it?
//!
//! Two walks a day: what a person sees of a case decides the chance that it is noticed; some never are. A case noticed
//! is written down and, as a rule, treated; her milk is held. A heat seen is written down and served hours later.

use crate::{
    clock::{DAY_S, HOUR_S},
    cow::{Cow, Task},
    cycle::conceives,
    rows::EventRow,
    sickness::Kind,
};

/// A morning or evening walk past her.
pub fn walk(cow: &mut Cow, at_s: i64, events: &mut Vec<EventRow>) {
    for place in 0..cow.cases.len() {
        let chance = &mut cow.streams.people;
        let case = &mut cow.cases[place];
        let seen = chance.chance((case.notice * case.visible(at_s) * 1.25).min(0.97));
        if case.noticed_s.is_some() || !seen {
            continue;
        }
        let noticed_s = at_s + (chance.between(0.0, 1.2) * HOUR_S as f64) as i64;
        case.noticed_s = Some(noticed_s);
        let (words, treated_share, held_d, helps, after_h) = match (case.kind, case.form) {
            (Kind::Udder, "fast") => ("mastitis, watery milk", 0.95, (4.0, 7.0), 0.72, (14.0, 40.0)),
            (Kind::Udder, _) => ("mastitis, clots", 0.8, (3.5, 6.0), 0.66, (20.0, 60.0)),
            (Kind::Metabolic, _) => ("ketosis", 0.85, (0.0, 0.0), 0.7, (18.0, 60.0)),
            (Kind::Gut, "displaced") => ("displaced stomach", 0.95, (3.0, 5.0), 0.85, (20.0, 48.0)),
            (Kind::Gut, _) => ("off feed", 0.5, (0.0, 0.0), 0.6, (8.0, 24.0)),
            (Kind::Feet, _) => ("lame", 0.75, (0.0, 0.0), 0.75, (40.0, 150.0)),
            (Kind::Fever, _) => ("fever", 0.85, (3.0, 5.5), 0.75, (12.0, 36.0)),
        };
        // Left and right are mixed up now and then, in the book as in the barn.
        let written = case.quarter.map(|quarter| if chance.chance(0.04) { quarter ^ 1 } else { quarter });
        events.push(EventRow {
            animal: cow.animal,
            at_s: noticed_s,
            kind: "diagnosed",
            quarter: written,
            detail: words.replace(", ", " "),
            by: "manager",
            ..EventRow::default()
        });
        if case.kind == Kind::Feet {
            events.push(EventRow {
                animal: cow.animal,
                at_s: noticed_s,
                kind: "locomotion",
                value: Some((2.0 + 2.6 * case.severity).round().min(5.0)),
                unit: "of 5",
                by: "manager",
                ..EventRow::default()
            });
        }
        if !chance.chance(treated_share) {
            continue;
        }
        // Feet wait for the trimmer; the rest is seen to within hours.
        let delay_h =
            if case.kind == Kind::Feet { chance.between(5.0, 90.0) } else { chance.between(0.3, 5.0) };
        let treated_s = noticed_s + (delay_h * HOUR_S as f64) as i64;
        case.treated_s = Some(treated_s);
        if chance.chance(helps) {
            case.relief_s = Some(treated_s + (chance.between(after_h.0, after_h.1) * HOUR_S as f64) as i64);
        }
        let until_s = (0.0 < held_d.1)
            .then(|| treated_s + (chance.between(held_d.0, held_d.1) * DAY_S as f64) as i64 / 600 * 600);
        if let Some(until_s) = until_s {
            cow.held_until_s = cow.held_until_s.max(until_s);
        }
        events.push(EventRow {
            animal: cow.animal,
            at_s: treated_s,
            kind: "treated",
            quarter: written,
            detail: if case.kind == Kind::Feet { "hoof trimmed" } else { case.kind.word() }.into(),
            until_s,
            by: if case.form == "displaced" { "vet" } else { "manager" },
            ..EventRow::default()
        });
    }
}

/// Does what the agenda asks for by a time.
pub fn act(cow: &mut Cow, until_s: i64, today: i32, heat_load: f64, events: &mut Vec<EventRow>) {
    let mut place = 0;
    while place < cow.agenda.len() {
        let (at_s, task) = cow.agenda[place];
        if until_s < at_s {
            place += 1;
            continue;
        }
        cow.agenda.remove(place);
        if cow.dry {
            continue;
        }
        match task {
            Task::NoteHeat => events.push(EventRow {
                animal: cow.animal,
                at_s,
                kind: "heat",
                by: "manager",
                ..EventRow::default()
            }),
            Task::Inseminate(hours) => {
                events.push(EventRow {
                    animal: cow.animal,
                    at_s,
                    kind: "inseminated",
                    by: "inseminator",
                    ..EventRow::default()
                });
                let chance = &mut cow.streams.breeding;
                cow.breeding.served_on = Some(today);
                cow.breeding.checks = 0;
                cow.breeding.recorded_in_calf = false;
                if chance.chance(conceives(hours, cow.parity, heat_load)) {
                    cow.breeding.in_calf_since = Some(today);
                    cow.breeding.next_heat_s = None;
                    cow.breeding.gestation_d = chance.bounded(279.0, 5.0, 2.5) as i32;
                    cow.breeding.lost_on =
                        chance.chance(0.1).then(|| today + chance.between(26.0, 75.0) as i32);
                }
            }
        }
    }
}

/// The vet's weekly hour: is she in calf?
pub fn check(cow: &mut Cow, at_s: i64, today: i32, events: &mut Vec<EventRow>) {
    let Some(served_on) = cow.breeding.served_on else { return };
    let after_d = today - served_on;
    let due = match cow.breeding.checks {
        0 => 32 <= after_d,
        1 => cow.breeding.recorded_in_calf && 66 <= after_d,
        _ => false,
    };
    if cow.dry || !due {
        return;
    }
    let in_calf = cow.breeding.in_calf_since == Some(served_on);
    cow.breeding.checks += 1;
    cow.breeding.recorded_in_calf = in_calf;
    if !in_calf {
        cow.breeding.served_on = None;
    }
    events.push(EventRow {
        animal: cow.animal,
        at_s,
        kind: "pregnancy-check",
        detail: if in_calf { "pregnant" } else { "open" }.into(),
        by: "vet",
        ..EventRow::default()
    });
}
