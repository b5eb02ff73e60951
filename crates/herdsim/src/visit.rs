//! What happens when a cow stands in a box, and what does the box write of it?

use cowpath_core::tables::{Destination, Outcome};

use crate::{
    Sensors,
    cow::Cow,
    rows::{CupRow, VisitRow},
    season::Day,
    stall::{Effects, Stall},
    udder::{Given, milk_out},
};

/// What surrounds a visit.
#[derive(Debug, Clone, Copy)]
pub struct Around<'a> {
    /// Sensors fitted.
    pub sensors: &'a Sensors,
    /// The herd's day.
    pub day: &'a Day,
    /// Local day.
    pub today: i32,
}

/// Rounded as a device writes.
fn round(figure: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (figure * scale).round() / scale
}

/// She enters at a time; the row tells when she leaves.
pub fn serve(cow: &mut Cow, stall: &Stall, at_s: i64, around: &Around<'_>) -> VisitRow {
    cow.advance(at_s);
    let since_h = (at_s - cow.last_milking_s) as f64 / 3600.0;
    let effects = stall.effects(at_s);
    let mut row = VisitRow {
        animal: cow.animal,
        at_box: stall.number,
        started_s: at_s,
        ended_s: at_s,
        attached_s: None,
        outcome: Outcome::TurnedAway,
        milk_kg: None,
        cups: [CupRow::default(); 4],
        blood_ppm: None,
        milk_c: None,
        fat_pct: None,
        protein_pct: None,
        lactose_pct: None,
        scc_k: None,
        feed_offered_kg: None,
        feed_eaten_kg: None,
        weight_kg: None,
        destination: None,
        true_milk_kg: 0.0,
        meter_lost: false,
        true_solids_pct: [0.0; 3],
        true_scc_k: 0.0,
    };
    let due = cow.due_after_h(around.today) <= since_h || (cow.missed && 0.7 < since_h);
    let stay_s = if due {
        milking(cow, &effects, at_s, since_h, around, &mut row)
    } else if 0.9 < cow.credit_kg && cow.streams.milking.chance(0.12) {
        row.outcome = Outcome::Fed;
        let stay_s = cow.streams.milking.between(100.0, 260.0);
        feed(cow, &effects, stay_s, &mut row);
        stay_s
    } else {
        cow.streams.milking.log_normal(58.0, 0.4).clamp(14.0, 400.0)
    };
    let wait_s =
        if cow.streams.milking.chance(0.006) { cow.streams.milking.between(60.0, 900.0) } else { 0.0 };
    row.ended_s = at_s + (stay_s + wait_s).round().max(8.0) as i64;
    if around.sensors.weight {
        let weight_kg = cow.weight_kg
            + cow.signs.weight_kg
            + cow.held_kg.iter().sum::<f64>() * 0.5
            + effects.scale_kg
            + cow.streams.sensing.normal(0.0, 7.5);
        // Cows that stand with two feet beside the scale are an old story.
        let off =
            if cow.streams.sensing.chance(0.01) { cow.streams.sensing.between(0.55, 0.95) } else { 1.0 };
        row.weight_kg = Some(round((weight_kg * off).clamp(150.0, 1300.0), 0));
    }
    cow.last_visit_s = row.ended_s;
    if !around.sensors.feed {
        row.feed_offered_kg = None;
        row.feed_eaten_kg = None;
    }
    row
}

/// Milks her; gives the stay in the box, s.
fn milking(
    cow: &mut Cow,
    effects: &Effects,
    at_s: i64,
    since_h: f64,
    around: &Around<'_>,
    row: &mut VisitRow,
) -> f64 {
    let awkward = cow.habit.awkward.iter().sum::<f64>() / 4.0;
    let restless = 0.5 * cow.signs.kick.iter().sum::<f64>();
    let all_fail = cow.streams.milking.chance((0.024 * awkward + 0.1 * restless).min(0.4));
    let first_cup_s = (cow.streams.milking.log_normal(88.0, 0.2) + cow.habit.slow_s).max(30.0);
    let given = milk_out(cow, effects, all_fail);
    let last_off_s = given
        .iter()
        .filter(|quarter| quarter.attached)
        .map(|quarter| quarter.cup_on_s + quarter.lag_s + quarter.flow_s + 4.0)
        .fold(0.0, f64::max);
    let milk_kg: f64 = given.iter().map(|quarter| quarter.kg).sum();
    let whole_kg: f64 = given.iter().map(|quarter| quarter.whole_kg).sum();
    let any = given.iter().any(|quarter| quarter.attached);
    let missed = given.iter().any(|quarter| 0.0 < quarter.whole_kg && quarter.kg < 0.75 * quarter.whole_kg);
    row.outcome = if milk_kg < 0.15 * whole_kg {
        Outcome::Failed
    } else if missed {
        Outcome::Incomplete
    } else {
        Outcome::Milked
    };
    let stay_s = if any {
        row.attached_s = Some(at_s + first_cup_s.round() as i64);
        first_cup_s + last_off_s + cow.streams.milking.log_normal(30.0, 0.35)
    } else {
        first_cup_s + cow.streams.milking.between(70.0, 210.0)
    };
    row.true_milk_kg = milk_kg;
    sense(cow, &given, effects, since_h, around, row);
    feed(cow, effects, stay_s, row);
    let held = at_s < cow.held_until_s;
    row.destination = Some(if held { Destination::Held } else { Destination::Tank });
    cow.missed = row.outcome != Outcome::Milked;
    cow.left_behind_kg = whole_kg - milk_kg;
    if row.outcome != Outcome::Failed {
        cow.last_milking_s = at_s;
        cow.milkings += 1;
        cow.milkings_day += 0.06 * (24.0 / since_h.clamp(3.0, 40.0) - cow.milkings_day);
    }
    stay_s
}

/// What the cups and the milk line measure.
fn sense(
    cow: &mut Cow,
    given: &[Given; 4],
    effects: &Effects,
    since_h: f64,
    around: &Around<'_>,
    row: &mut VisitRow,
) {
    let sensors = around.sensors;
    let dim = f64::from(cow.dim(around.today));
    let chance = &mut cow.streams.sensing;
    let milk_c = cow.habit.milk_c
        + cow.signs.heat_c * 0.85
        + 0.012 * (around.day.air_c - 10.0)
        + 0.35 * around.day.heat_load
        + chance.normal(0.0, 0.13);
    let mut read_kg = 0.0;
    let mut cells_k = 0.0;
    for (q, quarter) in given.iter().enumerate() {
        if cow.habit.shares[q] == 0.0 {
            continue;
        }
        let cup = &mut row.cups[q];
        // Now and then a meter loses part of a milking for no reason that anyone finds.
        let caught = if chance.chance(0.0012) { chance.between(0.25, 0.9) } else { 1.0 };
        row.meter_lost |= quarter.attached && caught < 1.0;
        let kg = if quarter.attached {
            round(
                (quarter.kg * caught * effects.meter * (1.0 + chance.bounded(0.0, 0.022, 3.0))
                    + chance.normal(0.0, 0.015))
                .clamp(0.0, 24.0),
                2,
            )
        } else {
            0.0
        };
        read_kg += kg;
        cup.kg = sensors.quarters.then_some(kg);
        cup.kicked = sensors.kicks.then_some(quarter.kicked);
        let ms_cm = cow.habit.ms_cm
            + cow.habit.ms_quarter[q]
            + cow.habit.chronic_ms_cm[q]
            + cow.habit.ms_a_day * dim
            + cow.habit.fresh_ms_cm * (-dim / 2.2).exp()
            + cow.ms_day[q]
            + cow.ms_all
            + around.day.ms_cm
            + 0.06 * (1.0 - cow.signs.rumination).max(0.0)
            + 0.014 * (since_h.min(18.0) - 9.0)
            + cow.signs.conductivity_ms_cm[q]
            + 0.1 * (milk_c - 38.4)
            + effects.probe_ms_cm[q]
            + chance.normal(0.0, 0.085);
        let stray = if chance.chance(0.004) { chance.normal(0.0, 0.9) } else { 0.0 };
        cells_k += cow.habit.shares[q] * (cow.habit.cells_log[q] + cow.signs.cells_log[q]).exp();
        if quarter.attached && 0.05 < quarter.kg {
            if sensors.conductivity {
                cup.ms_cm = Some(round((ms_cm + stray).clamp(2.2, 14.5), 2));
            }
            if sensors.flow {
                cup.flow_s = Some(round(quarter.flow_s.min(1800.0), 0));
                cup.flow_kg_min = Some(round((kg / (quarter.flow_s / 60.0)).clamp(0.0, 7.9), 2));
                cup.peak_kg_min = Some(round(quarter.peak_kg_min * chance.log_normal(1.0, 0.03), 2));
                cup.takeoff_kg_min = (!quarter.kicked).then(|| round(quarter.takeoff_kg_min, 2));
            }
        }
    }
    row.milk_kg = Some(round(read_kg, 2));
    if row.outcome == Outcome::Failed {
        return;
    }
    let solids_noise = [chance.normal(0.0, 0.22), chance.normal(0.0, 0.06), chance.normal(0.0, 0.05)];
    if sensors.milk_temperature {
        row.milk_c = Some(round(milk_c.clamp(30.0, 43.0), 1));
    }
    let kicked = given.iter().any(|quarter| quarter.kicked);
    let blood_log = 2.9
        + cow.signs.blood_log
        + 0.8 * f64::from(kicked)
        + 2.2 * (-dim / 3.0).exp()
        + chance.normal(0.0, 0.6);
    if sensors.blood {
        row.blood_ppm = Some(round(blood_log.exp().min(60_000.0), 0));
    }
    let [fat, protein, lactose] = cow.habit.solids_pct;
    let early = (-dim / 28.0).exp();
    let late = (dim / 300.0).min(1.2);
    let short = 0.05 * (9.0 - since_h.clamp(4.0, 15.0));
    let fat = fat + 0.55 * early + 0.25 * late - 0.3 + short + cow.signs.fat_pct + solids_noise[0]
        - 0.25 * around.day.heat_load.min(1.5);
    let protein =
        protein + 0.45 * (-dim / 6.0).exp() + 0.28 * late - 0.22 + cow.signs.protein_pct + solids_noise[1];
    let lactose =
        lactose - 0.12 * late - 0.2 * (-dim / 4.0).exp() + cow.signs.lactose_pct * 0.5 + solids_noise[2];
    row.true_solids_pct = [fat.clamp(1.2, 9.0), protein.clamp(2.0, 7.0), lactose.clamp(2.5, 6.0)];
    if sensors.composition {
        // An optical meter in the line is coarser than a laboratory.
        let [fat, protein, lactose] = row.true_solids_pct;
        row.fat_pct = Some(round((fat + chance.normal(0.0, 0.12)).max(0.5), 2));
        row.protein_pct = Some(round(protein + chance.normal(0.0, 0.06), 2));
        row.lactose_pct = Some(round(lactose + chance.normal(0.0, 0.05), 2));
    }
    let fresh_cells = 1.0 + 6.0 * (-dim / 3.0).exp();
    row.true_scc_k = (cells_k * fresh_cells).clamp(3.0, 15_000.0);
    cow.last_milk = Some((row.true_solids_pct, row.true_scc_k));
    let read_cells = (row.true_scc_k * chance.log_normal(1.0, 0.28)).clamp(2.0, 20_000.0);
    if sensors.cells && chance.chance(0.33) {
        row.scc_k = Some(round(read_cells, 0));
    }
}

/// Concentrate given in a stay.
fn feed(cow: &mut Cow, effects: &Effects, stay_s: f64, row: &mut VisitRow) {
    let chance = &mut cow.streams.milking;
    let rate_kg_min = 0.36;
    let offered_kg = cow.credit_kg.min(rate_kg_min * stay_s / 60.0 * 0.92).max(0.0);
    if offered_kg < 0.08 {
        row.feed_offered_kg = Some(0.0);
        row.feed_eaten_kg = Some(0.0);
        return;
    }
    let there_kg = offered_kg * effects.dispenser.min(1.02);
    let leaves = (cow.habit.leaves_feed * chance.unit_gamma(1.0)).min(0.9);
    let eaten_kg = there_kg * (1.0 - leaves) * cow.signs.box_feed * chance.bounded(0.985, 0.012, 2.0);
    row.feed_offered_kg = Some(round(offered_kg, 2));
    row.feed_eaten_kg = Some(round(eaten_kg.clamp(0.0, offered_kg), 2));
    cow.credit_kg -= offered_kg;
}
