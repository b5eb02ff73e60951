//! How long is she away beside her own habit?
//!
//! # Equation
//! stays = (b / (b + Λ))^a · exp(−F)      chance that she would have stayed away so long and nothing keeps her
//!   a, b  her frailty as it was when this interval began: what she did since is what is judged
//!   Λ  Σ exp(η)·w since then    F  Σ f·w: that people would have brought her by now
//! # Proof
//! The sum over frailties itself, `wait/tests.rs` (derived); who is called by it: `causes/absent/tests.rs`.

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
mod tests;
