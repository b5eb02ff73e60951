//! Is something that should stand still off now, by how much, and since when?
//!
//! # Equation
//! A chain over steps of six hours: mode (sound, held off, drifting) × level L on a grid.
//!
//! sound → fault    rate · Δ: half at once by a size drawn from N(0, size²), half drifting from where it is
//! held ↔ drifting    a day in seven;    fault → sound    one in [`LASTS_D`] days (somebody mends it)
//! P(mode, L | looks so far)  by forward sums, P(onset) by sums backward through the faulty modes alone
//! probability = P(faulty and least ≤ |L|),   on either side, or below or above only
//!
//! Forward sums rest on what came before only, so that a look back sees what could be seen then. A sound one strays too: its level is drawn anew
//! from N(0, rest²) every [`Law::rest_days`]. Looks are ln likelihoods of the levels, so that means and counts go the same way.
//! # Source
//! Lengths, sizes and speeds of box faults are stated defaults: none are published (`sources.md` §4.4).

use jiff::Timestamp;

use super::levels::{gather, interval, spread, weigh};
use crate::{
    causes::{calibrated::log_odds, judge::NAMED_FROM},
    expect::{BIN_MS, Trouble},
};

/// Days after which somebody has mended a fault, mean. Stated default.
const LASTS_D: f64 = 14.0;
/// Days after which a drift stops, or a held fault begins to drift. Stated defaults.
const DRIFTS_D: f64 = 7.0;
const HELD_D: f64 = 20.0;
/// Share of faults that come at once. Stated default.
const AT_ONCE: f64 = 0.5;
const DAY_MS: i64 = 86_400_000;
/// A step of the chain, days.
const STEP_D: f64 = BIN_MS as f64 / 86_400_000.0;
/// What is added to the log odds for the sum that names a call: speech begins at a probability of 0.17, aloud at 0.48.
const SPEECH: f64 = 4.1;

/// How one kind of fault behaves; every figure in the signal's own unit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Law {
    /// Least and greatest level of the grid, and its spacing.
    pub low: f64,
    /// Greatest level.
    pub high: f64,
    /// Spacing of levels.
    pub spacing: f64,
    /// How far a sound one strays, and over how many days.
    pub rest: f64,
    /// Days after which a sound one strays elsewhere.
    pub rest_days: f64,
    /// Spread of the sizes with which a fault begins.
    pub size: f64,
    /// A smaller departure is of no matter.
    pub least: f64,
    /// Speed of a drift, a day; on either side where the grid goes there.
    pub speed: f64,
}

/// What six hours tell: ln likelihood by level; `None` where nothing was measured.
pub(crate) struct Look {
    /// Begin of the six hours, ms.
    pub from_ms: i64,
    /// By level of the grid; the greatest is 0.
    pub log: Option<Vec<f64>>,
}

impl Look {
    /// Of the six hours from `from_ms` on.
    pub fn of(from_ms: i64, log: Option<Vec<f64>>) -> Look {
        let log = log.map(|mut log| {
            let top = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            log.iter_mut().for_each(|log| *log -= top);
            log
        });
        Look { from_ms, log: log.filter(|log| log.iter().all(|log| !log.is_nan())) }
    }
}

/// What was made of it after one look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// End of the six hours.
    pub at: Timestamp,
    /// Level, mean and standard deviation.
    pub level: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// Chance that it was off then, by what was known then.
    pub chance: f64,
}

/// What the looks come to.
pub(crate) struct Verdict {
    /// Chance that it is off now.
    pub probability: f64,
    /// By how much, if it is.
    pub level: f64,
    /// Likeliest onset, and its 90 % interval.
    pub since: Timestamp,
    /// Ends of the interval.
    pub since_between: (Timestamp, Timestamp),
    /// The day (of UTC) that first spoke of it: what is usual is read off the weeks at hand, so that the six hours may move by one.
    pub episode: Timestamp,
    /// ln of the odds over the odds before anything was seen.
    pub weight: f64,
    /// After each look.
    pub course: Vec<Seen>,
}

impl Law {
    /// Levels of the grid.
    pub fn levels(&self) -> Vec<f64> {
        let count = ((self.high - self.low) / self.spacing).round() as usize;
        (0..=count).map(|index| self.low + self.spacing * index as f64).collect()
    }

    /// ln likelihood of a mean and its variance by level: Student's t of 12 degrees of freedom, tempered by `temper` for
    /// readings of the same cows that wander together.
    pub fn mean(&self, mean: f64, var: f64, temper: f64) -> Vec<f64> {
        const TAIL: f64 = 12.0;
        self.levels()
            .iter()
            .map(|level| {
                let square = (mean - level) * (mean - level) / var;
                -temper * 0.5 * (TAIL + 1.0) * (square / TAIL).ln_1p()
            })
            .collect()
    }
}

/// Probabilities of one mode by level.
type Mode = Vec<f64>;

struct Chain {
    levels: Vec<f64>,
    rest: Mode,
    entry: Mode,
    /// Of held, and of each drift: chances of one step down, staying, one step up.
    moves: Vec<[f64; 3]>,
    /// Into which faulty modes each faulty mode turns in a step.
    turns: Vec<Vec<(usize, f64)>>,
    matters: Vec<bool>,
    rate: f64,
    fresh: f64,
}

/// Follows the looks, in order of time and one every six hours; `rate_a_day` is how often such a fault begins. `None` where
/// they tell nothing, and where it is too unlikely to be named.
pub(crate) fn follow(law: &Law, looks: Vec<Look>, rate_a_day: f64) -> Option<Verdict> {
    Followed::to_now(law, looks, rate_a_day).filter(|own| NAMED_FROM <= own.probability)?.verdict()
}

/// Where the looks leave it now. Since when it is so is asked of few, and costs more.
pub(crate) struct Followed {
    /// Chance that it is off now.
    pub probability: f64,
    /// By how much, if it is.
    pub level: f64,
    chain: Chain,
    /// Begin of the six hours, ms, and likelihood by level.
    looks: Vec<(i64, Option<Mode>)>,
}

impl Followed {
    /// Follows the looks to the last one.
    pub fn to_now(law: &Law, looks: Vec<Look>, rate_a_day: f64) -> Option<Followed> {
        let chain = Chain::new(law, rate_a_day);
        let likelihood = |log: Mode| log.into_iter().map(f64::exp).collect();
        let looks: Vec<_> = looks.into_iter().map(|look| (look.from_ms, look.log.map(likelihood))).collect();
        looks.last()?;
        let mut modes = chain.start();
        let mut next = modes.clone();
        for (_, likelihood) in &looks {
            chain.on(&modes, likelihood.as_deref(), &mut next)?;
            std::mem::swap(&mut modes, &mut next);
        }
        let mass: f64 = chain.off_now(&modes).map(|(_, mass)| mass).sum();
        let level = chain.off_now(&modes).map(|(level, mass)| level * mass).sum::<f64>() / mass.max(1e-300);
        Some(Followed { probability: chain.off(&modes), level, chain, looks })
    }

    /// What the looks come to.
    pub fn verdict(self) -> Option<Verdict> {
        let Followed { probability, level, chain, looks } = self;
        let start = chain.start();
        let mut modes = start.clone();
        let mut next = modes.clone();
        let mut entries: Vec<Vec<Mode>> = Vec::with_capacity(looks.len());
        let mut scales = Vec::with_capacity(looks.len());
        let mut course = Vec::with_capacity(looks.len());
        let mut trouble = None;
        for (from_ms, likelihood) in &looks {
            let mut entered = vec![vec![0.0; chain.levels.len()]; chain.moves.len()];
            chain.enter(&modes[0], &mut entered);
            entries.push(entered);
            scales.push(chain.on(&modes, likelihood.as_deref(), &mut next)?);
            std::mem::swap(&mut modes, &mut next);
            let chance = chain.off(&modes);
            let (level, sd) = chain.level(&modes);
            let at = Timestamp::from_millisecond(from_ms + BIN_MS).ok()?;
            course.push(Seen { at, level, sd, chance });
            trouble = Trouble::after(trouble, log_odds(chance) + SPEECH, *from_ms);
        }
        let onsets = chain.onsets(&looks, &start, &entries, &scales);
        let (since, early, late) = interval(&onsets)?;
        let place = |index: usize| Timestamp::from_millisecond(looks[index].0 + BIN_MS / 2).ok();
        let since = place(since)?;
        let day = |trouble: Trouble| trouble.since_ms.div_euclid(DAY_MS) * DAY_MS;
        Some(Verdict {
            probability,
            level,
            since,
            since_between: (place(early)?.min(since), place(late)?.max(since)),
            episode: trouble.and_then(|own| Timestamp::from_millisecond(day(own)).ok()).unwrap_or(since),
            weight: log_odds(probability) - log_odds(chain.before()),
            course,
        })
    }
}

/// Into which faulty modes a faulty mode turns in a step.
fn turns(mode: usize, drifts: usize) -> Vec<(usize, f64)> {
    if drifts == 0 {
        return vec![(0, 1.0)];
    }
    let turns = 1.0 - (-STEP_D / if mode == 0 { HELD_D } else { DRIFTS_D }).exp();
    if mode == 0 {
        let each = turns / drifts as f64;
        std::iter::once((0, 1.0 - turns)).chain((1..=drifts).map(|drift| (drift, each))).collect()
    } else {
        vec![(mode, 1.0 - turns), (0, turns)]
    }
}

impl Chain {
    fn new(law: &Law, rate_a_day: f64) -> Chain {
        let levels = law.levels();
        let normal = |sd: f64, least: f64| -> Mode {
            let bell: Vec<f64> = levels
                .iter()
                .map(|level| if level.abs() < least { 0.0 } else { (-0.5 * (level / sd).powi(2)).exp() })
                .collect();
            let total: f64 = bell.iter().sum();
            bell.iter().map(|mass| mass / total).collect()
        };
        let moved = |mean: f64, sd: f64| {
            let (mean, square) = (mean / law.spacing, (mean * mean + sd * sd) / (law.spacing * law.spacing));
            let (up, down) = (0.5 * (square + mean), 0.5 * (square - mean));
            let (up, down) = (up.clamp(0.0, 0.5), down.clamp(0.0, 0.5));
            [down, 1.0 - up - down, up]
        };
        // A fault that is held still wanders a little, a drift is not even: stated defaults.
        let mut moves = vec![moved(0.0, 0.25 * law.speed * STEP_D.sqrt())];
        if law.low < -law.least {
            moves.push(moved(-law.speed * STEP_D, law.speed * STEP_D.sqrt()));
        }
        if law.least < law.high {
            moves.push(moved(law.speed * STEP_D, law.speed * STEP_D.sqrt()));
        }
        let turns = (0..moves.len()).map(|mode| turns(mode, moves.len() - 1)).collect();
        Chain {
            turns,
            rest: normal(law.rest, 0.0),
            entry: normal(law.size, law.least),
            moves,
            matters: levels.iter().map(|level| law.least - 1e-9 <= level.abs()).collect(),
            levels,
            rate: rate_a_day,
            fresh: 1.0 - (-STEP_D / law.rest_days).exp(),
        }
    }

    /// Chance that it was off for long before the first look.
    fn before(&self) -> f64 {
        (self.rate * LASTS_D).min(0.5)
    }

    /// Masses before the first look: sound or held.
    fn start(&self) -> Vec<Mode> {
        let before = self.before();
        let mut modes = vec![vec![0.0; self.levels.len()]; 1 + self.moves.len()];
        modes[0] = self.rest.iter().map(|rest| (1.0 - before) * rest).collect();
        modes[1] = self.entry.iter().map(|entry| before * entry).collect();
        modes
    }

    /// Six hours on, and what they told: writes masses that sum to 1 into `next`, and says what they summed to before.
    /// `None` where the look leaves nothing.
    fn on(&self, modes: &[Mode], likelihood: Option<&[f64]>, next: &mut [Mode]) -> Option<f64> {
        self.step(modes, next);
        if let Some(likelihood) = likelihood {
            weigh(next, likelihood);
        }
        let total: f64 = next.iter().flatten().sum();
        if !(total.is_finite() && 0.0 < total) {
            return None;
        }
        next.iter_mut().flatten().for_each(|mass| *mass /= total);
        Some(total)
    }

    fn step(&self, modes: &[Mode], next: &mut [Mode]) {
        let begins = self.begins();
        let mended = 1.0 - (-STEP_D / LASTS_D).exp();
        let well: f64 = modes[0].iter().sum();
        let faulty: f64 = modes[1..].iter().flatten().sum();
        for ((next, sound), rest) in next[0].iter_mut().zip(&modes[0]).zip(&self.rest) {
            *next = (1.0 - begins) * ((1.0 - self.fresh) * sound + self.fresh * well * rest)
                + mended * faulty * rest;
        }
        next[1..].iter_mut().flatten().for_each(|mass| *mass = 0.0);
        for (mode, mass) in modes[1..].iter().enumerate() {
            for (to, share) in &self.turns[mode] {
                let kept = (1.0 - mended) * share;
                spread(self.moves[*to].map(|chance| kept * chance), mass, &mut next[1 + to]);
            }
        }
        self.enter(&modes[0], &mut next[1..]);
    }

    /// Chance that a sound one begins to be faulty in six hours.
    fn begins(&self) -> f64 {
        1.0 - (-self.rate * STEP_D).exp()
    }

    /// Adds to the faulty modes what of the sound one begins to be so in six hours.
    fn enter(&self, sound: &[f64], faulty: &mut [Mode]) {
        let begins = self.begins();
        let well: f64 = sound.iter().sum();
        let drifts = (faulty.len() - 1).max(1) as f64;
        let at_once = if faulty.len() == 1 { 1.0 } else { AT_ONCE };
        for (mass, entry) in faulty[0].iter_mut().zip(&self.entry) {
            *mass += begins * at_once * well * entry;
        }
        for drift in &mut faulty[1..] {
            for (mass, sound) in drift.iter_mut().zip(sound) {
                *mass += begins * (1.0 - at_once) / drifts * sound;
            }
        }
    }

    fn off(&self, modes: &[Mode]) -> f64 {
        self.off_now(modes).map(|(_, mass)| mass).sum::<f64>().clamp(0.0, 1.0)
    }

    /// Level and mass of all that is off.
    fn off_now(&self, modes: &[Mode]) -> impl Iterator<Item = (f64, f64)> {
        modes[1..]
            .iter()
            .flat_map(|mode| mode.iter().zip(&self.levels).zip(&self.matters))
            .filter(|(_, matters)| **matters)
            .map(|((mass, level), _)| (*level, *mass))
    }

    fn level(&self, modes: &[Mode]) -> (f64, f64) {
        let (mut mean, mut square) = (0.0, 0.0);
        for mode in modes {
            for (mass, level) in mode.iter().zip(&self.levels) {
                mean += mass * level;
                square += mass * level * level;
            }
        }
        (mean, (square - mean * mean).max(0.0).sqrt())
    }

    /// Chance by look that what is off now began to be so in its six hours; what was off before the first counts there.
    fn onsets(
        &self,
        looks: &[(i64, Option<Mode>)],
        start: &[Mode],
        entries: &[Vec<Mode>],
        scales: &[f64],
    ) -> Vec<f64> {
        let faults = self.moves.len();
        let mended = 1.0 - (-STEP_D / LASTS_D).exp();
        let ends: Mode = self.matters.iter().map(|matters| f64::from(u8::from(*matters))).collect();
        let mut later = vec![ends; faults];
        let mut weights = vec![0.0; looks.len()];
        for index in (0..looks.len()).rev() {
            if let Some(likelihood) = &looks[index].1 {
                weigh(&mut later, likelihood);
            }
            later.iter_mut().flatten().for_each(|mass| *mass /= scales[index]);
            let pairs = entries[index].iter().flatten().zip(later.iter().flatten());
            weights[index] += pairs.map(|(entered, later)| entered * later).sum::<f64>();
            let mut before = vec![vec![0.0; self.levels.len()]; faults];
            for (mode, before) in before.iter_mut().enumerate() {
                for (to, share) in &self.turns[mode] {
                    let kept = (1.0 - mended) * share;
                    gather(self.moves[*to].map(|chance| kept * chance), &later[*to], before);
                }
            }
            later = before;
        }
        if let Some(first) = weights.first_mut() {
            let pairs = start[1..].iter().flatten().zip(later.iter().flatten());
            *first += pairs.map(|(mass, later)| mass * later).sum::<f64>();
        }
        weights
    }
}
