//! What is kept of one cow: fixed in size, whatever the length of her record.

use jiff::Timestamp;

use super::baseline::{BEGINS, BEGINS_TOGETHER, ENDS, Evidence, Line};
use super::filter::{Standing, Track};
use super::herd::Moment;
use super::parameters::Parameters;
use super::trouble::Trouble;
use crate::herd::Stage;

/// A new level the model has accepted as her own.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Settled {
    /// When the change began, as far as the evidence tells.
    pub since: Timestamp,
    /// When it was accepted.
    pub accepted: Timestamp,
    /// New level less old one, log (−0.09 is about 9 % lower).
    pub log_change: f64,
}

/// Days a change must have lasted before it may be accepted.
const SETTLES_AFTER_D: f64 = 10.0;
/// Days between two looks at whether she still moves.
const LOOKS_EVERY_D: f64 = 3.0;
/// Log by which she may have moved between two looks and still count as settled.
const STILL: f64 = 0.03;
/// Days after which a baseline is too old to judge by and the level is accepted as it is.
const HELD_AT_MOST_D: f64 = 24.0;
/// Changes smaller than this (log) are accepted without a word.
const WORTH_SAYING: f64 = 0.05;
/// A gap no cow has: nobody looked yet, so nothing is still.
const NEVER_LOOKED: f64 = 1e6;
/// How many accepted levels are remembered.
const REMEMBERED: usize = 6;

/// A stretch of time with evidence of a change.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Episode {
    /// When the evidence began; stays as long as the episode does.
    pub(crate) since_ms: i64,
    looked_ms: i64,
    looked_gap: f64,
    /// Milk itself has spoken in it.
    milk: bool,
}

/// Chance of a kick of one quarter as counts of kicks and of milkings, old ones fading.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Kicking {
    pub(crate) kicks: f64,
    pub(crate) milkings: f64,
}

/// Everything kept of one cow.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Cow {
    pub(crate) calved_ms: Option<i64>,
    pub(crate) parity: Option<u8>,
    /// Milkings seen since she calved (since she was first seen, if no calving is known).
    pub(crate) milkings: u32,
    /// End of her last milking.
    pub(crate) last_ms: Option<i64>,
    pub(crate) robust: Track,
    pub(crate) plain: Track,
    pub(crate) held: Standing,
    pub(crate) held_ms: i64,
    pub(crate) evidence: Evidence,
    /// Mean size of her surprises, in standard deviations of the herd's noise.
    pub(crate) size: f64,
    /// Milk an incomplete milking left, as far as it is expected to come, kg.
    pub(crate) carried_kg: f64,
    /// Milk taken in failed visits since her last milking, kg.
    pub(crate) taken_kg: f64,
    pub(crate) share: [Line; 4],
    /// When her quarters' milk, and their conductivity, were last followed.
    pub(crate) share_at_ms: i64,
    pub(crate) ms_at_ms: i64,
    pub(crate) ms: [Line; 4],
    pub(crate) ms_level: Line,
    pub(crate) interval: Line,
    pub(crate) kicks: [Kicking; 4],
    pub(crate) episode: Option<Episode>,
    pub(crate) trouble: Option<Trouble>,
    pub(crate) settled: Vec<Settled>,
}

/// A gap of 25 days between two milkings.
const DRY_SPELL_MS: i64 = 25 * 86_400_000;
/// Days in milk within which a cow counts as fresh: her slope may differ from the curve's by the fresh spread.
const FRESH_D: f64 = 45.0;
/// Spread of slopes beside the curve's later in lactation, log a day.
const LATER_SLOPE_SD: f64 = 0.004;
/// Conductivity of a healthy quarter before a cow is known, mS/cm (`sources.md` §4.2: 4.87, from memory).
const HEALTHY_MS_CM: f64 = 4.87;

impl Cow {
    /// A cow never seen before.
    pub(crate) fn new(p: &Parameters, stage: &Stage, at_ms: i64) -> Cow {
        let slope_sd = slope_sd(p, stage);
        let robust = Track::fresh(p, 0.0, p.cow_sd, slope_sd);
        let kicking = Kicking { kicks: 0.0, milkings: 0.0 };
        Cow {
            calved_ms: stage.calved_at.map(Timestamp::as_millisecond),
            parity: stage.parity,
            milkings: 0,
            last_ms: None,
            plain: robust.clone(),
            held: robust.settled(),
            robust,
            held_ms: at_ms,
            evidence: Evidence::default(),
            size: 1.0,
            carried_kg: 0.0,
            taken_kg: 0.0,
            share: [Line::fresh(0.0, &p.share, at_ms); 4],
            share_at_ms: at_ms,
            ms_at_ms: at_ms,
            ms: [Line::fresh(0.3, &p.conductivity, at_ms); 4],
            ms_level: Line::fresh(HEALTHY_MS_CM, &p.conductivity_level, at_ms),
            interval: Line::fresh(8.5_f64.ln(), &p.interval, at_ms),
            kicks: [kicking; 4],
            episode: None,
            trouble: None,
            settled: Vec::new(),
        }
    }

    /// Takes up what is known of her at this visit: a new calving begins milk anew, a parity learned late moves the curve.
    pub(crate) fn meet(&mut self, p: &Parameters, stage: &Stage, at_ms: i64) {
        let calved_ms = stage.calved_at.map(Timestamp::as_millisecond);
        if calved_ms != self.calved_ms {
            // A calving dated well before her last milking is news about the past, not a new lactation.
            let began = calved_ms.is_some_and(|calved| {
                self.last_ms.is_none_or(|last| last - 2 * 86_400_000 <= calved) && 0 < self.milkings
            });
            self.calved_ms = calved_ms;
            if began {
                self.calve(p, stage, at_ms);
            }
        }
        // Weeks without a milking are a dry spell, whether a calving was written down or not.
        if self.last_ms.is_some_and(|last| DRY_SPELL_MS < at_ms - last) {
            self.calve(p, stage, at_ms);
        }
        if stage.parity != self.parity {
            let difference =
                p.log_curve(self.parity, stage.days_in_milk) - p.log_curve(stage.parity, stage.days_in_milk);
            self.parity = stage.parity;
            if 0 < self.milkings {
                self.rebase(difference, [0.0; 2]);
            }
        }
    }

    /// Other curves, κ and herd rhythm: what she gives stays, her departure from them takes up the difference.
    pub(crate) fn rebase(&mut self, level: f64, rhythm: [f64; 2]) {
        for track in [&mut self.robust, &mut self.plain] {
            track.rebase(level, rhythm);
        }
        self.held.level += level;
        self.held.rhythm.0 += rhythm[0];
        self.held.rhythm.1 += rhythm[1];
    }

    /// Her tracks move on to a milking; the plain one only where the whole forecast is wanted.
    pub(crate) fn step(&mut self, now: &Moment<'_>, whole: bool) {
        let days = now.interval_h.unwrap_or(0.0) / 24.0;
        if 0.0 < days {
            let fade = (-days / now.p.slope_days).exp();
            self.robust.step(now.p, days, fade);
            if whole {
                self.plain.step(now.p, days, fade);
            }
        }
    }

    fn calve(&mut self, p: &Parameters, stage: &Stage, at_ms: i64) {
        let level = p.memory * self.robust.settled().level;
        let level_sd = p.cow_sd * (1.0 - p.memory * p.memory).max(0.0).sqrt();
        self.robust = Track::fresh(p, level, level_sd, slope_sd(p, stage));
        self.plain = self.robust.clone();
        self.parity = stage.parity;
        self.milkings = 0;
        self.last_ms = None;
        (self.carried_kg, self.taken_kg) = (0.0, 0.0);
        for line in &mut self.share {
            line.relax(&p.share, at_ms);
        }
        for line in &mut self.ms {
            line.relax(&p.conductivity, at_ms);
        }
        self.ms_level.relax(&p.conductivity_level, at_ms);
        self.interval.relax(&p.interval, at_ms);
        self.settled.clear();
        self.trouble = None;
        self.accept(at_ms);
    }

    /// Every line's anchor moves up to its live line, and the episode is over.
    fn accept(&mut self, at_ms: i64) {
        self.held = self.robust.settled();
        self.held_ms = at_ms;
        self.evidence.clear();
        for line in self.share.iter_mut().chain(&mut self.ms) {
            line.accept(at_ms);
        }
        self.ms_level.accept(at_ms);
        self.interval.accept(at_ms);
        self.episode = None;
    }

    /// Whether milk's baseline is the held one.
    pub(crate) fn holds_milk(&self) -> bool {
        ENDS <= self.evidence.most()
    }

    /// After a milking was learned: does an episode begin, last, settle or end?
    pub(crate) fn review(&mut self, p: &Parameters, at_ms: i64) {
        self.trouble = Trouble::after(self.trouble, self.said(), at_ms);
        if let Some(episode) = &mut self.episode {
            episode.milk |= BEGINS <= self.evidence.most();
        }
        match self.episode {
            None => self.begin(at_ms),
            Some(episode) => {
                if self.calm() {
                    self.episode = None;
                    return;
                }
                let days = (at_ms - episode.since_ms) as f64 / 86_400_000.0;
                let since_look_d = (at_ms - episode.looked_ms) as f64 / 86_400_000.0;
                if days < SETTLES_AFTER_D - LOOKS_EVERY_D || since_look_d < LOOKS_EVERY_D {
                    return;
                }
                let held_d = (at_ms - self.held_ms) as f64 / 86_400_000.0;
                let gap = self.robust.settled().level - self.held.after(p, held_d, (0.0, 0.0)).0;
                let still = (gap - episode.looked_gap).abs() <= STILL;
                if SETTLES_AFTER_D <= days && still || HELD_AT_MOST_D <= days {
                    self.settle(gap, episode, at_ms);
                } else if let Some(episode) = &mut self.episode {
                    (episode.looked_ms, episode.looked_gap) = (at_ms, gap);
                }
            }
        }
    }

    fn settle(&mut self, gap: f64, episode: Episode, at_ms: i64) {
        if WORTH_SAYING <= gap.abs() && episode.milk && ENDS <= self.evidence.most() {
            if self.settled.len() == REMEMBERED {
                self.settled.remove(0);
            }
            let instant = |ms: i64| Timestamp::from_millisecond(ms).unwrap_or(Timestamp::UNIX_EPOCH);
            self.settled.push(Settled {
                since: instant(episode.since_ms),
                accepted: instant(at_ms),
                log_change: gap,
            });
        }
        self.accept(at_ms);
    }

    fn begin(&mut self, at_ms: i64) {
        let mut since_ms: Option<i64> = None;
        let mut note = |speaks: bool, anchor_ms: i64| {
            if speaks {
                since_ms = Some(since_ms.map_or(anchor_ms, |own| own.min(anchor_ms)));
            }
        };
        note(BEGINS <= self.evidence.most(), self.held_ms);
        for (share, ms) in self.share.iter().zip(&self.ms) {
            let (less, saltier, milk) = (share.evidence.down, ms.evidence.up, self.evidence.down);
            let together = BEGINS_TOGETHER <= less + saltier + milk;
            note(BEGINS <= less || together && ENDS <= less, share.anchor_ms);
            note(BEGINS <= saltier || together && ENDS <= saltier, ms.anchor_ms);
        }
        if let Some(since_ms) = since_ms {
            self.episode =
                Some(Episode { since_ms, looked_ms: at_ms, looked_gap: NEVER_LOOKED, milk: false });
        }
    }

    /// What speaks for a change now: the strongest quarter's sums and milk's, or her coming late.
    fn said(&self) -> f64 {
        let quarters =
            self.share.iter().zip(&self.ms).map(|(share, ms)| share.evidence.down + ms.evidence.up);
        (quarters.fold(0.0, f64::max) + self.evidence.down).max(self.interval.evidence.up)
    }

    fn calm(&self) -> bool {
        self.evidence.most() < ENDS
            && self.share.iter().all(|line| line.evidence.down < ENDS)
            && self.ms.iter().all(|line| line.evidence.up < ENDS)
    }
}

fn slope_sd(p: &Parameters, stage: &Stage) -> f64 {
    match stage.days_in_milk {
        Some(days) if FRESH_D <= days => LATER_SLOPE_SD,
        _ => p.fresh_slope_sd,
    }
}
