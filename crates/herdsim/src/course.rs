//! What course does one signal take in one case?
//!
//! Each case draws a course for each signal it touches: when it sets in, in which form it rises, how long it stays,
//! how it falls, what is left, how it wavers. No two cases share a form, and signals of one case do not move together.

use std::f64::consts::TAU;

use crate::chance::Stream;

/// How a signal rises to its full departure.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Rise {
    /// In a straight line.
    Line,
    /// Slow, fast, slow.
    Smooth,
    /// At once, then creeping.
    Sudden,
    /// Creeping, then all at once.
    Late,
    /// Half early, a pause, the rest.
    Steps,
    /// Up, half back, up again.
    Relapse,
}

/// One signal's course, as a share of its full departure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    from_h: f64,
    rise_h: f64,
    rise: Rise,
    hold_h: f64,
    fall_h: f64,
    fall_form: f64,
    left: f64,
    waver: f64,
    waver_h: f64,
    phase: f64,
}

/// Typical lengths of a course; each case draws its own about them.
#[derive(Debug, Clone, Copy)]
pub struct Pace {
    /// Delay after the case begins, h.
    pub from_h: f64,
    /// Time to rise, h.
    pub rise_h: f64,
    /// Time at its height if nothing is done, h.
    pub hold_h: f64,
    /// Time to fall to about a third, h.
    pub fall_h: f64,
}

impl Course {
    /// Draws a course about a pace.
    pub fn draw(chance: &mut Stream, pace: Pace) -> Course {
        let rise = match chance.weighted(&[0.22, 0.28, 0.2, 0.12, 0.1, 0.08]) {
            0 => Rise::Line,
            1 => Rise::Smooth,
            2 => Rise::Sudden,
            3 => Rise::Late,
            4 => Rise::Steps,
            _ => Rise::Relapse,
        };
        Course {
            // Some signals move at once, some follow late; none before the case begins.
            from_h: pace.from_h + (0.35 * pace.rise_h * chance.bounded(0.0, 1.0, 2.2)).max(0.0),
            rise_h: chance.log_normal(pace.rise_h, 0.45).max(0.5),
            rise,
            hold_h: chance.log_normal(pace.hold_h, 0.5),
            fall_h: chance.log_normal(pace.fall_h, 0.5).max(2.0),
            fall_form: chance.between(0.8, 1.7),
            left: 0.0,
            waver: chance.between(0.0, 0.25),
            waver_h: chance.between(9.0, 70.0),
            phase: chance.between(0.0, TAU),
        }
    }

    /// The same course of which a share never goes away.
    pub fn leaving(self, left: f64) -> Course {
        Course { left, ..self }
    }

    /// Share of the full departure `h` hours after the case began; relief, where there was any, sets in at `relief_h`.
    pub fn level(&self, h: f64, relief_h: Option<f64>) -> f64 {
        let since = h - self.from_h;
        if since <= 0.0 {
            return 0.0;
        }
        let peak_ends_h = self.from_h + self.rise_h + self.hold_h;
        let falls_from_h = relief_h.map_or(peak_ends_h, |relief| relief.max(self.from_h).min(peak_ends_h));
        let up = self.risen(since.min(falls_from_h - self.from_h) / self.rise_h);
        let wavering = 1.0 + self.waver * (self.phase + TAU * h / self.waver_h).sin();
        if h <= falls_from_h {
            return up * wavering;
        }
        let gone = (-((h - falls_from_h) / self.fall_h).powf(self.fall_form)).exp();
        (up * (self.left + (1.0 - self.left) * gone) * wavering).max(0.0)
    }

    /// When, in hours after the case began, the course is over for good.
    pub fn over_h(&self, relief_h: Option<f64>) -> f64 {
        let ends_h = self.from_h + self.rise_h + self.hold_h;
        relief_h.map_or(ends_h, |relief| relief.max(self.from_h).min(ends_h)) + 4.5 * self.fall_h
    }

    fn risen(&self, part: f64) -> f64 {
        let x = part.clamp(0.0, 1.0);
        match self.rise {
            Rise::Line => x,
            Rise::Smooth => x * x * (3.0 - 2.0 * x),
            Rise::Sudden => (1.0 - (-5.0 * x).exp()) / (1.0 - (-5.0_f64).exp()),
            Rise::Late => x.powf(2.6),
            Rise::Steps => 0.5 * (x / 0.25).min(1.0) + 0.5 * ((x - 0.7) / 0.3).clamp(0.0, 1.0),
            Rise::Relapse => {
                if x < 0.4 {
                    0.8 * x / 0.4
                } else if x < 0.65 {
                    0.8 - 0.45 * (x - 0.4) / 0.25
                } else {
                    0.35 + 0.65 * (x - 0.65) / 0.35
                }
            }
        }
    }
}
