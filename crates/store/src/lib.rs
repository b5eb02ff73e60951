//! The farm file.
