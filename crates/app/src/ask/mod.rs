//! Answers: the store's rows and the core's models joined into plain structs that `cli` and `web` show.
//!
//! Nothing here prints or writes HTML; nothing in `cli` or `web` reckons.

pub mod answered;
pub mod box_day;
pub mod boxes;
pub mod cast;
pub mod cow;
pub mod cowing;
pub mod evidence;
pub mod expected;
pub mod farm;
pub mod fitting;
pub mod found;
pub mod history;
pub mod lanes;
pub mod live;
pub mod model;
pub mod overlap;
pub mod reading;
pub mod record;
pub mod round;
pub mod rounding;
pub mod sample;
pub mod take_in;
#[cfg(test)]
mod tests;
pub mod view;
