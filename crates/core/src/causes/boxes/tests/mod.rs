//! Tests of the boxes: on visits made here, whose truth is known and whose shapes are not the chain's.

mod laws;
mod made;
mod many;
