//! What does her tag count in two hours?

use crate::{cow::Cow, rows::MovementRow, season::Day};

/// The bin that began at `from_s`, at `hour` of the wall clock; `None` where the tag sends nothing.
pub fn bin(cow: &mut Cow, from_s: i64, hour: f64, day: &Day) -> Option<MovementRow> {
    let chance = &mut cow.streams.moving;
    let wave = |peak_h: f64, per_day: f64| {
        (std::f64::consts::TAU * per_day * (hour + 1.0 - peak_h - cow.habit.phase_h) / 24.0).cos()
    };
    let signs = &cow.signs;
    let unsettled = if from_s < cow.unsettled_until_s { 1.0 } else { 0.0 };
    let hot = day.heat_load.min(2.0) * cow.habit.tender[0];
    let low_rank = 0.18 * (0.5 - cow.habit.rank);
    let dry = f64::from(cow.dry);

    let eat_hours = 1.0 + 0.42 * wave(8.0, 1.0) * 0.4 + 0.45 * wave(6.3, 2.0) + low_rank * wave(1.0, 1.0);
    let eating = cow.habit.day_min[1] / 12.0
        * eat_hours.max(0.15)
        * signs.eating
        * day.feed_intake
        * (1.0 - 0.1 * hot)
        * (1.0 - 0.12 * dry)
        * chance.unit_gamma(5.5);
    let chew_hours = 1.0 + 0.24 * wave(3.0, 1.0) - 0.16 * wave(6.3, 2.0);
    let rumination = cow.habit.day_min[0] / 12.0
        * chew_hours
        * signs.rumination
        * day.feed_intake
        * cow.ways_log[0].exp()
        * (1.0 - 0.11 * hot)
        * (1.0 - 0.1 * unsettled)
        * chance.unit_gamma(18.0);
    let lie_hours = 1.0 + 0.3 * wave(2.0, 1.0) - 0.2 * wave(6.3, 2.0);
    let lying = cow.habit.day_min[2] / 12.0
        * lie_hours
        * signs.lying
        * (1.0 - 0.14 * hot)
        * (1.0 - 0.12 * unsettled)
        * (1.0 + 0.1 * dry)
        * chance.unit_gamma(9.0);
    let walk_hours = 1.0 + 0.32 * wave(15.0, 1.0) + 0.22 * wave(6.8, 2.0);
    let activity = cow.habit.activity
        * walk_hours.max(0.2)
        * signs.activity
        * cow.ways_log[1].exp()
        * (1.0 + 0.3 * unsettled)
        * chance.unit_gamma(9.0);
    let eating_min = eating.min(100.0).round();
    let rumination_min = rumination.min(116.0 - eating_min).max(0.0).round();
    let lying_min = lying.min(120.0 - eating_min).max(0.0).round();
    let steps = (activity * 0.38 * chance.unit_gamma(25.0)).round();
    let now = [activity.round(), rumination_min, eating_min, lying_min, steps];
    // Some bins never arrive.
    if from_s < cow.tag_lost_until_s || cow.streams.moving.chance(0.004) {
        return None;
    }
    let [activity, rumination_min, eating_min, lying_min, steps] = if from_s < cow.tag_frozen_until_s {
        // Half of the tags that freeze send zeros, half their last row.
        if cow.animal.is_multiple_of(2) { [0.0; 5] } else { cow.last_bin.unwrap_or(now) }
    } else {
        now
    };
    cow.last_bin = Some([activity, rumination_min, eating_min, lying_min, steps]);
    Some(MovementRow {
        animal: cow.animal,
        from_s,
        minutes: 120.0,
        activity,
        rumination_min,
        eating_min,
        lying_min,
        steps,
    })
}
