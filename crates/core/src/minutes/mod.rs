//! Where do the minutes of a box go, and how should they be used?
//!
//! # What is here
//! [`ledger`]: each day of a box split without remainder into what was done in it; [`intervals`]: how long each cow's
//! interval should be, and what one more minute of box would be worth; [`terms`]: prices, the reserve that stays idle
//! and the limits of intervals; [`takeoff`]: what the last quarter costs, and what taking cups off sooner would save;
//! [`trend`]: whether a daily figure rises or falls more than days differ.
//! # Source
//! `docs/sources.md`, §1 (capacity), §2 (interval and yield), §5 (take-off), §12 (box minutes).
//! # Not here
//! Who comes when: [`crate::coming`]. What a pen does under other rules: the simulator of traffic.

pub mod intervals;
pub mod ledger;
pub mod takeoff;
pub mod terms;
pub mod trend;
mod uses;

#[cfg(test)]
mod tests;
