//! The widest registers that the processor at hand has: what asks for them is compiled for them too.
//!
//! Only their width differs: no figure hangs on which they are (`tests/likelihood`), so multiplying and adding stay two steps.

use pulp::{Simd, f32x8, u32x8};

/// Registers of eight lanes: those of the processor, or four times two and the like in their place, with the same figures.
pub(crate) trait Eight: Simd<f32s = f32x8, u32s = u32x8> {}
impl<S: Simd<f32s = f32x8, u32s = u32x8>> Eight for S {}

/// What is reckoned in registers of eight lanes; inlined whole, for what is not is compiled for the narrowest ones.
pub(crate) trait InEight {
    /// What comes of it.
    type Answer;

    /// Reckons it.
    fn reckon<S: Eight>(self, eight: S) -> Self::Answer;
}

/// Reckons in the widest registers this processor has.
pub(crate) fn in_eight<T: InEight>(task: T) -> T::Answer {
    #[cfg(target_arch = "x86_64")]
    if let Some(eight) = pulp::x86::V3::try_new() {
        return eight.vectorize(With { task, eight });
    }
    task.reckon(pulp::Scalar256b)
}

#[cfg(target_arch = "x86_64")]
struct With<T> {
    task: T,
    eight: pulp::x86::V3,
}

#[cfg(target_arch = "x86_64")]
impl<T: InEight> pulp::NullaryFnOnce for With<T> {
    type Output = T::Answer;

    #[inline(always)]
    fn call(self) -> T::Answer {
        self.task.reckon(self.eight)
    }
}
