//! What course does each signal take under each cause?
//!
//! Data, not machinery: a cause is a row of [`TEMPLATES`], a signal's course a row of its template. Sizes are in the
//! signal's natural units at severity 1 (log for milk, share, hours and activity; mS/cm; chance for kicks; for the other
//! signals the scale of [`crate::signals::ways`]), shapes are fractions
//! of the size by days since onset, joined by straight lines and held after the last point. A signal that a cause does
//! not move stands in `silent`: it neither speaks for nor against.

mod gut_and_fever;
mod heat;
mod others;
mod strays;
mod udder;

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
    /// A signal that strays by itself: while it does, it tells nothing of any cause.
    pub stray: bool,
    /// It sits in one quarter: signals of a quarter are read in that quarter only.
    pub in_quarter: bool,
    /// What it moves.
    pub courses: &'static [Course],
    /// What it leaves alone.
    pub silent: &'static [Signal],
    /// Share of the cause's onsets that are of this kind.
    pub weight: f64,
    /// Days after its onset in which it still holds; later it has passed, and she is well again. None: as long as it is looked
    /// back.
    pub holds_days: Option<f64>,
    /// (severity, weight); weights add up to 1.
    pub severities: &'static [(f64, f64)],
    /// (stretch of time, weight): 1 is the course as drawn, 4 one that takes four times as long; weights add up to 1.
    pub paces: &'static [(f64, f64)],
}

/// Every cause of a cow.
pub static TEMPLATES: &[Template] = &[
    udder::UDDER,
    heat::HEAT,
    gut_and_fever::METABOLIC,
    gut_and_fever::GUT,
    others::FEET,
    gut_and_fever::FEVER,
    others::UNCLEAR,
    others::PASSED,
    others::DISTURBED,
    others::SLIPPED,
    strays::CELLS,
    strays::LACTOSE,
    strays::FAT,
    strays::LESS_ACTIVE,
    strays::LESS_CUD,
    strays::LESS_AT_BUNK,
    strays::LESS_FEED,
    strays::FEWER_VISITS,
    strays::LIGHTER,
];

/// A course in one line.
const fn course(
    signal: Signal,
    size: f64,
    shape: &'static [(f64, f64)],
    share: &'static [(f64, f64)],
    source: &'static str,
) -> Course {
    Course { signal, size, shape, share, source }
}

/// Takes part in nearly every case.
const NEARLY_ALWAYS: &[(f64, f64)] = &[(0.0, 0.10), (0.5, 0.30), (1.0, 0.40), (2.0, 0.20)];
/// Takes part in most cases.
const MOSTLY: &[(f64, f64)] = &[(0.0, 0.25), (0.5, 0.30), (1.0, 0.30), (2.0, 0.15)];
/// Takes part in every other case.
const OFTEN: &[(f64, f64)] = &[(0.0, 0.50), (0.5, 0.20), (1.0, 0.20), (2.0, 0.10)];
/// Takes part now and then.
const SOMETIMES: &[(f64, f64)] = &[(0.0, 0.75), (1.0, 0.15), (2.0, 0.10)];

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
    matches!(signal, Signal::QuarterMilk | Signal::Conductivity | Signal::Kicks | Signal::Flow)
}

/// Whether a cause lowers a signal or raises it; `None` where it moves it neither way.
pub fn lowers(cause: Cause, signal: Signal) -> Option<bool> {
    let own = TEMPLATES.iter().filter(|template| template.cause == cause);
    let mut courses = own.flat_map(|template| template.courses);
    courses.find(|course| course.signal == signal).map(|course| course.size < 0.0)
}

impl Template {
    /// Where it may sit: each quarter, or `None` for the whole cow.
    pub fn places(&self) -> Vec<Option<Quarter>> {
        if self.in_quarter { Quarter::ALL.into_iter().map(Some).collect() } else { vec![None] }
    }

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
