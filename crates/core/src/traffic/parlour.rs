//! From a parlour to boxes: what another number of milkings a day changes of a cow's milk.
//!
//! # Equation
//! change = r(milkings in the boxes) − r(milkings in the parlour), r straight between
//! r(1) = −6.2, r(2) = 0, r(3) = +3.5, r(4) = +4.9 kg a day
//! # Source
//! Erdman & Varner, JDS 78:1199, 1995 (`docs/sources.md` §2): the interval of three against two is published, 3.1 to 3.9;
//! that the others are as unsure for their size is a stated assumption.
//! # Not here
//! Other feed, housing or lying time, which change with the barn and not with the number of milkings.

use super::spread::Mean;

/// Milkings a day, and milk against two of them, kg a day.
const RESPONSE: [(f64, f64); 4] = [(1.0, -6.2), (2.0, 0.0), (3.0, 3.5), (4.0, 4.9)];
/// Half the 95 % interval of a response, as a share of it: 0.4 of 3.5.
const UNSURE: f64 = 0.4 / 3.5;

/// Milk of a cow at so many milkings a day against two, kg a day; held at the ends of what was tried.
pub fn response_kg(milkings: f64) -> f64 {
    let tried = milkings.clamp(RESPONSE[0].0, RESPONSE[3].0);
    let at = RESPONSE.iter().rposition(|(own, _)| *own <= tried).unwrap_or(0).min(RESPONSE.len() - 2);
    let ((from, low), (to, high)) = (RESPONSE[at], RESPONSE[at + 1]);
    low + (tried - from) / (to - from) * (high - low)
}

/// Change of a cow's milk, kg a day: the ends take both what trials leave open and how sure `milkings` is.
pub fn change_kg(parlour: f64, milkings: Mean) -> Mean {
    let of = |milkings: f64| response_kg(milkings) - response_kg(parlour);
    let mean = of(milkings.mean);
    let by_count =
        [milkings.low, milkings.high].map(|end| if end.is_finite() { of(end) - mean } else { 0.0 });
    // Independent of each other: ends add as squares.
    let half = |by_count: f64| (UNSURE * mean).hypot(by_count);
    Mean { mean, low: mean - half(by_count[0]), high: mean + half(by_count[1]) }
}
