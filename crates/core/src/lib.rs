//! The models of Cowpath: what each cow, quarter and box should have done, what differs, and why.
//!
//! Pure: every function takes its rows, its settings, its clock and its time zone as arguments. Nothing here opens a
//! file, asks the time, or draws a random number it was not handed.
//!
//! Read in this order: [`units`] and [`time`] (the quantities), [`herd`] (cows, quarters, lactations), [`tables`] (what
//! a log may hold), [`level`] (the filter in its smallest form), [`expect`] (what she should have given), [`signals`] (what her other signals should have been), [`causes`]
//! (why she differs), [`coming`] (who comes by herself), [`minutes`] (where box time goes, and what it is best used
//! for), [`traffic`] (what would happen at the boxes), [`say`] (the sentence), [`right`] (how often it was right).

pub mod causes;
pub mod coming;
pub mod expect;
pub mod herd;
pub mod level;
mod middle;
pub mod minutes;
pub mod remedy;
pub mod right;
pub mod say;
pub mod signals;
pub mod tables;
pub mod time;
pub mod traffic;
pub mod units;
