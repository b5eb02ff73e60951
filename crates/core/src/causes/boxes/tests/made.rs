//! Makes visits to boxes that are off in known ways: secretion that saturates by a straight line and not by the model's
//! exponential, gamma noise, cows that prefer a box, faults that grow by a square root or a square of time. Its constants are its own.

use jiff::{SignedDuration, Timestamp};

use super::super::{BoxFault, BoxLog, Boxes, Pickup, Stood, judge_boxes};
use crate::{
    causes::{Settings, tests::made::Chance},
    expect::{Herd, Parameters},
    herd::{BoxKey, LifeKey, Stage},
    signals::BoxSensors,
    tables::{Outcome, QuarterVisit, Visit},
};

/// Days of history before anything happens.
pub const CALM_D: f64 = 30.0;

/// What is wrong, and how much of it at `days` after it began.
#[derive(Clone, Copy)]
pub struct Wrong {
    pub at_box: u16,
    pub what: What,
    pub size: f64,
    /// Days in which it grows to its size; 0 at once.
    pub grows_d: f64,
    /// Days after which it is mended.
    pub lasts_d: f64,
}

#[derive(Clone, Copy, PartialEq)]
pub enum What {
    Nothing,
    Meter,
    Probe(usize),
    Cup(usize),
    Dispenser,
    Stands,
    Frozen,
}

impl Wrong {
    pub fn none() -> Wrong {
        Wrong { at_box: 0, what: What::Nothing, size: 0.0, grows_d: 0.0, lasts_d: 0.0 }
    }
    /// Grows slowly first, then faster: t^1.5.
    pub fn at(&self, days: f64) -> f64 {
        if days < 0.0 || self.lasts_d <= days {
            0.0
        } else if self.grows_d <= days {
            self.size
        } else {
            self.size * (days / self.grows_d).powf(1.5)
        }
    }
}

/// A farm made.
pub struct Made {
    pub boxes: u16,
    pub visits: Vec<Visit>,
    pub stood: Vec<Stood>,
    pub pickups: Vec<Pickup>,
}

pub fn hours_on(hours: f64) -> Timestamp {
    let start: Timestamp = "2025-05-01T00:00:00Z".parse().unwrap();
    start + SignedDuration::from_millis((hours * 3_600_000.0) as i64)
}

/// What is measured besides milk.
#[derive(Clone, Copy)]
pub struct Fitted {
    pub quarters: bool,
    pub conductivity: bool,
    pub feed: bool,
    pub states: bool,
    pub tank: bool,
}

pub const ALL: Fitted = Fitted { quarters: true, conductivity: true, feed: true, states: true, tank: true };

struct Cow {
    rate: f64,
    shares: [f64; 4],
    ms: [f64; 4],
    every_h: f64,
    likes: u16,
    leaves: f64,
    level: f64,
    next_h: f64,
    last_h: f64,
}

/// `herd` says by how much the herd's milk is up or down at an hour, log.
pub fn made(
    seed: u64,
    boxes: u16,
    days: f64,
    wrong: Wrong,
    fitted: Fitted,
    herd: &dyn Fn(f64) -> f64,
) -> Made {
    let mut chance = Chance::new(seed);
    let mut cows: Vec<Cow> = (0..50 * u32::from(boxes))
        .map(|_| {
            let mut shares = [0.0; 4].map(|_: f64| 0.25 * (0.15 * chance.normal()).exp());
            let all: f64 = shares.iter().sum();
            shares.iter_mut().for_each(|share| *share /= all);
            Cow {
                rate: 1.35 * (0.25 * chance.normal()).exp(),
                shares,
                ms: [0.0; 4].map(|_: f64| 4.9 + 0.3 * chance.normal()),
                every_h: 8.2 + 2.0 * chance.even(),
                likes: (chance.even() * f64::from(boxes)) as u16 % boxes,
                leaves: 0.05 * chance.even(),
                level: 0.0,
                next_h: 9.0 * chance.even(),
                last_h: -9.0,
            }
        })
        .collect();
    let mut made = Made { boxes, visits: Vec::new(), stood: Vec::new(), pickups: Vec::new() };
    let mut free_h = vec![0.0_f64; usize::from(boxes)];
    // Cleaned twice a day, logged or not.
    let cleaned = |at_box: u16, hour: f64| {
        let day = hour.rem_euclid(24.0) - 0.7 * f64::from(at_box);
        (6.0..6.4).contains(&day) || (18.0..18.4).contains(&day)
    };
    let mut sold_kg = 0.0;
    let mut fetched = 0;
    loop {
        let who = (0..cows.len()).min_by(|a, b| cows[*a].next_h.total_cmp(&cows[*b].next_h)).unwrap();
        let now_h = cows[who].next_h;
        if 24.0 * days <= now_h {
            break;
        }
        let off = wrong.at(now_h / 24.0 - CALM_D);
        let cow = &mut cows[who];
        let wants =
            if chance.even() < 0.6 { cow.likes } else { (chance.even() * f64::from(boxes)) as u16 % boxes };
        let open = |at_box: u16| {
            let stands = wrong.what == What::Stands && off != 0.0 && at_box == wrong.at_box;
            !stands && !cleaned(at_box, now_h) && free_h[usize::from(at_box)] <= now_h
        };
        let Some(at_box) = std::iter::once(wants).chain(0..boxes).find(|at_box| open(*at_box)) else {
            cow.next_h += 0.05 + 0.1 * chance.even();
            continue;
        };
        let here = |what: What| if wrong.what == what && at_box == wrong.at_box { off } else { 0.0 };
        let since_h = now_h - cow.last_h;
        let stay_h = (6.0 + 1.5 * chance.normal().abs()) / 60.0;
        let (start, end) = (hours_on(now_h), hours_on(now_h + stay_h));
        free_h[usize::from(at_box)] = now_h + stay_h + 0.02;
        cow.level = 0.93 * cow.level + 0.025 * chance.normal();
        // Straight to eleven hours, then at 60 %.
        let filled = since_h.min(11.0) + 0.6 * (since_h - 11.0).max(0.0);
        let noise = 0.06 * chance.normal() + if chance.even() < 0.03 { 0.2 * chance.normal() } else { 0.0 };
        let true_kg = cow.rate * filled * (cow.level + noise + herd(now_h)).exp();
        let meter = if wrong.what == What::Meter { here(What::Meter).exp() } else { 1.0 };
        let mut quarters = [QuarterVisit::default(); 4];
        let (mut given_kg, mut missed) = (0.0, 0);
        for (cup, quarter) in quarters.iter_mut().enumerate() {
            let fails = chance.even() < 0.008 + here(What::Cup(cup));
            missed += u32::from(fails);
            let kg = if fails { 0.0 } else { true_kg * cow.shares[cup] * (0.07 * chance.normal()).exp() };
            given_kg += kg;
            let ms = cow.ms[cup] + 0.12 * chance.normal() + here(What::Probe(cup));
            *quarter = QuarterVisit {
                milk_kg: fitted.quarters.then_some(kg * meter),
                ms_cm: (fitted.conductivity && !fails).then_some(ms),
                kicked: None,
                ..QuarterVisit::default()
            };
        }
        let offered = 0.5 + chance.even();
        let eaten = offered
            * (1.0 - cow.leaves * 2.0 * chance.even())
            * (1.0 - here(What::Dispenser))
            * (0.97 + 0.03 * chance.even());
        let frozen = here(What::Frozen) != 0.0;
        sold_kg += given_kg;
        made.visits.push(Visit {
            outcome: Some(if missed == 0 { Outcome::Milked } else { Outcome::Incomplete }),
            milk_kg: Some(if frozen { 7.7 } else { given_kg * meter }),
            quarters,
            feed_offered_kg: fitted.feed.then_some(offered),
            feed_eaten_kg: fitted.feed.then_some(eaten),
            ..Visit::stay(LifeKey(who as u32), BoxKey(at_box), start, end)
        });
        cow.last_h = now_h;
        cow.next_h = now_h + cow.every_h * (0.85 + 0.3 * chance.even()) + chance.even();
        if fitted.tank && 48.0 * f64::from(fetched + 1) <= now_h {
            made.pickups.push(Pickup { at: end, milk_kg: 0.985 * sold_kg * (0.006 * chance.normal()).exp() });
            sold_kg = 0.0;
            fetched += 1;
        }
    }
    if fitted.states {
        for day in 0..days as u32 {
            for at_box in 0..boxes {
                for hour in [6.0, 18.0] {
                    let from = 24.0 * f64::from(day) + hour + 0.7 * f64::from(at_box);
                    made.stood.push(Stood {
                        at_box: BoxKey(at_box),
                        from: hours_on(from),
                        to: hours_on(from + 0.4),
                    });
                }
            }
        }
    }
    made
}

/// Rounds at these hours; each from what was known then.
pub fn rounds(made: &Made, at_h: &[f64]) -> Vec<Vec<BoxFault>> {
    let mut visits: Vec<&Visit> = made.visits.iter().collect();
    visits.sort_by_key(|visit| visit.ended_at);
    let mut herd = Herd::new(Parameters::prior());
    let mut next = 0;
    let settings = Settings::default();
    at_h.iter()
        .map(|hour| {
            let at = hours_on(*hour);
            while next < visits.len() && visits[next].ended_at <= at {
                let visit = visits[next];
                let days_in_milk =
                    100.0 + visit.started_at.duration_since(hours_on(0.0)).as_secs_f64() / 86_400.0;
                let stage =
                    Stage { parity: Some(2), calved_at: None, days_in_milk: Some(days_in_milk), dry: false };
                let hour_of_day = (visit.ended_at.as_millisecond() as f64 / 3_600_000.0).rem_euclid(24.0);
                herd.take(visit, &stage, hour_of_day);
                next += 1;
            }
            let from = at - SignedDuration::from_hours(21 * 24);
            let mut log = BoxLog::new();
            visits[..next]
                .iter()
                .filter(|visit| from <= visit.started_at)
                .for_each(|visit| log.take(visit.life, visit));
            let courses: Vec<_> =
                (0..made.boxes).map(|key| (BoxKey(key), herd.box_course(BoxKey(key)))).collect();
            let stood: Vec<Stood> = made.stood.iter().filter(|stood| stood.from <= at).copied().collect();
            let mut sensors = BoxSensors::default();
            for visit in visits[..next].iter().filter(|visit| from <= visit.started_at) {
                let mut own = **visit;
                sensors.take(&mut own);
            }
            let boxes = Boxes {
                at,
                known_until: at,
                courses: &courses,
                herd: herd.herd_course(),
                log: &log,
                stood: &stood,
                pickups: &made.pickups,
                stuck: &sensors.end(),
            };
            judge_boxes(&boxes, None, &settings)
        })
        .collect()
}

/// Shown: worth a look.
pub fn shown(faults: &[BoxFault]) -> Vec<&BoxFault> {
    faults.iter().filter(|fault| 0.0 < fault.finding.worth).collect()
}
