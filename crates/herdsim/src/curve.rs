//! How much would she secrete, and how does a filling udder slow her?
//!
//! # Equation
//! potential(d) = plateau · (1 − (1 − start)·exp(−(d/rise)^form)) / (1 + (d/fall)^bend) · (1 − carrying)
//!   d days in milk; plateau kg/d; a stretched-exponential rise and a log-logistic fall, each cow her own five figures
//!   carrying = share taken by the calf from day 130 of pregnancy on, up to 18 %
//!
//! slowing: du/dt = rate / (1 + exp((u − half)/width)),  u milk in the quarter, kg
//!   near constant to about ten hours, then falling: logistic in the milk held, not exponential in time.
//!   Solved in closed form up to one root: u + width·exp((u − half)/width) grows linearly in time.
//! # Source
//! Forms: our own. Direction of slowing: `sources.md` §2 (near constant to 10–12 h, M). Persistency by parity: §3.

use crate::chance::Stream;

/// One lactation's form.
#[derive(Debug, Clone, Copy)]
pub struct Curve {
    plateau_kg_day: f64,
    start_share: f64,
    rise_d: f64,
    rise_form: f64,
    fall_d: f64,
    fall_bend: f64,
}

impl Curve {
    /// A cow's curve of one parity; `merit` is her own lasting factor, about 1.
    pub fn draw(chance: &mut Stream, parity: u32, merit: f64) -> Curve {
        let (plateau, fall_d, fall_bend, rise_d) = match parity {
            0 | 1 => (41.5, chance.log_normal(640.0, 0.22), chance.bounded(1.35, 0.18, 2.0), 20.0),
            2 => (53.5, chance.log_normal(385.0, 0.18), chance.bounded(1.55, 0.2, 2.0), 15.0),
            _ => (57.5, chance.log_normal(345.0, 0.18), chance.bounded(1.6, 0.2, 2.0), 14.0),
        };
        Curve {
            plateau_kg_day: plateau * merit * chance.log_normal(1.0, 0.07),
            start_share: chance.bounded(0.52, 0.07, 2.0),
            rise_d: chance.log_normal(rise_d, 0.25),
            rise_form: chance.bounded(1.0, 0.15, 2.0),
            fall_d,
            fall_bend,
        }
    }

    /// Milk of a day if the udder never filled, kg; `carried_d` is days of pregnancy.
    pub fn potential_kg_day(&self, dim_d: f64, carried_d: f64) -> f64 {
        let d = dim_d.max(0.2);
        let rise = 1.0 - (1.0 - self.start_share) * (-(d / self.rise_d).powf(self.rise_form)).exp();
        let fall = 1.0 + (d / self.fall_d).powf(self.fall_bend);
        let carrying = 0.18 * (((carried_d - 130.0) / 90.0).clamp(0.0, 1.0)).powf(1.4);
        self.plateau_kg_day * rise / fall * (1.0 - carrying)
    }

    /// Size of the udder as milk it secretes in an hour at her best, kg/h.
    pub fn best_kg_h(&self) -> f64 {
        self.plateau_kg_day / 24.0
    }
}

/// Milk in a quarter after `gain_kg` (rate × time) more would have come into an empty one.
pub fn filled_kg(held_kg: f64, gain_kg: f64, half_kg: f64, width_kg: f64) -> f64 {
    if gain_kg <= 0.0 {
        return held_kg;
    }
    let level = |u: f64| u + width_kg * ((u - half_kg) / width_kg).exp();
    let goal = level(held_kg) + gain_kg;
    // The function is convex and rising and the start lies beyond the root: Newton comes down to it without overshoot.
    let mut u = held_kg + gain_kg;
    for _ in 0..12 {
        let lean = ((u - half_kg) / width_kg).exp();
        let step = (u + width_kg * lean - goal) / (1.0 + lean);
        u -= step;
        if step.abs() < 1e-6 {
            break;
        }
    }
    u.max(held_kg)
}
