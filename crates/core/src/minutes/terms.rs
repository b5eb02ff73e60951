//! On what terms are box minutes used: prices, what stays idle, and how short and long an interval may be.
//!
//! Every figure is the farm's to set ([`Terms::with`]); what it has not set is stated here, with where it comes from. Money is of
//! one currency, and nothing is converted.
//! # Source
//! Shortest intervals: `docs/sources.md` §2, as commonly set (practice: 4 to 6 h early, 6 to 8 h mid, 8 to 10 h late; a
//! limit stands at the lower ends). Ten per cent idle: §1's arithmetic. 14 h: stated default. Prices: stated defaults without source,
//! to be set by the farm.

/// A farm's terms.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Terms {
    /// Milk, money a kg.
    pub milk_kg: f64,
    /// Feed that another kg of milk takes, money a kg of milk.
    pub feed_kg: f64,
    /// A minute of a person's work, money.
    pub labour_min: f64,
    /// A box, money a day: what it costs whether it is used or not.
    pub box_day: f64,
    /// Currency, ISO 4217.
    pub currency: String,
    /// Minutes of work to fetch one cow.
    pub fetch_min: f64,
    /// Share of a box's day that is to stay idle, 0 to 1: without it cows wait too long.
    pub idle: f64,
    /// Last day in milk of early and of mid lactation.
    pub until_day: [f64; 2],
    /// Shortest interval in the first lactation, h: early, mid, late; what a box is set to, and so the shortest that occurs.
    pub first_low_h: [f64; 3],
    /// In later lactations.
    pub later_low_h: [f64; 3],
    /// Longest interval in the first lactation, h.
    pub first_high_h: [f64; 3],
    /// In later lactations.
    pub later_high_h: [f64; 3],
}

/// No interval is longer, h.
pub const LONGEST_H: f64 = 14.0;

impl Default for Terms {
    fn default() -> Terms {
        Terms {
            milk_kg: 0.45,
            feed_kg: 0.12,
            labour_min: 0.40,
            box_day: 60.0,
            currency: "USD".into(),
            fetch_min: 5.0,
            idle: 0.10,
            until_day: [100.0, 200.0],
            first_low_h: [4.0, 6.0, 8.0],
            later_low_h: [4.0, 6.0, 8.0],
            first_high_h: [LONGEST_H; 3],
            later_high_h: [LONGEST_H; 3],
        }
    }
}

/// A stage that has limits of its own: `0` to `2` early, mid, late, and whether it is the first lactation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Group {
    /// First lactation.
    pub first: bool,
    /// Early, mid, late.
    pub third: usize,
}

impl Terms {
    /// Her group. A cow of unknown stage is taken to be in mid lactation, one of unknown parity to be older.
    pub fn group(&self, days: Option<f64>, first: Option<bool>) -> Group {
        let days = days.unwrap_or(f64::midpoint(self.until_day[0], self.until_day[1]));
        Group {
            first: first.unwrap_or(false),
            third: self.until_day.iter().filter(|last| **last < days).count(),
        }
    }

    /// Shortest and longest interval of a group, h. Where they contradict each other the longest holds.
    pub fn limits(&self, group: Group) -> (f64, f64) {
        let (low, high) = if group.first {
            (&self.first_low_h, &self.first_high_h)
        } else {
            (&self.later_low_h, &self.later_high_h)
        };
        let high_h = high[group.third].min(LONGEST_H);
        (low[group.third].min(high_h), high_h)
    }

    /// Whether its prices are still the stated ones, which have no source.
    pub fn stated_prices(&self) -> bool {
        let prices = |own: &Terms| (own.milk_kg, own.feed_kg, own.labour_min, own.box_day, own.fetch_min);
        prices(self) == prices(&Terms::default())
    }

    /// Milk less the feed it takes, money a kg.
    pub fn price_kg(&self) -> f64 {
        self.milk_kg - self.feed_kg
    }

    /// These terms with others where words name them: `milk=0.45 feed=0.12 labour=0.40 box=60 currency=USD fetch=5
    /// idle=10 days=100/200 first=4/6/8 later=4/6/8 first-longest=14/14/14 later-longest=14/14/14`: money a kg, a minute
    /// and a day, minutes, per cent, days, hours.
    ///
    /// # Errors
    /// Says what was not understood, in words.
    pub fn with(&self, words: &str) -> Result<Terms, String> {
        let mut terms = self.clone();
        for word in words.split_whitespace() {
            let (name, figures) = word
                .split_once('=')
                .ok_or_else(|| format!("`{word}` has no `=` between name and figures"))?;
            if name == "currency" {
                terms.currency = figures.to_uppercase();
                continue;
            }
            let figures: Vec<f64> = figures
                .split('/')
                .map(|figure| figure.parse::<f64>().ok().filter(|figure| figure.is_finite()))
                .collect::<Option<_>>()
                .ok_or_else(|| format!("`{word}`: figures are written like 0.45 or 5/7/9"))?;
            match (name, figures.as_slice()) {
                ("milk", &[money]) => terms.milk_kg = money,
                ("feed", &[money]) => terms.feed_kg = money,
                ("labour", &[money]) => terms.labour_min = money,
                ("box", &[money]) => terms.box_day = money,
                ("fetch", &[minutes]) => terms.fetch_min = minutes,
                ("idle", &[percent]) => terms.idle = percent / 100.0,
                ("days", &[early, mid]) => terms.until_day = [early, mid],
                ("first", &[early, mid, late]) => terms.first_low_h = [early, mid, late],
                ("later", &[early, mid, late]) => terms.later_low_h = [early, mid, late],
                ("first-longest", &[early, mid, late]) => terms.first_high_h = [early, mid, late],
                ("later-longest", &[early, mid, late]) => terms.later_high_h = [early, mid, late],
                _ => return Err(format!("`{word}` names none of the terms, or too many or few figures")),
            }
        }
        terms.check()?;
        Ok(terms)
    }

    /// As [`Terms::with`] takes them.
    pub fn words(&self) -> String {
        let join = |figures: &[f64]| figures.iter().map(f64::to_string).collect::<Vec<_>>().join("/");
        format!(
            "milk={} feed={} labour={} box={} currency={} fetch={} idle={} days={} first={} later={} first-longest={} \
             later-longest={}",
            self.milk_kg,
            self.feed_kg,
            self.labour_min,
            self.box_day,
            self.currency,
            self.fetch_min,
            percent(self.idle),
            join(&self.until_day),
            join(&self.first_low_h),
            join(&self.later_low_h),
            join(&self.first_high_h),
            join(&self.later_high_h),
        )
    }

    /// Whether the figures can be terms.
    ///
    /// # Errors
    /// Says which cannot, in words.
    pub fn check(&self) -> Result<(), String> {
        let money = [self.milk_kg, self.feed_kg, self.labour_min, self.box_day];
        if !money.iter().all(|money| (0.0..=1e6).contains(money)) {
            return Err("money must lie between 0 and a million".into());
        }
        if self.milk_kg <= self.feed_kg {
            return Err("milk must be worth more than the feed it takes, or no milking pays".into());
        }
        if self.currency.len() != 3 || !self.currency.bytes().all(|letter| letter.is_ascii_uppercase()) {
            return Err("a currency is written with three letters, like USD".into());
        }
        if !(0.0..=120.0).contains(&self.fetch_min) {
            return Err("fetching a cow takes 0 to 120 minutes".into());
        }
        if !(0.0..=0.9).contains(&self.idle) {
            return Err("idle must be 0 to 90 per cent".into());
        }
        if !(self.until_day[0] < self.until_day[1] && (1.0..=1000.0).contains(&self.until_day[0])) {
            return Err("the days of early and mid lactation must rise".into());
        }
        for (first, lows, highs) in
            [(true, &self.first_low_h, &self.first_high_h), (false, &self.later_low_h, &self.later_high_h)]
        {
            for (third, (low, high)) in lows.iter().zip(highs).enumerate() {
                if ![low, high].iter().all(|hours| (2.0..=LONGEST_H).contains(*hours)) {
                    return Err(format!("intervals must lie between 2 and {LONGEST_H} hours"));
                }
                if high < low {
                    let named = Group { first, third }.words();
                    return Err(format!(
                        "{named}: the shortest interval, {low} h, is longer than the longest, {high} h"
                    ));
                }
            }
        }
        Ok(())
    }
}

/// A share in per cent, without the dust of doubling.
fn percent(share: f64) -> f64 {
    (share * 1e6).round() / 1e4
}

impl Group {
    /// All, in the order they are told.
    pub const ALL: [Group; 6] = [
        Group { first: true, third: 0 },
        Group { first: true, third: 1 },
        Group { first: true, third: 2 },
        Group { first: false, third: 0 },
        Group { first: false, third: 1 },
        Group { first: false, third: 2 },
    ];

    /// `first lactation, early`.
    pub fn words(self) -> String {
        let lactation = if self.first { "first lactation" } else { "later lactations" };
        format!("{lactation}, {}", ["early", "mid", "late"][self.third.min(2)])
    }
}
