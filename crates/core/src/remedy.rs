//! What a person needs to know after something went wrong: what was kept, and what to do next.
//!
//! Libraries say what happened in the error's own words; this trait says the rest, and one file of the program turns
//! both into sentences.

/// The second half of a message: an error says what happened, its remedy says what is safe and what to do.
pub trait Remedy {
    /// What of the user's work is safe, in one sentence without a full stop.
    fn kept(&self) -> String;
    /// What to do now, in one sentence without a full stop.
    fn next(&self) -> String;
}
