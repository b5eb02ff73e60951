//! The command `cowpath`: reads a farm's logs, keeps them, and says who needs a person today.

mod ask;
mod web;

fn main() {}
