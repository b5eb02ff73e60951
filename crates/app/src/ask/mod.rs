//! Answers: the store's rows and the core's models joined into plain structs that `cli` and `web` show.
//!
//! Nothing here prints or writes HTML; nothing in `cli` or `web` reckons.

pub mod cow;
pub mod lanes;
pub mod round;
