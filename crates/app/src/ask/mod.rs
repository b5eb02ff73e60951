//! Answers: the store's rows and the core's models joined into plain structs that `cli` and `web` show.
//!
//! Nothing here prints or writes HTML; nothing in `cli` or `web` reckons.

pub mod answered;
pub mod box_day;
pub mod boxes;
pub mod bring_in;
mod bring_live;
mod bring_shown;
pub mod bringing;
mod bundle;
pub mod cast;
pub mod coming;
pub mod cow;
pub mod cowing;
pub mod evidence;
mod exchange;
pub mod expected;
pub mod export;
pub mod farm;
pub mod fitted;
pub mod fitting;
pub mod found;
pub mod habits;
pub mod history;
pub mod inbox;
pub mod lanes;
pub mod live;
pub mod map_page;
pub mod mapping;
pub mod maps;
pub mod mending;
pub mod model;
pub mod overlap;
pub mod parked;
pub mod reading;
pub mod record;
pub mod records;
pub mod round;
pub mod rounding;
pub mod sample;
pub mod schemas;
pub mod silence;
pub mod take_in;
pub mod taken;
#[cfg(test)]
mod tests;
pub mod unsaid;
pub mod view;
pub mod ways;
pub mod writing;
