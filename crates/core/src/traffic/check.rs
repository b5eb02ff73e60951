//! Can this pen be simulated, and do its limits agree with one another?

use super::pen::{HALVES, MOST_BOXES, MOST_COWS, Pen, SINCE};

/// What of a pen cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// No box.
    #[error("there is no box to milk in")]
    NoBoxes,
    /// Too many boxes.
    #[error("{0} boxes in one pen are more than {MOST_BOXES}")]
    TooManyBoxes(usize),
    /// No cow.
    #[error("there is no cow to milk")]
    NoCows,
    /// Too many cows.
    #[error("{0} cows in one pen are more than {MOST_COWS}")]
    TooManyCows(usize),
    /// The shortest interval is not below the longest.
    #[error("cows may not be milked before {} h and must be brought after {} h", tenth(*shortest_h), tenth(*longest_h))]
    Contradiction {
        /// Shortest interval, h.
        shortest_h: f64,
        /// Longest, h.
        longest_h: f64,
    },
    /// A figure out of its range.
    #[error("{what} cannot be {value}: it is {range}")]
    Range {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it may be.
        range: &'static str,
    },
    /// No round of people lies within their hours.
    #[error("no round of people lies between {0} and {1} o’clock, when they work")]
    NoRound(f64, f64),
}

/// As it is read.
fn tenth(hours: f64) -> f64 {
    (10.0 * hours).round() / 10.0
}

/// Looks a pen over.
///
/// # Errors
/// The first fault, in the order a person would mend them.
pub fn check(pen: &Pen) -> Result<(), Fault> {
    match (pen.stock.count(), pen.boxes) {
        (_, 0) => return Err(Fault::NoBoxes),
        (0, _) => return Err(Fault::NoCows),
        (_, boxes) if MOST_BOXES < boxes => return Err(Fault::TooManyBoxes(boxes)),
        (cows, _) if MOST_COWS < cows => return Err(Fault::TooManyCows(cows)),
        _ => {}
    }
    let within = |what, value: f64, low: f64, high: f64, range| {
        if low <= value && value <= high { Ok(()) } else { Err(Fault::Range { what, value, range }) }
    };
    let service = &pen.service;
    within("handling", service.handling_min, 0.1, 30.0, "0.1 to 30 min")?;
    within("the share of milkings that fail", service.failed_share, 0.0, 0.9, "0 to 90 %")?;
    let most = 1.0 - service.failed_share;
    within(
        "the share of milkings with milk left behind",
        service.again_share,
        0.0,
        most,
        "0 to what does not fail",
    )?;
    within("time from cow to cow", service.between_min, 0.0, 30.0, "0 to 30 min")?;
    within("patience", pen.queue.patience_min, 1.0, f64::INFINITY, "1 min and longer")?;
    within("cleaning", pen.closures.cleaning_min, 0.0, 240.0, "0 to 240 min")?;
    within("bringing a cow", pen.fetching.cow_min, 0.1, 120.0, "0.1 to 120 min")?;
    for hour in pen.fetching.rounds_h.iter().chain(&pen.closures.cleaned_h) {
        within("an hour of the day", *hour, 0.0, 24.0, "0 to 24")?;
    }
    let (from, to) = pen.fetching.working_h;
    if !pen.fetching.rounds_h.is_empty()
        && !pen.fetching.rounds_h.iter().any(|hour| from <= *hour && *hour <= to)
    {
        return Err(Fault::NoRound(from, to));
    }
    let mut cows = Vec::new();
    pen.stock.fill(&mut cows, 0, 0);
    for cow in &cows {
        within("a cow’s flow", cow.flow_kg_min, 0.05, 15.0, "0.05 to 15 kg/min")?;
        within("a cow’s secretion", cow.rate_kg_h, 0.01, 10.0, "0.01 to 10 kg/h")?;
        if cow.longest_h <= cow.minimum_h {
            return Err(Fault::Contradiction { shortest_h: cow.minimum_h, longest_h: cow.longest_h });
        }
    }
    let hazards = pen.coming.since_per_h.len() == SINCE
        && pen.coming.hour.len() == HALVES
        && pen.coming.since_per_h.iter().chain(&pen.coming.hour).all(|one| one.is_finite() && 0.0 <= *one);
    if !hazards {
        return Err(Fault::Range { what: "a hazard of coming", value: f64::NAN, range: "0 and above" });
    }
    Ok(())
}
