//! A pen without machinery: minute by minute, cow by cow, with a plain generator of its own. Slow, and short enough to be
//! read through. It must count what the simulator counts.
//!
//! It shares the pen's description and nothing else: no event tree, no streams, no tables of factors.

use cowpath_core::traffic::{Pen, Traffic};

/// Minutes of a step.
const STEP: f64 = 0.25;

struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        // Lehmer's generator modulo 2⁶¹ − 1.
        self.0 = (u128::from(self.0) * 437_799_614_237_992_725 % ((1 << 61) - 1)) as u64;
        (self.0 as f64 + 0.5) / (1_u64 << 61) as f64
    }
    fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
    /// Minutes as whole steps, right on average.
    fn steps(&mut self, minutes: f64) -> f64 {
        (minutes / STEP + self.unit()).floor() * STEP
    }
    fn factor(&mut self, cv: f64) -> f64 {
        let sigma = (1.0 + cv * cv).ln().sqrt();
        (sigma * self.normal() - 0.5 * sigma * sigma).exp()
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Where {
    Away,
    Fetched { arrives: f64 },
    Waiting { since: f64, until: f64, fetched: bool },
    InBox { at: usize, until: f64 },
}

#[derive(Clone, Copy, PartialEq)]
enum Box {
    Free,
    Used,
    Shut { until: f64 },
}

/// Milkings, turned away, milk a cow and day; mean interval h; mean wait min; idle share; fetched a cow and day.
pub fn simulate(pen: &Pen, days: f64, warm_up: f64, seed: u64) -> [f64; 7] {
    let mut dice = Dice(seed * 2 + 1);
    for _ in 0..20 {
        dice.unit();
    }
    let mut cows = Vec::new();
    pen.stock.fill(&mut cows, seed + 1000, 0);
    let n = cows.len();
    let mut place = vec![Where::Away; n];
    let mut last: Vec<f64> = (0..n).map(|_| -480.0 * dice.unit()).collect();
    let mut again = vec![false; n];
    let mut boxes = vec![Box::Free; pen.boxes];
    let every_service = pen.closures.service_every_d * 1440.0;
    let mut service: Vec<f64> = (0..pen.boxes).map(|_| every_service * dice.unit()).collect();
    let (mut cleaning, mut fault) = (vec![false; pen.boxes], vec![false; pen.boxes]);
    let fault_per_min = 1.0 / (1440.0 * pen.closures.fault_every_d);
    let (mut milkings, mut turned, mut kg, mut fetched) = (0.0, 0.0, 0.0, 0.0);
    let (mut intervals, mut waits, mut entries, mut idle) = (0.0, 0.0, 0.0, 0.0);
    let steps = (days * 1440.0 / STEP) as usize;
    for step in 0..steps {
        let now = step as f64 * STEP;
        let counts = warm_up * 1440.0 <= now;
        let minute = now % 1440.0;
        for at in 0..boxes.len() {
            if let Box::Shut { until } = boxes[at]
                && until <= now
            {
                boxes[at] = Box::Free;
            }
            cleaning[at] |= pen.closures.cleaned_h.iter().any(|hour| {
                let due = (60.0 * hour + at as f64 * pen.closures.cleaned_apart_min) % 1440.0;
                (minute - due).rem_euclid(1440.0) < STEP
            });
            fault[at] |= dice.unit() < fault_per_min * STEP;
            // A closure begins when its time has come and the box is free.
            if boxes[at] != Box::Free {
                continue;
            }
            let minutes = if std::mem::take(&mut fault[at]) {
                -pen.closures.fault_min * dice.unit().ln()
            } else if service[at] <= now {
                service[at] = now + pen.closures.service_min + every_service;
                pen.closures.service_min
            } else if std::mem::take(&mut cleaning[at]) {
                pen.closures.cleaning_min
            } else {
                continue;
            };
            boxes[at] = Box::Shut { until: now + dice.steps(minutes) };
        }
        if pen.fetching.rounds_h.iter().any(|hour| (minute - 60.0 * hour).abs() < 0.5 * STEP) {
            let mut over: Vec<(f64, usize)> = (0..n)
                .filter(|cow| place[*cow] == Where::Away && 60.0 * cows[*cow].longest_h < now - last[*cow])
                .map(|cow| (now - last[cow] - 60.0 * cows[cow].longest_h, cow))
                .collect();
            over.sort_by(|one, other| other.0.total_cmp(&one.0));
            let most = (pen.fetching.round_min / pen.fetching.cow_min) as usize;
            for (turn, (_, cow)) in over.into_iter().take(most).enumerate() {
                place[cow] = Where::Fetched { arrives: now + (turn + 1) as f64 * pen.fetching.cow_min };
            }
        }
        for cow in 0..n {
            match place[cow] {
                Where::Away => {
                    let hours = (now - last[cow]) / 60.0 * cows[cow].pace;
                    let since = ((2.0 * hours) as usize).min(pen.coming.since_per_h.len() - 1);
                    let half = (minute / 30.0) as usize;
                    let per_h = cows[cow].frailty * pen.coming.since_per_h[since] * pen.coming.hour[half];
                    if dice.unit() < 1.0 - (-per_h / 60.0 * STEP).exp() {
                        let due = again[cow] || 60.0 * cows[cow].minimum_h <= now - last[cow];
                        if !due && pen.traffic == Traffic::Guided {
                            turned += f64::from(counts);
                        } else {
                            let until = now - pen.queue.patience_min * dice.unit().ln();
                            place[cow] = Where::Waiting { since: now, until, fetched: false };
                        }
                    }
                }
                Where::Fetched { arrives } if arrives <= now => {
                    place[cow] = Where::Waiting { since: now, until: f64::INFINITY, fetched: true };
                }
                Where::Waiting { until, .. } if until <= now && boxes.iter().all(|own| *own != Box::Free) => {
                    place[cow] = Where::Away;
                }
                Where::InBox { at, until } if until <= now => {
                    boxes[at] = Box::Free;
                    place[cow] = Where::Away;
                }
                _ => {}
            }
        }
        while let Some(at) = boxes.iter().position(|own| *own == Box::Free) {
            let key = |cow: usize, since: f64| since - pen.queue.rank_min * cows[cow].rank;
            let first = (0..n)
                .filter_map(|cow| match place[cow] {
                    Where::Waiting { since, fetched, .. } => Some((key(cow, since), cow, since, fetched)),
                    _ => None,
                })
                .min_by(|one, other| one.0.total_cmp(&other.0));
            let Some((_, cow, since, brought)) = first else { break };
            boxes[at] = Box::Used;
            let own = &cows[cow];
            let hours = (now - last[cow]) / 60.0;
            let service = &pen.service;
            let minutes = if !brought && !again[cow] && hours < own.minimum_h {
                turned += f64::from(counts);
                service.turned_away_min
            } else if dice.unit() < service.failed_share {
                service.failed_min * dice.factor(service.failed_cv)
            } else {
                let gathered = own.rate_kg_h * (1.0 - (-own.kappa_per_h * hours).exp()) / own.kappa_per_h;
                let milk = gathered * dice.factor(service.milk_cv);
                if counts {
                    milkings += 1.0;
                    kg += milk;
                    intervals += hours;
                }
                last[cow] = now;
                again[cow] = 0.0 < service.again_share
                    && dice.unit() < service.again_share / (1.0 - service.failed_share);
                service.handling_min * dice.factor(service.handling_cv)
                    + milk / own.flow_kg_min * dice.factor(service.flow_cv)
            };
            if counts {
                waits += now - since;
                entries += 1.0;
                fetched += f64::from(brought);
            }
            place[cow] = Where::InBox { at, until: now + dice.steps(minutes) };
        }
        if counts {
            idle += STEP * boxes.iter().filter(|own| **own == Box::Free).count() as f64;
        }
    }
    let cow_days = n as f64 * (days - warm_up);
    [
        milkings / cow_days,
        turned / cow_days,
        kg / cow_days,
        intervals / f64::max(milkings, 1.0),
        waits / f64::max(entries, 1.0),
        idle / (1440.0 * (days - warm_up) * pen.boxes as f64),
        fetched / cow_days,
    ]
}
