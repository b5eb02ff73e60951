//! How long is she away beside her own habit?
//!
//! # Equation
//! stays = (b / (b + Λ))^a · exp(−F)      chance that she would have stayed away so long and nothing keeps her
//!   a, b  her frailty as it was when this interval began: what she did since is what is judged
//!   Λ  Σ exp(η)·w since then    F  Σ f·w: that people would have brought her by now
//! # Proof
//! The sum over frailties itself, below (derived); who is called by it: `causes/absent/tests.rs`.

use super::{
    fit::{Fits, Frailty, keeps, own_share},
    halves::Half,
};

/// One cow's half-hours taken in order: her frailty now, and what this interval is beside it.
#[derive(Debug, Clone)]
pub struct Wait {
    own: Frailty,
    begun: Frailty,
    expected: f64,
    brought: f64,
}

impl Wait {
    /// A cow nothing is known of.
    pub fn new(fits: &Fits) -> Wait {
        let own = Frailty::new(fits.spread);
        Wait { own, begun: own, expected: 0.0, brought: 0.0 }
    }

    /// Takes her next half-hour.
    pub fn take(&mut self, fits: &Fits, half: &Half) {
        let (hazard_h, brought_h) = (fits.hazard_h(half), fits.brought_at_h(half));
        let own_h = self.own.mean() * hazard_h;
        let came = own_share(own_h, brought_h) * f64::from(half.came);
        self.own.learn(hazard_h * half.open_h, came, keeps(half.open_h, fits.half_life_h), fits.spread);
        if half.came {
            (self.begun, self.expected, self.brought) = (self.own, 0.0, 0.0);
        } else {
            self.expected += hazard_h * half.open_h;
            self.brought += brought_h * half.open_h;
        }
    }

    /// Her frailty, all half-hours taken.
    pub fn frailty(&self) -> Frailty {
        self.own
    }

    /// Chance that she would have stayed away as long as she has, by her habit and this farm's bringing, 0 to 1.
    pub fn stays(&self) -> f64 {
        let Frailty { a, b } = self.begun;
        (b / (b + self.expected)).powf(a) * (-self.brought).exp()
    }
}

#[cfg(test)]
mod tests {
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
}
