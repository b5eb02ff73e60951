//! When do people bring cows, and which? No log of boxes says it: it is seen in cows that are long overdue.
//!
//! # Equation
//! times(half) = entries an hour of overdue cows / entries an hour of cows that are due, over the median of all half-hours
//!   a round begins where times goes beyond 2.2, by more than four standard deviations of a Poisson count.
//! longest: the hours since a milking that best part cows brought from cows left, in the hour from each round,
//!   log L = Σ_s events(s)·ln ρ(s) − ρ(s)·expected(s),   ρ one below and another from these hours on,
//!   expected(s) = hours(s) · entries an hour of such cows outside of rounds.
//! # Not here
//! Who was brought: [`crate::coming`], where marks of the walk tell.

use super::{
    fit::OUT_H,
    fit_log::{Came, Stay},
    herd::Drawn,
    pen::{HALVES, SINCE},
};

/// Hours since a milking of cows that are due and not overdue.
const DUE_H: (f64, f64) = (7.0, 10.0);
/// Hours since a milking from which a cow is overdue.
const OVERDUE_H: f64 = 12.0;
/// So many times as often as at their usual half-hour, overdue cows come in the half-hours in which they are brought.
const TIMES: f64 = 2.2;
/// Standard deviations by which they must.
const SURE: f64 = 4.0;
/// Half-hours from the beginning of a round in which those brought are milked.
const ROUND_HALVES: usize = 2;
/// Between these hours people set the longest interval.
const LONGEST_H: (f64, f64) = (10.0, 18.0);

/// What was seen of people who bring cows.
#[derive(Debug, Clone, PartialEq)]
pub struct Fetched {
    /// Hours of the clock at which rounds begin.
    pub rounds_h: Vec<f64>,
    /// Hours since a milking from which cows are brought; the stated default where no round was seen.
    pub longest_h: f64,
}

/// Milkings and hours of all cows by half-hours of the clock and half-hours since the milking before.
struct Table {
    events: Vec<f64>,
    hours: Vec<f64>,
}

impl Table {
    fn of(by_cow: &[Vec<Stay>]) -> Table {
        let mut table = Table { events: vec![0.0; HALVES * SINCE], hours: vec![0.0; HALVES * SINCE] };
        for stays in by_cow {
            let milkings: Vec<f64> =
                stays.iter().filter(|stay| stay.came == Came::Milked).map(|stay| stay.from).collect();
            for pair in milkings.windows(2) {
                let end = pair[1].min(pair[0] + 60.0 * OUT_H);
                let mut at = pair[0];
                while at < end {
                    let to = (((at / 30.0).floor() + 1.0) * 30.0).min(end);
                    let half = (at / 30.0).floor().rem_euclid(HALVES as f64) as usize % HALVES;
                    let since = ((0.5 * (at + to) - pair[0]) / 30.0) as usize;
                    let cell = half * SINCE + since.min(SINCE - 1);
                    table.hours[cell] += (to - at) / 60.0;
                    table.events[cell] += f64::from(u8::from(to == pair[1]));
                    at = to;
                }
            }
        }
        table
    }

    /// Events and hours of a half-hour of the clock, of cows from so many hours since to so many.
    fn sums(&self, half: usize, from_h: f64, to_h: f64) -> (f64, f64) {
        let cells = half * SINCE + (2.0 * from_h) as usize..half * SINCE + ((2.0 * to_h) as usize).min(SINCE);
        (self.events[cells.clone()].iter().sum(), self.hours[cells].iter().sum())
    }
}

/// Rounds of people and whom they bring, from the cows' milkings.
pub fn fetched(by_cow: &[Vec<Stay>]) -> Fetched {
    let table = Table::of(by_cow);
    let rate = |(events, hours): (f64, f64)| (events + 0.5) / (hours + 2.0);
    let overdue: Vec<(f64, f64)> = (0..HALVES).map(|half| table.sums(half, OVERDUE_H, OUT_H)).collect();
    let due: Vec<f64> = (0..HALVES).map(|half| rate(table.sums(half, DUE_H.0, DUE_H.1))).collect();
    let times: Vec<f64> = overdue.iter().zip(&due).map(|(own, due)| rate(*own) / due).collect();
    let mut sorted = times.clone();
    sorted.sort_by(f64::total_cmp);
    let usual = sorted[HALVES / 2];
    let fetches = |half: usize| {
        let (events, hours) = overdue[half];
        let expected = usual * due[half] * hours;
        TIMES * usual < times[half] && SURE * expected.max(1.0).sqrt() < events - expected
    };
    // The first half-hour of a run of them: whoever is brought is milked within the next.
    let begins = |half: &usize| fetches(*half) && !fetches((half + HALVES - 1) % HALVES);
    let rounds: Vec<usize> = (0..HALVES).filter(begins).collect();
    let longest_h = longest(&table, &rounds).unwrap_or(Drawn::default().longest_h);
    Fetched { rounds_h: rounds.into_iter().map(|half| half as f64 / 2.0).collect(), longest_h }
}

/// The hours that best part cows brought from cows left; `None` without a round.
fn longest(table: &Table, rounds: &[usize]) -> Option<f64> {
    let in_round = |half: usize| rounds.iter().any(|round| (half + HALVES - round) % HALVES < ROUND_HALVES);
    let (low, high) = ((2.0 * LONGEST_H.0) as usize, (2.0 * LONGEST_H.1) as usize);
    // By half-hours since: what came in rounds, and what would have come in the same hours outside of them.
    let cells = (low - 4)..(high + 4).min(SINCE);
    let pairs: Vec<(f64, f64)> = cells
        .clone()
        .map(|since| {
            let (mut inside, mut outside) = ((0.0, 0.0), (0.0, 0.0));
            for half in 0..HALVES {
                let sums = if in_round(half) { &mut inside } else { &mut outside };
                sums.0 += table.events[half * SINCE + since];
                sums.1 += table.hours[half * SINCE + since];
            }
            (inside.0, inside.1 * (outside.0 + 0.5) / (outside.1 + 2.0))
        })
        .collect();
    let log_l = |part: &[(f64, f64)]| {
        let (events, expected) =
            part.iter().fold((0.0, 0.0), |(events, expected), own| (events + own.0, expected + own.1));
        if 0.0 < events && 0.0 < expected { events * (events / expected).ln() } else { 0.0 }
    };
    let parts = (low..=high).map(|from| {
        let (left, brought) = pairs.split_at(from - cells.start);
        (from, log_l(left) + log_l(brought))
    });
    let best = parts.max_by(|one, other| one.1.total_cmp(&other.1));
    best.filter(|_| !rounds.is_empty()).map(|(from, _)| from as f64 / 2.0)
}
