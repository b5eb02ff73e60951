//! How long should each cow's interval be, so that a box's minutes give most, and what is one more minute worth?
//!
//! # Equation
//! Choose t in [lo, hi] for each cow to maximise  Σ p · (24/t) · Y(t)  under  Σ (24/t) · (h + Y(t)/f) ≤ M,
//! Y(t) = a · g(t), g(t) = (1 − e^(−κt))/κ.
//!   t  interval, h    a  rate of her empty udder, kg/h    κ  slowing as it fills, 1/h    h  handling a milking, min
//!   f  flow, kg/min   p  milk's price less the feed it takes, money/kg    M  box minutes a day
//! With λ, the worth of a box minute, each cow by herself takes the root of
//!   (p − λ/f) · (a/κ) · (1 − e^(−κt) · (1 + κt)) = λ · h,
//! whose left side rises with t, held within her limits; where λ ≥ p·f no interval pays and she goes to her longest.
//! Her minutes fall as λ rises, without a jump, so bisection of λ meets M; at λ = 0 they may be fewer than M: then a
//! minute is worth nothing.
//! # Source
//! `docs/sources.md` §12 and Traps 17: the constraint is not convex in t, the Lagrangian of each cow has one peak.
//! # Proof
//! `cases/minutes.csv` (SLSQP and the closed form, four budgets); laws in `tests/laws.rs` down to the least budget.
//! # Not here
//! Who comes when she may: an interval of this file is the mean she is to have, not the shortest a box lets her in at.

use crate::expect::secretion::g;

/// One cow as the choice sees her.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cow {
    /// Rate of her empty udder, kg/h.
    pub rate_kg_h: f64,
    /// Slowing as it fills, 1/h.
    pub kappa_per_h: f64,
    /// Box time of a milking without flow, min.
    pub handling_min: f64,
    /// Milk by minute of flow, kg/min.
    pub flow_kg_min: f64,
    /// Shortest interval, h.
    pub low_h: f64,
    /// Longest interval, h; where it is below the shortest, it holds.
    pub high_h: f64,
}

/// What an interval gives a cow, a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// The interval, h.
    pub interval_h: f64,
    /// Milk, kg a day.
    pub milk_kg: f64,
    /// Box time, min a day.
    pub minutes: f64,
}

/// The best use of so many minutes.
#[derive(Debug, Clone, PartialEq)]
pub struct Best {
    /// Worth of one box minute, money.
    pub worth: f64,
    /// Each cow's day, in the order they came.
    pub cows: Vec<Day>,
    /// Milk of all, kg a day.
    pub milk_kg: f64,
    /// Box time of all, min a day.
    pub minutes: f64,
    /// Milk less feed, money a day.
    pub value: f64,
}

/// Why there is no best use.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoUse {
    /// Even at their longest intervals they need more minutes.
    #[error("all cows at their longest intervals need {needed:.1} box minutes a day; there are {given:.1}")]
    TooFew {
        /// Least minutes they need.
        needed: f64,
        /// Minutes there are.
        given: f64,
    },
    /// A figure is no figure.
    #[error("the milk's worth and the box minutes must be figures, and minutes not below nothing")]
    NoFigure,
}

impl Cow {
    /// Her day at an interval.
    pub fn day(&self, interval_h: f64) -> Day {
        let milkings = 24.0 / interval_h;
        let yield_kg = self.rate_kg_h * g(interval_h, self.kappa_per_h);
        Day {
            interval_h,
            milk_kg: milkings * yield_kg,
            minutes: milkings * (self.handling_min + yield_kg / self.flow_kg_min),
        }
    }

    /// Whether her figures can be reckoned with.
    pub fn is_sound(&self) -> bool {
        let above = [self.rate_kg_h, self.flow_kg_min, self.low_h, self.high_h];
        above.iter().all(|x| x.is_finite() && 0.0 < *x)
            && [self.kappa_per_h, self.handling_min].iter().all(|x| x.is_finite() && 0.0 <= *x)
    }

    /// Her interval where a box minute is worth `worth`, h: within her limits.
    pub fn interval_h(&self, price_kg: f64, worth: f64) -> f64 {
        let low_h = self.low_h.min(self.high_h);
        let gain = price_kg - worth / self.flow_kg_min;
        if gain <= 0.0 {
            return self.high_h;
        }
        let wanted = worth * self.handling_min / (gain * self.rate_kg_h);
        // κ so small that her rate never falls: only handling counts, and it pays to milk as seldom as may be.
        if self.kappa_per_h < 1e-7 {
            return if 0.0 < wanted { self.high_h } else { low_h };
        }
        let share = wanted * self.kappa_per_h;
        let at = |hours: f64| lost(self.kappa_per_h * hours);
        if share <= at(low_h) {
            low_h
        } else if at(self.high_h) <= share {
            self.high_h
        } else {
            (unlost(share) / self.kappa_per_h).clamp(low_h, self.high_h)
        }
    }
}

/// 1 − e^(−u) · (1 + u), without cancellation where u is small; rises from 0 to 1.
fn lost(u: f64) -> f64 {
    if u < 1e-3 { u * u * (0.5 - u / 3.0 + u * u / 8.0) } else { -(-u).exp_m1() - u * (-u).exp() }
}

/// u with `lost(u) = share`, 0 < share < 1: Newton's steps within a bracket that closes.
fn unlost(share: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 60.0_f64);
    // lost(u) ≤ u²/2, so the root is not below this; it is close where the share is small.
    let mut u = (2.0 * share).sqrt() * (1.0 + (2.0 * share).sqrt() / 3.0);
    for _ in 0..80 {
        let gap = lost(u) - share;
        if gap < 0.0 {
            low = u;
        } else {
            high = u;
        }
        let step = gap / (u * (-u).exp());
        let next = u - step;
        if step.abs() <= 1e-15 * u.max(1e-6) {
            return u;
        }
        u = if low < next && next < high { next } else { f64::midpoint(low, high) };
    }
    u
}

/// The best use of `minutes` box minutes a day, milk being worth `price_kg` a kg less the feed it takes.
///
/// # Errors
/// [`NoUse::TooFew`] where the cows need more even at their longest intervals; [`NoUse::NoFigure`].
pub fn best(cows: &[Cow], price_kg: f64, minutes: f64) -> Result<Best, NoUse> {
    if !price_kg.is_finite() || minutes.is_nan() || minutes < 0.0 || !cows.iter().all(Cow::is_sound) {
        return Err(NoUse::NoFigure);
    }
    let used =
        |worth: f64| -> f64 { cows.iter().map(|cow| cow.day(cow.interval_h(price_kg, worth)).minutes).sum() };
    let needed = least_minutes(cows);
    if minutes < needed * (1.0 - 1e-12) {
        return Err(NoUse::TooFew { needed, given: minutes });
    }
    let worth = if used(0.0) <= minutes { 0.0 } else { worth_of(&used, cows, price_kg, minutes) };
    Ok(at_worth(cows, price_kg, worth))
}

/// Least minutes a day: everyone at her longest interval.
pub fn least_minutes(cows: &[Cow]) -> f64 {
    cows.iter().map(|cow| cow.day(cow.high_h).minutes).sum()
}

/// The λ at which just so many minutes are used, to the last bit or to 1e-12 of the minutes.
fn worth_of(used: &dyn Fn(f64) -> f64, cows: &[Cow], price_kg: f64, minutes: f64) -> f64 {
    // Beyond p·f of the fastest everyone is at her longest interval.
    let fastest = cows.iter().map(|cow| cow.flow_kg_min).fold(0.0, f64::max);
    let (mut low, mut high) = (0.0, price_kg * fastest);
    loop {
        let middle = f64::midpoint(low, high);
        if middle <= low || high <= middle || high - low <= 1e-13 * high {
            return high;
        }
        if minutes < used(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
}

/// What everyone does where a box minute is worth `worth`.
pub fn at_worth(cows: &[Cow], price_kg: f64, worth: f64) -> Best {
    let days: Vec<Day> = cows.iter().map(|cow| cow.day(cow.interval_h(price_kg, worth))).collect();
    let milk_kg: f64 = days.iter().map(|day| day.milk_kg).sum();
    let minutes = days.iter().map(|day| day.minutes).sum();
    Best { worth, milk_kg, minutes, value: price_kg * milk_kg, cows: days }
}

/// What a cow leaves when all her box minutes are paid at their worth, money a day: below nothing, others would make
/// more of them.
pub fn left_over(day: &Day, price_kg: f64, worth: f64) -> f64 {
    price_kg * day.milk_kg - worth * day.minutes
}

/// The cow that leaves least, and what her going would change, money a day, when the others take her minutes.
///
/// `None` without cows.
pub fn least_profitable(cows: &[Cow], best: &Best, price_kg: f64, minutes: f64) -> Option<(usize, f64)> {
    let leaves = |place: &usize| left_over(&best.cows[*place], price_kg, best.worth);
    let least = (0..cows.len()).min_by(|one, other| leaves(one).total_cmp(&leaves(other)))?;
    let mut others = cows.to_vec();
    others.remove(least);
    let without = self::best(&others, price_kg, minutes).ok()?;
    Some((least, without.value - best.value))
}

/// How far the root's equation is from being met, money a milking: 0 for a cow within her limits. The check beside the
/// answer.
pub fn off_by(cow: &Cow, day: &Day, price_kg: f64, worth: f64) -> f64 {
    let fill = cow.kappa_per_h * day.interval_h;
    let gain = price_kg - worth / cow.flow_kg_min;
    gain * cow.rate_kg_h / cow.kappa_per_h * lost(fill) - worth * cow.handling_min
}
