//! What moves the whole herd: weather and feed?
//!
//! Temperature: a yearly wave, days that hang together, and heat waves in summer. Feed: silage batches of uneven worth;
//! now and then a bad one, which takes 3 to 8 % of the milk within days and is found out after a week or two.
//! Ration changes are small and lasting.

use crate::{chance::Stream, clock::day_of_year, rows::HappeningTruth};

/// One day.
#[derive(Debug, Clone, Copy)]
pub struct Day {
    /// Mean temperature in the barn, °C.
    pub air_c: f64,
    /// Heat load: 0 none, 1 a hard heat wave.
    pub heat_load: f64,
    /// Factor of batch and ration on milk.
    pub feed_milk: f64,
    /// Factor on rumination and eating.
    pub feed_intake: f64,
    /// Trouble with the feed beyond the usual, 0 to 1.
    pub bad: f64,
    /// Herd-wide chance of that day, log.
    pub chance_log: f64,
    /// What feed and season add to the conductivity of all milk, mS/cm.
    pub ms_cm: f64,
}

/// All days of the span.
#[derive(Debug, Clone)]
pub struct Season {
    first_day: i32,
    days: Vec<Day>,
}

impl Season {
    /// Draws `count` days from `first_day` on, and the truth of what happened to the herd (days, not instants).
    pub fn draw(seed: u64, first_day: i32, count: usize) -> (Season, Vec<(HappeningTruth, i32, i32)>) {
        let mut weather = Stream::new(seed, "weather", 0);
        let mut feed = Stream::new(seed, "feed batches", 0);
        let mut luck = Stream::new(seed, "herd days", 0);
        let mut days = Vec::with_capacity(count);
        let mut happened = Vec::new();
        let (mut wander, mut wave_left, mut wave_c, mut load) = (0.0, 0.0, 0.0, 0.0);
        let (mut batch_left, mut batch_now, mut batch_goal) = (feed.between(5.0, 40.0), 0.0, 0.0);
        let (mut bad_left, mut bad_size, mut bad, mut bad_from) = (0.0, 0.0, 0.0_f64, first_day);
        let mut ration = 0.0_f64;
        let mut salt = 0.0;
        let mut hot_from: Option<(i32, f64)> = None;
        for place in 0..count {
            let day = first_day + place as i32;
            let of_year = day_of_year(day);
            let wave = (std::f64::consts::TAU * (of_year - 201.0) / 365.25).cos();
            wander = 0.78 * wander + weather.normal(0.0, 2.1);
            if wave_left <= 0.0 && 0.55 < wave && weather.chance(0.045) {
                wave_left = weather.between(4.0, 11.0);
                wave_c = weather.between(4.0, 9.0);
            }
            wave_left -= 1.0;
            let air_c = 8.5 + 13.0 * wave + wander + if 0.0 < wave_left { wave_c } else { 0.0 };
            // What the cow carries follows the air with a lag of two days or so.
            load = 0.6 * load + 0.4 * ((air_c - 21.0) / 9.0).max(0.0);

            batch_left -= 1.0;
            if batch_left <= 0.0 {
                batch_left = feed.between(18.0, 60.0);
                batch_goal = feed.normal(0.0, 0.016);
                if feed.chance(0.38) {
                    bad_left = feed.between(6.0, 17.0);
                    bad_size = feed.between(0.03, 0.085);
                    bad_from = day;
                }
            }
            batch_now += (batch_goal - batch_now) * 0.3;
            if 0.0 < bad_left {
                bad_left -= 1.0;
                bad += (1.0 - bad) * 0.45;
                if bad_left <= 0.0 {
                    happened.push((truth("bad-batch", -bad_size), bad_from, day + 1));
                }
            } else {
                bad *= 0.6;
            }
            if feed.chance(1.0 / 75.0) {
                let change = feed.normal(0.004, 0.014);
                ration = (ration + change).clamp(-0.04, 0.05);
                happened.push((truth("ration-change", change), day, day + 1));
            }
            salt = 0.93 * salt + luck.normal(0.0, 0.022);
            let heat_loss = heat_loss(load);
            match (&mut hot_from, 0.025 < heat_loss) {
                (None, true) => hot_from = Some((day, heat_loss)),
                (Some((_, worst)), true) => *worst = worst.max(heat_loss),
                (Some((from, worst)), false) => {
                    happened.push((truth("heat-stress", -*worst), *from, day));
                    hot_from = None;
                }
                (None, false) => {}
            }
            days.push(Day {
                air_c,
                heat_load: load,
                feed_milk: (batch_now + ration - bad * bad_size).exp(),
                feed_intake: (0.5 * batch_now - 0.9 * bad * bad_size).exp(),
                bad,
                chance_log: luck.normal(0.0, 0.008),
                ms_cm: salt,
            });
        }
        let last = first_day + count as i32;
        if 0.0 < bad_left {
            happened.push((truth("bad-batch", -bad_size), bad_from, last));
        }
        if let Some((from, worst)) = hot_from {
            happened.push((truth("heat-stress", -worst), from, last));
        }
        (Season { first_day, days }, happened)
    }

    /// A day; the first or last one outside the span.
    pub fn day(&self, day: i32) -> Day {
        let place = (day - self.first_day).clamp(0, self.days.len() as i32 - 1) as usize;
        self.days.get(place).copied().unwrap_or(Day {
            air_c: 10.0,
            heat_load: 0.0,
            feed_milk: 1.0,
            feed_intake: 1.0,
            bad: 0.0,
            chance_log: 0.0,
            ms_cm: 0.0,
        })
    }
}

/// Share of milk that a heat load takes from a cow of middling tolerance: little at first, then more.
pub fn heat_loss(load: f64) -> f64 {
    0.14 * load.powf(1.5) / (1.0 + 0.35 * load)
}

fn truth(kind: &'static str, size: f64) -> HappeningTruth {
    HappeningTruth { kind, size: Some(size), ..HappeningTruth::default() }
}
