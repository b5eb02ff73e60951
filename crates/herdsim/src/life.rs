//! What changes for a cow from one day to the next?
//!
//! # Source
//! Incidence, stated choices about common practice: clinical udder cases about 0.45 a cow-year, more in the first
//! month, in older cows and in a quarter that had one; flares about 0.7; energy shortage in about a fifth of calvings;
//! gut 0.04 a calving displaced and 0.1 a cow-year off feed; feet 0.35; fever 0.15, womb in a tenth of calvings.

use crate::{
    clock::{DAY_S, FarmClock, HOUR_S},
    cow::{Cow, Task},
    cycle::{Heat, cycle_d},
    rows::{DayTruth, EventRow, HappeningTruth, Row},
    season::{Day, heat_loss},
    sickness::{Kind, begin},
    stock::{DRY_D, WAIT_D, first_heat, weight_kg},
};

/// What a day may bring that the herd must deal with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fate {
    /// She stays.
    Stays,
    /// She calved today.
    Calved,
    /// She left or died.
    Gone,
}

/// Factor of the herd's day on one cow's milk.
pub fn herd_factor(cow: &Cow, day: &Day) -> f64 {
    day.feed_milk.powf(cow.habit.tender[1])
        * (1.0 - heat_loss(day.heat_load) * cow.habit.tender[0]).max(0.4)
        * day.chance_log.exp()
}

/// The truth of the day that ends, for a cow in milk.
pub fn close_day(cow: &mut Cow, day: i32, season: &Day) -> Option<Row> {
    let secreted_kg = std::mem::take(&mut cow.secreted_kg);
    let (sum, ticks) = std::mem::take(&mut cow.loss_sum);
    if cow.dry || ticks == 0.0 {
        return None;
    }
    let log = cow.day_log + cow.wander_log + cow.vigour_log;
    let herd = herd_factor(cow, season);
    Some(Row::Day(DayTruth {
        animal: cow.animal,
        day,
        dim: cow.dim(day),
        potential_kg: cow.potential_kg * herd * log.exp(),
        secreted_kg,
        loss: sum / ticks,
        shares: cow.own_shares(),
        herd_factor: herd,
    }))
}

/// Begins a day; `number` gives case numbers.
pub fn begin_day(
    cow: &mut Cow,
    today: i32,
    midnight_s: i64,
    clock: &FarmClock,
    season: &Day,
    number: &mut u32,
    out: &mut Vec<Row>,
) -> Fate {
    let gone = leave(cow, today, clock, out);
    if gone {
        return Fate::Gone;
    }
    let mut fate = Fate::Stays;
    if calve_or_dry(cow, today, clock, out) {
        fate = Fate::Calved;
    }
    wander(cow, today);
    sickness(cow, today, midnight_s, season, number);
    heats(cow, today, midnight_s, clock, number);
    mistaken(cow, today, midnight_s, out);
    tag(cow, midnight_s, out);
    if cow.streams.life.chance(1.0 / 75.0) && !cow.dry {
        let thin = 3.35 - 0.6 * (f64::from(cow.dim(today)) / 60.0).min(1.0)
            + 0.5 * (f64::from(cow.dim(today)) / 300.0);
        out.push(event(cow, clock.at(today, 10.5), "body-condition", Some(quarter_points(thin)), "of 5"));
    }
    fate
}

fn quarter_points(score: f64) -> f64 {
    (score * 4.0).round() / 4.0
}

fn event(cow: &Cow, at_s: i64, kind: &'static str, value: Option<f64>, unit: &'static str) -> Row {
    Row::Event(EventRow { animal: cow.animal, at_s, kind, value, unit, by: "manager", ..EventRow::default() })
}

fn leave(cow: &mut Cow, today: i32, clock: &FarmClock, out: &mut Vec<Row>) -> bool {
    let dim = cow.dim(today);
    let life = &mut cow.streams.life;
    let mut hazard = 0.2 / 365.0 * (0.6 + 0.25 * f64::from(cow.parity));
    if !cow.dry && cow.breeding.in_calf_since.is_none() && 300 < dim {
        cow.breeding.given_up = true;
        hazard += if cow.potential_kg < 24.0 { 0.06 } else { 0.006 };
    }
    let bad = cow.cases.iter().any(|case| 0.8 < case.severity && case.noticed_s.is_some());
    if bad {
        hazard += 0.012;
    }
    if !life.chance(hazard) {
        return false;
    }
    let died = life.chance(if bad { 0.3 } else { 0.12 });
    let at_s = clock.at(today, life.between(7.0, 15.0));
    if clock.end_s < at_s {
        return false;
    }
    out.push(event(cow, at_s, if died { "died" } else { "left" }, None, ""));
    true
}

/// True when she calved.
fn calve_or_dry(cow: &mut Cow, today: i32, clock: &FarmClock, out: &mut Vec<Row>) -> bool {
    if let (Some(lost_on), Some(_)) = (cow.breeding.lost_on, cow.breeding.in_calf_since)
        && lost_on <= today
    {
        // The calf is lost: she comes into heat again, while the papers call her in calf.
        cow.breeding.in_calf_since = None;
        cow.breeding.lost_on = None;
        let after_d = cow.streams.breeding.between(6.0, 26.0);
        cow.breeding.next_heat_s = Some(clock.at(today, 0.0) + (after_d * DAY_S as f64) as i64);
    }
    let carried = cow.carried_d(today) as i32;
    let to_go = cow.breeding.gestation_d - carried;
    if cow.breeding.in_calf_since.is_some() && !cow.dry {
        let little = cow.potential_kg < 13.0 && to_go < 95;
        if to_go < DRY_D + cow.habit.likes as i32 || little {
            let at_s = clock.at(today, 9.4 + cow.streams.life.uniform());
            if clock.end_s < at_s {
                return false;
            }
            out.push(event(cow, at_s, "dried-off", None, ""));
            out.push(moved(cow, at_s, "dry"));
            cow.dry = true;
            cow.held_kg = [0.0; 4];
            cow.rate_kg_h = [0.0; 4];
            cow.cases.retain(|case| case.kind != Kind::Udder || case.clinical);
        }
    }
    if cow.breeding.in_calf_since.is_none() || 0 < to_go {
        return false;
    }
    let at_s = clock.at(today, cow.streams.life.between(0.2, 23.5));
    if clock.end_s < at_s {
        return false;
    }
    cow.parity += 1;
    calve(cow, at_s, today, out);
    true
}

/// She calves, also for the first time.
pub fn calve(cow: &mut Cow, at_s: i64, today: i32, out: &mut Vec<Row>) {
    let (parity, merit) = (cow.parity, cow.habit.merit);
    cow.curve = crate::curve::Curve::draw(&mut cow.streams.life, parity, merit);
    out.push(event(cow, at_s, "calved", Some(f64::from(cow.parity)), "parity"));
    cow.calved_s = at_s;
    cow.calved_day = today;
    cow.dry = false;
    cow.breeding = crate::cycle::Breeding::default();
    first_heat(cow);
    cow.lasting = cow.lasting.map(|kept| 0.5 + 0.5 * kept);
    cow.held_kg = cow.habit.shares.map(|share| 5.0 * share);
    cow.advanced_s = at_s;
    cow.last_milking_s = at_s;
    cow.last_visit_s = at_s;
    cow.milkings = 0;
    cow.credit_kg = 0.3;
    // Colostrum and the milk after it stay out of the tank.
    cow.held_until_s = cow.held_until_s.max(at_s + 5 * DAY_S);
    cow.unsettled_until_s = at_s + 2 * DAY_S;
}

fn moved(cow: &Cow, at_s: i64, pen: &str) -> Row {
    Row::Event(EventRow {
        animal: cow.animal,
        at_s: at_s + 1200,
        kind: "moved",
        detail: pen.into(),
        by: "manager",
        ..EventRow::default()
    })
}

/// Noise, level, feed and weight of the day.
fn wander(cow: &mut Cow, today: i32) {
    let dim = f64::from(cow.dim(today));
    let carried = cow.carried_d(today);
    let chance = &mut cow.streams.day;
    let (rho, sd) = cow.habit.day_noise;
    let fresh = 1.0 + 0.8 * (-dim / 8.0).exp();
    cow.day_log = rho * cow.day_log + (1.0 - rho * rho).sqrt() * chance.normal(0.0, sd * fresh);
    cow.wander_log = 0.975 * cow.wander_log + chance.normal(0.0, 0.0095);
    // Milked often for weeks, the udder gives more; slow answer, about 4 % for one milking a day more.
    let wish = 0.04 * (cow.milkings_day - 2.7).clamp(-1.2, 1.2);
    cow.vigour_log += 0.09 * (wish - cow.vigour_log);
    for q in 0..4 {
        cow.quarter_log[q] = 0.7 * cow.quarter_log[q] + chance.normal(0.0, 0.017);
        cow.ms_day[q] = 0.72 * cow.ms_day[q] + chance.normal(0.0, 0.045);
    }
    cow.ms_all = 0.75 * cow.ms_all + chance.normal(0.0, 0.055);
    cow.ways_log[0] = 0.5 * cow.ways_log[0] + chance.normal(0.0, 0.055);
    cow.ways_log[1] = 0.5 * cow.ways_log[1] + chance.normal(0.0, 0.1);
    cow.potential_kg = cow.curve.potential_kg_day(dim + 0.5, carried);
    let earned = (0.24 * (cow.potential_kg - 17.0)).clamp(1.4, 6.8);
    let climbing = 1.6 + 0.21 * dim;
    let leaving = if 0.0 < carried {
        (1.0 + 0.3 * (f64::from(cow.breeding.gestation_d - DRY_D) - carried)).max(1.0)
    } else {
        9.0
    };
    cow.allowance_kg = earned.min(climbing).min(leaving);
    let goal_kg = weight_kg(&cow.habit, cow.parity, if cow.dry { 330.0 } else { dim }, carried);
    cow.weight_kg += 0.25 * (goal_kg - cow.weight_kg) + chance.normal(0.0, 2.5);
}

/// Does a case begin today? Cases that are over are handed to the truth by the farm.
fn sickness(cow: &mut Cow, today: i32, midnight_s: i64, season: &Day, number: &mut u32) {
    let dim = cow.dim(today);
    let fresh = !cow.dry && dim < 30;
    let older = 0.7 + 0.22 * f64::from(cow.parity.min(5));
    let recent = cow.last_udder.filter(|(day, _)| today - day < 90);
    let sick = &mut cow.streams.sick;
    let [udder_risk, metabolic_risk, feet_risk] = cow.habit.risk;
    let hot = 1.0 + 0.8 * season.heat_load.min(1.5);
    let again = if recent.is_some() { 2.2 } else { 1.0 };
    let quiet = if cow.dry { 0.0 } else { 1.0 };
    let udder = 0.25 / 365.0 * udder_risk * older * hot * again * if fresh { 2.4 } else { 1.0 } * quiet;
    let flare = 0.55 / 365.0 * udder_risk * older * quiet;
    let at_risk = if (3..32).contains(&dim) { metabolic_risk * older * quiet } else { 0.0 };
    let energy = 0.21 / 29.0 * at_risk;
    let stomach = 0.045 / 29.0 * at_risk + 0.1 / 365.0 * quiet * (1.0 + 4.0 * season.bad);
    let feet = 0.35 / 365.0 * feet_risk * older;
    let fever = 0.15 / 365.0 * hot + if (1..14).contains(&dim) && !cow.dry { 0.1 / 13.0 } else { 0.0 };
    let kinds = [Kind::Udder, Kind::Udder, Kind::Metabolic, Kind::Gut, Kind::Feet, Kind::Fever];
    for (place, (kind, chance)) in
        kinds.into_iter().zip([udder, flare, energy, stomach, feet, fever]).enumerate()
    {
        if !sick.chance(chance) || cow.cases.iter().any(|case| case.kind == kind) {
            continue;
        }
        let weights: [f64; 4] = [0, 1, 2, 3].map(|q| {
            let before = if recent.is_some_and(|(_, quarter)| quarter == q) { 4.0 } else { 1.0 };
            if cow.habit.shares[q] == 0.0 { 0.0 } else { before * (1.0 + 1.5 * cow.habit.chronic_ms_cm[q]) }
        });
        let quarter = sick.weighted(&weights);
        let began_s = midnight_s + (sick.between(0.0, 24.0) * HOUR_S as f64) as i64;
        *number += 1;
        if kind == Kind::Udder {
            cow.last_udder = Some((today, quarter));
        }
        cow.cases.push(begin(sick, *number, kind, began_s, quarter, fresh, place == 1));
    }
}

/// Heats that begin today.
fn heats(cow: &mut Cow, today: i32, midnight_s: i64, clock: &FarmClock, number: &mut u32) {
    let Some(begins_s) = cow.breeding.next_heat_s.filter(|at_s| *at_s < midnight_s + DAY_S) else { return };
    if cow.dry {
        return;
    }
    let lame = if cow.cases.iter().any(|case| case.kind == Kind::Feet) { 0.6 } else { 1.0 };
    let may_serve = WAIT_D <= cow.dim(today) && !cow.breeding.given_up;
    let chance = &mut cow.streams.breeding;
    *number += 1;
    let mut heat = Heat::draw(chance, *number, begins_s, cow.breeding.heats == 0, lame);
    let next_d = cycle_d(chance, cow.habit.cycle_d);
    cow.breeding.next_heat_s = Some(begins_s + (next_d * DAY_S as f64) as i64);
    cow.breeding.heats += 1;
    // People see it by its strength, hours after it began, in the walks and at the boxes.
    let seen = !heat.silent && chance.chance((0.4 + 0.3 * (heat.peak - 1.0)).min(0.9));
    if seen {
        let seen_s = begins_s + (chance.between(3.0, heat.length_h + 3.0) * HOUR_S as f64) as i64;
        heat.seen_s = Some(seen_s);
        cow.agenda.push((seen_s, Task::NoteHeat));
        if cow.breeding.recorded_in_calf {
            // Recorded in calf and in heat: the vet looks again on his next day, nobody serves her before.
            cow.breeding.checks = 0;
        } else if may_serve {
            let mut served_s = clock.at(clock.day(seen_s), 7.6 + chance.uniform());
            if served_s <= seen_s {
                served_s = clock.at(clock.day(seen_s), 16.8 + chance.uniform());
            }
            if served_s <= seen_s {
                served_s = clock.at(clock.day(seen_s) + 1, 7.6 + chance.uniform());
            }
            let hours = (served_s - begins_s) as f64 / HOUR_S as f64;
            cow.agenda.push((served_s, Task::Inseminate(hours)));
        }
    }
    cow.heats.push(heat);
}

/// People note a heat of a cow that has none: one note in seven or so.
fn mistaken(cow: &mut Cow, today: i32, midnight_s: i64, out: &mut Vec<Row>) {
    let chance = &mut cow.streams.mistaken;
    if !chance.chance(1.0 / 250.0) || cow.dry || cow.dim(today) < 20 || cow.breeding.recorded_in_calf {
        return;
    }
    let chance = &mut cow.streams.mistaken;
    let noted_s = midnight_s + (chance.between(5.5, 20.0) * HOUR_S as f64) as i64;
    cow.agenda.push((noted_s, Task::NoteHeat));
    out.push(Row::Happening(HappeningTruth {
        kind: "heat-misnoted",
        animal: Some(cow.animal),
        from_s: noted_s,
        to_s: noted_s,
        ..HappeningTruth::default()
    }));
}

/// Tags fall off or freeze.
fn tag(cow: &mut Cow, midnight_s: i64, out: &mut Vec<Row>) {
    let life = &mut cow.streams.life;
    let (kind, lasts_d) = if life.chance(0.13 / 365.0) {
        ("tag-lost", life.between(1.5, 24.0))
    } else if life.chance(0.07 / 365.0) {
        ("tag-frozen", life.between(0.5, 7.0))
    } else {
        return;
    };
    let from_s = midnight_s + (life.between(0.0, 24.0) * HOUR_S as f64) as i64;
    let to_s = from_s + (lasts_d * DAY_S as f64) as i64;
    if kind == "tag-lost" {
        cow.tag_lost_until_s = to_s;
    } else {
        cow.tag_frozen_until_s = to_s;
    }
    out.push(Row::Happening(HappeningTruth {
        kind,
        animal: Some(cow.animal),
        from_s,
        to_s,
        ..HappeningTruth::default()
    }));
}
