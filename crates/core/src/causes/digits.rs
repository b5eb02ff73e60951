//! Exponential and logarithm to five digits, written so that many are reckoned side by side: for rough looks only.
//!
//! # Equation
//! exp x = 2^i · 2^f,  i the whole number nearest to x/ln 2, 2^f by its power series to the sixth term
//! ln x = e·ln 2 + 2·(s + s³/3 + s⁵/5 + s⁷/7),  x = 2^e·m, m from √½ to √2, s = (m − 1)/(m + 1)
//! Both take no instruction that another machine would round otherwise.

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
