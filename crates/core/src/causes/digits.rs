//! Exponential and logarithm written so that many are reckoned side by side: to five digits for rough looks, the logarithm to
//! fifteen as well.
//!
//! # Equation
//! exp x = 2^i · 2^f,  i the whole number nearest to x/ln 2, 2^f by its power series to the sixth term
//! ln x = e·ln 2 + 2·(s + s³/3 + s⁵/5 + …),  x = 2^e·m, m from √½ to √2, s = (m − 1)/(m + 1), to s⁷ or s¹⁹
//! None takes an instruction that another machine would round otherwise.

use super::registers::{Eight, InEight, in_eight};

/// Adding it leaves a number's nearest whole in its last bits.
const WHOLE: f32 = 12_582_912.0;
/// Bits of √½, at which a number is split into power of two and rest.
const SPLIT: u32 = 0x3f35_04f3;

/// exp x; as much as exp ±80 at most.
#[inline(always)]
pub(crate) fn exp(x: f32) -> f32 {
    let halvings = x.clamp(-80.0, 80.0) * std::f32::consts::LOG2_E;
    let whole = halvings + WHOLE;
    let rest = (halvings - (whole - WHOLE)) * std::f32::consts::LN_2;
    let series = 1.0
        + rest * (1.0 + rest * (1.0 / 2.0 + rest * (1.0 / 6.0 + rest * (1.0 / 24.0 + rest * (1.0 / 120.0)))));
    f32::from_bits(series.to_bits().wrapping_add(whole.to_bits() << 23))
}

/// ln x of a positive, normal number.
#[inline(always)]
pub(crate) fn ln(x: f32) -> f32 {
    let over = x.to_bits().wrapping_sub(SPLIT) as i32;
    let power = (over >> 23) as f32;
    let rest = f32::from_bits((over as u32 & 0x007f_ffff).wrapping_add(SPLIT));
    let s = (rest - 1.0) / (rest + 1.0);
    let square = s * s;
    power * std::f32::consts::LN_2
        + 2.0 * s * (1.0 + square * (1.0 / 3.0 + square * (1.0 / 5.0 + square * (1.0 / 7.0))))
}

/// Bits of √½ in f64, less the power that 1 has: added, they leave the power of two in the first bits.
const SPLIT_F64: u64 = 0x3fe6_a09e_667f_3bcd;
/// Bits of f64 after its power, and what stands there for 1.
const POWER_AT: u32 = 52;
const NO_POWER: u64 = 1023;
/// 1.5·2⁵²: a whole number added to its bits is added to it.
const WHOLE_F64: f64 = 6_755_399_441_055_744.0;

/// ln x of a positive, normal number, to fifteen digits.
#[inline(always)]
fn ln_finely(x: f64) -> f64 {
    let over = x.to_bits().wrapping_sub(SPLIT_F64).wrapping_add(NO_POWER << POWER_AT);
    let power = f64::from_bits(WHOLE_F64.to_bits() + (over >> POWER_AT)) - (WHOLE_F64 + NO_POWER as f64);
    let rest = f64::from_bits((over & ((1 << POWER_AT) - 1)) + SPLIT_F64);
    let s = (rest - 1.0) / (rest + 1.0);
    let square = s * s;
    let mut series = 1.0 / 19.0;
    for odd in [17.0, 15.0, 13.0, 11.0, 9.0, 7.0, 5.0, 3.0] {
        series = 1.0 / odd + square * series;
    }
    power * std::f64::consts::LN_2 + 2.0 * s * (1.0 + square * series)
}

/// ln of each, positive and normal, to fifteen digits, in its place.
pub(crate) fn ln_each(values: &mut [f64]) {
    in_eight(Logarithms(values));
}

/// What [`ln_each`] asks for.
pub(crate) struct Logarithms<'a>(pub &'a mut [f64]);

impl InEight for Logarithms<'_> {
    type Answer = ();

    #[inline(always)]
    fn reckon<S: Eight>(self, _: S) {
        for value in self.0 {
            *value = ln_finely(*value);
        }
    }
}
