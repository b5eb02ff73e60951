//! A simulated herd.
