//! What course does each signal take under each cause?
//!
//! Data, not machinery: a cause is a row of [`TEMPLATES`], a signal's course a row of its template. Sizes are in the
//! signal's natural units at severity 1 (log for milk, share and hours; mS/cm; chance for kicks), shapes are fractions
//! of the size by days since onset, joined by straight lines and held after the last point. A signal that a cause does
//! not move stands in `silent`: it neither speaks for nor against.

use super::Cause;
use crate::{expect::Signal, herd::Quarter};

/// The course of one signal under one cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Which signal.
    pub signal: Signal,
    /// Departure at severity 1 where the shape is 1, in the signal's natural unit.
    pub size: f64,
    /// (days since onset, fraction of the size), ascending.
    pub shape: &'static [(f64, f64)],
    /// How strongly the signal takes part from case to case: (multiplier of the severity, weight); weights add up to 1.
    pub share: &'static [(f64, f64)],
    /// Where the course comes from, or "stated default" with its reason.
    pub source: &'static str,
}

/// What a cause does to the signals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Template {
    /// The cause; `Well` for what passes by itself and needs nobody.
    pub cause: Cause,
    /// In words.
    pub name: &'static str,
    /// It sits in one quarter: signals of a quarter are read in that quarter only.
    pub in_quarter: bool,
    /// What it moves.
    pub courses: &'static [Course],
    /// What it leaves alone.
    pub silent: &'static [Signal],
    /// (severity, weight); weights add up to 1.
    pub severities: &'static [(f64, f64)],
    /// (stretch of time, weight): 1 is the course as drawn, 4 one that takes four times as long; weights add up to 1.
    pub paces: &'static [(f64, f64)],
}

/// Every cause of a cow.
pub static TEMPLATES: &[Template] = &[
    Template {
        cause: Cause::Udder,
        name: "inflamed quarter",
        in_quarter: true,
        courses: &[
            Course {
                signal: Signal::QuarterMilk,
                size: -0.40,
                shape: &[(0.0, 0.25), (0.5, 0.8), (1.0, 1.0), (4.0, 1.0), (7.0, 0.8), (10.0, 0.6)],
                share: &[(0.0, 0.05), (0.5, 0.30), (1.0, 0.40), (2.0, 0.25)],
                source: "stated default: no course of one quarter's share was found in print; a third of the quarter's milk",
            },
            Course {
                signal: Signal::Conductivity,
                size: 1.5,
                shape: &[(0.0, 0.3), (0.5, 0.9), (1.0, 1.0), (3.0, 1.0), (7.0, 0.7), (10.0, 0.5)],
                share: &[(0.0, 0.15), (0.5, 0.30), (1.0, 0.35), (2.0, 0.20)],
                source: "size: Norberg et al., JDS 87:1099, 2004, clinical 6.44 less healthy 4.87 mS/cm (from memory); \
                         shape: stated default, hour-by-hour course not found in print",
            },
            Course {
                signal: Signal::Kicks,
                size: 0.20,
                shape: &[(0.0, 0.7), (0.5, 1.0), (3.0, 1.0), (6.0, 0.4), (10.0, 0.1)],
                share: &[(0.0, 0.45), (1.0, 0.35), (2.0, 0.20)],
                source: "stated default: a sore quarter is kicked off more often, common practice",
            },
            Course {
                signal: Signal::Milk,
                size: -0.15,
                shape: &[(0.0, 0.3), (1.0, 1.0), (4.0, 1.0), (10.0, 0.8)],
                share: &[(0.0, 0.25), (0.5, 0.25), (1.0, 0.30), (2.0, 0.20)],
                source: "size: Hagnestam et al., JDS 2007, −1 to −8 kg on the day, so −3 to −27 % of 30 kg; shape: stated default",
            },
            Course {
                signal: Signal::Interval,
                size: 0.12,
                shape: &[(0.0, 0.5), (0.5, 1.0), (3.0, 1.0), (7.0, 0.3), (10.0, 0.0)],
                share: &[(0.0, 0.45), (1.0, 0.35), (2.0, 0.20)],
                source: "stated default: a dull cow comes later, common practice",
            },
        ],
        silent: &[],
        severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
        paces: &[(1.0, 0.65), (4.0, 0.35)],
    },
    Template {
        cause: Cause::Unclear,
        name: "something is wrong",
        in_quarter: false,
        courses: &[
            Course {
                signal: Signal::Milk,
                size: -0.22,
                shape: &[(0.0, 0.3), (1.0, 1.0), (5.0, 1.0), (10.0, 0.8)],
                share: &[(0.0, 0.10), (0.5, 0.30), (1.0, 0.40), (2.0, 0.20)],
                source: "stated default, of the order of King et al., JDS 100, 2017 (from memory): −1.2 to −4.4 kg/d in \
                         metabolic, gut and lung illness",
            },
            Course {
                signal: Signal::Interval,
                size: 0.25,
                shape: &[(0.0, 0.5), (1.0, 1.0), (5.0, 1.0), (10.0, 0.8)],
                share: &[(0.0, 0.30), (0.5, 0.30), (1.0, 0.25), (2.0, 0.15)],
                source: "stated default: fewer visits in lame and ill cows, direction only (Miguel-Pacheco et al. 2014; King \
                         et al. 2017)",
            },
        ],
        silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
        severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
        paces: &[(1.0, 0.6), (3.0, 0.4)],
    },
    Template {
        cause: Cause::Well,
        name: "days that have passed",
        in_quarter: false,
        courses: &[
            Course {
                signal: Signal::Milk,
                size: -0.12,
                shape: &[(0.0, 0.4), (0.3, 1.0), (1.0, 1.0), (1.5, 0.3), (2.0, 0.0)],
                share: &[(0.0, 0.20), (0.5, 0.30), (1.0, 0.30), (2.0, 0.20)],
                source: "stated default: heat or a disturbed day; milk on the day of heat 0 to −10 %, inconsistent (sources.md §4.3)",
            },
            Course {
                signal: Signal::Interval,
                size: 0.25,
                shape: &[(0.0, 0.5), (0.3, 1.0), (1.0, 1.0), (1.5, 0.2), (2.0, 0.0)],
                share: &[(0.0, 0.50), (1.0, 0.35), (2.0, 0.15)],
                source: "stated default: a restless or disturbed day",
            },
        ],
        silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
        severities: &[(0.5, 0.40), (1.0, 0.40), (2.0, 0.20)],
        paces: &[(1.0, 0.95), (2.0, 0.04), (4.0, 0.007), (6.5, 0.003)],
    },
];

/// The herd's milk: a fall that lasts, on the log scale.
pub static HERD_MILK: Course = Course {
    signal: Signal::Milk,
    size: -0.05,
    shape: &[(0.0, 0.4), (1.0, 1.0), (10.0, 1.0)],
    share: &[(0.5, 0.40), (1.0, 0.35), (2.0, 0.25)],
    source: "stated default: a ration or a hot spell moves a herd by some percent within a day or two",
};

/// Whether a signal is measured quarter by quarter.
pub fn of_quarter(signal: Signal) -> bool {
    matches!(signal, Signal::QuarterMilk | Signal::Conductivity | Signal::Kicks)
}

impl Template {
    /// Which readings of `signal` speak for the cause in `place` (a quarter, or `None` for a cause of the whole cow): those of
    /// that quarter for what is measured by quarters, else those of the whole cow.
    pub fn reads(&self, signal: Signal, place: Option<Quarter>) -> Option<Quarter> {
        if of_quarter(signal) { place } else { None }
    }
}

impl Course {
    /// Fraction of the size at `days` since onset: 0 before it, then straight lines, then held.
    pub fn at(&self, days: f64) -> f64 {
        if days < 0.0 {
            return 0.0;
        }
        let next = self.shape.partition_point(|(day, _)| *day <= days);
        match (next.checked_sub(1).map(|last| self.shape[last]), self.shape.get(next)) {
            (None, None) => 0.0,
            (None, Some((_, first))) => *first,
            (Some((_, last)), None) => last,
            (Some((from, low)), Some((to, high))) => low + (high - low) * (days - from) / (to - from),
        }
    }
}
