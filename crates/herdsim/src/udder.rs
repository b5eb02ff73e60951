//! How does milk leave the udder?
//!
//! Each quarter lets down after a lag that is longer the emptier it is, flows at its own rate, tails off, and loses its
//! cup at the take-off level. What is not taken stays in the quarter and is there next time.

use crate::{cow::Cow, stall::Effects};

/// What one quarter gave.
#[derive(Debug, Clone, Copy, Default)]
pub struct Given {
    /// The cup was on.
    pub attached: bool,
    /// Milk, kg.
    pub kg: f64,
    /// What a whole milking of the quarter would have given, kg.
    pub whole_kg: f64,
    /// Cup on after the first cup, s.
    pub cup_on_s: f64,
    /// Milk flow begins after cup on, s.
    pub lag_s: f64,
    /// Milk flow, s.
    pub flow_s: f64,
    /// Highest flow, kg/min.
    pub peak_kg_min: f64,
    /// Flow at take-off, kg/min.
    pub takeoff_kg_min: f64,
    /// Kicked off.
    pub kicked: bool,
}

/// A milking of all quarters; the milk leaves the cow. Quarters gone dry give none.
pub fn milk_out(cow: &mut Cow, box_effects: &Effects, all_fail: bool) -> [Given; 4] {
    let mut given = [Given::default(); 4];
    let chance = &mut cow.streams.milking;
    // How well she lets down today: most milkings well, some badly, with a long tail.
    let tense = if chance.chance(0.03) { chance.between(1.5, 4.5) } else { chance.log_normal(1.0, 0.28) };
    let mut cup_on_s = 0.0;
    // Rear quarters first, as arms do.
    for q in [2, 3, 1, 0] {
        let share = cow.habit.shares[q];
        if share == 0.0 {
            continue;
        }
        let held_kg = cow.held_kg[q];
        let residual = (cow.habit.residual * tense * chance.log_normal(1.0, 0.12)).clamp(0.01, 0.6);
        let whole_kg = (held_kg * (1.0 - residual)).max(0.0);
        let quarter = &mut given[q];
        quarter.whole_kg = whole_kg;
        let fails = (0.009 * cow.habit.awkward[q] + box_effects.attach[q]).min(0.97);
        let mut attached = !chance.chance(fails);
        if !attached {
            // The arm tries again, twice at most.
            for _ in 0..2 {
                cup_on_s += chance.between(14.0, 30.0);
                if chance.chance(0.35 * (1.0 - fails)) {
                    attached = true;
                    break;
                }
            }
        }
        let kick = (0.009 * cow.habit.kicky + cow.signs.kick[q]).min(0.6);
        let kicked = chance.chance(kick);
        let taken_if_kicked = chance.between(0.03, 0.95);
        let (peak_noise, lag_noise, take_noise) =
            (chance.log_normal(1.0, 0.07), chance.log_normal(1.0, 0.35), chance.bounded(0.24, 0.035, 2.5));
        if all_fail || !attached {
            continue;
        }
        cup_on_s += chance.between(4.0, 11.0);
        let taken = if kicked { taken_if_kicked } else { 1.0 };
        let full = (held_kg / (14.0 * cow.curve.best_kg_h() * share)).clamp(0.1, 1.3);
        let flow_kg_min =
            (cow.habit.flow_kg_min[q] * (0.72 + 0.36 * full.sqrt()) * cow.signs.flow[q] * peak_noise)
                .clamp(0.2, 3.2);
        let kg = whole_kg * taken;
        // Plateau, then a tail at falling flow down to take-off; an emptied quarter tails longer than a kicked cup.
        let tail = if kicked { 0.02 } else { 0.15 };
        let tail_min = tail * kg / (0.45 * (flow_kg_min + take_noise)) + if kicked { 0.0 } else { 0.18 };
        quarter.attached = true;
        quarter.kicked = kicked;
        quarter.kg = kg;
        quarter.cup_on_s = cup_on_s;
        quarter.lag_s = (8.0 + 62.0 * (-3.2 * full).exp()) * lag_noise;
        quarter.flow_s = 60.0 * ((1.0 - tail) * kg / flow_kg_min + tail_min);
        quarter.peak_kg_min = flow_kg_min * 1.13;
        quarter.takeoff_kg_min = take_noise;
        cow.held_kg[q] = held_kg - kg;
    }
    given
}
