//! The cows of a simulated pen: a farm's own, or drawn about a stated yield.
//!
//! # Equation
//! milk gathered in h hours = rate · g(h), g as in [`crate::expect::secretion`]
//!   rate  of an empty udder, kg/h: her daily yield over 2.8·g(24/2.8)
//!   yield = mean · (Wood curve of her parity at her day over its mean of 305 days) · scatter
//! Drawn cows lie evenly over days in milk, parity, yield, flow and rank ([`super::streams::even`]), so that two herds
//! of a size differ little, and the first n of a larger herd are those of a herd of n.
//! # Source
//! `docs/sources.md` §1 (37.3 kg at 2.8 milkings; flow 3.07 L/min, Peiter et al. 2019; flow between cows 0.79 of 2.5,
//! Hogeveen et al. 2001), §3 (curves by parity), §2 (κ = 1.6/yield; shortest intervals by stage, practice).
//! # Not here
//! What she is judged on: [`crate::expect`].

use crate::{
    expect::{
        curve::Wood,
        secretion::{g, kappa_prior},
    },
    units::KG_PER_LITRE_OF_MILK,
};

use super::{
    noise::factor,
    streams::{Stream, even},
};

/// Milkings a day at which a yield is stated (`sources.md` §1).
const STATED_AT: f64 = 2.8;
/// Days of a lactation over which a drawn herd is spread.
const LACTATION_D: f64 = 305.0;

/// A cow as the pen sees her.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Cow {
    /// Secretion of her empty udder, kg/h.
    pub rate_kg_h: f64,
    /// Slowing as it fills, 1/h.
    pub kappa_per_h: f64,
    /// Milk an average minute of flow, kg.
    pub flow_kg_min: f64,
    /// Sooner after a milking she is turned away, h.
    pub minimum_h: f64,
    /// Longer after a milking she is brought in at the next round of people, h.
    pub longest_h: f64,
    /// Her own hazard of coming over the herd's.
    pub frailty: f64,
    /// Hours of the herd's hazard that pass in one of hers: a fuller udder drives sooner.
    pub pace: f64,
    /// Rank at the boxes, 0 lowest to 1 highest.
    pub rank: f64,
    /// In her first lactation.
    pub first: bool,
    /// Days in milk.
    pub days: f64,
}

/// A herd that is not known cow by cow. The defaults say where they come from.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Mean milk of a cow and day at 2.8 milkings, kg.
    pub yield_kg: f64,
    /// Scatter of yields of one parity and day, coefficient of variation.
    pub yield_cv: f64,
    /// Mean flow, kg/min.
    pub flow_kg_min: f64,
    /// Its scatter between cows.
    pub flow_cv: f64,
    /// Share of first lactations.
    pub first_share: f64,
    /// First and last day in milk of the herd.
    pub days: (f64, f64),
    /// Shortest interval in early, mid and late lactation, h.
    pub minimum_h: [f64; 3],
    /// Or sooner, once so much milk is expected in her udder, kg; infinite: hours alone decide.
    pub minimum_kg: f64,
    /// Hours by which all of this is another.
    pub shortest_by_h: f64,
    /// Last day of early and of mid lactation.
    pub until_day: [f64; 2],
    /// Longest interval before she is brought, h.
    pub longest_h: f64,
    /// Scatter of the hazard of coming between cows.
    pub frailty_cv: f64,
    /// How pace follows her rate: pace = (rate / mean rate)^this.
    pub pace_power: f64,
}

impl Default for Drawn {
    /// Yield, flow and its scatter: `sources.md` §1. Shortest intervals: the middles of what is commonly set (§2,
    /// practice). Yield scatter 0.2, a third in first lactation, longest 12 h, frailty 0.3 and pace power 0.5 are stated defaults.
    fn default() -> Drawn {
        Drawn {
            yield_kg: 37.3,
            yield_cv: 0.2,
            flow_kg_min: 3.07 * KG_PER_LITRE_OF_MILK,
            flow_cv: 0.79 / 2.5,
            first_share: 1.0 / 3.0,
            days: (1.0, LACTATION_D),
            minimum_h: [5.0, 7.0, 9.0],
            minimum_kg: 9.0,
            shortest_by_h: 0.0,
            until_day: [100.0, 200.0],
            longest_h: 12.0,
            frailty_cv: 0.3,
            pace_power: 0.5,
        }
    }
}

/// Wood curves of first and later lactations (`sources.md` §3: mean with the shifts of parities 1 and 2).
fn curve(first: bool) -> Wood {
    if first {
        Wood { a: 19.9 - 4.18, b: 0.247 - 0.0037, c: 0.003_376 - 0.000_931 }
    } else {
        Wood { a: 19.9 + 2.16, b: 0.247 - 0.012, c: 0.003_376 + 0.000_266 }
    }
}

impl Drawn {
    /// `count` cows of a replicate.
    pub fn cows(&self, count: usize, seed: u64, replicate: u32) -> Vec<Cow> {
        let mut cows = Vec::with_capacity(count);
        self.fill(&mut cows, count, seed, replicate);
        cows
    }

    /// The same into a list that is kept.
    pub fn fill(&self, cows: &mut Vec<Cow>, count: usize, seed: u64, replicate: u32) {
        cows.clear();
        let start = |name: &str| Stream::named(seed, name, replicate, 0).unit();
        let starts =
            ["herd stage", "herd parity", "herd yield", "herd flow", "herd rank", "herd habit"].map(start);
        // Mean of the herd's curves over its days, so that its mean yield is the stated one.
        let curves = [curve(false), curve(true)];
        let mean = |curve: &Wood| {
            let step = (self.days.1 - self.days.0) / 60.0;
            (0..60).map(|place| curve.value(self.days.0 + step * (f64::from(place) + 0.5))).sum::<f64>()
                / 60.0
        };
        let of_mean = (1.0 - self.first_share) * mean(&curves[0]) + self.first_share * mean(&curves[1]);
        let mean_rate = self.rate(self.yield_kg);
        for number in 0..count as u32 {
            let place = |axis: usize| even(starts[axis], number, STEPS[axis]);
            let first = place(1) < self.first_share;
            let days = self.days.0 + (self.days.1 - self.days.0) * place(0);
            let yield_kg = self.yield_kg * curves[usize::from(first)].value(days.max(1.0)) / of_mean
                * factor(self.yield_cv, place(2));
            let rate_kg_h = self.rate(yield_kg);
            let kappa_per_h = kappa_prior(yield_kg).0;
            let stage = self.until_day.iter().filter(|last| **last < days).count();
            cows.push(Cow {
                rate_kg_h,
                kappa_per_h,
                flow_kg_min: self.flow_kg_min * factor(self.flow_cv, place(3)),
                minimum_h: (shortest_h(self.minimum_h[stage], self.minimum_kg, rate_kg_h, kappa_per_h)
                    + self.shortest_by_h)
                    .max(0.0),
                longest_h: self.longest_h,
                frailty: factor(self.frailty_cv, place(5)),
                pace: (rate_kg_h / mean_rate).powf(self.pace_power),
                // Heifers stand below most older cows: a stated default.
                rank: if first { 0.5 * place(4) } else { 0.3 + 0.7 * place(4) },
                first,
                days,
            });
        }
    }

    /// Secretion of an empty udder at a daily yield, kg/h.
    fn rate(&self, yield_kg: f64) -> f64 {
        yield_kg / (STATED_AT * g(24.0 / STATED_AT, kappa_prior(yield_kg).0))
    }
}

/// Hours after which she is milked: the stated ones, or sooner once `kg` have gathered.
pub fn shortest_h(hours: f64, kg: f64, rate_kg_h: f64, kappa_per_h: f64) -> f64 {
    // kg = rate·(1 − e^(−κh))/κ, solved for h; an udder that never holds so much goes by hours.
    let filled = 1.0 - kg * kappa_per_h / rate_kg_h;
    if filled <= 0.0 { hours } else { hours.min(-filled.ln() / kappa_per_h) }
}

/// Steps of even walks in six directions: powers of the root of x⁷ = x + 1 (the golden ratio's kin).
const STEPS: [f64; 6] =
    [0.898_654_626_9, 0.807_580_138_4, 0.725_735_628_6, 0.652_185_181_1, 0.586_089_230_2, 0.526_691_802_6];

/// The cows of a pen.
#[derive(Debug, Clone, PartialEq)]
pub enum Stock {
    /// Drawn about stated means.
    Drawn {
        /// How many.
        count: usize,
        /// About what.
        about: Drawn,
    },
    /// A farm's own; where their number is not the farm's, evenly among them.
    Own {
        /// How many.
        count: usize,
        /// The farm's cows.
        of: std::sync::Arc<Vec<Cow>>,
    },
}

impl Stock {
    /// How many cows.
    pub fn count(&self) -> usize {
        match self {
            Stock::Drawn { count, .. } | Stock::Own { count, .. } => *count,
        }
    }

    /// The same about another number of cows.
    pub fn of_count(&self, count: usize) -> Stock {
        match self {
            Stock::Drawn { about, .. } => Stock::Drawn { count, about: about.clone() },
            Stock::Own { of, .. } => Stock::Own { count, of: of.clone() },
        }
    }

    /// The cows of a replicate, into a list that is kept.
    pub fn fill(&self, cows: &mut Vec<Cow>, seed: u64, replicate: u32) {
        match self {
            Stock::Drawn { count, about } => about.fill(cows, *count, seed, replicate),
            Stock::Own { count, of } if *count == of.len() => {
                cows.clear();
                cows.extend_from_slice(of);
            }
            Stock::Own { count, of } => {
                cows.clear();
                let start = Stream::named(seed, "herd own", replicate, 0).unit();
                let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
                let place = |number: u32| (even(start, number, golden) * of.len() as f64) as usize;
                cows.extend((0..*count as u32).filter_map(|number| of.get(place(number))).copied());
            }
        }
    }
}
