//! How long may she go unmilked before a person should bring her in?
//!
//! The hours are stated defaults, settable by the farm: as practice has it (`sources.md` §2: milk comes at a near
//! constant rate to about 10 to 12 h, then falls), shorter in early lactation, when most is lost, and in the first
//! lactation, when a heifer still learns the box. The least of all that apply counts, and says why.

use crate::expect::secretion::g;

/// A farm's limits.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Limits {
    /// Last day in milk of early and of mid lactation.
    pub until_day: [f64; 2],
    /// First lactation: hours in early, mid and late lactation.
    pub first_h: [f64; 3],
    /// Later lactations.
    pub later_h: [f64; 3],
    /// Milk in the udder in the first lactation, kg.
    pub first_kg: f64,
    /// Milk in the udder later, kg.
    pub later_kg: f64,
    /// Up to this day in milk a cow is fresh.
    pub fresh_until_day: f64,
    /// Hours of a fresh cow.
    pub fresh_h: f64,
    /// Hours of a cow whose milk is held after a treatment: her udder should be emptied.
    pub treated_h: f64,
    /// Hours within which a cow past her limit may still come by herself.
    pub in_time_h: f64,
    /// With a smaller chance than this that she comes in time she is brought in, 0 to 1.
    pub unlikely: f64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            until_day: [100.0, 200.0],
            first_h: [9.0, 12.0, 14.0],
            later_h: [10.0, 12.0, 14.0],
            first_kg: 18.0,
            later_kg: 24.0,
            fresh_until_day: 5.0,
            fresh_h: 8.0,
            treated_h: 10.0,
            in_time_h: 2.0,
            unlikely: 0.5,
        }
    }
}

/// Which limit is hers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// Days in milk and parity.
    Stage,
    /// Fresh.
    Fresh,
    /// Treated, her milk held.
    Treated,
    /// Milk in her udder.
    Milk,
}

/// Her limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Hours since her last milking.
    pub hours: f64,
    /// Why so many.
    pub why: Why,
}

/// What of her decides her limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hers {
    /// Days in milk.
    pub days: Option<f64>,
    /// First lactation.
    pub first: Option<bool>,
    /// Her milk is held after a treatment.
    pub treated: bool,
    /// Rate of her empty udder, kg/h.
    pub rate_kg_h: Option<f64>,
    /// Left behind by an incomplete milking, kg.
    pub left_kg: f64,
}

impl Limits {
    /// The least limit that applies to her. A cow of unknown stage is taken to be in mid lactation, one of unknown
    /// parity to be older.
    pub fn of(&self, her: &Hers, kappa_per_h: f64) -> Stretch {
        let first = her.first.unwrap_or(false);
        let days = her.days.unwrap_or(0.5 * (self.until_day[0] + self.until_day[1]));
        let third = self.until_day.iter().filter(|last| **last < days).count();
        let hours = if first { self.first_h[third] } else { self.later_h[third] };
        let mut least = Stretch { hours, why: Why::Stage };
        let mut also = |applies: bool, hours: f64, why: Why| {
            if applies && hours < least.hours {
                least = Stretch { hours, why };
            }
        };
        also(days <= self.fresh_until_day && her.days.is_some(), self.fresh_h, Why::Fresh);
        also(her.treated, self.treated_h, Why::Treated);
        if let Some(rate_kg_h) = her.rate_kg_h {
            let most_kg = if first { self.first_kg } else { self.later_kg };
            let full_h = hours_to(most_kg - her.left_kg, rate_kg_h, kappa_per_h);
            // However much she gives: sooner than a fresh cow nobody is brought for her milk alone.
            also(full_h.is_some(), full_h.unwrap_or(0.0).max(self.fresh_h), Why::Milk);
        }
        least
    }

    /// These limits with others where words name them: `first=9/12/14 later=10/12/14 days=100/200 kg=16/20 fresh=8
    /// fresh-day=5 treated=10 in-time=2 unlikely=50`, hours but for days, kg and per cent.
    ///
    /// # Errors
    /// Says what was not understood, in words.
    pub fn with(&self, words: &str) -> Result<Limits, String> {
        let mut limits = self.clone();
        for word in words.split_whitespace() {
            let (name, figures) = word
                .split_once('=')
                .ok_or_else(|| format!("`{word}` has no `=` between name and figures"))?;
            let figures: Vec<f64> = figures
                .split('/')
                .map(|figure| figure.parse::<f64>().ok().filter(|figure| figure.is_finite()))
                .collect::<Option<_>>()
                .ok_or_else(|| format!("`{word}`: figures are written like 9/12/14"))?;
            match (name, figures.as_slice()) {
                ("first", &[early, mid, late]) => limits.first_h = [early, mid, late],
                ("later", &[early, mid, late]) => limits.later_h = [early, mid, late],
                ("days", &[early, mid]) => limits.until_day = [early, mid],
                ("kg", &[first, later]) => (limits.first_kg, limits.later_kg) = (first, later),
                ("fresh", &[hours]) => limits.fresh_h = hours,
                ("fresh-day", &[day]) => limits.fresh_until_day = day,
                ("treated", &[hours]) => limits.treated_h = hours,
                ("in-time", &[hours]) => limits.in_time_h = hours,
                ("unlikely", &[percent]) => limits.unlikely = percent / 100.0,
                _ => return Err(format!("`{word}` names no limit, or too many or few figures")),
            }
        }
        limits.check()?;
        Ok(limits)
    }

    /// As [`Limits::with`] takes them.
    pub fn words(&self) -> String {
        let join = |figures: &[f64]| figures.iter().map(f64::to_string).collect::<Vec<_>>().join("/");
        format!(
            "first={} later={} days={} kg={} fresh={} fresh-day={} treated={} in-time={} unlikely={}",
            join(&self.first_h),
            join(&self.later_h),
            join(&self.until_day),
            join(&[self.first_kg, self.later_kg]),
            self.fresh_h,
            self.fresh_until_day,
            self.treated_h,
            self.in_time_h,
            100.0 * self.unlikely
        )
    }

    /// Whether the figures can be limits.
    ///
    /// # Errors
    /// Says which cannot, in words.
    pub fn check(&self) -> Result<(), String> {
        let hours = self.first_h.iter().chain(&self.later_h).chain([&self.fresh_h, &self.treated_h]);
        if !hours.clone().all(|hours| (4.0..=24.0).contains(hours)) {
            return Err("hours must lie between 4 and 24".into());
        }
        if !(self.until_day[0] < self.until_day[1] && (1.0..=1000.0).contains(&self.until_day[0])) {
            return Err("the days of early and mid lactation must rise".into());
        }
        if ![self.first_kg, self.later_kg].iter().all(|kg| (5.0..=60.0).contains(kg)) {
            return Err("milk in the udder must lie between 5 and 60 kg".into());
        }
        if !(0.0..=60.0).contains(&self.fresh_until_day) {
            return Err("a cow is fresh for 0 to 60 days".into());
        }
        if !(0.25..=8.0).contains(&self.in_time_h) || !(0.01..=0.99).contains(&self.unlikely) {
            return Err("in-time must be 0.25 to 8 h and unlikely 1 to 99 %".into());
        }
        Ok(())
    }
}

/// Hours in which so much milk gathers, h: the inverse of [`g`]; `None` where it never does.
fn hours_to(milk_kg: f64, rate_kg_h: f64, kappa_per_h: f64) -> Option<f64> {
    let worth = milk_kg.max(0.0) / rate_kg_h;
    if !worth.is_finite() {
        return None;
    }
    let fill = worth * kappa_per_h;
    if fill.abs() < 1e-9 { Some(worth) } else { (fill < 1.0).then(|| -(-fill).ln_1p() / kappa_per_h) }
}

/// Milk expected in her udder, kg.
pub fn in_udder_kg(her: &Hers, since_h: f64, kappa_per_h: f64) -> Option<f64> {
    Some(her.rate_kg_h? * g(since_h, kappa_per_h) + her.left_kg)
}
