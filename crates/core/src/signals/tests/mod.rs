//! Laws of the other signals.
