//! Since when has something been the matter with her, whatever it is?
//!
//! A call is judged anew at every round, and its likeliest onset moves as milkings come in. What stays is kept here: the
//! first milking that spoke, until nothing has spoken aloud for days. It begins below any call's evidence and ends slowly,
//! so that a call that comes, goes and comes again within one case is one call; and a whisper alone does not keep it up,
//! so that two cases are two.
//!
//! # Equation
//! said = max over quarters q of (share down_q + conductivity up_q) + milk down, or interval up: sums of [`super::baseline`].
//! It begins at said ≥ 2.5, lasts while no more than 5 days pass without said ≥ 4.0. Stated defaults.

/// Sum from which a milking speaks.
const SPEAKS: f64 = 2.5;
/// Sum from which it speaks aloud.
const ALOUD: f64 = 4.0;
/// Days without a word aloud after which the next word begins another.
const OVER_AFTER_MS: i64 = 5 * 86_400_000;

/// Days without a word aloud after which nothing of it is judged any more: calls look back ten days.
const FORGOTTEN_AFTER_MS: i64 = 12 * 86_400_000;

/// A stretch of time in which something spoke again and again.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Trouble {
    /// The first milking that spoke; stays as long as the stretch does.
    pub(crate) since_ms: i64,
    /// The last one that spoke aloud, or the first.
    aloud_ms: i64,
}

impl Trouble {
    /// After a milking at `at_ms` whose sums add up to `said`. One that is over is kept while its days are still judged,
    /// unless another begins.
    pub(crate) fn after(before: Option<Trouble>, said: f64, at_ms: i64) -> Option<Trouble> {
        let goes_on = before.is_some_and(|trouble| at_ms - trouble.aloud_ms <= OVER_AFTER_MS);
        match before {
            Some(trouble) if goes_on => {
                Some(Trouble { aloud_ms: if said < ALOUD { trouble.aloud_ms } else { at_ms }, ..trouble })
            }
            _ if said < SPEAKS => before.filter(|trouble| at_ms - trouble.aloud_ms <= FORGOTTEN_AFTER_MS),
            _ => Some(Trouble { since_ms: at_ms, aloud_ms: at_ms }),
        }
    }
}

#[cfg(test)]
mod tests;
