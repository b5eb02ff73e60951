//! Records.
