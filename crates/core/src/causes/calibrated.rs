//! How sure is that, held against herds whose truth is known?
//!
//! # Equation
//! P' = min(P, σ(offset_c + slope_c · logit P)): it makes less sure and, but for heat, never surer, for below what
//! is shown nothing was seen
//! Templates are neither as wide nor as many as what befalls cows: what tells an illness from a well cow does not always tell
//! one illness from another, and the sum over a few shapes is surer than the cases are like them. The two figures of each
//! cause are read off the program's own calibration table on simulated herds of seeds 1 and 2 (`cowpath validate --herds 2 --seed 1`), rounded, and
//! held against others (`docs/validation.md`): a calibration map, declared as one. Herds of another kind may need another.
//! # Source
//! Form: logistic recalibration (Cox 1958, from memory). Figures: fitted as said.

use super::Cause;

/// Offset and slope of a cause.
fn law(cause: Cause) -> (f64, f64) {
    match cause {
        Cause::Metabolic => (-0.3, 0.5),
        Cause::Gut => (-0.2, 0.2),
        Cause::Feet => (-1.7, 0.4),
        _ => (0.0, 1.0),
    }
}

/// Heat alone is weighed too low, by so much in logits, where calls of it were seen: heavy tails and readings that remember take
/// more from a day of activity than they should. It sets in between these chances.
const HEAT_SURER: f64 = 1.3;
const HEAT_SEEN: (f64, f64) = (0.03, 0.10);

/// The chance to be stated for a chance as weighed, 0 to 1.
pub fn stated(cause: Cause, weighed: f64) -> f64 {
    if weighed <= 0.0 || 1.0 <= weighed {
        return weighed;
    }
    let logit = (weighed / (1.0 - weighed)).ln();
    if cause == Cause::Heat {
        let seen = ((weighed - HEAT_SEEN.0) / (HEAT_SEEN.1 - HEAT_SEEN.0)).clamp(0.0, 1.0);
        return 1.0 / (1.0 + (-(logit + HEAT_SURER * seen)).exp());
    }
    let (offset, slope) = law(cause);
    let mapped = 1.0 / (1.0 + (-(offset + slope * logit)).exp());
    mapped.min(weighed)
}
