//! Readers of farm logs.
