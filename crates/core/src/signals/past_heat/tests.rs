//! Which day is remembered as a heat?

use super::last;

/// Twenty-eight days that scatter by some percent, with the rises given.
fn days(rises: &[(i64, f64)]) -> Vec<(i64, f64)> {
    (0..28)
        .map(|day| {
            let scatter = 0.06 * [0.3, -1.0, 0.9, -0.2, 1.3, -1.2, 0.1][day as usize % 7];
            let risen = rises.iter().find(|(of, _)| *of == day).map_or(0.0, |(_, rise)| *rise);
            (100 + day, scatter + risen)
        })
        .collect()
}

#[test]
fn a_day_of_half_again_the_activity_is_a_heat_and_a_quiet_month_has_none() {
    let heat = last(&days(&[(9, 0.40)]), 0.08).unwrap();
    assert_eq!(heat.at_ms, 109 * 86_400_000 + 43_200_000);
    assert!(0.8 < heat.chance, "{}", heat.chance);
    assert_eq!(last(&days(&[]), 0.08), None);
}

#[test]
fn the_later_of_two_is_remembered() {
    let heat = last(&days(&[(3, 0.40), (24, 0.35)]), 0.08).unwrap();
    assert_eq!(heat.at_ms, 124 * 86_400_000 + 43_200_000);
}

#[test]
fn a_heat_over_midnight_is_one_and_surer_than_each_of_its_days() {
    let one = last(&days(&[(9, 0.22)]), 0.08);
    let both = last(&days(&[(9, 0.22), (10, 0.20)]), 0.08).unwrap();
    assert!(one.map_or(0.0, |one| one.chance) < both.chance);
}

#[test]
fn where_days_scatter_as_far_as_a_heat_none_is_sure() {
    assert!(last(&days(&[(9, 0.40)]), 0.40).is_none_or(|heat| heat.chance < 0.5));
}
