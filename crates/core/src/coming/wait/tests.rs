//! Staying away beside the sum over frailties itself. (derived)

use super::*;

fn half(since_h: f64, came: bool) -> Half {
    Half {
        since_h,
        of_usual: since_h / 8.0,
        other_h: None,
        failed: false,
        milk_kg: None,
        feed_kg: None,
        hour: since_h.rem_euclid(24.0),
        days: Some(90.0),
        first: Some(false),
        open_h: 0.5,
        came,
    }
}

#[test]
fn staying_away_is_the_sum_over_frailties() {
    let fits = Fits::prior();
    let mut wait = Wait::new(&fits);
    // She comes every seven hours for three days, then stays away for fourteen.
    for k in 0..(9 * 14 + 28) {
        let (into, away) = (0.25 + 0.5 * f64::from(k % 14), 9 * 14 <= k);
        let since = if away { 0.25 + 0.5 * f64::from(k - 9 * 14) } else { into };
        wait.take(&fits, &half(since, !away && k % 14 == 13));
    }
    // ∫ z^(a−1)·e^(−bz)·e^(−zΛ) dz / ∫ z^(a−1)·e^(−bz) dz
    let Frailty { a, b } = wait.begun;
    let step = 1e-4;
    let sum = |rate: f64| -> f64 {
        (1..80_000).map(|k| f64::from(k) * step).map(|z| z.powf(a - 1.0) * (-rate * z).exp()).sum()
    };
    let plain = sum(b + wait.expected) / sum(b);
    assert!((wait.stays() - plain).abs() < 1e-6, "{} beside {plain}", wait.stays());
    assert!(0.0 < wait.stays() && wait.stays() < 0.2, "{}", wait.stays());
}

#[test]
fn where_people_bring_cows_staying_away_is_odder() {
    let alone = Fits::prior();
    let mut bringing = Fits::prior();
    bringing.brought_h.fill(0.2);
    let stays = |fits: &Fits| {
        let mut wait = Wait::new(fits);
        (0..20).for_each(|k| wait.take(fits, &half(0.25 + 0.5 * f64::from(k), false)));
        wait.stays()
    };
    let ratio = stays(&bringing) / stays(&alone);
    let hours = (0..20).filter(|k| 0.0 < bringing.brought_at_h(&half(0.25 + 0.5 * f64::from(*k), false)));
    let wanted = (-0.2 * 0.5 * hours.count() as f64).exp();
    assert!((ratio - wanted).abs() < 1e-9 && wanted <= 1.0, "{ratio} beside {wanted}");
}
