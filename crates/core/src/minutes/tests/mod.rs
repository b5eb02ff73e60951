//! Laws of box minutes: days add up whatever the logs say, and no interval within the limits does better.

mod days;
mod laws;
