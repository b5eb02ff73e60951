//! Which cows are there on the first day, and who comes after them?

use crate::{
    chance::Stream,
    clock::{DAY_S, FarmClock},
    cow::{Cow, Habit, Streams},
    curve::Curve,
    cycle::Breeding,
    rows::EventRow,
    signs::Signs,
};

/// Days dry before calving.
pub const DRY_D: i32 = 58;
/// Days after calving before which nobody serves her.
pub const WAIT_D: i32 = 55;

/// A cow that calved at a time, with habits of her own.
pub fn cow(seed: u64, animal: u32, parity: u32, calved_s: i64, day: i32, pen: usize) -> Cow {
    let mut traits = Stream::new(seed, "cow habits", u64::from(animal));
    let habit = Habit::draw(&mut traits);
    let mut streams = Streams::of(seed, animal);
    let curve = Curve::draw(&mut traits, parity, habit.merit);
    let born_day = day - 730 - 395 * (parity.max(1) as i32 - 1) - traits.between(-40.0, 60.0) as i32;
    let hazard_left = streams.coming.unit_exponential();
    let weight_kg = weight_kg(&habit, parity, 60.0, 0.0);
    Cow {
        animal,
        born_day,
        sire: 1 + traits.below(38) as u32,
        parity,
        calved_day: day,
        calved_s,
        dry: false,
        gone: false,
        pen,
        habit,
        curve,
        streams,
        cases: Vec::new(),
        heats: Vec::new(),
        breeding: Breeding::default(),
        signs: Signs::WELL,
        last_udder: None,
        lasting: [1.0; 4],
        held_kg: [0.0; 4],
        rate_kg_h: [0.0; 4],
        advanced_s: calved_s,
        day_log: 0.0,
        quarter_log: [0.0; 4],
        ms_day: [0.0; 4],
        ms_all: 0.0,
        wander_log: 0.0,
        vigour_log: 0.0,
        potential_kg: 0.0,
        secreted_kg: 0.0,
        loss_sum: (0.0, 0.0),
        ways_log: [0.0; 2],
        last_visit_s: calved_s,
        last_milking_s: calved_s,
        missed: false,
        left_behind_kg: 0.0,
        hazard_left,
        waiting: false,
        milkings: 0,
        milkings_day: 2.7,
        credit_kg: 0.3,
        allowance_kg: 1.5,
        weight_kg,
        held_until_s: i64::MIN,
        agenda: Vec::new(),
        last_milk: None,
        back_on: None,
        unsettled_until_s: i64::MIN,
        last_bin: None,
        tag_lost_until_s: i64::MIN,
        tag_frozen_until_s: i64::MIN,
    }
}

/// The herd of the first day, and what the farm had noted of these cows before.
pub fn herd(seed: u64, clock: &FarmClock, count: u32, pens: usize) -> (Vec<Cow>, Vec<EventRow>) {
    let first_day = clock.day(clock.start_s);
    let mut chance = Stream::new(seed, "herd at start", 0);
    // Older cows have the lower numbers; numbers of cows long gone are missing.
    let mut parities: Vec<u32> =
        (0..count).map(|_| 1 + chance.weighted(&[0.35, 0.26, 0.18, 0.11, 0.06, 0.04]) as u32).collect();
    parities.sort_unstable_by(|a, b| b.cmp(a));
    let mut animal = 100;
    let mut cows = Vec::with_capacity(parities.len());
    let mut notes = Vec::new();
    for parity in parities {
        animal += 1 + chance.weighted(&[0.6, 0.25, 0.1, 0.05]) as u32;
        // Day of conception after calving: heats every three weeks, each with its chance; some never.
        let mut open_d = f64::from(WAIT_D) + chance.between(0.0, 24.0);
        let mut tries = 0;
        while tries < 13 && !chance.chance(0.27) {
            open_d += 21.0;
            tries += 1;
        }
        let conceives = tries < 13;
        let gestation_d = chance.bounded(279.0, 5.0, 2.5) as i32;
        let cycle = if conceives { open_d + f64::from(gestation_d) } else { 400.0 };
        let dim = chance.between(1.0, cycle - 1.0) as i32;
        let calved_day = first_day - dim;
        let calved_s = clock.at(calved_day, chance.between(0.0, 24.0));
        let mut new = cow(seed, animal, parity, calved_s, calved_day, chance.below(pens));
        new.weight_kg = weight_kg(&new.habit, parity, f64::from(dim), 0.0);
        new.breeding.gestation_d = gestation_d;
        notes.push(EventRow {
            animal,
            at_s: calved_s,
            kind: "calved",
            value: Some(f64::from(parity)),
            unit: "parity",
            by: "herd list",
            ..EventRow::default()
        });
        let conceived_day = calved_day + open_d as i32;
        if conceives && conceived_day < first_day {
            let carried = first_day - conceived_day;
            new.breeding.in_calf_since = Some(conceived_day);
            new.breeding.served_on = Some(conceived_day);
            new.breeding.heats = tries + 2;
            notes.push(EventRow {
                animal,
                at_s: clock.at(conceived_day, 8.0 + chance.uniform()),
                kind: "inseminated",
                by: "inseminator",
                ..EventRow::default()
            });
            if 40 < carried {
                new.breeding.checks = 1 + u32::from(80 < carried);
                new.breeding.recorded_in_calf = true;
                notes.push(EventRow {
                    animal,
                    at_s: clock.at(conceived_day + 35, 10.0 + chance.uniform()),
                    kind: "pregnancy-check",
                    detail: "pregnant".into(),
                    by: "vet",
                    ..EventRow::default()
                });
            }
            if gestation_d - DRY_D < carried {
                new.dry = true;
                notes.push(EventRow {
                    animal,
                    at_s: clock.at(conceived_day + gestation_d - DRY_D, 9.5 + chance.uniform()),
                    kind: "dried-off",
                    by: "manager",
                    ..EventRow::default()
                });
            }
        } else if 25 < dim {
            let next_d = chance.between(0.0, 21.0);
            new.breeding.heats = (dim / 21) as u32;
            new.breeding.next_heat_s = Some(clock.start_s + (next_d * 86_400.0) as i64);
            new.breeding.given_up = !conceives && 260 < dim;
        } else {
            first_heat(&mut new);
        }
        // She comes from some earlier milking, with some milk in her.
        new.milkings = if dim < 2 { 2 } else { 100 };
        let since_h = chance.between(0.5, 9.0);
        new.last_milking_s = clock.start_s - (since_h * 3600.0) as i64;
        new.last_visit_s = new.last_milking_s;
        new.advanced_s = new.last_milking_s;
        new.held_until_s = calved_s + 5 * DAY_S;
        let so_far_kg = new.curve.potential_kg_day(f64::from(dim), 0.0) / 24.0 * since_h + 1.0;
        new.held_kg = new.habit.shares.map(|share| if new.dry { 0.0 } else { share * so_far_kg });
        new.day_log = chance.normal(0.0, 0.04);
        new.wander_log = chance.normal(0.0, 0.05);
        cows.push(new);
    }
    notes.retain(|note| note.at_s < clock.start_s);
    notes.sort_by_key(|note| (note.at_s, note.animal));
    (cows, notes)
}

/// Sets the first heat after calving.
pub fn first_heat(cow: &mut Cow) {
    let after_d = cow.streams.breeding.between(22.0, 52.0);
    cow.breeding.next_heat_s = Some(cow.calved_s + (after_d * 86_400.0) as i64);
}

/// What she weighs, kg: frame by parity, loss to about day 55 of milking, then gain; `carried_d` days of pregnancy.
pub fn weight_kg(habit: &Habit, parity: u32, dim_d: f64, carried_d: f64) -> f64 {
    let grown = match parity {
        0 | 1 => 0.86,
        2 => 0.95,
        _ => 1.0,
    };
    let d = dim_d.max(0.0);
    let thin = 42.0 * (d / 50.0) * (1.0 - d / 50.0).exp();
    habit.frame_kg * grown - thin + 45.0 * (d / 330.0).min(1.1) + 60.0 * (carried_d / 279.0).powi(3)
}
