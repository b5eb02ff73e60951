//! What is wrong with her, and what does it do to each signal?
//!
//! A case is a set of hits: a signal, how far it moves, and the course it takes, all drawn anew for every case. Many
//! signals of many cases do not move at all. One udder case in six has next to no rise of conductivity.
//!
//! # Source
//! Directions and rough sizes: `sources.md` §4.2 (rumination and milk before displaced stomachs, ketosis, udder
//! cases by bacteria, lameness in robot herds), §9 (fat and protein in energy shortage). Sizes and times drawn here are
//! stated choices, wider than any published mean.

use crate::{
    chance::Stream,
    course::{Course, Pace},
    rows::CaseTruth,
    signs::{Signs, Touch},
};

/// A kind of case, in the words of the round's causes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Udder,
    Metabolic,
    Gut,
    Feet,
    Fever,
}

impl Kind {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Udder => "udder",
            Kind::Metabolic => "metabolic",
            Kind::Gut => "gut",
            Kind::Feet => "feet",
            Kind::Fever => "fever",
        }
    }
}

/// One case of one cow.
#[derive(Debug, Clone)]
pub struct Case {
    /// Its number over the herd.
    pub number: u32,
    /// What it is.
    pub kind: Kind,
    /// In which form.
    pub form: &'static str,
    /// Quarter of an udder case.
    pub quarter: Option<usize>,
    /// First departure of any signal.
    pub began_s: i64,
    /// First sign that a person at the cow could see.
    pub first_sign_s: i64,
    /// 0 to 1.
    pub severity: f64,
    /// Whether there is anything to see at all.
    pub clinical: bool,
    /// Chance that one walk notices it at its height.
    pub notice: f64,
    /// When it was noticed.
    pub noticed_s: Option<i64>,
    /// When it was treated.
    pub treated_s: Option<i64>,
    /// When treatment begins to help.
    pub relief_s: Option<i64>,
    /// Most milk lost so far, share.
    pub worst_loss: f64,
    /// What a person sees.
    seen: Course,
    hits: Vec<(Touch, f64, Course)>,
    conductivity_rise_ms_cm: f64,
    /// Share of the quarter lost for the rest of the lactation.
    pub lasting_loss: f64,
}

impl Case {
    /// Hours since it began.
    fn hours(&self, at_s: i64) -> f64 {
        (at_s - self.began_s) as f64 / 3600.0
    }

    fn relief_h(&self) -> Option<f64> {
        self.relief_s.map(|at_s| self.hours(at_s))
    }

    /// Adds what it does at this time.
    pub fn act(&mut self, at_s: i64, signs: &mut Signs) {
        let h = self.hours(at_s);
        let relief_h = self.relief_h();
        let mut kept = 1.0;
        for (touch, amount, course) in &self.hits {
            let moved = amount * course.level(h, relief_h);
            match touch {
                Touch::Milk => kept *= 1.0 - moved,
                Touch::Quarter(_) => kept *= 1.0 - 0.25 * moved,
                _ => {}
            }
            signs.add(*touch, moved);
        }
        self.worst_loss = self.worst_loss.max(1.0 - kept);
    }

    /// How plain it is to a person at the cow, 0 to 1.
    pub fn visible(&self, at_s: i64) -> f64 {
        if !self.clinical || at_s < self.first_sign_s {
            return 0.0;
        }
        (0.35 + 0.65 * self.severity) * self.seen.level(self.hours(at_s), self.relief_h()).max(0.15)
    }

    /// When it is over.
    pub fn over_s(&self) -> i64 {
        let relief_h = self.relief_h();
        let last_h = self.hits.iter().map(|(_, _, course)| course.over_h(relief_h)).fold(0.0, f64::max);
        self.began_s + (last_h * 3600.0) as i64
    }

    /// The truth of it.
    pub fn truth(&self, animal: u32, end_s: i64) -> CaseTruth {
        let over_s = self.over_s();
        CaseTruth {
            case: self.number,
            animal,
            kind: self.kind.word(),
            form: self.form,
            quarter: self.quarter,
            began_s: self.began_s,
            first_sign_s: self.first_sign_s,
            noticed_s: self.noticed_s,
            treated_s: self.treated_s,
            ended_s: (over_s <= end_s).then_some(over_s),
            severity: self.severity,
            clinical: self.clinical,
            conductivity_rise_ms_cm: self.conductivity_rise_ms_cm,
            milk_loss: self.worst_loss,
        }
    }
}

/// Draws hits about one pace.
struct Draft<'a> {
    chance: &'a mut Stream,
    pace: Pace,
    hits: Vec<(Touch, f64, Course)>,
}

impl Draft<'_> {
    /// With chance `how_often`, a hit between `low` and `high`; each with a course of its own about the pace.
    fn hit(&mut self, how_often: f64, touch: Touch, low: f64, high: f64) -> f64 {
        let amount = self.chance.between(low, high);
        let course = Course::draw(self.chance, self.pace);
        if self.chance.chance(how_often) {
            self.hits.push((touch, amount, course));
            amount
        } else {
            0.0
        }
    }
}

/// A new case of a kind, in a form that fits her; `fresh` within 30 days of calving.
pub fn begin(
    chance: &mut Stream,
    number: u32,
    kind: Kind,
    began_s: i64,
    quarter: usize,
    fresh: bool,
    flare: bool,
) -> Case {
    let severity = (chance.unit_gamma(2.2) * 0.45).clamp(0.12, 1.0);
    let s = severity.sqrt();
    let form = match kind {
        Kind::Udder if flare => "flare",
        Kind::Udder => ["fast", "slow"][usize::from(chance.chance(0.62))],
        Kind::Metabolic => "energy-shortage",
        Kind::Gut => ["off-feed", "displaced"][usize::from(fresh && chance.chance(0.65))],
        Kind::Feet => ["creeping", "sudden"][usize::from(chance.chance(0.2))],
        Kind::Fever => ["lung", "womb"][usize::from(fresh && chance.chance(0.75))],
    };
    let (pace, sign_h, notice) = match form {
        "fast" => (Pace { from_h: 0.0, rise_h: 9.0, hold_h: 34.0, fall_h: 45.0 }, (1.0, 10.0), 0.55),
        "slow" => (Pace { from_h: 0.0, rise_h: 60.0, hold_h: 110.0, fall_h: 95.0 }, (14.0, 72.0), 0.3),
        "flare" => (Pace { from_h: 0.0, rise_h: 26.0, hold_h: 40.0, fall_h: 42.0 }, (0.0, 1.0), 0.0),
        "energy-shortage" => {
            (Pace { from_h: 0.0, rise_h: 80.0, hold_h: 170.0, fall_h: 110.0 }, (24.0, 90.0), 0.13)
        }
        "displaced" => (Pace { from_h: 0.0, rise_h: 70.0, hold_h: 160.0, fall_h: 60.0 }, (20.0, 80.0), 0.28),
        "off-feed" => (Pace { from_h: 0.0, rise_h: 12.0, hold_h: 22.0, fall_h: 26.0 }, (4.0, 20.0), 0.16),
        "creeping" => {
            (Pace { from_h: 0.0, rise_h: 190.0, hold_h: 620.0, fall_h: 190.0 }, (60.0, 200.0), 0.06)
        }
        "sudden" => (Pace { from_h: 0.0, rise_h: 18.0, hold_h: 260.0, fall_h: 120.0 }, (2.0, 20.0), 0.16),
        _ => (Pace { from_h: 0.0, rise_h: 14.0, hold_h: 60.0, fall_h: 50.0 }, (4.0, 24.0), 0.26),
    };
    let seen = Course::draw(chance, pace);
    let mut draft = Draft { chance, pace, hits: Vec::new() };
    let mut lasting_loss = 0.0;
    let mut rise_ms_cm = 0.0;
    let q = quarter;
    match form {
        "fast" | "slow" | "flare" => {
            // One in six: the meter sees next to nothing of it.
            let plain = !draft.chance.chance(1.0 / 6.0);
            let (low, high) = match form {
                "fast" => (1.1, 3.8),
                "slow" => (0.7, 2.9),
                _ => (0.3, 1.2),
            };
            let by_severity = 0.45 + 0.55 * s;
            rise_ms_cm = draft.hit(
                1.0,
                Touch::Conductivity(q),
                if plain { low * by_severity } else { 0.0 },
                if plain { high * by_severity } else { 0.16 },
            );
            draft.hit(0.35, Touch::Conductivity(q ^ 1), 0.05, 0.4 * s);
            draft.hit(1.0, Touch::Cells(q), 1.8, 4.6);
            match form {
                "fast" => {
                    draft.hit(0.95, Touch::Quarter(q), 0.3 * s, 0.9 * s);
                    draft.hit(0.9, Touch::Milk, 0.05 * s, 0.5 * s);
                    draft.hit(0.85, Touch::Heat, 0.4 * s, 2.1 * s);
                    draft.hit(0.8, Touch::Rumination, 0.08 * s, 0.5 * s);
                    draft.hit(0.7, Touch::Activity, 0.05, 0.35 * s);
                    draft.hit(0.8, Touch::Eating, 0.08, 0.5 * s);
                    draft.hit(0.8, Touch::BoxFeed, 0.1, 0.6 * s);
                    draft.hit(0.8, Touch::Coming, 0.1, 0.65 * s);
                    draft.hit(0.5, Touch::Kick(q), 0.05, 0.3);
                    draft.hit(0.25, Touch::Blood, 1.0, 4.0);
                    draft.hit(0.7, Touch::Lactose, -0.5 * s, -0.1);
                    draft.hit(0.5, Touch::Flow(q), 0.05, 0.4);
                }
                "slow" => {
                    draft.hit(0.9, Touch::Quarter(q), 0.1 * s, 0.55 * s);
                    draft.hit(0.6, Touch::Milk, 0.01, 0.14 * s);
                    draft.hit(0.3, Touch::Heat, 0.2, 0.9 * s);
                    draft.hit(0.4, Touch::Rumination, 0.02, 0.2 * s);
                    draft.hit(0.3, Touch::Activity, 0.02, 0.15);
                    draft.hit(0.3, Touch::BoxFeed, 0.05, 0.3 * s);
                    draft.hit(0.4, Touch::Coming, 0.05, 0.3);
                    draft.hit(0.35, Touch::Kick(q), 0.03, 0.2);
                    draft.hit(0.12, Touch::Blood, 0.7, 3.0);
                    draft.hit(0.7, Touch::Lactose, -0.35 * s, -0.05);
                    draft.hit(0.4, Touch::Flow(q), 0.05, 0.3);
                }
                _ => {
                    draft.hit(0.6, Touch::Quarter(q), 0.02, 0.2);
                    draft.hit(0.3, Touch::Lactose, -0.2, -0.03);
                }
            }
            if form != "flare" && draft.chance.chance(0.55) {
                lasting_loss = draft.chance.between(0.02, 0.3) * s;
                for (touch, amount, course) in &mut draft.hits {
                    if *touch == Touch::Quarter(q) {
                        *course = course.leaving((lasting_loss / *amount).min(0.9));
                    }
                }
            }
        }
        "energy-shortage" => {
            draft.hit(0.9, Touch::Milk, 0.03, 0.26 * s);
            draft.hit(0.85, Touch::Fat, 0.15, 1.2 * s);
            draft.hit(0.7, Touch::Protein, -0.28 * s, -0.03);
            draft.hit(0.75, Touch::Rumination, 0.03, 0.24 * s);
            draft.hit(0.6, Touch::Activity, 0.02, 0.25 * s);
            draft.hit(0.7, Touch::Eating, 0.04, 0.35 * s);
            draft.hit(0.75, Touch::BoxFeed, 0.1, 0.65 * s);
            draft.hit(0.6, Touch::Coming, 0.05, 0.4 * s);
            draft.hit(0.8, Touch::Weight, -40.0 * s, -5.0);
        }
        "displaced" | "off-feed" => {
            let d = if form == "displaced" { 1.0 } else { 0.75 };
            draft.hit(0.95, Touch::Rumination, 0.12 * s, 0.65 * d * s);
            draft.hit(0.9, Touch::Milk, 0.07 * s, 0.5 * d * s);
            draft.hit(0.9, Touch::Eating, 0.1 * s, 0.65 * d * s);
            draft.hit(0.9, Touch::BoxFeed, 0.2 * s, 0.95 * d * s);
            draft.hit(0.7, Touch::Activity, 0.05, 0.4 * d * s);
            draft.hit(0.8, Touch::Coming, 0.1, 0.8 * d * s);
            draft.hit(0.5 * d, Touch::Fat, 0.1, 0.7 * s);
            draft.hit(0.6, Touch::Weight, -35.0 * d * s, -3.0);
        }
        "creeping" | "sudden" => {
            draft.hit(0.85, Touch::Activity, 0.04, 0.4 * s);
            draft.hit(0.7, Touch::Lying, -0.2 * s, -0.02);
            draft.hit(0.7, Touch::Eating, 0.03, 0.35 * s);
            draft.hit(0.85, Touch::Coming, 0.08, 0.6 * s);
            draft.hit(0.6, Touch::Milk, 0.01, 0.15 * s);
            draft.hit(0.35, Touch::Rumination, 0.01, 0.1);
            draft.hit(0.5, Touch::Weight, -30.0 * s, -3.0);
        }
        _ => {
            draft.hit(0.9, Touch::Heat, 0.4, 2.0 * s);
            draft.hit(0.85, Touch::Rumination, 0.06, 0.45 * s);
            draft.hit(0.85, Touch::Milk, 0.04, 0.42 * s);
            draft.hit(0.8, Touch::Activity, 0.05, 0.4 * s);
            draft.hit(0.8, Touch::Eating, 0.06, 0.5 * s);
            draft.hit(0.8, Touch::BoxFeed, 0.1, 0.7 * s);
            draft.hit(0.75, Touch::Coming, 0.1, 0.65 * s);
            draft.hit(0.6, Touch::Lying, -0.15, 0.1);
        }
    }
    let hits = draft.hits;
    let clinical = match form {
        "flare" => false,
        "energy-shortage" => chance.chance(0.6),
        "off-feed" => chance.chance(0.8),
        _ => true,
    };
    let first_sign_s = began_s + (chance.between(sign_h.0, sign_h.1) * 3600.0) as i64;
    Case {
        number,
        kind,
        form,
        quarter: (kind == Kind::Udder).then_some(quarter),
        began_s,
        first_sign_s,
        severity,
        clinical,
        notice,
        noticed_s: None,
        treated_s: None,
        relief_s: None,
        worst_loss: 0.0,
        seen,
        hits,
        conductivity_rise_ms_cm: rise_ms_cm,
        lasting_loss,
    }
}
