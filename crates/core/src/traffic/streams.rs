//! Named random streams: one a source of chance, so that two scenarios meet the same luck wherever both ask for it.
//!
//! # Equation
//! state ← state + γ,   word = mix(state)   (SplitMix64; γ = 2⁶⁴/φ, odd)
//! start = seed, name, replicate and number, folded byte by byte through the same mix: two seeds never share streams by a
//! sum, as they would if name and seed were added.
//! # Source
//! Steele, Lea, Flood, OOPSLA 2014 (from memory).

/// 2⁶⁴ over the golden ratio, odd.
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

fn mix(word: u64) -> u64 {
    let word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    word ^ (word >> 31)
}

/// One source of chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stream(u64);

impl Stream {
    /// The stream of a name, of a replicate, of a number within it (a cow, a box).
    pub fn named(seed: u64, name: &str, replicate: u32, number: u32) -> Stream {
        let mut state = mix(seed ^ GOLDEN);
        let words = name.bytes().map(u64::from);
        let ends = [u64::from(replicate), u64::from(number)];
        // The length stands between name and numbers: no two of them run into one another.
        for word in words.chain([name.len() as u64]).chain(ends) {
            state = mix(state.wrapping_add(GOLDEN) ^ word);
        }
        Stream(state)
    }

    /// The next 64 bits.
    #[inline]
    pub fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN);
        mix(self.0)
    }

    /// Uniform between 0 and 1, never either.
    #[inline]
    pub fn unit(&mut self) -> f64 {
        ((self.word() >> 12) as f64 + 0.5) * (1.0 / (1_u64 << 52) as f64)
    }

    /// Exponential with mean 1.
    #[inline]
    pub fn wait(&mut self) -> f64 {
        -self.unit().ln()
    }
}

/// A share of the golden ratio's walk round the circle, from a start: numbers 0, 1, 2, … lie evenly, however many are
/// taken, and those of a smaller herd are the first of a larger one's.
pub fn even(start: f64, number: u32, step: f64) -> f64 {
    (start + f64::from(number) * step).fract()
}
