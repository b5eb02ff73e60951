//! Makes departures: noise with memory and heavy tails, a baseline that may be wrong, cases of other shapes than the
//! templates'. Its constants are its own.

use jiff::{SignedDuration, Timestamp};

use crate::{
    causes::{Background, CowCourse, Settings},
    expect::{Departure, Scored, Signal},
    herd::{BoxKey, LifeKey, Quarter, Stage},
    signals::{Line, Point},
};

/// A small generator (splitmix64), so that the tests hang on no library's stream.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D)
    }
    pub fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.even()).ln()).sqrt() * (std::f64::consts::TAU * self.even()).cos()
    }
    /// Student-t with 5 degrees of freedom.
    pub fn tailed(&mut self) -> f64 {
        let square: f64 = (0..5).map(|_| self.normal().powi(2)).sum();
        self.normal() / (square / 5.0).sqrt()
    }
}

/// A case of the udder as it really runs here: exponential rise, straight fall of milk over a day and a half, recovery.
#[derive(Debug, Clone, Copy)]
pub struct Case {
    pub quarter: Quarter,
    /// Hours after the first milking made.
    pub onset_h: f64,
    /// mS/cm at its height; some have next to none.
    pub conductivity: f64,
    /// Fraction of the quarter's milk lost at its height.
    pub lost: f64,
    /// Log fall of the whole milk beyond the quarter's own.
    pub cow_log: f64,
    /// Chance that the cup is kicked off.
    pub kicks: f64,
    /// Days after which it heals.
    pub days: f64,
}

impl Case {
    pub fn drawn(chance: &mut Chance, onset_h: f64) -> Case {
        Case {
            quarter: Quarter::ALL[(chance.even() * 4.0) as usize % 4],
            onset_h,
            conductivity: if chance.even() < 0.2 {
                0.15 * chance.even()
            } else {
                1.3 * (0.4 * chance.normal()).exp()
            },
            lost: (0.33 * (0.45 * chance.normal()).exp()).min(0.9),
            cow_log: -0.10 * chance.even(),
            kicks: 0.15 * chance.even(),
            days: 3.0 + 5.0 * chance.even(),
        }
    }
    /// (rise of conductivity, log fall of the quarter, log fall of the cow, chance of a kick) `hours` after onset.
    fn at(&self, hours: f64) -> (f64, f64, f64, f64) {
        if hours < 0.0 {
            return (0.0, 0.0, 0.0, 0.0);
        }
        let heals = (-(hours - 24.0 * self.days).max(0.0) / 48.0).exp();
        let fast = (1.0 - (-hours / 7.0).exp()) * heals;
        let slow = (hours / 36.0).clamp(0.3, 1.0) * heals;
        (self.conductivity * fast, (1.0 - self.lost * slow).ln(), self.cow_log * slow, self.kicks * heals)
    }
}

/// How the departures of a cow are made.
#[derive(Debug, Clone, Copy)]
pub struct Making {
    pub days: f64,
    pub case: Option<Case>,
    /// Log fall of her whole milk from an hour on, with no quarter to it.
    pub whole_fall: Option<(f64, f64)>,
    /// Whole milk falls for a day: (hour, log).
    pub passing: Option<(f64, f64)>,
    pub memory: f64,
    /// Heavy tails, else normal ones.
    pub tailed: bool,
    /// Standard deviation of a constant error of every baseline, in units of a reading's spread.
    pub baseline: f64,
    pub conductivity_measured: bool,
}

impl Making {
    pub fn well(days: f64) -> Making {
        Making {
            days,
            case: None,
            whole_fall: None,
            passing: None,
            memory: 0.2,
            tailed: true,
            baseline: 0.0,
            conductivity_measured: true,
        }
    }
}

pub fn start() -> Timestamp {
    "2026-02-01T00:00:00Z".parse().unwrap()
}

pub fn hours_on(hours: f64) -> Timestamp {
    start() + SignedDuration::from_secs((hours * 3600.0) as i64)
}

const SPREADS: [f64; 4] = [0.11, 0.10, 0.16, 0.28];

/// One cow's milkings.
pub fn made(chance: &mut Chance, making: &Making) -> Vec<Scored> {
    let mut milkings = Vec::new();
    let mut hour = 8.0 * chance.even();
    // One course of noise each: milk, interval, four quarters' milk, four quarters' conductivity.
    let mut noise = [0.0_f64; 10];
    let errors: Vec<f64> = (0..10).map(|_| making.baseline * chance.normal()).collect();
    let root = (1.0 - making.memory * making.memory).sqrt();
    while hour < 24.0 * making.days {
        for value in &mut noise {
            *value =
                making.memory * *value + root * if making.tailed { chance.tailed() } else { chance.normal() };
        }
        let hours_since = making.case.map(|case| hour - case.onset_h);
        let (rise, quarter_log, cow_log, kick) = match (making.case, hours_since) {
            (Some(case), Some(hours)) => case.at(hours),
            _ => (0.0, 0.0, 0.0, 0.0),
        };
        let ill = |index: usize| making.case.is_some_and(|case| case.quarter as usize == index);
        let mut whole = cow_log + 0.25 * quarter_log;
        if let Some((from, log)) = making.whole_fall
            && from <= hour
        {
            whole += log * ((hour - from) / 24.0).clamp(0.4, 1.0);
        }
        if let Some((from, log)) = making.passing
            && (from..from + 26.0).contains(&hour)
        {
            whole += log;
        }
        let mut departures = Vec::new();
        let mut push = |signal, quarter, usual: f64, gap: f64, spread: f64, log: bool| {
            let forecast = spread * (1.0 + making.baseline * making.baseline).sqrt();
            let shown = |gap: f64| if log { usual * gap.exp() } else { usual + gap };
            departures.push(Departure {
                signal,
                quarter,
                observed: shown(gap),
                expected: usual,
                low95: shown(-1.96 * forecast),
                high95: shown(1.96 * forecast),
                z: gap / forecast,
                gap,
                noise_sd: spread,
            });
        };
        let milk = whole + SPREADS[0] * (noise[0] + errors[0]);
        push(Signal::Milk, None, 11.5, milk, SPREADS[0], true);
        push(Signal::Interval, None, 8.6, SPREADS[3] * (noise[1] + errors[1]), SPREADS[3], true);
        let own: Vec<f64> = (0..4)
            .map(|index| {
                SPREADS[1] * 0.866 * (noise[2 + index] + errors[2 + index])
                    + if ill(index) { quarter_log } else { 0.0 }
            })
            .collect();
        let kicked: Vec<bool> =
            (0..4).map(|index| chance.even() < 0.015 + if ill(index) { kick } else { 0.0 }).collect();
        let levels: Vec<f64> = (0..4)
            .map(|index| {
                5.0 + SPREADS[2] * (noise[6 + index] + errors[6 + index])
                    + if ill(index) { rise } else { 0.0 }
            })
            .collect();
        let mut sorted = levels.clone();
        sorted.sort_by(f64::total_cmp);
        let lowest = (sorted[0] + sorted[1]) / 2.0;
        let mean: f64 = own.iter().sum::<f64>() / 4.0;
        for (index, quarter) in Quarter::ALL.into_iter().enumerate() {
            let lost = if kicked[index] { -0.9 * chance.even() } else { 0.0 };
            let gap = (own[index] - mean) * 4.0 / 3.0 + lost;
            push(Signal::QuarterMilk, Some(quarter), 25.0, gap, SPREADS[1], true);
            if making.conductivity_measured {
                // The two lowest of four lie 0.66 spreads below their mean.
                let gap = levels[index] - lowest - 0.66 * SPREADS[2];
                push(Signal::Conductivity, Some(quarter), 5.0, gap, SPREADS[2] * 1.1, false);
            }
            let kicked = f64::from(u8::from(kicked[index]));
            push(Signal::Kicks, Some(quarter), 0.015, kicked - 0.015, 0.12, false);
        }
        milkings.push(Scored {
            life: LifeKey(0),
            at_box: BoxKey(0),
            started_at: hours_on(hour),
            ended_at: hours_on(hour + 0.12),
            observed_kg: Some(11.5 * milk.exp()),
            expected_kg: 11.5,
            low95_kg: 9.0,
            high95_kg: 14.0,
            baseline_kg: 11.5,
            scored: true,
            departures,
        });
        hour += 8.6 * (0.25 * chance.normal()).exp();
    }
    milkings
}

pub fn stage() -> Stage {
    Stage { parity: Some(2), calved_at: None, days_in_milk: Some(110.0), dry: false }
}

/// The course of a cow as known `hour` hours after the start.
pub fn known(milkings: &[Scored], hour: f64) -> CowCourse<'_> {
    let at = hours_on(hour);
    let from = hours_on(hour - 240.0);
    let first = milkings.partition_point(|milking| milking.started_at < from);
    let end = milkings.partition_point(|milking| milking.ended_at <= at);
    CowCourse {
        life: LifeKey(0),
        at,
        her: Background::of_stage(stage()),
        milkings: &milkings[first.min(end)..end],
        lines: &[],
        unsettled_since: None,
        trouble_since: None,
        began: crate::signals::Began::default(),
    }
}

pub fn settings() -> Settings {
    Settings::default()
}

/// A line of blocks of `block_h` hours up to `at`, scattered by `noise`; `moved` is added by hours before `at`.
pub fn line(
    chance: &mut Chance,
    at: Timestamp,
    signal: Signal,
    block_h: i64,
    noise: f64,
    moved: impl Fn(f64) -> f64,
) -> Line {
    let points: Vec<Point> = (1..=240 / block_h)
        .rev()
        .map(|back| {
            let from = at.checked_sub(SignedDuration::from_hours(back * block_h)).unwrap();
            let to = from.checked_add(SignedDuration::from_hours(block_h)).unwrap();
            let gap = noise * chance.normal() + moved(((back - 1) * block_h) as f64);
            Point {
                from,
                to,
                observed: 100.0 * gap.exp(),
                expected: 100.0,
                gap,
                noise_sd: noise,
                error: 0.05,
            }
        })
        .collect();
    Line { signal, quarter: None, points: points.into() }
}
