//! How sure is that, held against herds whose truth is known?
//!
//! # Equation
//! logit P' = offset_c + slope_c · logit P
//! Where it makes surer it sets in between two chances, for below what is shown nothing was seen.
//! Templates are neither as wide nor as many as what befalls cows: what tells an illness from a well cow does not always tell
//! one illness from another. Of a day of movement heavy tails and readings that remember take more than they should: a heat that
//! movement speaks for is weighed too low all along. The figures are read off the program's own calibration table on simulated
//! herds of seeds 1 and 2 (`cowpath validate --herds 2 --seed 1`), rounded, and held against others (`docs/validation.md`): a
//! calibration map, declared as one. Herds of another kind may need another.
//! # Source
//! Form: logistic recalibration (Cox 1958, from memory). Figures: fitted as said.

use super::Cause;

/// What a cause's chance is made of.
struct Law {
    offset: f64,
    slope: f64,
    /// Between which weighed chances making surer sets in; where there are none it never does.
    surer: Option<(f64, f64)>,
}

/// Where calls of illness were seen.
const SEEN: Option<(f64, f64)> = Some((0.05, 0.15));
/// Where calls of heat were seen.
const HEAT_SEEN: Option<(f64, f64)> = Some((0.015, 0.05));

fn law(cause: Cause, rises: bool) -> Law {
    match cause {
        Cause::Udder => Law { offset: 0.3, slope: 0.8, surer: SEEN },
        Cause::Heat if rises => Law { offset: 1.2, slope: 0.75, surer: HEAT_SEEN },
        Cause::Metabolic => Law { offset: 0.2, slope: 0.6, surer: SEEN },
        Cause::Gut => Law { offset: 0.3, slope: 0.08, surer: None },
        Cause::Feet => Law { offset: 0.5, slope: 1.0, surer: SEEN },
        Cause::Fever => Law { offset: 0.4, slope: 0.8, surer: SEEN },
        Cause::Unclear => Law { offset: 0.0, slope: 0.7, surer: None },
        _ => Law { offset: 0.0, slope: 1.0, surer: None },
    }
}

/// Nothing is surer than this before it is mapped.
const SUREST: f64 = 1.0 - 1e-4;

/// The chance to be stated for a chance as weighed, 0 to 1; `rises` says that her activity speaks for a heat.
pub fn stated(cause: Cause, weighed: f64, rises: bool) -> f64 {
    if weighed <= 0.0 {
        return weighed;
    }
    let weighed = weighed.min(SUREST);
    let law = law(cause, rises);
    let mapped = 1.0 / (1.0 + (-(law.offset + law.slope * log_odds(weighed))).exp());
    if mapped <= weighed {
        return mapped;
    }
    let seen = law.surer.map_or(0.0, |(from, to)| ((weighed - from) / (to - from)).clamp(0.0, 1.0));
    weighed + seen * (mapped - weighed)
}

/// ln of the odds of a chance, within what can be told: finite for 0 and 1 too.
pub(super) fn log_odds(chance: f64) -> f64 {
    let chance = chance.clamp(1e-9, 1.0 - 1e-9);
    (chance / (1.0 - chance)).ln()
}
