//! In which words is it said?
//!
//! The one place of all wording and rounding: findings, times, figures and states of a cow become sentences here, in
//! the farm's zone and units, and nowhere else. Sentences are short: the cow first, then what, then what to do. They
//! speak of signs ("looks", "may be", "could be") with their certainty; they make no diagnosis and name no drug.
//!
//! Figures and their units: [`number`]. Times: [`when`]. A call: [`call`]. What speaks for it: [`reason`]. What it turned out to be: [`found`]. The round as
//! a whole and the states of a cow: [`summary`].

pub mod box_call;
pub mod bring_in;
pub mod call;
pub mod cow_call;
pub mod found;
mod herd_call;
pub mod learned;
pub mod number;
pub mod plan;
pub mod reason;
pub mod summary;
#[cfg(test)]
mod tests;
pub mod when;

pub use call::{Facts, Said, call};
pub use reason::SaidReason;
