//! Tests of the causes: on departures made here, of other shapes and other noise than the templates'.

mod digits;
mod gate;
mod heat;
mod herds;
mod laws;
mod learned;
mod likelihood;
pub mod made;
mod parts;
